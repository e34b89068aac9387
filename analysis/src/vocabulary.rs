//! The trade's words as typed data: parameters, units, taxa, outcomes, findings, bands, signs, claims.
//!
//! The data are the files of `catalogue/`, compiled in. A code can only be obtained by looking it up, so a
//! value of a code type always names a row that exists. Nothing here reads a file, a database or a setting: a
//! club's own rows override these elsewhere.
//!
//! ```
//! use analysis::vocabulary::{ParameterCode, NameMatch, resolve_name};
//! let nitrate = ParameterCode::parse("nitrate").unwrap().get();
//! assert_eq!(nitrate.convert(1.0, "ppm", Some("N")).unwrap(), 62.004 / 14.007);
//! assert!(matches!(resolve_name("flowerpot"), NameMatch::Ambiguous { .. }));
//! ```

use std::sync::LazyLock;

pub mod band; // what is taught to begin with
pub mod caution; // printed wherever the work can hurt someone
pub mod claim; // what the club teaches, and how the records look at it
pub mod code; // codes that can only be obtained by lookup
pub mod finding; // what a reader of logs can meet
pub mod header; // words over columns that name no parameter
pub mod outcome; // what can happen to a specimen
pub mod parameter; // what is measured, and its conversions
mod phrase; // phrases found in a remark
pub mod sign; // a coral looks wrong: what to check first
pub mod taxon; // corals and kin, and their names
pub mod text; // words compared without case, accents and punctuation
pub mod unit; // units and what a number is expressed as
pub mod word; // words of logs that are no data

pub use band::{
    Place, TaughtBand, arrival_light_caution, place_of, taught_arrival_light, taught_band, taught_flow, water_in_band,
};
pub use caution::{Caution, cautions};
pub use claim::{Claim, ClaimOutcome, claims};
pub use code::{FindingCode, ParameterCode, TaxonSlug, UnitCode};
pub use finding::{ALWAYS_ANSWERS, Answer, FindingKind, Hold, Proposal, Scope, Severity, fill};
pub use header::{HeaderRole, RowWord, find_header_word, find_row_word, header_roles, names_a_goal};
pub use outcome::{
    Cause, CauseGroup, DoneMatch, Fate, FateMatch, Look, LookState, Measure, MeasureMatch, MeasureUnit, Origin,
    OriginBasis, Sign, SizeBasis, SourceMatch, Term, find_cause, find_cause_in_remark, find_closing, find_condition,
    find_done, find_fate, find_flow_word, find_happening, find_height_word, find_incident, find_incident_in_remark,
    find_manner, find_measure, find_origin, find_origin_basis, find_routine, find_size_basis, find_source_kind,
};
pub use parameter::{
    AcceptedUnit, Condition, ConductivityAt, Conversion, ConvertError, Parameter, ParameterKind, Spelling, Water,
    ZeroPolicy, find_parameter_by_word, find_substance_without_code,
};
pub use sign::{SignStep, SignWhen, sign_steps};
pub use taxon::{
    Candidate, Fallback, Form, Group, LookAlike, NameMatch, Rank, Sting, Taxon, TradeName, kind_words, rank_names,
    resolve_name, resolve_name_exactly, resolve_names, tentacles_said,
};
pub use unit::{Unit, UnitMatch, find_unit};
pub use word::{
    RoutineRate, find_routine_rate, is_approximate_mark, is_below_limit, is_legend_word, is_no_reading,
    is_summary_word, is_trace_word, is_unknown_word, month_by_name, number_word, yes_or_no,
};

/// Everything the files of `catalogue/` say, checked.
#[derive(Debug)]
pub struct Catalogue {
    units: unit::Units,
    parameters: parameter::Parameters,
    taxa: taxon::Taxa,
    words: word::Words,
    outcomes: outcome::Outcomes,
    findings: finding::Findings,
    bands: band::Bands,
    cautions: Vec<Caution>,
    signs: Vec<SignStep>,
    claims: Vec<Claim>,
}

/// A compiled-in file that contradicts itself; met by a developer, never by a user.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("catalogue/{file}: {message}")]
pub struct CatalogueError {
    /// The file.
    pub file: &'static str,
    /// What is wrong with which row.
    pub message: String,
}

impl CatalogueError {
    fn new(file: &'static str, message: impl Into<String>) -> Self {
        CatalogueError { file, message: message.into() }
    }
}

fn parse<T: serde::de::DeserializeOwned>(file: &'static str, text: &str) -> Result<T, CatalogueError> {
    toml::from_str(text).map_err(|error| CatalogueError::new(file, error.to_string()))
}

impl Catalogue {
    /// Reads and checks the compiled-in files.
    ///
    /// # Errors
    /// The first contradiction: a code used twice, a spelling of two parameters, a row that names an unknown one.
    pub fn read() -> Result<Self, CatalogueError> {
        let units = unit::Units::read()?;
        let parameters = parameter::Parameters::read(&units)?;
        let taxa = taxon::Taxa::read()?;
        let words = word::Words::read()?;
        let outcomes = outcome::Outcomes::read(&units, &words.numbers)?;
        let findings = finding::Findings::read()?;
        let taxon = |slug: &str| taxa.by_slug.get(slug).map(|&row| taxa.all[row].slug);
        let bands = band::Bands::read(&band::Known {
            taxon: &taxon,
            parameter: &|code| parameters.by_code.get(code).map(|&row| &parameters.all[row]),
            unit: &|code| units.code(code),
            flow: &|word| outcomes.flow_words.iter().any(|term| term.code == word),
        })?;
        let cautions = caution::read()?;
        let signs = sign::read(|code| cautions.iter().any(|caution| caution.code == code))?;
        let claims = claim::read(taxon)?;
        Ok(Catalogue { units, parameters, taxa, words, outcomes, findings, bands, cautions, signs, claims })
    }

    /// All parameters, in the order of print.
    pub fn parameters(&self) -> &[Parameter] {
        &self.parameters.all
    }

    /// Conditions that are not readings but have cut points.
    pub fn conditions(&self) -> &[Condition] {
        &self.parameters.conditions
    }

    /// All units.
    pub fn units(&self) -> &[Unit] {
        &self.units.all
    }

    /// All taxa: groups first, then genera with their species.
    pub fn taxa(&self) -> &[Taxon] {
        &self.taxa.all
    }

    /// Groups, in the order of print.
    pub fn groups(&self) -> &[Group] {
        &self.taxa.groups
    }

    /// Trade names, clear and ambiguous.
    pub fn trade_names(&self) -> &[TradeName] {
        &self.taxa.trade_names
    }

    /// Pairs and sets that are easily taken for one another.
    pub fn look_alikes(&self) -> &[LookAlike] {
        &self.taxa.look_alikes
    }

    /// Forms recorded at purchase.
    pub fn forms(&self) -> &[Form] {
        &self.taxa.forms
    }

    /// Kinds of finding, in the order of reading.
    pub fn findings(&self) -> &[FindingKind] {
        &self.findings.all
    }

    /// Bands taught, light that of a settled coral.
    pub fn settled_bands(&self) -> impl Iterator<Item = &TaughtBand> {
        self.bands.settled()
    }

    /// All bands taught, light on arrival included.
    pub fn bands(&self) -> impl Iterator<Item = &TaughtBand> {
        self.bands.all()
    }

    /// Causes of death, by group.
    pub fn causes(&self) -> &[Cause] {
        &self.outcomes.causes
    }

    /// Signs seen at a look, each with the manner of death it is beside one.
    pub fn looks(&self) -> &[Sign] {
        &self.outcomes.signs
    }

    /// Size measures.
    pub fn measures(&self) -> &[Measure] {
        &self.outcomes.measures
    }

    /// What a size is taken on.
    pub fn size_bases(&self) -> &[SizeBasis] {
        &self.outcomes.size_bases
    }

    /// Kinds of source.
    pub fn source_kinds(&self) -> &[Term] {
        &self.outcomes.source_kinds
    }

    /// Incidents of a tank.
    pub fn incidents(&self) -> &[Term] {
        &self.outcomes.incidents
    }

    /// Other lines of a diary of happenings.
    pub fn happenings(&self) -> &[Term] {
        &self.outcomes.happenings
    }

    /// Routines.
    pub fn routines(&self) -> &[Term] {
        &self.outcomes.routines
    }

    /// Flow as a word.
    pub fn flow_words(&self) -> &[Term] {
        &self.outcomes.flow_words
    }

    /// Heights in a tank.
    pub fn height_words(&self) -> &[Term] {
        &self.outcomes.height_words
    }

    /// Why a tank was closed.
    pub fn closings(&self) -> &[Term] {
        &self.outcomes.closings
    }
}

/// The catalogue, read once.
pub fn catalogue() -> &'static Catalogue {
    static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| {
        // The text is compiled in and a test reads it, so no input can reach this.
        Catalogue::read().unwrap_or_else(|error| panic!("{error}"))
    });
    &CATALOGUE
}
