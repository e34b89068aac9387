//! Sizes on their way to records: unit, basis, doubts, jumps.

use std::collections::BTreeMap;

use analysis::vocabulary::{Measure, UnitCode};

use crate::canonical::corals::{self, CoralOf};
use crate::canonical::date_column::DayOf;
use crate::canonical::{Cells, Work};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::finding::Choice;
use crate::record::{Record, Sizing};

/// A size cell.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    /// Coral.
    pub coral: CoralOf,
    /// Its label as written.
    pub coral_written: String,
    /// What was measured.
    pub measure: &'static Measure,
    /// On what.
    pub basis: Option<&'static str>,
    /// As written.
    pub value: f64,
    /// Unit, if stated.
    pub unit: Option<UnitCode>,
    /// Day.
    pub day: DayOf,
    /// Cells.
    pub cells: Cells,
    /// As written.
    pub written: String,
    /// Line.
    pub line: Option<u32>,
    /// First after a cut.
    pub after_cut: bool,
    /// "~".
    pub approximate: bool,
    /// "?".
    pub doubted: bool,
    /// Column in finding keys.
    pub about: String,
    /// Column as written.
    pub header: String,
    /// The cell.
    pub spot: Spot,
}

impl Draft {
    fn doubt(&self, code: &'static str) -> Doubt {
        Doubt::of(code)
            .at(self.spot, &self.written)
            .fill("column", &self.header)
            .fill("header", &self.header)
            .fill("written", &self.written)
            .fill("value", &self.written)
            .fill("label", &self.coral_written)
    }

    /// Size in the measure's unit.
    fn size(&self) -> Option<f64> {
        let unit = if self.measure.unit.as_str() == "1" { Some(self.measure.unit) } else { self.unit };
        self.measure.convert(self.value, unit?.as_str())
    }
}

/// Settles and records the sizes of a diary.
///
/// `about` names the table in the question what was measured.
pub(crate) fn settle(work: &mut Work, about: &str, mut drafts: Vec<Draft>) {
    drafts.retain_mut(|draft| doubted(work, draft));
    units(work, &mut drafts);
    drafts.retain_mut(|draft| bases(work, about, draft));
    drafts.retain(|draft| possible(work, draft));
    jumps(work, &drafts);
    for draft in drafts {
        record(work, draft);
    }
}

/// Puts a question; `true` if an answer is to be applied.
fn put<'w>(work: &mut Work<'w>, draft: &Draft, about: &str, doubt: Doubt) -> Option<Settled<'w>> {
    let settled = work.desk.ask(doubt.code(), about);
    match settled {
        Settled::Open | Settled::DontKnow => {
            work.desk.raise(doubt.about(about).cells(draft.cells.iter().copied()));
            None
        }
        Settled::LeaveOut => {
            work.labels.insert(draft.spot);
            None
        }
        Settled::Choice(..) => Some(settled),
    }
}

fn doubted(work: &mut Work, draft: &mut Draft) -> bool {
    if draft.doubted {
        match put(work, draft, &draft.about, draft.doubt("number_doubted")) {
            Some(Settled::Choice("approximate", _)) => {}
            Some(_) => {
                work.labels.insert(draft.spot);
                return false;
            }
            None => return false,
        }
    }
    if draft.approximate {
        work.desk.raise(
            draft
                .doubt("number_approximate")
                .about(&draft.about)
                .fill("value", format!("{}", draft.value))
                .cell(draft.spot, "value"),
        );
    }
    true
}

/// The last size of the same coral and measure above each row, in the measure's unit.
fn units(work: &mut Work, drafts: &mut Vec<Draft>) {
    let mut last: BTreeMap<(String, &str), f64> = BTreeMap::new();
    let mut kept = Vec::with_capacity(drafts.len());
    for mut draft in drafts.drain(..) {
        let key = (crate::cell::fold::name(&draft.coral_written), draft.measure.code);
        if draft.measure.unit.as_str() != "1" && draft.unit.is_none() {
            let before = last.get(&key).copied();
            if !unit_missing(work, &mut draft, before) {
                continue;
            }
        }
        if let Some(size) = draft.size() {
            last.insert(key, size);
        }
        kept.push(draft);
    }
    *drafts = kept;
}

fn unit_missing(work: &mut Work, draft: &mut Draft, before: Option<f64>) -> bool {
    let mut units: Vec<UnitCode> = draft
        .measure
        .accepts
        .iter()
        .map(|row| row.unit)
        .filter(|unit| !matches!(unit.as_str(), "m" | "kg" | "oz"))
        .collect();
    units.dedup();
    let fits = |unit: &UnitCode| {
        before.zip(draft.measure.convert(draft.value, unit.as_str())).map(|(before, size)| (size / before).ln().abs())
    };
    let nearest = units
        .iter()
        .copied()
        .filter_map(|unit| fits(&unit).map(|far| (far, unit)))
        .filter(|(far, _)| *far < 0.7)
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let choices: Vec<Choice> = units
        .iter()
        .map(|unit| Choice { code: unit.as_str().to_owned(), label: unit.get().printed.to_owned(), needs: None })
        .collect();
    let mut doubt = draft.doubt("size_unit_missing").choices(choices);
    doubt = match nearest {
        Some((_, unit)) => doubt.propose(unit.as_str(), None),
        None => doubt.propose_nothing(),
    };
    let Some(settled) = put(work, draft, &draft.about, doubt.clone()) else { return false };
    let chosen =
        settled.choice().and_then(UnitCode::parse).or_else(|| settled.text().as_deref().and_then(UnitCode::parse));
    match chosen.filter(|unit| draft.measure.accepts.iter().any(|row| row.unit == *unit)) {
        Some(unit) => {
            draft.unit = Some(unit);
            true
        }
        None => {
            let about = draft.about.clone();
            work.desk.raise(doubt.about(about).cells(draft.cells.iter().copied()));
            false
        }
    }
}

/// A fleshy coral's width follows its mood: what was measured is asked once per diary.
fn bases(work: &mut Work, about: &str, draft: &mut Draft) -> bool {
    if draft.basis.is_some() {
        return true;
    }
    let width = matches!(draft.measure.code, "max_diameter" | "height" | "planar_area");
    let coral = match &draft.coral {
        CoralOf::Known(coral) => Some(coral),
        _ => None,
    };
    if !width || !corals::fleshy(coral, &draft.coral_written) {
        draft.basis = Some("not_said");
        return true;
    }
    if matches!(work.desk.ask("size_basis_missing", about), Settled::DontKnow) {
        draft.basis = Some("not_said");
        return true;
    }
    let Some(settled) = put(work, draft, about, draft.doubt("size_basis_missing")) else { return false };
    draft.basis = Some(match settled.choice() {
        Some("skeleton") => "skeleton",
        Some("base") => "base",
        Some("open_tissue") => "open_tissue",
        Some("closed_tissue") => "closed_tissue",
        _ => "not_said",
    });
    true
}

/// Sizes that no coral has.
fn possible(work: &mut Work, draft: &Draft) -> bool {
    let limit = match draft.measure.unit.as_str() {
        "mm" => 5_000.0,
        "mm2" => 25_000_000.0,
        "g" => 100_000.0,
        _ => 100_000.0,
    };
    let fits = draft
        .size()
        .is_some_and(|size| size > 0.0 && size <= limit && (draft.measure.unit.as_str() != "1" || size.fract() == 0.0));
    if !fits {
        let doubt = draft
            .doubt("outside_limits")
            .about(format!("{}:{}", draft.about, draft.written))
            .fill("low", "0")
            .fill("high", format!("{limit}"));
        work.desk.raise(
            doubt
                .fill("parameter", draft.measure.name)
                .fill("unit", draft.measure.unit.get().printed)
                .cells(draft.cells.iter().copied()),
        );
    }
    fits
}

/// A fall of more than 30 % or a rise of more than 50 % between looks without a cut.
fn jumps(work: &mut Work, drafts: &[Draft]) {
    let mut last: BTreeMap<(String, &str, Option<&str>), f64> = BTreeMap::new();
    for draft in drafts {
        let Some(size) = draft.size() else { continue };
        let key = (crate::cell::fold::name(&draft.coral_written), draft.measure.code, draft.basis);
        if let Some(before) = last.insert(key, size).filter(|_| !draft.after_cut) {
            let ratio = size / before;
            if !(0.7..=1.5).contains(&ratio) {
                let label = &draft.coral_written;
                work.desk.raise(
                    draft
                        .doubt("size_jump")
                        .about(format!("{}:{}", draft.about, crate::cell::fold::name(label)))
                        .cell(draft.spot, "value"),
                );
            }
        }
    }
}

fn record(work: &mut Work, draft: Draft) {
    if draft.measure.code == "buoyant_weight" {
        work.desk.raise(draft.doubt("weight_water_missing").about(&draft.about).cell(draft.spot, "value"));
    }
    let coral = match &draft.coral {
        CoralOf::Held(key) => return work.desk.wait(key, draft.cells.iter().copied()),
        CoralOf::Left => return work.labels.extend(draft.cells.iter().map(|(spot, _)| *spot)),
        CoralOf::Known(coral) => coral.label.clone(),
    };
    let on = match &draft.day {
        DayOf::Known(known) => known.exact(),
        DayOf::Held(key, _) | DayOf::Refused(key) => return work.desk.wait(key, draft.cells.iter().copied()),
        DayOf::Left => return work.labels.extend(draft.cells.iter().map(|(spot, _)| *spot)),
        DayOf::Absent | DayOf::Open => None,
    };
    let (Some(on), Some(value), Some(basis)) = (on, draft.size(), draft.basis) else {
        let about = format!("row {}", draft.spot.row);
        if work.desk.ask("date_missing", &about) == Settled::LeaveOut {
            return work.labels.extend(draft.cells.iter().map(|(spot, _)| *spot));
        }
        let doubt = Doubt::of("date_missing")
            .about(about)
            .at(draft.spot, &draft.written)
            .fill("row", draft.spot.row.to_string())
            .cells(draft.cells.iter().copied());
        return work.desk.raise(doubt);
    };
    work.saw_day(on);
    let place = work.place(&draft.cells, draft.line);
    work.records.push(Record::Sizing(Sizing {
        specimen: coral,
        measure: draft.measure.code.to_owned(),
        basis: basis.to_owned(),
        value,
        unit: draft.measure.unit.as_str().to_owned(),
        on,
        after_cut: draft.after_cut,
        written: draft.written,
        place,
    }));
}
