//! A coral looks wrong: what to check first, in a fixed order that the records never change. Common practice, no
//! source.

use serde::{Deserialize, Serialize};

use super::text::{keep, keep_all};
use super::{CatalogueError, catalogue};

/// When a step applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SignWhen {
    /// Always.
    Always,
    /// Several corals look wrong.
    Several,
    /// One does.
    One,
    /// In both cases, after the others.
    Both,
    /// Months of slow shrinking.
    Slow,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignStep {
    /// `urgent`, `1` … `11`, `rule`.
    pub code: &'static str,
    /// When.
    pub when: SignWhen,
    /// What to look at.
    pub look_at: &'static str,
    /// How, and then.
    pub then: &'static str,
    /// Cautions that stand beside it.
    pub cautions: Vec<&'static str>,
}

/// The steps in their order: the urgent line first, the rule last.
pub fn sign_steps() -> &'static [SignStep] {
    &catalogue().signs
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    step: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    code: String,
    when: SignWhen,
    look_at: String,
    #[serde(rename = "do")]
    then: String,
    #[serde(default)]
    cautions: Vec<String>,
}

pub(super) fn read(is_caution: impl Fn(&str) -> bool) -> Result<Vec<SignStep>, CatalogueError> {
    const FILE: &str = "signs.toml";
    let file: File = super::parse(FILE, include_str!("../../catalogue/signs.toml"))?;
    file.step
        .into_iter()
        .map(|row| {
            if let Some(unknown) = row.cautions.iter().find(|code| !is_caution(code)) {
                return Err(CatalogueError::new(FILE, format!("step {}: `{unknown}` is no caution", row.code)));
            }
            Ok(SignStep {
                code: keep(row.code),
                when: row.when,
                look_at: keep(row.look_at),
                then: keep(row.then),
                cautions: keep_all(row.cautions),
            })
        })
        .collect()
}
