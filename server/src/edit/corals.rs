//! Members and records of what is a coral's: the coral itself, where it was, looks, sizes, its end.

use analysis::vocabulary::{Cause, CauseGroup, Fate, LookState, Measure, Origin, OriginBasis, catalogue, find_unit};
use importer::fold::key::Kind;
use importer::record::{DaySpan, Ending, HeldFact, Place, Placement, Record, Sighting, Sizing, Specimen, Stay};
use serde_json::{Map, Value, json};

use super::field::{Field, LARGEST, Values, What, pointer, taxa};
use super::{Editable, differ, field, members, optional};
use crate::problem::Fault;
use crate::route::{EndingRecord, PlacementRecord, SightingRecord, SizingRecord, SpecimenRecord, StayRecord};

fn confidences() -> Vec<&'static str> {
    vec!["certain", "likely", "guess"]
}

fn origins() -> Vec<&'static str> {
    Origin::ALL.iter().map(|word| word.as_str()).collect()
}

fn bases() -> Vec<&'static str> {
    OriginBasis::ALL.iter().map(|word| word.as_str()).collect()
}

fn sources() -> Vec<&'static str> {
    catalogue().source_kinds().iter().map(|term| term.code).collect()
}

fn forms() -> Vec<&'static str> {
    catalogue().forms().iter().map(|form| form.code).collect()
}

fn conditions() -> Vec<&'static str> {
    vec!["open", "off", "poor"]
}

const LABEL: Field = field("specimen", "Label of the coral.", What::Specimen, "\"C03\"");

impl Editable for SpecimenRecord {
    const KIND: Kind = Kind::Specimen;
    const REMOVABLE: bool = false;
    const NAME: &'static [&'static str] = &["label"];
    const FIELDS: &'static [Field] = &[
        field("label", "The keeper's own label, one for each coral.", What::Text(80), "\"C03\""),
        optional("written", "The name as written; without it that of the taxon.", What::Text(200), "\"Goniopora sp.\""),
        optional(
            "taxon",
            "What it is, by the code of `GET /taxa`; not said = not known.",
            What::Word(taxa),
            "\"goniopora\"",
        ),
        optional("confidence", "How sure that is.", What::Word(confidences), "\"likely\""),
        optional("character_seen", "The character that the name rests on.", What::Text(500), "\"24 tentacles\""),
        optional("origin", "Where it comes from.", What::Word(origins), "\"captive_grown\""),
        optional("origin_basis", "How that is known; goes with `origin`.", What::Word(bases), "\"seller_said\""),
        optional("source_kind", "What kind of source it was got from.", What::Word(sources), "\"member\""),
        optional(
            "source_name",
            "Name of the source: kept for its keeper alone, in no list.",
            What::Text(200),
            "\"at the autumn swap\"",
        ),
        optional("acquired_earliest", "Earliest day on which it can have been got.", What::Day, "\"2024-05-01\""),
        optional(
            "acquired_latest",
            "Latest day on which it can have been got; the same day where it is known.",
            What::Day,
            "\"2024-05-01\"",
        ),
        optional("tank", "The tank it was put into when it was got; later moves are stays.", What::Tank, "\"Lagoon\""),
        optional("form", "Form when got.", What::Word(forms), "\"ball_long\""),
        optional("size_mm", "Size when got, in mm.", What::Number(1.0, 3000.0), "60"),
        optional("condition", "How it looked when got.", What::Word(conditions), "\"open\""),
        optional("days_at_seller", "Days it had been at the seller.", What::Number(0.0, 3650.0), "14"),
        optional("parent", "Label of its mother colony.", What::Specimen, "\"C01\""),
        optional("line", "Code on the card that came with the cutting.", What::Text(80), "\"GON-7\""),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let label = values.text("label")?;
        let base = match base {
            Some(Record::Specimen(base)) => Some(base),
            _ => None,
        };
        let taxon = values.taxon("taxon");
        let (earliest, latest) = (values.day("acquired_earliest"), values.day("acquired_latest"));
        if earliest.is_some() && !values.is_said("acquired_latest") {
            let detail =
                "'acquired_earliest' stands without 'acquired_latest'; give both, the same day where it is known";
            faults.push(Fault::pointer("/acquired_latest", "missing", detail));
        }
        ordered(faults, "acquired", earliest, latest, "acquired_latest");
        if values.text("origin_basis").is_some() && !values.is_said("origin") {
            let detail = "'origin_basis' stands without 'origin'; say the origin that is known so";
            faults.push(Fault::pointer("/origin", "missing", detail));
        }
        if values.text("parent").as_deref() == Some(&label) {
            faults.push(Fault::pointer("/parent", "conflict", "'parent' is the coral itself"));
        }
        let name = taxon.map(|taxon| taxon.get().name.to_owned());
        let mut held = base.map(|base| base.held.clone()).unwrap_or_default();
        held.retain(|fact| match fact {
            HeldFact::Taxon => taxon.is_none(),
            HeldFact::Acquired => latest.is_none(),
            HeldFact::Fate => true,
        });
        Some(Record::Specimen(Specimen {
            written: values.text("written").or(name).unwrap_or_else(|| label.clone()),
            taxon,
            rank: taxon.map(|taxon| taxon.get().rank.as_str().to_owned()),
            confidence: values.text("confidence").or_else(|| taxon.map(|_| "certain".to_owned())),
            character: values.text("character_seen"),
            origin: values.text("origin").and_then(|word| Origin::parse(&word)),
            origin_basis: values.text("origin_basis").and_then(|word| OriginBasis::parse(&word)),
            source_kind: values.text("source_kind"),
            source_name: values.text("source_name"),
            acquired: latest.map(|latest| DaySpan { earliest, latest: Some(latest) }),
            tank: values.text("tank"),
            form: values.text("form"),
            size_mm: values.number("size_mm"),
            condition: values.text("condition"),
            days_at_seller: values.number("days_at_seller"),
            parent: values.text("parent"),
            line: values.text("line"),
            held,
            label,
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Specimen(coral) = record else { return Map::new() };
        members(json!({
            "label": coral.label, "written": coral.written, "taxon": coral.taxon, "confidence": coral.confidence,
            "character_seen": coral.character, "origin": coral.origin, "origin_basis": coral.origin_basis,
            "source_kind": coral.source_kind, "source_name": coral.source_name,
            "acquired_earliest": coral.acquired.and_then(|span| span.earliest),
            "acquired_latest": coral.acquired.and_then(|span| span.latest),
            "tank": coral.tank, "form": coral.form, "size_mm": coral.size_mm, "condition": coral.condition,
            "days_at_seller": coral.days_at_seller, "parent": coral.parent, "line": coral.line,
        }))
    }

    /// The changed facts alone, so that a later list goes on being heard on the others.
    fn changed(record: &Record, base: &Record) -> Option<Record> {
        let (Record::Specimen(new), Record::Specimen(old)) = (record, base) else { return None };
        let cleared = Self::members(record).iter().any(|(name, value)| {
            value.is_null() && Self::members(base).get(name).is_some_and(|value| !value.is_null())
        });
        let renamed = new.taxon != old.taxon
            || new.written != old.written
            || new.confidence != old.confidence
            || new.character != old.character;
        // A coral without a name, and a word about the name of one that has one, are no statements that complete another.
        if cleared || (renamed && new.taxon.is_none()) {
            return None;
        }
        let acquired = new.acquired != old.acquired;
        let of_origin = new.origin != old.origin || new.origin_basis != old.origin_basis;
        Some(Record::Specimen(Specimen {
            label: new.label.clone(),
            written: new.written.clone(),
            taxon: new.taxon.filter(|_| renamed),
            rank: new.rank.clone().filter(|_| renamed),
            confidence: new.confidence.clone().filter(|_| renamed),
            character: new.character.clone().filter(|_| renamed),
            origin: new.origin.filter(|_| of_origin),
            origin_basis: new.origin_basis.filter(|_| of_origin),
            source_kind: differ(&new.source_kind, &old.source_kind),
            source_name: differ(&new.source_name, &old.source_name),
            acquired: new.acquired.filter(|_| acquired),
            tank: differ(&new.tank, &old.tank),
            form: differ(&new.form, &old.form),
            size_mm: differ(&new.size_mm, &old.size_mm),
            condition: differ(&new.condition, &old.condition),
            days_at_seller: differ(&new.days_at_seller, &old.days_at_seller),
            parent: differ(&new.parent, &old.parent),
            line: differ(&new.line, &old.line),
            held: Vec::new(),
            place: Place::default(),
        }))
    }
}

/// Whether one day stands before another, said of the second.
pub(super) fn ordered(
    faults: &mut Vec<Fault>,
    what: &str,
    first: Option<chrono::NaiveDate>,
    last: Option<chrono::NaiveDate>,
    member: &str,
) {
    if let Some((first, last)) = first.zip(last).filter(|(first, last)| first > last) {
        let detail = format!("'{member}' ({last}) lies before {what} ({first}); give them the other way round");
        faults.push(Fault::pointer(pointer(member), "conflict", detail));
    }
}

impl Editable for StayRecord {
    const KIND: Kind = Kind::Stay;
    const FIELDS: &'static [Field] = &[
        LABEL,
        field("tank", "Name of the tank.", What::Tank, "\"Lagoon\""),
        optional("from_day", "First day there; not said = since it was got.", What::Day, "\"2025-03-01\""),
        optional(
            "to_day",
            "Day it left; not said = it is still there, or stayed to its end.",
            What::Day,
            "\"2025-06-01\"",
        ),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (specimen, tank) = (values.text("specimen")?, values.text("tank")?);
        let (from, to) = (values.day("from_day"), values.day("to_day"));
        if let Some((from, to)) = from.zip(to)
            && from >= to
        {
            let detail = format!("'to_day' ({to}) must lie after 'from_day' ({from})");
            faults.push(Fault::pointer("/to_day", "conflict", detail));
        }
        let mut stay =
            Stay { specimen, tank, from: from.map(DaySpan::day), to: to.map(DaySpan::day), place: Place::default() };
        // Days that were known between bounds keep them unless they are said anew.
        if let Some(Record::Stay(base)) = base {
            let of = Self::members(&Record::Stay(base.clone()));
            if of.get("from_day") == Some(&json!(from)) {
                stay.from = base.from;
            }
            if of.get("to_day") == Some(&json!(to)) {
                stay.to = base.to;
            }
        }
        Some(Record::Stay(stay))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Stay(stay) = record else { return Map::new() };
        let day = |span: Option<DaySpan>| span.and_then(|span| span.latest.or(span.earliest));
        members(
            json!({"specimen": stay.specimen, "tank": stay.tank, "from_day": day(stay.from), "to_day": day(stay.to)}),
        )
    }
}

fn heights() -> Vec<&'static str> {
    vec!["top", "middle", "bottom", "sand"]
}

fn flows() -> Vec<&'static str> {
    vec!["still", "swaying", "thrashing"]
}

impl Editable for PlacementRecord {
    const KIND: Kind = Kind::Placement;
    const FIELDS: &'static [Field] = &[
        LABEL,
        optional("from_day", "First day in this place; not said = since it was got.", What::Day, "\"2025-03-01\""),
        optional("height", "Height in the tank.", What::Word(heights), "\"middle\""),
        optional("par", "Light at the spot in µmol/m²/s.", What::Number(0.0, 3000.0), "90"),
        optional("flow", "How its polyps move.", What::Word(flows), "\"swaying\""),
        optional("stinging_neighbour", "A stinging neighbour stands within reach.", What::Flag, "false"),
    ];

    fn record(values: &Values, _: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let spot = Placement {
            specimen: values.text("specimen")?,
            from: values.day("from_day"),
            height: values.text("height"),
            par: values.number("par"),
            flow: values.text("flow"),
            stinging_neighbour: values.flag("stinging_neighbour"),
            place: Place::default(),
        };
        if spot.height.is_none() && spot.par.is_none() && spot.flow.is_none() && spot.stinging_neighbour.is_none() {
            let detail = "nothing is said of the place; give 'height', 'par', 'flow' or 'stinging_neighbour'";
            faults.push(Fault::pointer("/height", "missing", detail));
        }
        Some(Record::Placement(spot))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Placement(spot) = record else { return Map::new() };
        members(json!({
            "specimen": spot.specimen, "from_day": spot.from, "height": spot.height, "par": spot.par, "flow": spot.flow,
            "stinging_neighbour": spot.stinging_neighbour,
        }))
    }
}

fn statuses() -> Vec<&'static str> {
    vec!["alive", "open", "off", "poor"]
}

fn looked() -> Vec<&'static str> {
    vec!["look", "photo"]
}

impl Editable for SightingRecord {
    const KIND: Kind = Kind::Sighting;
    const FIELDS: &'static [Field] = &[
        LABEL,
        field("on_day", "Day of the look.", What::Day, "\"2025-06-14\""),
        field("status", "`alive`, or how it looked; a loss is an ending.", What::Word(statuses), "\"open\""),
        optional("source", "`look` unless it is from a photo.", What::Word(looked), "\"look\""),
        optional("condition", "1 under a quarter alive to 5 open and growing.", What::Whole(1, 5), "4"),
        optional("polyp_extension", "0 none to 3 extreme.", What::Whole(0, 3), "2"),
        optional("tissue_cover", "Live tissue in %.", What::Number(0.0, 100.0), "95"),
        optional("colour", "Score on a colour card of six steps.", What::Whole(1, 6), "4"),
        optional("remark", "Signs and remark.", What::Text(2000), "\"one side pale\""),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (specimen, on, status) = (values.text("specimen")?, values.day("on_day")?, values.text("status")?);
        let usual = LookState::parse(&status).and_then(LookState::usual_score).map(i16::from);
        let condition = values.whole("condition").or(usual);
        if let Some(score) = values.whole("condition").and_then(|score| u8::try_from(score).ok())
            && status != LookState::Alive.as_str()
            && LookState::of_score(score).as_str() != status
        {
            let detail =
                format!("'condition' {score} is '{}', not '{status}'; give one of the two", LookState::of_score(score));
            faults.push(Fault::pointer("/condition", "conflict", detail));
        }
        // A look that a list or a roll call gave stays one.
        let source = match base {
            Some(Record::Sighting(base)) if values.text("source").is_none() => base.source.clone(),
            _ => values.text("source").unwrap_or_else(|| "look".to_owned()),
        };
        Some(Record::Sighting(Sighting {
            specimen,
            on,
            status,
            source,
            condition,
            polyp_extension: values.whole("polyp_extension"),
            tissue_cover: values.number("tissue_cover"),
            colour: values.whole("colour"),
            remark: values.text("remark"),
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Sighting(look) = record else { return Map::new() };
        let usual = LookState::parse(&look.status).and_then(LookState::usual_score).map(i16::from);
        members(json!({
            "specimen": look.specimen, "on_day": look.on, "status": look.status,
            "source": Some(&look.source).filter(|source| looked().contains(&source.as_str())),
            // What the status says by itself changes with it.
            "condition": look.condition.filter(|score| Some(*score) != usual),
            "polyp_extension": look.polyp_extension, "tissue_cover": look.tissue_cover, "colour": look.colour,
            "remark": look.remark,
        }))
    }
}

fn measures() -> Vec<&'static str> {
    catalogue().measures().iter().map(|measure| measure.code).collect()
}

fn size_bases() -> Vec<&'static str> {
    catalogue()
        .size_bases()
        .iter()
        .map(|basis| basis.code)
        .chain(["not_said"])
        .collect::<std::collections::BTreeSet<_>>()
        .into_iter()
        .collect()
}

impl Editable for SizingRecord {
    const KIND: Kind = Kind::Sizing;
    const FIELDS: &'static [Field] = &[
        LABEL,
        field("measure", "What was measured.", What::Word(measures), "\"max_diameter\""),
        optional("basis", "What it was measured on.", What::Word(size_bases), "\"skeleton\""),
        field("value", "In the unit beside it.", What::Number(0.0, LARGEST), "62"),
        optional(
            "unit",
            "Unit that the measure is written in, such as `mm`, `cm` or `in`; without it the one that lists show.",
            What::Text(20),
            "\"mm\"",
        ),
        field("on_day", "Day of measuring.", What::Day, "\"2025-06-14\""),
        optional("after_cut", "A cut or breakage just before it.", What::Flag, "false"),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (specimen, code) = (values.text("specimen")?, values.text("measure")?);
        let (written, on) = (values.number("value")?, values.day("on_day")?);
        let measure = Measure::parse(&code)?;
        let own = measure.unit.as_str();
        let said = values.text("unit");
        let unit = said.as_deref().map_or(Some(own), |text| find_unit(text).map(|found| found.unit.as_str()));
        let Some(value) = unit.and_then(|unit| measure.convert(written, unit)) else {
            let known: Vec<&str> = measure.accepts.iter().map(|accepted| accepted.unit.as_str()).collect();
            let detail = format!(
                "'unit' is '{}'; {} is written in {}",
                said.unwrap_or_default(),
                measure.name,
                known.join(", ")
            );
            faults.push(Fault::pointer("/unit", "invalid", detail));
            return None;
        };
        let basis = values.text("basis").or_else(|| measure.basis.map(str::to_owned));
        if let (Some(said), Some(always)) = (&basis, measure.basis)
            && said != always
        {
            let detail = format!("'basis' is '{said}', but {} is always taken on '{always}'", measure.name);
            faults.push(Fault::pointer("/basis", "conflict", detail));
        }
        let kept = match base {
            Some(Record::Sizing(base)) if base.value == value && base.measure == code => Some(base.written.clone()),
            _ => None,
        };
        Some(Record::Sizing(Sizing {
            specimen,
            basis: basis.unwrap_or_else(|| "not_said".to_owned()),
            value,
            unit: own.to_owned(),
            on,
            after_cut: values.flag("after_cut").unwrap_or(false),
            written: kept.unwrap_or_else(|| format!("{written} {}", said.as_deref().unwrap_or(own))),
            measure: code,
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Sizing(size) = record else { return Map::new() };
        members(json!({
            "specimen": size.specimen, "measure": size.measure, "basis": size.basis, "value": size.value,
            "on_day": size.on, "after_cut": size.after_cut,
        }))
    }
}

fn fates() -> Vec<&'static str> {
    Fate::ALL.iter().map(|fate| fate.as_str()).collect()
}

fn causes() -> Vec<&'static str> {
    catalogue().causes().iter().map(|cause| cause.code).collect()
}

fn manners() -> Vec<&'static str> {
    let manners: std::collections::BTreeSet<&str> = catalogue().looks().iter().filter_map(|sign| sign.manner).collect();
    manners.into_iter().collect()
}

fn leavings() -> Vec<&'static str> {
    vec!["given", "sold", "swapped", "returned", "passed_in_club"]
}

fn last_conditions() -> Vec<&'static str> {
    vec!["open", "off", "poor", "not_said"]
}

impl Editable for EndingRecord {
    const KIND: Kind = Kind::Ending;
    const NAME: &'static [&'static str] = &["specimen"];
    const FIELDS: &'static [Field] = &[
        LABEL,
        field("fate", "What became of it.", What::Word(fates), "\"died\""),
        optional("cause", "Primary cause, as far as it is known.", What::Word(causes), "\"heater\""),
        optional("other_causes", "Further causes.", What::Words(causes), "[]"),
        optional("manner", "How a loss looked.", What::Words(manners), "[]"),
        optional("leaving", "How it left, for the fate `left`.", What::Word(leavings), "\"given\""),
        optional(
            "condition",
            "How it looked when it left; without it `not_said`.",
            What::Word(last_conditions),
            "\"not_said\"",
        ),
        optional(
            "earliest",
            "First day on which it can have been; not said = since it was last seen alive.",
            What::Day,
            "\"2025-02-01\"",
        ),
        field(
            "latest",
            "Day by which it had been; the same as `earliest` where the day is known.",
            What::Day,
            "\"2025-02-01\"",
        ),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (specimen, latest) = (values.text("specimen")?, values.day("latest")?);
        let fate = Fate::parse(&values.text("fate")?)?;
        let earliest = values.day("earliest");
        ordered(faults, "'earliest'", earliest, Some(latest), "latest");
        if values.text("leaving").is_some() && fate != Fate::Left {
            let detail = format!("'leaving' goes with the fate 'left', not with '{fate}'");
            faults.push(Fault::pointer("/leaving", "conflict", detail));
        }
        let group = values.text("cause").and_then(|code| Cause::parse(&code)).map(|cause| cause.group);
        let written = match base {
            Some(Record::Ending(base)) => base.written.clone(),
            _ => [Some(fate.as_str().to_owned()), values.text("cause")]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join("; "),
        };
        Some(Record::Ending(Ending {
            specimen,
            fate: Some(fate),
            cause_group: group.filter(|_| fate != Fate::Missing).unwrap_or(CauseGroup::Unknown),
            cause: values.text("cause"),
            other_causes: values.words("other_causes"),
            manner: values.words("manner"),
            leaving: values.text("leaving"),
            condition: values.text("condition").unwrap_or_else(|| "not_said".to_owned()),
            earliest,
            latest: Some(latest),
            written_day: earliest == Some(latest) && fate != Fate::Missing,
            date_held: false,
            written,
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Ending(end) = record else { return Map::new() };
        members(json!({
            "specimen": end.specimen, "fate": end.fate, "cause": end.cause, "other_causes": end.other_causes,
            "manner": end.manner, "leaving": end.leaving, "condition": end.condition, "earliest": end.earliest,
            "latest": end.latest,
        }))
    }
}
