//! What the reader is told beside the bytes. With the same bytes and the same context the outcome is the same.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use analysis::vocabulary::TaxonSlug;

use crate::finding::{Answer, CellCounts, Finding};
use crate::record::Record;

/// What is known before a file is read.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Context {
    /// The day on which the file is read; later days are in the future. `None` = no day is too late.
    pub today: Option<NaiveDate>,
    /// `--tank`.
    pub tank: Option<String>,
    /// `--as-of`.
    pub as_of: Option<NaiveDate>,
    /// The keeper is known to the club (an upload): tank rules apply. `false` for `strandline read` without a keeper.
    pub keeper_known: bool,
    /// The keeper's tanks with their other names.
    pub tanks: Vec<KnownTank>,
    /// The keeper's corals.
    pub specimens: Vec<KnownSpecimen>,
    /// Kinds that the club's members keep: they come earlier among the names that are offered.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub club_taxa: Vec<TaxonSlug>,
    /// What names mean in the club, over what the catalogue says; an answer of the keeper's holds over both.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub names: Vec<KnownName>,
    /// The keeper's instruments: parameter code → smallest value, step, gravity reference.
    pub instruments: Vec<KnownInstrument>,
    /// Answers: the layout's from earlier files, then this upload's; later ones win.
    pub answers: Vec<Answer>,
    /// The log already has a `complete_since` (an answer, also "don't know").
    pub complete_since_answered: bool,
}

/// A tank of the keeper.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct KnownTank {
    /// Name.
    pub name: String,
    /// Other names.
    pub aliases: Vec<String>,
}

/// What a name of a coral means in the club.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnownName {
    /// The name; colours and the like beside it do not matter.
    pub name: String,
    /// What it means.
    pub taxon: TaxonSlug,
}

/// A coral of the keeper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnownSpecimen {
    /// Label.
    pub label: String,
    /// Current name, if settled.
    pub taxon: Option<TaxonSlug>,
    /// Current tank.
    pub tank: Option<String>,
    /// Alive as far as known.
    pub alive: bool,
    /// The day by which it had ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<NaiveDate>,
}

/// An instrument of the keeper, or a club-wide answer about a kit of that name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KnownInstrument {
    /// Tank it serves; `None` = all.
    pub tank: Option<String>,
    /// Parameter code.
    pub parameter: String,
    /// Smallest value it can show.
    pub limit: Option<f64>,
    /// Smallest step.
    pub step: Option<f64>,
    /// Gravity reference.
    pub reference: Option<String>,
    /// Basis.
    pub basis: Option<String>,
}

/// What became of a file: records that load, findings, and counts that add up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// File name as given.
    pub file: String,
    /// The day it was read as of.
    pub today: Option<NaiveDate>,
    /// Records that load if the upload is committed as it stands.
    pub records: Vec<Record>,
    /// Findings, in the order of the file.
    pub findings: Vec<Finding>,
    /// Counts.
    pub cells: CellCounts,
    /// What the file says about itself.
    pub about: About,
}

/// What a column of a table was taken for, and how surely.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ColumnRead {
    /// Sheet.
    pub sheet: Option<String>,
    /// Row of its header cell, from 1; of its first row where it has none.
    pub row: u32,
    /// Column of its header cell, from 1; for days that run across the header stands in the first column.
    pub column: u32,
    /// Header as written; null = it has none.
    pub header: Option<String>,
    /// Code of a parameter, of a role (`date`, `tank`, `remark`, …) or a measure; `label` = kept as written. While it is
    /// asked about: the likeliest.
    pub meaning: String,
    /// By what it is known: `word`, `spelling`, `unit`, `values`, `cells`, `code`, `answer`.
    pub by: String,
    /// How surely, 0 to 1: of columns stated at 0.9 about nine of ten are right.
    pub confidence: f64,
    /// It is asked about, and its cells wait.
    pub asked: bool,
}

/// What a file says about itself and its log.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct About {
    /// Layouts met, in order: `wide`, `long`, `register`, `diary`, `log_sheet`, …
    pub layouts: Vec<String>,
    /// A short hash of headers and layouts: files of one shape share it.
    pub shape: String,
    /// The day on which its register was true.
    pub as_of: Option<NaiveDate>,
    /// From what day every coral was written down.
    pub complete_since: Option<NaiveDate>,
    /// "Don't know" was answered.
    pub complete_since_unknown: bool,
    /// Losses are in this list: has one, or the keeper said so; null = a register without any, not answered.
    pub losses_listed: Option<bool>,
    /// It holds a register.
    pub register: bool,
    /// Year since when the keeper keeps reefs.
    pub keeping_since: Option<i32>,
    /// Earliest and latest day in the file.
    pub first_day: Option<NaiveDate>,
    /// Latest day.
    pub last_day: Option<NaiveDate>,
    /// The reader's version; a later one may read the same bytes otherwise.
    pub interpreter: u32,
    /// What each column was taken for, in the order of the file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<ColumnRead>,
    /// A single edit whose records are taken out, not laid over.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub takes_out: bool,
    /// How the records of a single edit are laid over the files; null = each is the fact as it should be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub laid: Option<Laid>,
}

/// How the records of a single edit are laid over what files say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Laid {
    /// What they are to what files say of the same.
    pub how: How,
    /// What they correct. Of facts that can share their slot: wordings of one fact, the latest first, of which the first
    /// that is found goes; of others every log's wording.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub takes: Vec<Record>,
}

/// What the records of a single edit are to what files say of the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// One more fact, unless it is there already.
    Beside,
    /// The fact as it should be.
    Over,
    /// What is said wins, what is not said stays: of tanks and specimens.
    Completes,
}

impl About {
    /// Facts that a single edit corrects.
    pub fn corrects(&self) -> &[Record] {
        self.laid.as_ref().map_or(&[], |laid| &laid.takes)
    }
}
