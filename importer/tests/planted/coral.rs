//! Mistakes in lists of corals, diaries and sizes.

use analysis::vocabulary::Fate;
use importer::grid::Raw;
use importer::record::{Ending, Record, Sizing, Specimen};
use serde_json::json;

use crate::Remedy;
use crate::day::misspelt;
use crate::host::{Cell, Expect, Host, Plant, Planter, asked, plain};

/// What is known of a coral while a question about it is open.
const CHANGES: &[&str] = &["specimen", "stay", "ending", "sighting", "identification", "placement", "tank"];

/// All of them.
pub const PLANTERS: &[Planter] = &[
    Planter { name: "a fate that may mean anything", plant: fate_word },
    Planter { name: "a death without its day", plant: death_without_day },
    Planter { name: "an end before the start", plant: end_before_start },
    Planter { name: "alive with an end date", plant: alive_and_ended },
    Planter { name: "a name nobody knows", plant: name_unknown },
    Planter { name: "a name with a letter dropped (read)", plant: name_misspelt },
    Planter { name: "an ambiguous trade name", plant: name_ambiguous },
    Planter { name: "two living corals of one label", plant: label_twice },
    Planter { name: "a coral that no list holds", plant: coral_unknown },
    Planter { name: "a size without its unit", plant: size_unit },
];

fn specimens(host: &Host) -> impl Iterator<Item = (&Specimen, Cell)> {
    host.outcome.records.iter().filter_map(|record| match record {
        Record::Specimen(specimen) if specimen.held.is_empty() => {
            Some((specimen, (host.sheet(specimen.place.sheet.as_deref()), specimen.place.row, specimen.place.column)))
        }
        _ => None,
    })
}

fn endings(host: &Host) -> impl Iterator<Item = &Ending> {
    host.outcome.records.iter().filter_map(|record| match record {
        Record::Ending(ending) if !ending.date_held => Some(ending),
        _ => None,
    })
}

/// The cell of a record that gave something.
fn cell(host: &Host, record: &importer::record::Place, role: &str) -> Option<Cell> {
    let cell = record.cells.iter().find(|cell| cell.role == role)?;
    Some((host.sheet(cell.sheet.as_deref()), cell.row, cell.column))
}

fn plant(host: &Host, place: Cell, text: Option<&str>, expect: Expect) -> Plant {
    Plant::cell(host, place, text.map(|text| Raw::Text(text.to_owned())), expect).changes(CHANGES)
}

/// A dead coral of a list with a cell for its fate alone and one for its day.
fn dead(host: &Host) -> Option<(&Ending, Cell, Cell)> {
    if !host.outcome.about.register {
        return None;
    }
    endings(host)
        .filter(|ending| ending.fate == Some(Fate::Died) && ending.cause.is_none() && ending.manner.is_empty())
        .find_map(|ending| {
            let (fate, day) = (cell(host, &ending.place, "fate")?, cell(host, &ending.place, "date")?);
            (fate != day && host.at(fate).is_some()).then_some((ending, fate, day))
        })
}

fn fate_word(host: &Host) -> Option<Plant> {
    let (_, fate, _) = dead(host)?;
    let expect = Expect::Ask { codes: &["fate_word_unclear"], answer: Remedy::Choice("died", None), restores: true };
    Some(plant(host, fate, Some("gone"), expect))
}

fn death_without_day(host: &Host) -> Option<Plant> {
    let (ending, _, day) = dead(host)?;
    let latest = ending.latest?;
    if ending.earliest != Some(latest) {
        return None;
    }
    let expect = Expect::Ask {
        codes: &["death_without_date"],
        answer: Remedy::Needing("day", json!(latest.to_string())),
        restores: true,
    };
    let mut planted = plant(host, day, None, expect);
    planted.cells = Vec::new();
    Some(planted)
}

fn end_before_start(host: &Host) -> Option<Plant> {
    let (ending, _, day) = dead(host)?;
    let acquired = specimens(host).find(|(specimen, _)| specimen.label == ending.specimen)?.0.acquired?;
    let year = chrono::Datelike::year(&ending.latest?).to_string();
    let before = (chrono::Datelike::year(&acquired.earliest?) - 2).to_string();
    let Some(Raw::Text(text)) = host.at(day) else { return None };
    if !text.contains(&year) {
        return None;
    }
    let text = text.replacen(&year, &before, 1);
    let expect = Expect::Ask { codes: &["end_before_start"], answer: Remedy::Choice("swap", None), restores: false };
    Some(plant(host, day, Some(&text), expect))
}

fn alive_and_ended(host: &Host) -> Option<Plant> {
    let (_, fate, _) = dead(host)?;
    let expect = Expect::Ask { codes: &["fate_contradicts"], answer: Remedy::Choice("died", None), restores: false };
    Some(plant(host, fate, Some("alive"), expect))
}

/// A coral whose name stands alone in a cell of its own, apart from its label.
fn named(host: &Host) -> Option<(&Specimen, Cell)> {
    specimens(host).find_map(|(specimen, _)| {
        let place = cell(host, &specimen.place, "taxon").or_else(|| cell(host, &specimen.place, "name"))?;
        let label = cell(host, &specimen.place, "label");
        let Some(Raw::Text(text)) = host.at(place) else { return None };
        let alone = text.trim() == specimen.written.trim()
            && host
                .outcome
                .records
                .iter()
                .filter(|record| matches!(record, Record::Specimen(other) if other.written == specimen.written))
                .count()
                == 1;
        (alone
            && label.is_some_and(|label| label != place)
            && specimen.rank.as_deref() == Some("species")
            && specimen.character.is_none())
        .then_some((specimen, place))
    })
}

fn name_unknown(host: &Host) -> Option<Plant> {
    let (specimen, place) = named(host)?;
    let expect = Expect::Ask {
        codes: &["name_unknown"],
        answer: Remedy::Needing("taxon", json!(specimen.taxon?.as_str())),
        restores: false,
    };
    Some(plant(host, place, Some("Zorblax quendii"), expect))
}

fn name_misspelt(host: &Host) -> Option<Plant> {
    let (_, place) = named(host)?;
    let Some(Raw::Text(text)) = host.at(place) else { return None };
    let mut planted = plant(host, place, Some(&misspelt(text)?), Expect::Same);
    planted.changes = &[];
    Some(planted)
}

fn name_ambiguous(host: &Host) -> Option<Plant> {
    let (_, place) = named(host)?;
    let expect = Expect::Ask { codes: &["name_ambiguous"], answer: Remedy::Choice("goniopora", None), restores: false };
    Some(plant(host, place, Some("flowerpot"), expect))
}

fn label_twice(host: &Host) -> Option<Plant> {
    let living = |specimen: &Specimen| !endings(host).any(|ending| ending.specimen == specimen.label);
    let mut labelled = specimens(host).filter(|(specimen, _)| living(specimen)).filter_map(|(specimen, _)| {
        let place = cell(host, &specimen.place, "label")?;
        (host.at(place)?.written().trim() == specimen.label).then_some((specimen, place))
    });
    let (first, _) = labelled.next()?;
    let (second, place) = labelled.find(|(second, _)| second.taxon != first.taxon)?;
    // What other tables say of the second would have nobody to be about.
    let named_elsewhere = host.outcome.records.iter().any(|record| {
        let place = record.place();
        place.row != second.place.row
            && importer_label(record).is_some_and(|label| label == second.label || label == first.label)
            && place.row != first.place.row
    });
    if named_elsewhere {
        return None;
    }
    let expect = Expect::Ask { codes: &["label_twice"], answer: Remedy::Choice("two", None), restores: false };
    Some(plant(host, place, Some(&first.label), expect))
}

/// The label that a record names.
fn importer_label(record: &Record) -> Option<&str> {
    match record {
        Record::Sighting(sighting) => Some(&sighting.specimen),
        Record::Sizing(sizing) => Some(&sizing.specimen),
        Record::Ending(ending) => Some(&ending.specimen),
        Record::Identification(identification) => Some(&identification.specimen),
        _ => None,
    }
}

fn sizings(host: &Host) -> impl Iterator<Item = (&Sizing, Cell)> {
    host.outcome.records.iter().filter_map(|record| match record {
        Record::Sizing(sizing) => {
            Some((sizing, (host.sheet(sizing.place.sheet.as_deref()), sizing.place.row, sizing.place.column)))
        }
        _ => None,
    })
}

fn coral_unknown(host: &Host) -> Option<Plant> {
    let known = !host.context.specimens.is_empty() || specimens(host).next().is_some();
    let (sizing, _) = sizings(host).filter(|_| known).nth(1)?;
    let place = cell(host, &sizing.place, "label")?;
    if place.1 != sizing.place.row {
        return None;
    }
    let expect = Expect::Ask {
        codes: &["coral_unknown"],
        answer: Remedy::Needing("text", json!(sizing.specimen)),
        restores: true,
    };
    Some(plant(host, place, Some("Qwert 9"), expect))
}

fn size_unit(host: &Host) -> Option<Plant> {
    let (sizing, place) = sizings(host).find(|(sizing, place)| {
        let written = sizing.written.trim();
        let number = written.trim_end_matches(|letter: char| letter.is_ascii_alphabetic() || letter == ' ');
        plain(number).is_some()
            && sizing.unit == "mm"
            && sizing.written.trim().ends_with(|letter: char| letter.is_ascii_alphabetic())
            && matches!(host.at(*place), Some(Raw::Text(text)) if text.trim() == sizing.written.trim())
    })?;
    let number = sizing.written.trim().trim_end_matches(|letter: char| letter.is_ascii_alphabetic() || letter == ' ');
    plain(number)?;
    let unit = sizing.written.trim()[number.len()..].trim().to_owned();
    if !matches!(unit.as_str(), "cm" | "mm") {
        return None;
    }
    let mut planted = plant(host, place, Some(number), asked(&["size_unit_missing"]));
    planted.expect = Expect::Ask {
        codes: &["size_unit_missing"],
        answer: Remedy::Choice(if unit == "cm" { "cm" } else { "mm" }, None),
        restores: true,
    };
    Some(planted)
}
