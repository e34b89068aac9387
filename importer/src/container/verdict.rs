//! Findings about a whole file or a sheet, in the catalogue's words.

use crate::finding::{Answer, Finding, finding_of};

/// A finding of the catalogue. `about` tells it from others of its code (a sheet, a header); it is part of its key.
/// Questions come with the catalogue's answers and with no proposal.
pub fn finding(code: &'static str, about: &str, values: &[(&'static str, &str)]) -> Finding {
    let key = if about.is_empty() { code.to_owned() } else { format!("{code}:{about}") };
    let values: Vec<(&'static str, String)> = values.iter().map(|(name, value)| (*name, (*value).to_owned())).collect();
    let mut finding = finding_of(code, &key, &values);
    finding.proposed = None;
    finding
}

impl Finding {
    /// Proposes one of its choices.
    pub(crate) fn propose(&mut self, choice: &str) {
        self.proposed = Some(Answer { key: self.key.clone(), choice: choice.to_owned(), value: None });
    }
}

/// The choice made for a question, if any.
pub fn chosen<'a>(answers: &'a [Answer], key: &str) -> Option<&'a str> {
    answers.iter().rev().find(|answer| answer.key == key).map(|answer| answer.choice.as_str())
}

/// No byte, or no cell holding anything.
pub fn empty() -> Finding {
    finding("file_empty", "", &[])
}

/// Neither text nor a workbook; `what` it looks like.
pub fn kind_unknown(what: &str) -> Finding {
    let mut finding = finding("file_kind_unknown", "", &[]);
    finding.message.push_str(&format!(" It looks like {what}."));
    finding
}

/// The container breaks off or will not open.
pub fn damaged(detail: &str) -> Finding {
    let mut finding = finding("file_damaged", "", &[]);
    finding.message.push_str(&format!(" The reader says: {detail}."));
    finding
}

/// Password or rights protection.
pub fn locked() -> Finding {
    finding("file_locked", "", &[])
}

/// Over a limit: which, how much is read, how much was found.
pub fn over_limit(what: &str, limit: u64, found: u64) -> Finding {
    finding("file_over_limit", "", &[("what", what), ("limit", &limit.to_string()), ("found", &found.to_string())])
}
