//! Logs in which mistakes are planted, and what a planted mistake is.

use std::path::{Path, PathBuf};

use importer::context::{Context, Outcome};
use importer::grid::{Grid, Raw};
use importer::read::read;
use importer::record::{Qualifier, Reading, Record};
use serde_json::Value;

use crate::{Remedy, rewrite, statements};

/// A cell: position of its sheet, row, column.
pub type Cell = (usize, u32, u32);

/// A log as it is, written again from its grid.
pub struct Host {
    /// File name.
    pub name: String,
    /// Its cells.
    pub grids: Vec<Grid>,
    /// What the reader is told.
    pub context: Context,
    /// What comes of it as it is.
    pub outcome: Outcome,
}

/// What must come of a planted mistake.
pub enum Expect {
    /// A question of one of these codes.
    Ask {
        /// Codes.
        codes: &'static [&'static str],
        /// The answer that mends it.
        answer: Remedy,
        /// After it, the records are those of the log as it was.
        restores: bool,
    },
    /// A refusal of this code.
    Refuse(&'static [&'static str]),
    /// The same records, without a question.
    Same,
}

impl Expect {
    /// Codes that may come up.
    pub fn codes(&self) -> &[&'static str] {
        match self {
            Expect::Ask { codes, .. } => codes,
            Expect::Refuse(codes) => codes,
            Expect::Same => &[],
        }
    }
}

/// A log with a mistake in it.
pub struct Plant {
    /// Its cells.
    pub grids: Vec<Grid>,
    /// Where the mistake stands: position of the sheet, row, column. Empty = the whole table.
    pub cells: Vec<Cell>,
    /// What must come of it.
    pub expect: Expect,
    /// What the reader is told, if not as always.
    pub context: Option<Context>,
    /// Share by which mended numbers may differ: what was rounded away.
    pub slack: f64,
    /// Codes of doubts that follow from it.
    pub also: &'static [&'static str],
    /// Kinds of records that may load otherwise, being kept with their bounds while the question is open.
    pub changes: &'static [&'static str],
}

impl Plant {
    /// One cell changed.
    pub fn cell(host: &Host, place: Cell, raw: Option<Raw>, expect: Expect) -> Self {
        let mut grids = host.grids.clone();
        rewrite::put(&mut grids, place.0, place.1, place.2, raw);
        Plant { grids, cells: vec![place], expect, context: None, slack: 1e-9, also: &[], changes: &[] }
    }

    /// With a slack.
    pub fn slack(mut self, slack: f64) -> Self {
        self.slack = slack;
        self
    }

    /// With doubts that follow.
    pub fn also(mut self, also: &'static [&'static str]) -> Self {
        self.also = also;
        self
    }

    /// With kinds that may change.
    pub fn changes(mut self, changes: &'static [&'static str]) -> Self {
        self.changes = changes;
        self
    }

    /// Whether a record may load otherwise.
    pub fn may_change(&self, record: &Value) -> bool {
        self.changes.contains(&record["kind"].as_str().unwrap_or_default())
    }
}

/// A question whose proposal mends the mistake.
pub const fn asked(codes: &'static [&'static str]) -> Expect {
    Expect::Ask { codes, answer: Remedy::Proposed, restores: true }
}

/// Something that plants one kind of mistake.
#[derive(Clone, Copy)]
pub struct Planter {
    /// Name in the table.
    pub name: &'static str,
    /// Plants it where it fits.
    pub plant: fn(&Host) -> Option<Plant>,
}

/// Cells of a log in which mistakes are planted at most.
const MOST_CELLS: u64 = 2_500;

fn logs() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs");
    let mut logs: Vec<PathBuf> = ["", "corpus", "unseen"]
        .iter()
        .filter_map(|part| std::fs::read_dir(folder.join(part)).ok())
        .flatten()
        .map(|entry| entry.unwrap().path())
        .filter(|path| ["expected", "expected.json"].iter().any(|end| beside(path, end).exists()))
        .collect();
    logs.sort();
    logs
}

fn beside(log: &Path, end: &str) -> PathBuf {
    PathBuf::from(format!("{}.{end}", log.display()))
}

fn context(log: &Path) -> Context {
    if beside(log, "expected").exists() {
        return statements::context(&statements::statements(log));
    }
    let expected: Value = serde_json::from_slice(&std::fs::read(beside(log, "expected.json")).unwrap()).unwrap();
    let mut context =
        Context { today: serde_json::from_value(expected["today"].clone()).unwrap(), ..Context::default() };
    if let Some(specimens) = expected["context"].get("specimens") {
        context.specimens = serde_json::from_value(specimens.clone()).unwrap();
        context.keeper_known = true;
    }
    context
}

/// All logs that can be written again and then say the same.
pub fn hosts() -> Vec<Host> {
    let logs = logs();
    assert!(logs.len() >= 20, "{} logs", logs.len());
    let mut hosts = Vec::new();
    for log in &logs {
        let name = log.file_name().unwrap().to_string_lossy().into_owned();
        let bytes = std::fs::read(log).unwrap();
        let context = context(log);
        let Some(grids) = rewrite::grids(&name, &bytes) else { continue };
        let (new_name, again) = rewrite::file(&grids);
        let outcome = read(new_name, &again, &context);
        let original = read(&name, &bytes, &context);
        // The largest logs are for other tests: a mistake in them shows no more than in a small one.
        if outcome.records.len() == original.records.len() && outcome.cells.total <= MOST_CELLS {
            hosts.push(Host { name, grids, context, outcome });
        }
    }
    assert!(hosts.len() * 10 >= logs.len() * 8, "{} of {} logs can be written again", hosts.len(), logs.len());
    hosts
}

impl Host {
    /// Position of a sheet.
    pub fn sheet(&self, name: Option<&str>) -> usize {
        self.grids.iter().position(|grid| grid.sheet.as_deref() == name).unwrap_or(0)
    }

    /// The raw cell.
    pub fn at(&self, place: Cell) -> Option<&Raw> {
        rewrite::at(&self.grids, place.0, place.1, place.2)
    }

    /// Whether a doubt covers the cell already.
    pub fn doubted(&self, sheet: Option<&str>, row: u32, column: u32) -> bool {
        self.outcome.findings.iter().any(|finding| {
            finding.cells.iter().any(|c| c.sheet.as_deref() == sheet && (c.row, c.column) == (row, column))
        })
    }

    /// Plain readings of a parameter in the longest series of one tank, in the order of the file.
    pub fn series(&self, parameter: &str, least: usize) -> Option<Vec<Target<'_>>> {
        let mut by_tank: std::collections::BTreeMap<(Option<&str>, Option<&str>), Vec<Target<'_>>> = Default::default();
        for record in &self.outcome.records {
            let Record::Reading(reading) = record else { continue };
            if reading.parameter.as_str() != parameter || !reading.flags.is_empty() || reading.specimen.is_some() {
                continue;
            }
            let place = &reading.place;
            if self.doubted(place.sheet.as_deref(), place.row, place.column) {
                continue;
            }
            let place = (self.sheet(place.sheet.as_deref()), place.row, place.column);
            // A number in a sentence is no cell of its own.
            let alone = self.at(place).is_some_and(|raw| raw.written().trim() == reading.written.trim());
            let Some(written) = plain(&reading.written).filter(|_| alone) else { continue };
            let target = Target { host: self, reading, place, written };
            by_tank.entry((reading.tank.as_deref(), reading.place.sheet.as_deref())).or_default().push(target);
        }
        by_tank.into_values().max_by_key(Vec::len).filter(|series| series.len() >= least)
    }

    /// The middle one of a series of a parameter for which something holds.
    pub fn target(&self, parameter: &str, least: usize, holds: impl Fn(&Target<'_>) -> bool) -> Option<Target<'_>> {
        let series = self.series(parameter, least)?;
        if series.iter().filter(|target| holds(target)).count() * 10 < series.len() * 6 {
            return None;
        }
        let middle = series.len() / 2;
        series[middle..].iter().chain(series[..middle].iter().rev()).find(|target| holds(target)).cloned()
    }
}

/// A number as written, if it is nothing else.
pub fn plain(text: &str) -> Option<f64> {
    let text = text.trim();
    let digits = text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b','));
    let marks = text.matches(['.', ',']).count();
    (digits && marks <= 1).then(|| text.replace(',', ".").parse().ok()).flatten()
}

/// A reading and the cell in which it stands.
#[derive(Clone)]
pub struct Target<'h> {
    host: &'h Host,
    /// What was read.
    pub reading: &'h Reading,
    /// Where.
    pub place: Cell,
    /// The number as written.
    pub written: f64,
}

impl Target<'_> {
    /// The cell holds the value in the catalogue's unit.
    pub fn in_own_unit(&self) -> bool {
        self.reading.qualifier == Qualifier::Equal
            && self.reading.value.is_some_and(|value| (value - self.written).abs() < 1e-9 * value.abs().max(1.0))
    }

    /// The value read.
    pub fn value(&self) -> f64 {
        self.reading.value.unwrap_or(self.written)
    }

    /// A number written as its file writes them.
    pub fn number(&self, value: f64, decimals: usize) -> Option<Raw> {
        match self.host.at(self.place)? {
            Raw::Number(_) => Some(Raw::Number(format!("{value:.decimals$}").parse().unwrap())),
            Raw::Text(_) => Some(Raw::Text(self.text(value, decimals))),
            _ => None,
        }
    }

    /// The same as text.
    pub fn text(&self, value: f64, decimals: usize) -> String {
        let text = format!("{value:.decimals$}");
        if self.comma() { text.replace('.', ",") } else { text }
    }

    /// The file writes decimal commas.
    pub fn comma(&self) -> bool {
        self.reading.written.contains(',') || self.host.grids[self.place.0].decimal_comma
    }

    /// Decimals as written.
    pub fn decimals(&self) -> usize {
        self.reading.written.trim().split_once(['.', ',']).map_or(0, |(_, decimals)| decimals.len())
    }

    /// The mistake in its cell.
    pub fn plant(&self, raw: Option<Raw>, expect: Expect) -> Option<Plant> {
        raw.map(|raw| Plant::cell(self.host, self.place, Some(raw), expect))
    }

    /// The mistake as text in its cell.
    pub fn plant_text(&self, text: impl Into<String>, expect: Expect) -> Option<Plant> {
        Some(Plant::cell(self.host, self.place, Some(Raw::Text(text.into())), expect))
    }
}
