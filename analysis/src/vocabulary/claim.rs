//! What the club teaches, to begin with, and how the records look at it. A new row has never been looked at, and a
//! refused answer means "cannot tell yet", never "no effect". The club owns the rows.

use serde::{Deserialize, Serialize};

use super::text::{keep, keep_all};
use super::{CatalogueError, TaxonSlug, catalogue};

/// What a claim is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClaimOutcome {
    /// Survival.
    Death,
    /// First serious decline.
    Decline,
    /// Growth.
    Growth,
}

/// One thing taught.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// Code.
    pub code: &'static str,
    /// As taught.
    pub wording: &'static str,
    /// For whom: taxa or groups.
    pub taxa: Vec<TaxonSlug>,
    /// Looked at for each genus alone.
    pub by_genus: bool,
    /// Looked at for pairs that are taken for one another.
    pub look_alikes: bool,
    /// On what.
    pub outcomes: Vec<ClaimOutcome>,
    /// How the records look at it.
    pub looked_at_as: &'static str,
    /// Codes of the conditions whose level is taught to go with more losses than its reference.
    pub conditions: Vec<&'static str>,
    /// Where it comes from.
    pub basis: &'static str,
}

/// The claims the club starts with.
pub fn claims() -> &'static [Claim] {
    &catalogue().claims
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    claim: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    code: String,
    wording: String,
    taxa: Vec<String>,
    #[serde(default)]
    by_genus: bool,
    #[serde(default)]
    look_alikes: bool,
    outcome: Vec<ClaimOutcome>,
    looked_at_as: String,
    #[serde(default)]
    conditions: Vec<String>,
}

pub(super) fn read(taxon: impl Fn(&str) -> Option<TaxonSlug>) -> Result<Vec<Claim>, CatalogueError> {
    const FILE: &str = "claims.toml";
    let file: File = super::parse(FILE, include_str!("../../catalogue/claims.toml"))?;
    let mut claims: Vec<Claim> = Vec::new();
    for row in file.claim {
        let wrong = |what: String| CatalogueError::new(FILE, format!("{}: {what}", row.code));
        if claims.iter().any(|claim| claim.code == row.code) {
            return Err(wrong("stands twice".to_owned()));
        }
        let taxa = row
            .taxa
            .iter()
            .map(|slug| taxon(slug).ok_or_else(|| wrong(format!("`{slug}` is no taxon"))))
            .collect::<Result<_, _>>()?;
        claims.push(Claim {
            code: keep(row.code),
            wording: keep(row.wording),
            taxa,
            by_genus: row.by_genus,
            look_alikes: row.look_alikes,
            outcomes: row.outcome,
            looked_at_as: keep(row.looked_at_as),
            conditions: keep_all(row.conditions),
            basis: "common practice, no source",
        });
    }
    Ok(claims)
}
