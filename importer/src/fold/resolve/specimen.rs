//! Specimens and everything that is theirs.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::{middle, numbered, of, statements};
use crate::fold::between::{Entry, Facts, first_log};
use crate::fold::key::{Kind, folded};
use crate::fold::row::{
    EndingRow, IdentificationRow, PlacementRow, SightingRow, SizingRow, SpecimenNameRow, SpecimenRow, StayRow,
};
use crate::fold::version::Names;
use crate::fold::{CompleteSince, Current, LogFacts, Missing};
use crate::record::{DaySpan, Ending, HeldFact, Record, Specimen};

/// Widest span of days that counts as a day on the axis of age.
const MIDPOINT_DAYS: i64 = 31;

/// Specimens: statements of several logs complete each other, the later one wins where both speak.
pub fn specimens(facts: &Facts<'_>, logs: &BTreeMap<i64, LogFacts>, current: &mut Current) {
    let mut merged: BTreeMap<&String, (Specimen, Option<i64>)> = BTreeMap::new();
    for (key, entries) in of(facts, Kind::Specimen) {
        let mut whole: Option<Specimen> = None;
        for specimen in statements!(entries, Specimen) {
            whole = Some(match whole {
                None => specimen.clone(),
                Some(earlier) => complete(earlier, specimen),
            });
        }
        let Some(mut whole) = whole else { continue };
        let fates = facts.get(&Kind::Ending).and_then(|endings| endings.get(key));
        if fates.is_some_and(|fates| statements!(fates, Ending).any(|ending| ending.fate.is_some())) {
            whole.held.retain(|fact| *fact != HeldFact::Fate);
        }
        whole.held.sort_unstable();
        whole.held.dedup();
        current.written_at(Kind::Specimen, key, entries);
        for stated in entries.iter().flat_map(|entry| &entry.sources) {
            if let Record::Specimen(specimen) = stated.record {
                let name = specimen.label.trim().to_owned();
                let log = stated.log.map_or_else(|| "edit".to_owned(), |log| log.to_string());
                let row = SpecimenNameRow { specimen: key.clone(), log_id: stated.log, name };
                current.specimen_names.insert(format!("{key}|{log}|{}", row.name), row);
            }
        }
        merged.insert(key, (whole, first_log(entries)));
    }
    let parents: BTreeMap<&String, String> = merged
        .iter()
        .filter_map(|(key, (specimen, _))| {
            let parent = folded(specimen.parent.as_deref()?);
            (merged.contains_key(&parent) && parent != **key).then_some((*key, parent))
        })
        .collect();
    let lines: BTreeMap<&String, &String> =
        merged.iter().filter_map(|(key, (specimen, _))| Some((*key, specimen.line.as_ref()?))).collect();
    for (key, (specimen, log)) in &merged {
        let log_facts = log.and_then(|log| logs.get(&log));
        let (observed_from, entry_assumed) = observed_from(specimen.acquired, log_facts);
        let acquired = specimen.acquired.unwrap_or(DaySpan { earliest: None, latest: None });
        current.specimens.insert(
            (*key).clone(),
            SpecimenRow {
                label: specimen.label.trim().to_owned(),
                written: specimen.written.clone(),
                taxon: specimen.taxon.map(|taxon| taxon.as_str()),
                taxon_rank: specimen.rank.clone(),
                confidence: specimen.confidence.clone(),
                character_seen: specimen.character.clone(),
                origin: specimen.origin.map(|origin| origin.as_str()),
                origin_basis: specimen.origin_basis.map(|basis| basis.as_str()),
                source_kind: specimen.source_kind.clone(),
                source_name: specimen.source_name.clone(),
                form: specimen.form.clone(),
                size_mm: specimen.size_mm,
                condition: specimen.condition.clone(),
                days_at_seller: specimen.days_at_seller,
                acquired_earliest: acquired.earliest,
                acquired_latest: acquired.latest,
                observed_from,
                entry_assumed,
                parent: parents.get(key).cloned(),
                lineage: lineage(key, &parents, &lines),
                line: specimen.line.clone(),
                held: specimen.held.clone(),
                log_id: *log,
            },
        );
    }
}

/// An earlier statement completed by a later one.
pub fn complete(earlier: Specimen, later: &Specimen) -> Specimen {
    let mut whole = later.clone();
    let held = |specimen: &Specimen, fact: HeldFact| specimen.held.contains(&fact);
    let mut facts: Vec<HeldFact> = Vec::new();
    // A settled name or day outlasts a later log that leaves it in question or says nothing.
    if whole.taxon.is_none() && (earlier.taxon.is_some() || !held(later, HeldFact::Taxon)) {
        whole.written = earlier.written.clone();
        whole.taxon = earlier.taxon;
        whole.rank = earlier.rank.clone();
        whole.confidence = earlier.confidence.clone();
        whole.character = earlier.character.clone();
    }
    if whole.taxon.is_none() && (held(&earlier, HeldFact::Taxon) || held(later, HeldFact::Taxon)) {
        facts.push(HeldFact::Taxon);
    }
    let settled = |specimen: &Specimen| specimen.acquired.is_some() && !held(specimen, HeldFact::Acquired);
    if !settled(later) && settled(&earlier) {
        whole.acquired = earlier.acquired;
    } else {
        whole.acquired = later.acquired.or(earlier.acquired);
        if !settled(later) && (held(later, HeldFact::Acquired) || held(&earlier, HeldFact::Acquired)) {
            facts.push(HeldFact::Acquired);
        }
    }
    if held(&earlier, HeldFact::Fate) || held(later, HeldFact::Fate) {
        facts.push(HeldFact::Fate);
    }
    if whole.origin.is_none() {
        whole.origin = earlier.origin;
        whole.origin_basis = earlier.origin_basis;
    }
    whole.source_kind = whole.source_kind.or(earlier.source_kind);
    whole.source_name = whole.source_name.or(earlier.source_name);
    whole.tank = whole.tank.or(earlier.tank);
    whole.form = whole.form.or(earlier.form);
    whole.size_mm = whole.size_mm.or(earlier.size_mm);
    whole.condition = whole.condition.or(earlier.condition);
    whole.days_at_seller = whole.days_at_seller.or(earlier.days_at_seller);
    whole.parent = whole.parent.or(earlier.parent);
    whole.line = whole.line.or(earlier.line);
    whole.label = earlier.label;
    whole.held = facts;
    whole
}

/// From what day a log would have shown the specimen's death, and whether that is assumed.
fn observed_from(acquired: Option<DaySpan>, log: Option<&LogFacts>) -> (Option<NaiveDate>, bool) {
    let got = acquired.filter(|span| match (span.earliest, span.latest) {
        (Some(earliest), Some(latest)) => (latest - earliest).num_days() <= MIDPOINT_DAYS,
        _ => false,
    });
    let got = got.and_then(middle);
    let Some(log) = log else { return (got, false) };
    let (complete, assumed) = match (log.complete_since, log.prompt_since) {
        (CompleteSince::Given(day), _) => (Some(day), false),
        (CompleteSince::Unknown, Some(day)) => (Some(day), false),
        (CompleteSince::Unknown | CompleteSince::Unanswered, _) => (log.first_day, true),
    };
    (got.max(complete), assumed)
}

/// The card's code if there is one on the way to the oldest known mother, else her key.
fn lineage(key: &String, parents: &BTreeMap<&String, String>, lines: &BTreeMap<&String, &String>) -> String {
    let mut at = key;
    let mut seen = BTreeSet::new();
    loop {
        if let Some(line) = lines.get(at) {
            return format!("line:{}", folded(line));
        }
        match parents.get(at) {
            Some(parent) if seen.insert(at) => at = parent,
            // A circle of mothers: its first name in order, the same for all of it.
            Some(_) => return seen.into_iter().next().unwrap_or(key).clone(),
            None => return at.clone(),
        }
    }
}

/// Names: the one at purchase and the dated ones; the latest holds. A name that a later version of a list
/// changes is dated by that version, so that what was known at purchase stays what it was.
pub fn identifications(facts: &Facts<'_>, names: &Names<'_>, current: &mut Current) {
    let mut rows: BTreeMap<String, IdentificationRow> = BTreeMap::new();
    for (key, specimen) in &current.specimens {
        let given = names.get(key).map(Vec::as_slice).unwrap_or_default();
        for (at, name) in given.iter().enumerate() {
            let (Some(taxon), on_day) = (name.specimen.taxon, name.on.filter(|_| at > 0)) else {
                continue;
            };
            let day = on_day.map_or_else(|| "start".to_owned(), |day| day.to_string());
            let row = IdentificationRow {
                specimen: key.clone(),
                written: name.specimen.written.clone(),
                taxon: taxon.as_str(),
                confidence: name.specimen.confidence.clone(),
                character_seen: name.specimen.character.clone(),
                on_day,
            };
            rows.insert(format!("{key}|{day}"), row);
        }
        if let (Some(taxon), true) = (specimen.taxon, given.is_empty()) {
            let row = IdentificationRow {
                specimen: key.clone(),
                written: specimen.written.clone(),
                taxon,
                confidence: specimen.confidence.clone(),
                character_seen: specimen.character_seen.clone(),
                on_day: None,
            };
            rows.insert(format!("{key}|start"), row);
        }
    }
    for (key, entries) in of(facts, Kind::Identification) {
        let Some(name) = statements!(entries, Identification).last() else {
            continue;
        };
        let specimen = folded(&name.specimen);
        if !current.specimens.contains_key(&specimen) {
            current.without_place(Kind::Identification, key, entries, Missing::Specimen);
            continue;
        }
        let row = IdentificationRow {
            specimen,
            written: name.written.clone(),
            taxon: name.taxon.as_str(),
            confidence: name.confidence.clone(),
            character_seen: name.character.clone(),
            on_day: Some(name.on),
        };
        rows.insert(key.clone(), row);
        current.written_at(Kind::Identification, key, entries);
    }
    let mut latest: BTreeMap<&String, &IdentificationRow> = BTreeMap::new();
    for row in rows.values() {
        let holds = latest.entry(&row.specimen).or_insert(row);
        if row.on_day > holds.on_day {
            *holds = row;
        }
    }
    for (key, row) in latest {
        if let Some(specimen) = current.specimens.get_mut(key)
            && row.on_day.is_some()
        {
            specimen.taxon = Some(row.taxon);
            specimen.taxon_rank =
                analysis::vocabulary::TaxonSlug::parse(row.taxon).map(|taxon| taxon.get().rank.as_str().to_owned());
            specimen.confidence = row.confidence.clone();
            specimen.character_seen = row.character_seen.clone();
            specimen.held.retain(|fact| *fact != HeldFact::Taxon);
        }
    }
    current.identifications = rows;
}

/// One tank at a time: a stay ends where the next begins, and the first begins when the specimen was got.
pub fn stays(facts: &Facts<'_>, current: &mut Current) {
    struct Draft {
        key: String,
        from: Option<DaySpan>,
        to: Option<DaySpan>,
        tank: String,
    }
    let mut drafts: BTreeMap<String, Vec<Draft>> = BTreeMap::new();
    for (key, entries) in of(facts, Kind::Stay) {
        let Some(stay) = statements!(entries, Stay).last() else {
            continue;
        };
        let specimen = folded(&stay.specimen);
        if !current.specimens.contains_key(&specimen) {
            current.without_place(Kind::Stay, key, entries, Missing::Specimen);
            continue;
        }
        let draft = Draft { key: key.clone(), from: stay.from, to: stay.to, tank: folded(&stay.tank) };
        drafts.entry(specimen).or_default().push(draft);
        current.written_at(Kind::Stay, key, entries);
    }
    let mut rows = BTreeMap::new();
    for (key, specimen) in &current.specimens {
        let acquired = DaySpan { earliest: specimen.acquired_earliest, latest: specimen.acquired_latest };
        let got = middle(acquired);
        let mut own = drafts.remove(key).unwrap_or_default();
        let starts = |stay: &Draft| stay.from.and_then(middle).or(got);
        let from_start = own.iter().any(|stay| stay.from.is_none() || starts(stay) <= got);
        if !from_start && let Some(tank) = first_tank(facts, key) {
            own.push(Draft { key: format!("{key}|start"), from: None, to: None, tank });
        }
        own.sort_by_key(starts);
        for at in 0..own.len() {
            let stay = &own[at];
            let next = own.get(at + 1);
            let from_day = starts(stay);
            let mut to = stay.to;
            let mut to_day = stay.to.and_then(middle).filter(|to| from_day.is_none_or(|from| from < *to));
            if let Some(next) = next
                && let Some(moved) = starts(next)
                && to_day.is_none_or(|to| moved < to)
            {
                (to, to_day) = (next.from, Some(moved));
            }
            if from_day.is_some() && to_day.is_some() && from_day >= to_day || stay.tank.is_empty() {
                continue;
            }
            // Two stays that begin on no known day cannot follow one another: the later statement stands.
            if from_day.is_none() && next.is_some_and(|next| starts(next).is_none()) {
                continue;
            }
            let from = stay.from.unwrap_or(acquired);
            rows.insert(
                stay.key.clone(),
                StayRow {
                    specimen: key.clone(),
                    tank: stay.tank.clone(),
                    from_day,
                    to_day,
                    from_earliest: from.earliest,
                    from_latest: from.latest,
                    to_earliest: to.filter(|_| to_day.is_some()).and_then(|to| to.earliest),
                    to_latest: to.filter(|_| to_day.is_some()).and_then(|to| to.latest),
                },
            );
        }
    }
    current.stays = rows;
}

/// The tank of a specimen's own row.
fn first_tank(facts: &Facts<'_>, specimen: &str) -> Option<String> {
    let entries = facts.get(&Kind::Specimen)?.get(specimen)?;
    let tanks: Vec<String> = statements!(entries, Specimen).filter_map(|row| row.tank.as_deref().map(folded)).collect();
    tanks.into_iter().rev().find(|tank| !tank.is_empty())
}

/// Places in tanks.
pub fn placements(facts: &Facts<'_>, current: &mut Current) {
    for (key, entries) in of(facts, Kind::Placement) {
        let Some(spot) = statements!(entries, Placement).last() else {
            continue;
        };
        let specimen = folded(&spot.specimen);
        if !current.specimens.contains_key(&specimen) {
            current.without_place(Kind::Placement, key, entries, Missing::Specimen);
            continue;
        }
        let row = PlacementRow {
            specimen,
            from_day: spot.from,
            height: spot.height.clone(),
            par: spot.par,
            flow: spot.flow.clone(),
            stinging_neighbour: spot.stinging_neighbour,
        };
        current.placements.insert(key.clone(), row);
        current.written_at(Kind::Placement, key, entries);
    }
}

/// Looks and sizes.
pub fn looks(facts: &Facts<'_>, current: &mut Current) {
    let both = of(facts, Kind::Sighting).map(|slot| (Kind::Sighting, slot));
    for (kind, (slot, entries)) in both.chain(of(facts, Kind::Sizing).map(|slot| (Kind::Sizing, slot))) {
        for (at, entry) in entries.iter().enumerate() {
            let (key, only) = (numbered(slot, at), std::slice::from_ref(entry));
            let specimen = folded(crate::fold::key::specimen_of(entry.record()).unwrap_or_default());
            if !current.specimens.contains_key(&specimen) {
                current.without_place(kind, &key, only, Missing::Specimen);
                continue;
            }
            current.written_at(kind, &key, only);
            match entry.record() {
                Record::Sighting(look) => {
                    let row = SightingRow {
                        specimen,
                        on_day: look.on,
                        status: look.status.clone(),
                        source: look.source.clone(),
                        condition: look.condition,
                        polyp_extension: look.polyp_extension,
                        tissue_cover: look.tissue_cover,
                        colour: look.colour,
                        remark: look.remark.clone(),
                    };
                    current.sightings.insert(key, row);
                }
                Record::Sizing(size) => {
                    let row = SizingRow {
                        specimen,
                        measure: size.measure.clone(),
                        basis: size.basis.clone(),
                        value: size.value,
                        unit: size.unit.clone(),
                        on_day: size.on,
                        after_cut: size.after_cut,
                        segment: 0,
                        written: size.written.clone(),
                    };
                    current.sizings.insert(key, row);
                }
                _ => {}
            }
        }
    }
}

/// Fates: a settled one outlasts a later log that leaves it in question; among equals the later log stands.
pub fn endings(facts: &Facts<'_>, logs: &BTreeMap<i64, LogFacts>, current: &mut Current) {
    for (key, entries) in of(facts, Kind::Ending) {
        let best = entries.iter().enumerate().filter_map(|(at, entry)| match entry.record() {
            Record::Ending(ending) => Some(((ending.fate.is_some(), !ending.date_held, at), ending, entry)),
            _ => None,
        });
        let Some((_, ending, entry)) = best.max_by_key(|(rank, ..)| *rank) else {
            continue;
        };
        if !current.specimens.contains_key(key) {
            current.without_place(Kind::Ending, key, entries, Missing::Specimen);
            continue;
        }
        let Some(latest) = latest_day(ending, entry, logs, current, key) else {
            current.without_place(Kind::Ending, key, entries, Missing::Day);
            continue;
        };
        current.written_at(Kind::Ending, key, entries);
        let row = EndingRow {
            specimen: key.clone(),
            fate: ending.fate.map(|fate| fate.as_str()),
            cause_group: ending.cause_group.as_str(),
            cause: ending.cause.clone(),
            other_causes: ending.other_causes.clone(),
            manner: ending.manner.clone(),
            leaving: ending.leaving.clone(),
            condition: ending.condition.clone(),
            // Left open until everything that shows life is known.
            earliest: ending.earliest.map_or(NaiveDate::MIN, |earliest| earliest.min(latest)),
            latest,
            written_day: ending.written_day,
            date_held: ending.date_held,
            written: ending.written.clone(),
        };
        current.endings.insert(key.clone(), row);
    }
}

/// The day by which it had happened: as written; else the day of the list that first reports it.
fn latest_day(
    ending: &Ending,
    entry: &Entry<'_>,
    logs: &BTreeMap<i64, LogFacts>,
    current: &Current,
    key: &str,
) -> Option<NaiveDate> {
    let stated = &entry.sources[0];
    let log = stated.log.and_then(|log| logs.get(&log));
    let bound = ending.latest.or(stated.bound).or_else(|| log.and_then(|log| log.last_day));
    // A list cannot report an end before the earliest day that it gives for it.
    bound.max(ending.earliest).or_else(|| current.specimens.get(key).and_then(|specimen| specimen.acquired_latest))
}

/// Growth is measured between cuts: each size gets the number of days of cutting up to it.
pub fn segments(current: &mut Current) {
    let mut cuts: BTreeMap<String, BTreeSet<NaiveDate>> = BTreeMap::new();
    for size in current.sizings.values().filter(|size| size.after_cut) {
        cuts.entry(size.specimen.clone()).or_default().insert(size.on_day);
    }
    for event in current.events.values().filter(|event| event.kind == "cut") {
        if let Some(specimen) = &event.specimen {
            cuts.entry(specimen.clone()).or_default().insert(event.on_day);
        }
    }
    for size in current.sizings.values_mut() {
        let before = cuts.get(&size.specimen).map_or(0, |days| days.range(..=size.on_day).count());
        size.segment = u32::try_from(before).unwrap_or(u32::MAX);
    }
}

/// Open first bounds become the last sign of life; an earlier list's open row gives way to a later known end.
pub fn bounds(current: &mut Current) {
    let endings = &current.endings;
    let stale: BTreeSet<String> = current
        .sightings
        .iter()
        .filter(|(_, look)| look.source == "register")
        .filter(|(_, look)| endings.get(&look.specimen).is_some_and(|ending| ending.latest < look.on_day))
        .map(|(key, _)| key.clone())
        .collect();
    if !stale.is_empty() {
        current.sightings.retain(|key, _| !stale.contains(key));
        current.sources.retain(|source| source.kind != Kind::Sighting || !stale.contains(&source.key));
    }
    let mut life: BTreeMap<&str, BTreeSet<NaiveDate>> = BTreeMap::new();
    let looks = current.sightings.values().map(|look| (look.specimen.as_str(), Some(look.on_day)));
    let sizes = current.sizings.values().map(|size| (size.specimen.as_str(), Some(size.on_day)));
    let care = current.events.values().filter_map(|event| Some((event.specimen.as_deref()?, Some(event.on_day))));
    let stays = current.stays.values().map(|stay| (stay.specimen.as_str(), stay.from_day));
    let got = current.specimens.iter().map(|(key, specimen)| (key.as_str(), specimen.acquired_latest));
    for (specimen, day) in looks.chain(sizes).chain(care).chain(stays).chain(got) {
        life.entry(specimen).or_default().extend(day);
    }
    for (key, ending) in &mut current.endings {
        if ending.earliest != NaiveDate::MIN {
            continue;
        }
        let signs = life.get(key.as_str());
        let before = signs.and_then(|days| days.range(..ending.latest).next_back().copied());
        let first = current.specimens.get(key).and_then(|specimen| specimen.acquired_earliest);
        let log = current.specimens.get(key).and_then(|specimen| specimen.observed_from);
        ending.earliest = before.or(first).or(log).unwrap_or(ending.latest).min(ending.latest);
    }
}
