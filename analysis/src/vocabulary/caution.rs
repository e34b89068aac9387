//! Cautions that are printed wherever the work can hurt someone.

use serde::Deserialize;

use super::text::keep;
use super::{CatalogueError, catalogue};

/// A caution, short enough to print.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// Code.
    pub code: &'static str,
    /// Headline.
    pub title: &'static str,
    /// Text.
    pub text: &'static str,
    /// Published source, where there is one.
    pub source: Option<&'static str>,
}

impl Caution {
    /// The caution of a code.
    pub fn parse(code: &str) -> Option<&'static Caution> {
        cautions().iter().find(|caution| caution.code == code)
    }
}

/// All cautions, in the order of print.
pub fn cautions() -> &'static [Caution] {
    &catalogue().cautions
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    caution: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    code: String,
    title: String,
    text: String,
    source: Option<String>,
}

pub(super) fn read() -> Result<Vec<Caution>, CatalogueError> {
    let file: File = super::parse("cautions.toml", include_str!("../../catalogue/cautions.toml"))?;
    Ok(file
        .caution
        .into_iter()
        .map(|row| Caution {
            code: keep(row.code),
            title: keep(row.title),
            text: keep(row.text),
            source: row.source.map(keep),
        })
        .collect())
}
