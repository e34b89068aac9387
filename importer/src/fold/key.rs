//! Names of facts: text that is unique per keeper and kind and stays the same when a file is sent again.
//!
//! A *slot* says what a fact is about (tank, time and parameter; specimen and day). Some kinds have one fact
//! per slot, others several, told apart by an ordinal. Keys never hold a database's number.

use crate::record::{DaySpan, Record};

/// Kind of a record, parents before those that refer to them. The code is the table's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A tank.
    Tank,
    /// A test kit or probe.
    Instrument,
    /// A coral or kin.
    Specimen,
    /// A water test.
    Reading,
    /// A dated name.
    Identification,
    /// A specimen in a tank.
    Stay,
    /// A place within a tank.
    Placement,
    /// A look.
    Sighting,
    /// A size.
    Sizing,
    /// A fate.
    Ending,
    /// A habit.
    Routine,
    /// One deed.
    Event,
    /// Something that happened.
    Incident,
}

impl Kind {
    /// All kinds, in order.
    pub const ALL: [Kind; 13] = [
        Kind::Tank,
        Kind::Instrument,
        Kind::Specimen,
        Kind::Reading,
        Kind::Identification,
        Kind::Stay,
        Kind::Placement,
        Kind::Sighting,
        Kind::Sizing,
        Kind::Ending,
        Kind::Routine,
        Kind::Event,
        Kind::Incident,
    ];

    /// The kind of a record.
    pub const fn of(record: &Record) -> Self {
        match record {
            Record::Tank(_) => Kind::Tank,
            Record::Instrument(_) => Kind::Instrument,
            Record::Specimen(_) => Kind::Specimen,
            Record::Reading(_) => Kind::Reading,
            Record::Identification(_) => Kind::Identification,
            Record::Stay(_) => Kind::Stay,
            Record::Placement(_) => Kind::Placement,
            Record::Sighting(_) => Kind::Sighting,
            Record::Sizing(_) => Kind::Sizing,
            Record::Ending(_) => Kind::Ending,
            Record::Routine(_) => Kind::Routine,
            Record::Event(_) => Kind::Event,
            Record::Incident(_) => Kind::Incident,
        }
    }

    /// Name of the table and code in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Kind::Tank => "tank",
            Kind::Instrument => "instrument",
            Kind::Specimen => "specimen",
            Kind::Reading => "reading",
            Kind::Identification => "identification",
            Kind::Stay => "stay",
            Kind::Placement => "placement",
            Kind::Sighting => "sighting",
            Kind::Sizing => "sizing",
            Kind::Ending => "ending",
            Kind::Routine => "routine",
            Kind::Event => "event",
            Kind::Incident => "incident",
        }
    }

    /// `true` if several facts can share a slot: two tests of one moment, two feedings of one day.
    pub const fn repeats(self) -> bool {
        matches!(self, Kind::Reading | Kind::Sighting | Kind::Sizing | Kind::Routine | Kind::Event | Kind::Incident)
    }
}

/// A name compared without regard to case and spacing.
pub fn folded(name: &str) -> String {
    let mut folded = String::with_capacity(name.len());
    for word in name.split_whitespace() {
        if !folded.is_empty() {
            folded.push(' ');
        }
        for letter in word.chars().flat_map(char::to_lowercase) {
            match letter {
                // Marks that keys are put together with.
                '%' => folded.push_str("%25"),
                '|' => folded.push_str("%7c"),
                '@' => folded.push_str("%40"),
                '*' => folded.push_str("%2a"),
                other => folded.push(other),
            }
        }
    }
    folded
}

/// What a record is about.
pub fn slot(record: &Record) -> String {
    match record {
        Record::Tank(tank) => folded(&tank.name),
        Record::Instrument(kit) => {
            format!("{}|{}|{}", place(kit.tank.as_deref(), None), kit.parameter, folded(&kit.name))
        }
        Record::Specimen(specimen) => folded(&specimen.label),
        Record::Reading(reading) => {
            // An offset from UTC does not make it another test.
            let (on, time) = (reading.taken.on, reading.taken.time);
            let place = place(reading.tank.as_deref(), reading.specimen.as_deref());
            match time {
                None => format!("{place}|{on}|{}", reading.parameter),
                Some(time) => format!("{place}|{on}T{time}|{}", reading.parameter),
            }
        }
        Record::Identification(name) => format!("{}|{}", folded(&name.specimen), name.on),
        Record::Stay(stay) => format!("{}|{}", folded(&stay.specimen), span(stay.from)),
        Record::Placement(spot) => {
            let from = spot.from.map_or_else(|| "start".to_owned(), |from| from.to_string());
            format!("{}|{from}", folded(&spot.specimen))
        }
        Record::Sighting(look) => format!("{}|{}|{}", folded(&look.specimen), look.on, look.source),
        Record::Sizing(size) => format!("{}|{}|{}|{}", folded(&size.specimen), size.on, size.measure, size.basis),
        Record::Ending(ending) => folded(&ending.specimen),
        Record::Routine(habit) => {
            format!("{}|{}|{}", place(habit.tank.as_deref(), habit.specimen.as_deref()), habit.routine, habit.from)
        }
        Record::Event(event) => {
            let place = place(event.tank.as_deref(), event.specimen.as_deref());
            match event.taken.time {
                None => format!("{place}|{}|{}", event.event, event.taken.on),
                Some(time) => format!("{place}|{}|{}T{time}", event.event, event.taken.on),
            }
        }
        Record::Incident(incident) => {
            let place = place(incident.tank.as_deref(), incident.specimen.as_deref());
            format!("{place}|{}|{}", incident.incident, incident.from)
        }
    }
}

/// A specimen's spot if one is named, since it stands in one tank at a time; else the tank.
fn place(tank: Option<&str>, specimen: Option<&str>) -> String {
    match (specimen, tank) {
        (Some(specimen), _) => format!("@{}", folded(specimen)),
        (None, Some(tank)) => folded(tank),
        (None, None) => "*".to_owned(),
    }
}

fn span(from: Option<DaySpan>) -> String {
    let day = |day: Option<chrono::NaiveDate>| day.map_or_else(|| "?".to_owned(), |day| day.to_string());
    match from {
        None => "start".to_owned(),
        Some(DaySpan { earliest, latest }) if earliest == latest => day(earliest),
        Some(DaySpan { earliest, latest }) => format!("{}/{}", day(earliest), day(latest)),
    }
}

/// The label of the specimen that a record is about, if it is about one.
pub fn specimen_of(record: &Record) -> Option<&str> {
    match record {
        Record::Tank(_) | Record::Instrument(_) => None,
        Record::Specimen(specimen) => Some(&specimen.label),
        Record::Reading(reading) => reading.specimen.as_deref(),
        Record::Identification(name) => Some(&name.specimen),
        Record::Stay(stay) => Some(&stay.specimen),
        Record::Placement(spot) => Some(&spot.specimen),
        Record::Sighting(look) => Some(&look.specimen),
        Record::Sizing(size) => Some(&size.specimen),
        Record::Ending(ending) => Some(&ending.specimen),
        Record::Routine(habit) => habit.specimen.as_deref(),
        Record::Event(event) => event.specimen.as_deref(),
        Record::Incident(incident) => incident.specimen.as_deref(),
    }
}

/// Tank names that a record mentions.
pub fn tanks_of(record: &Record) -> Option<&str> {
    match record {
        Record::Tank(tank) => Some(&tank.name),
        Record::Instrument(kit) => kit.tank.as_deref(),
        Record::Specimen(specimen) => specimen.tank.as_deref(),
        Record::Reading(reading) => reading.tank.as_deref(),
        Record::Stay(stay) => Some(&stay.tank),
        Record::Routine(habit) => habit.tank.as_deref(),
        Record::Event(event) => event.tank.as_deref(),
        Record::Incident(incident) => incident.tank.as_deref(),
        Record::Identification(_)
        | Record::Placement(_)
        | Record::Sighting(_)
        | Record::Sizing(_)
        | Record::Ending(_) => None,
    }
}

/// `true` if two records say the same, wherever and however they were written.
pub fn same(left: &Record, right: &Record) -> bool {
    // Taking the records apart without `..` makes a new field a question to the compiler.
    macro_rules! equal {
        ($kind:ident { $($field:ident),* ; $($passed:ident),* }) => {{
            let (Record::$kind(left), Record::$kind(right)) = (left, right) else { return false };
            let crate::record::$kind { $($field: _,)* $($passed: _,)* } = left;
            true $(&& left.$field == right.$field)*
        }};
    }
    match left {
        Record::Tank(_) => equal!(Tank { name, litres, started, closed, closed_why; place }),
        Record::Reading(_) => {
            equal!(Reading { tank, parameter, taken, value, lower, upper, unit, qualifier, flags, specimen, written_unit; written, place })
        }
        Record::Specimen(_) => equal!(Specimen {
            label, written, taxon, rank, confidence, character, origin, origin_basis, source_kind, source_name, acquired,
            tank, form, size_mm, condition, days_at_seller, parent, line, held; place
        }),
        Record::Identification(_) => {
            equal!(Identification { specimen, written, taxon, confidence, character, on; place })
        }
        Record::Stay(_) => equal!(Stay { specimen, tank, from, to; place }),
        Record::Placement(_) => {
            equal!(Placement { specimen, from, height, par, flow, stinging_neighbour; place })
        }
        Record::Sighting(_) => equal!(Sighting {
            specimen, on, status, source, condition, polyp_extension, tissue_cover, colour, remark; place
        }),
        Record::Sizing(_) => {
            equal!(Sizing { specimen, measure, basis, value, unit, on, after_cut; written, place })
        }
        Record::Ending(_) => equal!(Ending {
            specimen, fate, cause_group, cause, other_causes, manner, leaving, condition, earliest, latest, written_day,
            date_held; written, place
        }),
        Record::Routine(_) => {
            equal!(Routine { tank, specimen, routine, rate, per_week, from, to; place })
        }
        Record::Event(_) => {
            equal!(Event { tank, specimen, event, taken, amount, unit; written, place })
        }
        Record::Incident(_) => {
            equal!(Incident { tank, specimen, incident, from, to; written, place })
        }
        Record::Instrument(_) => {
            equal!(Instrument { tank, parameter, name, step, limit, reference, basis, calibrated_on, from; place })
        }
    }
}

/// `true` if two records of one slot, from two logs, are one fact: spelling, flags and remarks aside.
pub fn agrees(left: &Record, right: &Record) -> bool {
    match (left, right) {
        (Record::Reading(left), Record::Reading(right)) => {
            (left.value, left.lower, left.upper, left.qualifier)
                == (right.value, right.lower, right.upper, right.qualifier)
        }
        (Record::Sighting(left), Record::Sighting(right)) => {
            left.status == right.status
                && left.condition == right.condition
                && left.polyp_extension == right.polyp_extension
                && left.tissue_cover == right.tissue_cover
                && left.colour == right.colour
        }
        (Record::Sizing(left), Record::Sizing(right)) => left.value == right.value && left.unit == right.unit,
        (Record::Event(left), Record::Event(right)) => left.amount == right.amount && left.unit == right.unit,
        (Record::Routine(left), Record::Routine(right)) => {
            left.per_week == right.per_week
                && left.to == right.to
                && (left.per_week.is_some() || folded(&left.rate) == folded(&right.rate))
        }
        (Record::Incident(left), Record::Incident(right)) => left.to == right.to,
        _ => same(left, right),
    }
}
