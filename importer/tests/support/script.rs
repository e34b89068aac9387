//! A reader for tests of the loader: files are scripts that say their records and questions outright, so that
//! loading is tested on any records without depending on how spreadsheets are read.
#![allow(dead_code, reason = "each test program uses its own part")]

use std::collections::BTreeMap;

use analysis::vocabulary::{CauseGroup, Fate, ParameterCode, TaxonSlug};
use chrono::NaiveDate;
use importer::context::{About, Context, Outcome};
use importer::finding::{CellCounts, Choice, Finding, Severity};
use importer::record::packed::{PackError, Packed};
use importer::record::{
    CellRef, DaySpan, Ending, Event, HeldFact, Identification, Instrument, Place, Qualifier, Reading, Record, Routine,
    Sighting, Sizing, Specimen, Stay, Taken, Tank,
};
use serde::{Deserialize, Serialize};

/// A file of a test.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Script {
    /// What it says about itself.
    pub about: About,
    /// Records that load.
    pub records: Vec<Record>,
    /// Questions.
    pub questions: Vec<Question>,
    /// Tells files with equal content apart.
    pub salt: u32,
}

/// A question of a test.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Question {
    /// Key, `code` or `code:…`.
    pub key: String,
    /// What a choice's value must be.
    pub needs: Option<String>,
    /// Records that load while it is open.
    pub meanwhile: Vec<Record>,
    /// Records that load once it is answered, by choice.
    pub answered: BTreeMap<String, Vec<Record>>,
}

impl Script {
    /// A file of a shape.
    pub fn new(shape: &str, records: Vec<Record>) -> Self {
        let mut script = Script { records, ..Script::default() };
        script.about.shape = shape.to_owned();
        script.about.interpreter = 1;
        script
    }

    /// True on a day.
    pub fn true_on(mut self, on: &str) -> Self {
        self.about.as_of = Some(day(on));
        self.about.last_day = self.about.last_day.or(Some(day(on)));
        self
    }

    /// Its first day.
    pub fn from(mut self, on: &str) -> Self {
        self.about.first_day = Some(day(on));
        self
    }

    /// Its bytes.
    pub fn bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("a script is JSON")
    }
}

/// Reads a script.
pub fn read_packed(name: &str, bytes: &[u8], context: &Context) -> Result<(Outcome, Packed), PackError> {
    let mut outcome = read(name, bytes, context);
    let packed = Packed::of(std::mem::take(&mut outcome.records))?;
    Ok((outcome, packed))
}

/// A script as an outcome.
pub fn read(name: &str, bytes: &[u8], context: &Context) -> Outcome {
    let script: Script = match serde_json::from_slice(bytes) {
        Ok(script) => script,
        Err(error) => {
            let finding = finding("file_kind_unknown", "file_kind_unknown", Severity::Refused, &error.to_string());
            return Outcome {
                file: name.to_owned(),
                today: context.today,
                records: Vec::new(),
                findings: vec![finding],
                cells: CellCounts::default(),
                about: About::default(),
            };
        }
    };
    let mut records = script.records;
    for (at, record) in records.iter_mut().enumerate() {
        let place = record.place_mut();
        if place.row == 0 {
            place.row = u32::try_from(at).expect("few records") + 2;
            place.column = 2;
        }
        if place.cells.is_empty() {
            place.cells = vec![CellRef { sheet: None, row: place.row, column: place.column, role: "value".to_owned() }];
        }
    }
    let mut about = script.about;
    about.as_of = context.as_of.or(about.as_of);
    let (mut findings, mut held) = (Vec::new(), 0);
    for question in script.questions {
        let given = context.answers.iter().rev().find(|answer| answer.key == question.key);
        match given.and_then(|answer| question.answered.get(&answer.choice)) {
            Some(answered) => records.extend(answered.iter().cloned()),
            None => {
                let code = question.key.split(':').next().expect("a code");
                let mut asked = finding(code, &question.key, Severity::Questioned, "?");
                asked.choices = question
                    .answered
                    .keys()
                    .map(|choice| Choice { code: choice.clone(), label: choice.clone(), needs: question.needs.clone() })
                    .chain([Choice { code: "dont_know".into(), label: "don't know".into(), needs: None }])
                    .collect();
                asked.answered = given.map(|answer| answer.choice.clone());
                findings.push(asked);
                held += 1;
                records.extend(question.meanwhile);
            }
        }
    }
    let recorded = records.len() as u64;
    let cells = CellCounts { total: recorded + held, recorded, labels: 0, findings: held };
    Outcome { file: name.to_owned(), today: context.today, records, findings, cells, about }
}

fn finding(code: &str, key: &str, severity: Severity, message: &str) -> Finding {
    Finding {
        severity,
        code: code.to_owned(),
        key: key.to_owned(),
        sheet: None,
        row: None,
        column: None,
        written: String::new(),
        message: message.to_owned(),
        remedy: "correct it".to_owned(),
        choices: Vec::new(),
        proposed: None,
        held: Vec::new(),
        cells: Vec::new(),
        answered: None,
    }
}

/// A day.
pub fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// A nitrate test of a tank on a day.
pub fn nitrate(tank: &str, on: &str, value: f64) -> Record {
    reading(tank, "nitrate", on, value)
}

/// A test.
pub fn reading(tank: &str, parameter: &str, on: &str, value: f64) -> Record {
    Record::Reading(Reading {
        tank: Some(tank.to_owned()),
        parameter: ParameterCode::parse(parameter).expect("a parameter"),
        taken: on.parse::<Taken>().expect("a day"),
        value: Some(value),
        lower: Some(value),
        upper: Some(value),
        unit: "mg/L".to_owned(),
        qualifier: Qualifier::Equal,
        flags: Vec::new(),
        specimen: None,
        written_unit: None,
        written: value.to_string(),
        place: Place::default(),
    })
}

/// A tank.
pub fn tank(name: &str) -> Record {
    Record::Tank(Tank { name: name.to_owned(), ..Tank::default() })
}

/// A Goniopora in a tank since a day.
pub fn specimen(label: &str, tank: &str, acquired: &str) -> Record {
    Record::Specimen(Specimen {
        label: label.to_owned(),
        written: "Goniopora".to_owned(),
        taxon: TaxonSlug::parse("goniopora"),
        rank: Some("genus".to_owned()),
        confidence: Some("likely".to_owned()),
        acquired: Some(DaySpan::day(day(acquired))),
        tank: Some(tank.to_owned()),
        ..Specimen::default()
    })
}

/// A specimen changed.
pub fn with(record: Record, change: impl FnOnce(&mut Specimen)) -> Record {
    match record {
        Record::Specimen(mut specimen) => {
            change(&mut specimen);
            Record::Specimen(specimen)
        }
        other => other,
    }
}

/// A specimen whose fact waits.
pub fn held(record: Record, fact: HeldFact) -> Record {
    with(record, |specimen| specimen.held.push(fact))
}

/// A record in a row of the file.
pub fn in_row(mut record: Record, row: u32) -> Record {
    record.place_mut().row = row;
    record.place_mut().column = 5;
    record
}

/// A death on a written day.
pub fn died(label: &str, on: &str) -> Record {
    ended(label, Some(Fate::Died), Some(on), Some(on))
}

/// An ending.
pub fn ended(label: &str, fate: Option<Fate>, earliest: Option<&str>, latest: Option<&str>) -> Record {
    Record::Ending(Ending {
        specimen: label.to_owned(),
        fate,
        cause_group: CauseGroup::Unknown,
        cause: None,
        other_causes: Vec::new(),
        manner: Vec::new(),
        leaving: None,
        condition: "not_said".to_owned(),
        earliest: earliest.map(day),
        latest: latest.map(day),
        written_day: earliest.is_some() && earliest == latest,
        date_held: earliest.is_none() && latest.is_none(),
        written: "dead".to_owned(),
        place: Place::default(),
    })
}

/// A look.
pub fn seen(label: &str, on: &str, source: &str) -> Record {
    Record::Sighting(Sighting {
        specimen: label.to_owned(),
        on: day(on),
        status: "alive".to_owned(),
        source: source.to_owned(),
        condition: None,
        polyp_extension: None,
        tissue_cover: None,
        colour: None,
        remark: None,
        place: Place::default(),
    })
}

/// A size in mm.
pub fn sized(label: &str, on: &str, value: f64, after_cut: bool) -> Record {
    Record::Sizing(Sizing {
        specimen: label.to_owned(),
        measure: "max_diameter".to_owned(),
        basis: "skeleton".to_owned(),
        value,
        unit: "mm".to_owned(),
        on: day(on),
        after_cut,
        written: value.to_string(),
        place: Place::default(),
    })
}

/// A move into a tank.
pub fn moved(label: &str, tank: &str, from: &str) -> Record {
    Record::Stay(Stay {
        specimen: label.to_owned(),
        tank: tank.to_owned(),
        from: Some(DaySpan::day(day(from))),
        to: None,
        place: Place::default(),
    })
}

/// A later name.
pub fn named(label: &str, taxon: &str, on: &str) -> Record {
    Record::Identification(Identification {
        specimen: label.to_owned(),
        written: taxon.to_owned(),
        taxon: TaxonSlug::parse(taxon).expect("a taxon"),
        confidence: Some("certain".to_owned()),
        character: None,
        on: day(on),
        place: Place::default(),
    })
}

/// Something done once.
pub fn event(tank: &str, specimen: Option<&str>, kind: &str, on: &str) -> Record {
    Record::Event(Event {
        tank: Some(tank.to_owned()),
        specimen: specimen.map(str::to_owned),
        event: kind.to_owned(),
        taken: on.parse().expect("a day"),
        amount: None,
        unit: None,
        written: kind.to_owned(),
        place: Place::default(),
    })
}

/// A habit of a tank.
pub fn habit(tank: &str, kind: &str, per_week: f64, from: &str) -> Record {
    Record::Routine(Routine {
        tank: Some(tank.to_owned()),
        specimen: None,
        routine: kind.to_owned(),
        rate: format!("{per_week} a week"),
        per_week: Some(per_week),
        from: day(from),
        to: None,
        place: Place::default(),
    })
}

/// A nitrate kit.
pub fn kit(name: &str, tank: Option<&str>, from: Option<&str>) -> Record {
    Record::Instrument(Instrument {
        tank: tank.map(str::to_owned),
        parameter: ParameterCode::parse("nitrate").expect("a parameter"),
        name: name.to_owned(),
        step: Some(1.0),
        limit: Some(1.0),
        reference: None,
        basis: Some("NO3".to_owned()),
        calibrated_on: None,
        from: from.map(day),
        place: Place::default(),
    })
}
