//! The pipeline on one page: bytes and what is known beside them → records, findings, counts that add up.

use crate::container;
use crate::context::{About, Context, Outcome};
use crate::finding::{CellCounts, Severity};

/// Findings after which nothing of a file can be read.
const UNREADABLE: [&str; 5] = ["file_empty", "file_kind_unknown", "file_damaged", "file_locked", "file_over_limit"];

/// Reads a file. Pure: the same bytes and context give the same outcome.
pub fn read(name: &str, bytes: &[u8], context: &Context) -> Outcome {
    let (_grids, findings) = container::open_with(name, bytes, &context.answers);
    Outcome {
        file: name.to_owned(),
        today: context.today,
        records: Vec::new(),
        findings,
        cells: CellCounts::default(),
        about: About::default(),
    }
}

/// `true` if the file itself was refused, with nothing of it read.
pub fn unreadable(outcome: &Outcome) -> bool {
    let refused = |code: &str| UNREADABLE.contains(&code);
    outcome.findings.iter().any(|finding| finding.severity == Severity::Refused && refused(&finding.code))
}
