//! Members and records of what is a tank's: the tank itself, tests, kits, what was done and what happened.

use analysis::vocabulary::{ZeroPolicy, catalogue, find_routine_rate, find_unit};
use importer::fold::key::Kind;
use importer::record::{Event, Incident, Instrument, Place, Qualifier, Reading, Record, Routine, Taken, Tank};
use serde_json::{Map, Value, json};

use super::corals::ordered;
use super::field::{Field, LARGEST, Values, What, parameters};
use super::{Editable, differ, field, members, optional};
use crate::problem::Fault;
use crate::records::{EVENTS, INCIDENTS, ROUTINES};
use crate::route::{EventRecord, IncidentRecord, InstrumentRecord, ReadingRecord, RoutineRecord, TankRecord};

fn closings() -> Vec<&'static str> {
    catalogue().closings().iter().map(|term| term.code).collect()
}

const OF_TANK: Field =
    optional("tank", "Name of the tank; a coral's label may stand for it.", What::Tank, "\"Lagoon\"");
const OF_SPECIMEN: Field =
    optional("specimen", "Label of the coral, where it is about one alone.", What::Specimen, "null");

/// Something must say what a record is about.
fn placed(values: &Values, faults: &mut Vec<Fault>) -> (Option<String>, Option<String>) {
    let (tank, specimen) = (values.text("tank"), values.text("specimen"));
    if !values.is_said("tank") && !values.is_said("specimen") {
        faults.push(Fault::pointer("/tank", "missing", "'tank' is missing: say the tank, or the coral as 'specimen'"));
    }
    (tank, specimen)
}

impl Editable for TankRecord {
    const KIND: Kind = Kind::Tank;
    const REMOVABLE: bool = false;
    const NAME: &'static [&'static str] = &["name"];
    const FIELDS: &'static [Field] = &[
        field("name", "Its name, one for each of a member's tanks.", What::Text(80), "\"Lagoon\""),
        optional("litres", "Volume in litres.", What::Number(1.0, 1e6), "320"),
        optional("started", "First day with water.", What::Day, "\"2021-09-01\""),
        optional("closed", "Last day.", What::Day, "null"),
        optional("closed_why", "Why it was closed.", What::Word(closings), "null"),
    ];

    fn record(values: &Values, _: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (started, closed) = (values.day("started"), values.day("closed"));
        ordered(faults, "'started'", started, closed, "closed");
        if values.text("closed_why").is_some() && closed.is_none() {
            faults.push(Fault::pointer("/closed", "missing", "'closed_why' stands without 'closed'; give the day"));
        }
        Some(Record::Tank(Tank {
            name: values.text("name")?,
            litres: values.number("litres"),
            started,
            closed,
            closed_why: values.text("closed_why"),
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Tank(tank) = record else { return Map::new() };
        members(json!({
            "name": tank.name, "litres": tank.litres, "started": tank.started, "closed": tank.closed,
            "closed_why": tank.closed_why,
        }))
    }

    fn changed(record: &Record, base: &Record) -> Option<Record> {
        let (Record::Tank(new), Record::Tank(old)) = (record, base) else { return None };
        let cleared = Self::members(record).iter().any(|(name, value)| {
            value.is_null() && Self::members(base).get(name).is_some_and(|value| !value.is_null())
        });
        (!cleared).then(|| {
            Record::Tank(Tank {
                name: new.name.clone(),
                litres: differ(&new.litres, &old.litres),
                started: differ(&new.started, &old.started),
                closed: differ(&new.closed, &old.closed),
                closed_why: differ(&new.closed_why, &old.closed_why),
                place: Place::default(),
            })
        })
    }
}

fn qualifiers() -> Vec<&'static str> {
    vec!["=", "<", ">", "interval"]
}

impl Editable for ReadingRecord {
    const KIND: Kind = Kind::Reading;
    const FIELDS: &'static [Field] = &[
        OF_TANK,
        optional("specimen", "Label of the coral whose spot was measured.", What::Specimen, "null"),
        field(
            "parameter",
            "What was measured, by the code of `GET /parameters`.",
            What::Word(parameters),
            "\"nitrate\"",
        ),
        field("taken_on", "Local day.", What::Day, "\"2025-06-14\""),
        optional("taken_time", "Local time.", What::Time, "\"19:30\""),
        optional("utc_offset_minutes", "Offset from UTC in minutes, for a time.", What::Whole(-840, 840), "null"),
        optional(
            "value",
            "The value; the limit for `<` and `>`; left out for an interval.",
            What::Number(-LARGEST, LARGEST),
            "5",
        ),
        optional("lower", "Lower end of an interval.", What::Number(-LARGEST, LARGEST), "null"),
        optional("upper", "Upper end of an interval.", What::Number(-LARGEST, LARGEST), "null"),
        optional(
            "qualifier",
            "How exactly it was read; without it `=`, or `interval` where only ends are given.",
            What::Word(qualifiers),
            "\"=\"",
        ),
        optional(
            "unit",
            "Unit of the numbers, as members write it; without it the parameter's own.",
            What::Text(40),
            "\"mg/L\"",
        ),
        optional(
            "basis",
            "What the number counts, where the unit leaves it open: `NO3`, `NO3-N`, `PO4`, `P`, or a gravity reference.",
            What::Text(40),
            "null",
        ),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (tank, specimen) = placed(values, faults);
        let (code, on) = (values.parameter("parameter")?, values.day("taken_on")?);
        let parameter = code.get();
        let (value, lower, upper) = (values.number("value"), values.number("lower"), values.number("upper"));
        let said = values.text("qualifier");
        let ends = lower.is_some() || upper.is_some();
        let qualifier = said.as_deref().and_then(Qualifier::parse).unwrap_or(if value.is_none() && ends {
            Qualifier::Interval
        } else {
            Qualifier::Equal
        });
        let mut fault =
            |member: &str, code: &str, detail: String| faults.push(Fault::pointer(format!("/{member}"), code, detail));
        if values.whole("utc_offset_minutes").is_some() && values.time("taken_time").is_none() {
            fault(
                "taken_time",
                "missing",
                "'utc_offset_minutes' stands without 'taken_time'; give the time".to_owned(),
            );
        }
        match qualifier {
            Qualifier::Interval => {
                if value.is_some() {
                    fault("value", "conflict", "an interval has 'lower' and 'upper' and no 'value'".to_owned());
                }
                for (member, end) in [("lower", lower), ("upper", upper)] {
                    if end.is_none() {
                        fault(member, "missing", format!("'{member}' is missing: an interval has both ends"));
                    }
                }
            }
            _ => {
                if value.is_none() {
                    fault("value", "missing", "'value' is missing: the number that was read".to_owned());
                }
                if ends {
                    fault("lower", "conflict", "'lower' and 'upper' go with the qualifier 'interval'".to_owned());
                }
            }
        }
        let (unit, basis) = (values.text("unit"), values.text("basis"));
        let mut convert = |member: &str, number: Option<f64>| {
            let number = number?;
            let converted = match (&unit, &basis) {
                (None, None) => Ok(number),
                (unit, basis) => {
                    parameter.convert(number, unit.as_deref().unwrap_or(parameter.unit.as_str()), basis.as_deref())
                }
            };
            match converted {
                Ok(converted) if parameter.is_possible(converted) => Some(converted),
                Ok(converted) => {
                    let (low, high) = parameter.hard.unwrap_or((f64::MIN, f64::MAX));
                    let own = parameter.unit.as_str();
                    fault(
                        member,
                        "invalid",
                        format!(
                            "'{member}' is {converted} {own}; {} lies between {low} and {high} {own}: check the number and its unit",
                            parameter.name
                        ),
                    );
                    None
                }
                Err(error) => {
                    let place = if basis.is_some() && unit.is_none() { "basis" } else { "unit" };
                    fault(place, "invalid", error.to_string());
                    None
                }
            }
        };
        let value = convert("value", value);
        let (low, high) = (convert("lower", lower), convert("upper", upper));
        if low.zip(high).is_some_and(|(low, high)| low > high) {
            fault("upper", "conflict", "'upper' is below 'lower'; give them the other way round".to_owned());
        }
        let zero = qualifier == Qualifier::Equal && value == Some(0.0);
        if zero && parameter.zero == ZeroPolicy::NotPossible {
            fault(
                "value",
                "invalid",
                format!("'value' is 0, which {} cannot be; leave the test out if it was not taken", parameter.name),
            );
        }
        // Half an answer is none.
        if value.is_none() && low.is_none() && high.is_none() {
            return None;
        }
        let floor = parameter.hard.map(|(low, _)| low).filter(|low| *low >= 0.0).map(|_| 0.0);
        let (lower, upper) = match qualifier {
            Qualifier::Equal => (value, value),
            Qualifier::Below => (floor, value),
            Qualifier::Above => (value, None),
            Qualifier::Interval => (low, high),
        };
        let own = parameter.unit.as_str();
        let base = match base {
            Some(Record::Reading(base)) => Some(base),
            _ => None,
        };
        let shown = |number: Option<f64>| number.map(|number| number.to_string()).unwrap_or_default();
        let written = match qualifier {
            Qualifier::Interval => format!("{}–{}", shown(values.number("lower")), shown(values.number("upper"))),
            Qualifier::Equal => shown(values.number("value")),
            mark => format!("{}{}", mark.as_str(), shown(values.number("value"))),
        };
        let as_before = base
            .filter(|base| (base.value, base.lower, base.upper, base.qualifier) == (value, lower, upper, qualifier));
        Some(Record::Reading(Reading {
            tank,
            parameter: code,
            taken: Taken { on, time: values.time("taken_time"), offset_minutes: values.whole("utc_offset_minutes") },
            value: value.filter(|_| qualifier != Qualifier::Interval),
            lower,
            upper,
            unit: own.to_owned(),
            qualifier,
            flags: as_before.map_or_else(
                // As in a file: 0 where a test has a limit is a report of 0, not a value of 0.
                || {
                    if zero && parameter.zero == ZeroPolicy::Limit {
                        vec!["zero_reported".to_owned()]
                    } else {
                        Vec::new()
                    }
                },
                |base| base.flags.clone(),
            ),
            specimen,
            written_unit: as_before.and_then(|base| base.written_unit.clone()),
            written: as_before
                .map_or_else(|| format!("{written} {}", unit.as_deref().unwrap_or(own)), |base| base.written.clone()),
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Reading(test) = record else { return Map::new() };
        let is_span = test.qualifier == Qualifier::Interval;
        members(json!({
            "tank": test.tank, "specimen": test.specimen, "parameter": test.parameter, "taken_on": test.taken.on,
            "taken_time": test.taken.time.map(|time| time.format("%H:%M:%S").to_string()),
            "utc_offset_minutes": test.taken.offset_minutes, "value": test.value,
            "lower": test.lower.filter(|_| is_span), "upper": test.upper.filter(|_| is_span),
            "qualifier": test.qualifier.as_str(),
        }))
    }
}

impl Editable for InstrumentRecord {
    const KIND: Kind = Kind::Instrument;
    const REMOVABLE: bool = false;
    const NAME: &'static [&'static str] = &["tank", "parameter", "name"];
    const FIELDS: &'static [Field] = &[
        optional("tank", "Tank it serves; not said = all of the member's.", What::Tank, "null"),
        field("parameter", "What it measures.", What::Word(parameters), "\"nitrate\""),
        field("name", "Name as the member calls it.", What::Text(120), "\"Tidepool N\""),
        optional("step", "Smallest step, in the parameter's unit.", What::Number(1e-9, LARGEST), "1"),
        optional(
            "limit_value",
            "Smallest value it can show, in the parameter's unit.",
            What::Number(0.0, LARGEST),
            "0.5",
        ),
        optional("reference", "Reference temperatures of a specific gravity scale.", What::Word(references), "null"),
        optional("basis", "What the number counts: `NO3`, `NO3-N`, `PO4` or `P`.", What::Word(counted), "\"NO3\""),
        optional("calibrated_on", "Day it was last calibrated.", What::Day, "null"),
        optional("from_day", "In use from.", What::Day, "\"2024-01-01\""),
    ];

    fn record(values: &Values, _: Option<&Record>, _: &mut Vec<Fault>) -> Option<Record> {
        Some(Record::Instrument(Instrument {
            tank: values.text("tank"),
            parameter: values.parameter("parameter")?,
            name: values.text("name")?,
            step: values.number("step"),
            limit: values.number("limit_value"),
            reference: values.text("reference"),
            basis: values.text("basis"),
            calibrated_on: values.day("calibrated_on"),
            from: values.day("from_day"),
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Instrument(kit) = record else { return Map::new() };
        members(json!({
            "tank": kit.tank, "parameter": kit.parameter, "name": kit.name, "step": kit.step, "limit_value": kit.limit,
            "reference": kit.reference, "basis": kit.basis, "calibrated_on": kit.calibrated_on, "from_day": kit.from,
        }))
    }
}

fn references() -> Vec<&'static str> {
    vec!["25/25", "20/20", "60/60F", "15/15", "20/4"]
}

fn counted() -> Vec<&'static str> {
    vec!["NO3", "NO3-N", "PO4", "P"]
}

fn routines() -> Vec<&'static str> {
    ROUTINES.to_vec()
}

fn events() -> Vec<&'static str> {
    EVENTS.to_vec()
}

fn incidents() -> Vec<&'static str> {
    INCIDENTS.to_vec()
}

impl Editable for RoutineRecord {
    const KIND: Kind = Kind::Routine;
    const FIELDS: &'static [Field] = &[
        OF_TANK,
        OF_SPECIMEN,
        field("kind", "What was done regularly.", What::Word(routines), "\"target_feed\""),
        field(
            "rate",
            "How often, in words: `twice a week`, `daily`, `10 % a week`.",
            What::Text(200),
            "\"twice a week\"",
        ),
        optional(
            "per_week",
            "The same a week; without it worked out from the words, where they can be.",
            What::Number(0.0, 10_000.0),
            "2",
        ),
        field("from_day", "First day.", What::Day, "\"2025-01-01\""),
        optional("to_day", "Last day; not said = it goes on.", What::Day, "null"),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (tank, specimen) = placed(values, faults);
        let (from, to) = (values.day("from_day")?, values.day("to_day"));
        ordered(faults, "'from_day'", Some(from), to, "to_day");
        let rate = values.text("rate")?;
        let read = || match base {
            Some(Record::Routine(base)) if base.rate == rate => base.per_week,
            _ => find_routine_rate(&rate).map(|rate| rate.per_week()),
        };
        Some(Record::Routine(Routine {
            tank,
            specimen,
            routine: values.text("kind")?,
            per_week: values.number("per_week").or_else(read),
            rate,
            from,
            to,
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Routine(habit) = record else { return Map::new() };
        members(json!({
            "tank": habit.tank, "specimen": habit.specimen, "kind": habit.routine, "rate": habit.rate,
            // Words that say a rate say it anew when they change.
            "per_week": habit.per_week.filter(|rate| find_routine_rate(&habit.rate).map(|read| read.per_week()) != Some(*rate)),
            "from_day": habit.from, "to_day": habit.to,
        }))
    }
}

impl Editable for EventRecord {
    const KIND: Kind = Kind::Event;
    const FIELDS: &'static [Field] = &[
        OF_TANK,
        OF_SPECIMEN,
        field("kind", "What was done.", What::Word(events), "\"water_change\""),
        field("on_day", "Local day.", What::Day, "\"2025-06-14\""),
        optional("on_time", "Local time.", What::Time, "null"),
        optional("amount", "How much.", What::Number(0.0, LARGEST), "30"),
        optional("unit", "Unit of the amount.", What::Text(20), "\"L\""),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (tank, specimen) = placed(values, faults);
        let (event, on) = (values.text("kind")?, values.day("on_day")?);
        let (amount, said) = (values.number("amount"), values.text("unit"));
        let unit = said.as_deref().and_then(|text| find_unit(text).map(|found| found.unit));
        match (amount, &said, unit) {
            (None, Some(_), _) => {
                faults.push(Fault::pointer("/amount", "missing", "'unit' stands without 'amount'; give the number"))
            }
            (_, Some(text), None) => {
                let detail = format!("'unit' is '{text}', which is no unit that is read; write 'L', 'mL', 'g' or '%'");
                faults.push(Fault::pointer("/unit", "invalid", detail));
            }
            _ => {}
        }
        // In the unit that events of the kind are counted in, as far as it converts.
        let parameter =
            catalogue().parameters().iter().find(|row| row.code.as_str() == event && row.event_unit.is_some());
        let (kept, kept_unit) = match (amount, unit, parameter) {
            (Some(number), Some(unit), Some(parameter)) if unit.as_str() != "%" => {
                match (parameter.convert_event(number, unit.as_str()), parameter.event_unit) {
                    (Ok(number), Some(own)) => (Some(number), Some(own.as_str().to_owned())),
                    (Err(error), _) => {
                        faults.push(Fault::pointer("/unit", "invalid", error.to_string()));
                        (None, None)
                    }
                    (Ok(_), None) => (None, None),
                }
            }
            (amount, unit, _) => (amount, unit.map(|unit| unit.as_str().to_owned())),
        };
        let written = match base {
            Some(Record::Event(base)) if (base.amount, &base.unit, &base.event) == (kept, &kept_unit, &event) => {
                base.written.clone()
            }
            _ => [amount.map(|number| number.to_string()), said].into_iter().flatten().collect::<Vec<_>>().join(" "),
        };
        let offset_minutes = match base {
            Some(Record::Event(base)) if base.taken.time.is_some() && base.taken.time == values.time("on_time") => {
                base.taken.offset_minutes
            }
            _ => None,
        };
        Some(Record::Event(Event {
            tank,
            specimen,
            taken: Taken { on, time: values.time("on_time"), offset_minutes },
            amount: kept,
            unit: kept_unit,
            written: if written.is_empty() { event.clone() } else { written },
            event,
            place: Place::default(),
        }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Event(event) = record else { return Map::new() };
        members(json!({
            "tank": event.tank, "specimen": event.specimen, "kind": event.event, "on_day": event.taken.on,
            "on_time": event.taken.time.map(|time| time.format("%H:%M:%S").to_string()), "amount": event.amount, "unit": event.unit,
        }))
    }
}

impl Editable for IncidentRecord {
    const KIND: Kind = Kind::Incident;
    const FIELDS: &'static [Field] = &[
        OF_TANK,
        OF_SPECIMEN,
        field("kind", "What happened.", What::Word(incidents), "\"power_cut\""),
        field("from_day", "First day.", What::Day, "\"2025-06-14\""),
        optional("to_day", "Last day.", What::Day, "\"2025-06-14\""),
    ];

    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record> {
        let (tank, specimen) = placed(values, faults);
        let (incident, from, to) = (values.text("kind")?, values.day("from_day")?, values.day("to_day"));
        ordered(faults, "'from_day'", Some(from), to, "to_day");
        let written = match base {
            Some(Record::Incident(base)) if base.incident == incident => base.written.clone(),
            _ => incident.clone(),
        };
        Some(Record::Incident(Incident { tank, specimen, incident, from, to, written, place: Place::default() }))
    }

    fn members(record: &Record) -> Map<String, Value> {
        let Record::Incident(incident) = record else { return Map::new() };
        members(json!({
            "tank": incident.tank, "specimen": incident.specimen, "kind": incident.incident, "from_day": incident.from,
            "to_day": incident.to,
        }))
    }
}
