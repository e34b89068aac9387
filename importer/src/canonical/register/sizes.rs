//! Sizes in a list of corals: when the coral came, or on the day of the list, as the header says. A size without such a
//! word could be either, and is asked about.

use analysis::vocabulary::{HeaderRole, Measure, UnitCode, find_measure, text};

use crate::canonical::corals::{Coral, CoralOf};
use crate::canonical::date_column::{DayOf, Known};
use crate::canonical::diary::{Draft, settle_sizes};
use crate::canonical::register::{Columns, OpenRow, Summary};
use crate::canonical::size::{self, SizeSays};
use crate::canonical::{Cells, View, Work};
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled};
use crate::layout::DataRow;
use crate::meaning::unknown;
use crate::record::Specimen;

/// Words for the day on which a coral came, in comparable form.
const WHEN_GOT: &[&str] = &[
    "got",
    "bought",
    "purchase",
    "purchased",
    "acquired",
    "start",
    "initial",
    "arrival",
    "arrived",
    "kauf",
    "beim kauf",
    "kaufgrosse",
    "erwerb",
    "ankunft",
    "anfang",
    "anfangs",
    "achat",
    "depart",
    "initial",
    "initiale",
    "arrivee",
    "lachat",
    "lacquisition",
    "larrivee",
    "comprar",
    "compra",
    "inicial",
    "llegar",
    "llegada",
    "aankoop",
    "aanschaf",
    "aankomst",
    "begin",
];
/// Words for the day of the list.
const NOW: &[&str] = &[
    "now",
    "current",
    "today",
    "latest",
    "present",
    "aktuell",
    "aktuelle",
    "aktueller",
    "jetzt",
    "heute",
    "actuel",
    "actuelle",
    "maintenant",
    "actual",
    "ahora",
    "hoy",
    "nu",
    "huidig",
    "huidige",
    "vandaag",
];

/// When a size was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Taken {
    /// When the coral came.
    Got,
    /// On the day of the list.
    Now,
    /// When it came, as a plain "size" in a list is understood: kept with the coral, and no point of its growth.
    Plain,
}

/// A column of sizes.
#[derive(Debug, Clone)]
pub(crate) struct SizeColumn {
    /// Its column.
    pub column: u32,
    measure: &'static Measure,
    basis: Option<&'static str>,
    taken: Taken,
}

fn taken(header: &str) -> Option<Taken> {
    let words = text::words(header);
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    match (has(WHEN_GOT), has(NOW)) {
        (true, false) => Some(Taken::Got),
        (false, true) => Some(Taken::Now),
        _ => None,
    }
}

/// The columns of sizes of a list; what may be of either day is asked about.
pub(super) fn columns(work: &mut Work, view: &View) -> Vec<SizeColumn> {
    let mut found = Vec::new();
    let sized = |role| view.columns(role).into_iter().map(move |column| (column, role));
    for (column, role) in sized(HeaderRole::Size).chain(sized(HeaderRole::Dimension)) {
        let header = view.header(column);
        let told = find_measure(&header).map(|found| (found.measure, found.basis));
        let Some((measure, basis)) = told.or_else(|| Some((Measure::parse("max_diameter")?, None))) else { continue };
        let filled = view.table.rows.iter().any(|row| view.raw(row, column).is_some());
        let taken = match taken(&header) {
            Some(taken) => Some(taken),
            None if role == HeaderRole::Size => Some(Taken::Plain),
            None if filled => asked(work, view, column),
            None => None,
        };
        if let Some(taken) = taken {
            found.push(SizeColumn { column, measure, basis, taken });
        }
    }
    found
}

/// A dimension without a day: when the coral came, or now?
fn asked(work: &mut Work, view: &View, column: u32) -> Option<Taken> {
    match work.desk.ask("column_unknown", &view.about(column)) {
        Settled::Choice("size_when_got", _) => Some(Taken::Got),
        Settled::Choice("size_now", _) => Some(Taken::Now),
        Settled::Choice(..) | Settled::LeaveOut => {
            work.labels.extend(view.filled(column));
            None
        }
        Settled::Open | Settled::DontKnow => {
            let choices = unknown::choices(&[
                ("size_when_got", "sizes when the corals came"),
                ("size_now", "sizes on the day of the list"),
                ("remark", "a remark"),
            ]);
            unknown::ask(work, view, column, choices);
            None
        }
    }
}

/// Reads the sizes of a row: into the coral, and as sizes of the day it came or of the day of the list.
pub(super) fn read(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    acquired: &DayOf,
    record: &mut Specimen,
    cells: &mut Cells,
) -> Vec<(Taken, Draft)> {
    let mut drafts = Vec::new();
    for SizeColumn { column, measure, basis, taken } in columns.sizes.iter().cloned() {
        let Some(raw) = view.raw(row, column) else { continue };
        let spot = view.spot(row.row, column);
        let written = raw.written();
        let doubt = |code| Doubt::of(code).at(spot, &written).fill("written", &written).cell(spot, "value");
        let (value, own, approximate, doubted) = match size::of_measure(raw, view.table.decimal_comma, measure) {
            SizeSays::Number { value, unit, approximate, doubted } => (value, unit, approximate, doubted),
            SizeSays::Nothing => {
                work.labels.insert(spot);
                continue;
            }
            SizeSays::Fault => {
                work.desk.raise(doubt("formula_error"));
                continue;
            }
            // A plain size may be a word: "frag", "large".
            SizeSays::Word if taken == Taken::Plain => {
                work.labels.insert(spot);
                continue;
            }
            SizeSays::Word => {
                let doubt = doubt("word_in_numbers").about(written.to_lowercase()).fill("value", &written);
                work.desk.raise(doubt.fill("column", view.header(column)));
                continue;
            }
        };
        let answered = || work.desk.ask("size_unit_missing", &view.about(column)).choice().and_then(UnitCode::parse);
        let unit = own.or_else(|| size::unit_of(view, column)).or_else(answered);
        let across = matches!(measure.code, "max_diameter" | "shell_length");
        let length = unit
            .and_then(|unit| measure.convert(value, unit.as_str()))
            .filter(|size| across && *size > 0.0 && *size < 5000.0);
        if let Some(length) = length.filter(|_| taken != Taken::Now) {
            record.size_mm = record.size_mm.or(Some(length));
            cells.push((spot, "size"));
        }
        let day = match taken {
            Taken::Got => acquired.clone(),
            // Its unit is asked about as for any other size.
            Taken::Plain if unit.is_none() => DayOf::Left,
            Taken::Plain => continue,
            Taken::Now => DayOf::Absent,
        };
        // A month is no day on which something was measured.
        if taken == Taken::Got && day.exact().is_none() {
            continue;
        }
        drafts.push((
            taken,
            Draft {
                coral: CoralOf::Known(Coral {
                    label: record.label.clone(),
                    taxon: record.taxon,
                    tank: record.tank.clone(),
                    alive: true,
                }),
                coral_written: record.label.clone(),
                measure,
                basis: basis.or(Some("not_said")),
                value,
                unit,
                day,
                cells: vec![(spot, "value")],
                written,
                line: row.line,
                after_cut: false,
                approximate,
                doubted,
                about: view.about(column),
                header: view.header(column),
                spot,
            },
        ));
    }
    drafts
}

/// Sizes of a list once all of its rows are read; those of the day of the list wait for that day.
pub(super) fn settle(work: &mut Work, view: &View, drafts: Vec<(Taken, Draft)>, summary: &mut Summary) {
    let (now, got): (Vec<_>, Vec<_>) = drafts.into_iter().partition(|(taken, _)| *taken == Taken::Now);
    settle_sizes(work, &view.table_about(), got.into_iter().map(|(_, draft)| draft).collect());
    summary.now.extend(now.into_iter().map(|(_, draft)| draft));
}

/// Sizes on the day of the list, of the corals that live on it; those of the others are kept as they are.
pub(crate) fn on_the_day(work: &mut Work, summary: &Summary, as_of: chrono::NaiveDate) {
    let lives = |draft: &Draft, row: &OpenRow| fold::name(&row.label) == fold::name(&draft.coral_written);
    let mut drafts = Vec::new();
    for draft in &summary.now {
        if summary.open.iter().any(|row| lives(draft, row)) {
            let day = DayOf::Known(Known { earliest: Some(as_of), latest: as_of, clock: None });
            drafts.push(Draft { day, ..draft.clone() });
        } else {
            work.labels.insert(draft.spot);
        }
    }
    settle_sizes(work, "", drafts);
}
