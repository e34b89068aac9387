//! What rows of the club's own have in common: who answers for them, since when, and why.

use analysis::vocabulary::{TaxonSlug, catalogue};
use chrono::NaiveDate;
use diesel::prelude::*;

use crate::problem::Fault;
use crate::query::hint;

/// Who answers for something that the club says, since when, and why, as it came.
pub struct Signature {
    /// Since when it is said; `None` = today.
    pub since: Option<NaiveDate>,
    /// Who answers for it.
    pub signed_by: String,
    /// Why.
    pub note: Option<String>,
}

/// Longest name of who answers for something, in characters.
const NAME: usize = 120;
/// Longest note.
const NOTE: usize = 1000;

impl Signature {
    /// The day, the name and the note; `None` and a fault where one cannot be used.
    pub fn read(
        self,
        today: NaiveDate,
        faults: &mut Vec<Fault>,
    ) -> (Option<NaiveDate>, Option<String>, Option<String>) {
        let since = self.since.unwrap_or(today);
        let first = NaiveDate::from_ymd_opt(1900, 1, 1).unwrap_or(NaiveDate::MIN);
        let since = (first..=today).contains(&since).then_some(since);
        if since.is_none() {
            let detail = format!("give a day from {first} to today, {today}");
            faults.push(Fault::pointer("/since", "invalid", detail));
        }
        let signed_by = text("/signed_by", Some(self.signed_by), NAME, faults);
        (since, signed_by, text("/note", self.note, NOTE, faults))
    }
}

/// A text of at most so many characters, none of them a control character, without blanks at its ends.
pub fn text(at: &str, text: Option<String>, longest: usize, faults: &mut Vec<Fault>) -> Option<String> {
    let text = text?;
    let trimmed = text.trim();
    let fits = (1..=longest).contains(&trimmed.chars().count()) && !trimmed.chars().any(char::is_control);
    if !fits {
        let detail = format!("give 1 to {longest} characters in one line");
        faults.push(Fault::pointer(at, "invalid", detail));
    }
    fits.then(|| trimmed.to_owned())
}

/// The taxon of a slug.
pub fn taxon(slug: &str, faults: &mut Vec<Fault>) -> Option<TaxonSlug> {
    let taxon = TaxonSlug::parse(slug);
    if taxon.is_none() {
        let known = catalogue().taxa().iter().map(|row| row.slug.as_str());
        let detail = format!("'{slug}' is no taxon; {}", hint(slug, known));
        faults.push(Fault::pointer("/taxon", "unknown", detail));
    }
    taxon
}

/// The last statement of a transaction that changes what an answer depends on.
///
/// # Errors
/// The database refused.
pub fn raise_edition(connection: &mut PgConnection) -> QueryResult<()> {
    diesel::sql_query("SELECT raise_edition()").execute(connection).map(drop)
}
