//! Findings about a whole file, in one plain sentence each with a remedy.

use crate::finding::{Choice, Finding, Severity};

fn whole_file(severity: Severity, code: &str, message: &str, remedy: &str) -> Finding {
    Finding {
        severity,
        code: code.to_owned(),
        key: code.to_owned(),
        sheet: None,
        row: None,
        column: None,
        written: String::new(),
        message: message.to_owned(),
        remedy: remedy.to_owned(),
        choices: Vec::new(),
        proposed: None,
        held: Vec::new(),
        cells: Vec::new(),
        answered: None,
    }
}

/// A refusal of the file.
fn refuse(code: &str, message: &str, remedy: &str) -> Finding {
    whole_file(Severity::Refused, code, message, remedy)
}

/// A note on the file or one of its sheets.
pub fn note(code: &str, sheet: Option<&str>, message: &str, remedy: &str) -> Finding {
    let mut finding = whole_file(Severity::Noted, code, message, remedy);
    finding.sheet = sheet.map(str::to_owned);
    if let Some(sheet) = sheet {
        finding.key = format!("{code}:{sheet}");
    }
    finding
}

/// A question about the file; each choice is (code, label, what it needs).
pub fn question(code: &str, message: &str, remedy: &str, choices: &[(&str, &str)]) -> Finding {
    let mut finding = whole_file(Severity::Questioned, code, message, remedy);
    finding.choices = choices.iter().map(|(code, label)| Choice { code: (*code).to_owned(), label: (*label).to_owned(), needs: None }).collect();
    finding
}

/// No byte, or no cell holding anything.
pub fn empty(message: &str) -> Finding {
    refuse("file_empty", message, "Send the file that holds the rows.")
}

/// Neither text nor a workbook.
pub fn kind_unknown(what: &str) -> Finding {
    refuse("file_kind_unknown", &format!("This looks like {what}, not like a text file or a workbook."), "Save the log as .xlsx, .ods or .csv and send that.")
}

/// The container breaks off or will not open.
pub fn damaged(detail: &str) -> Finding {
    refuse("file_damaged", &format!("The file cannot be opened: {detail}."), "Open it in its own program, save it again and send the copy.")
}

/// Password or rights protection.
pub fn locked() -> Finding {
    refuse("file_locked", "The file is locked by a password or by rights protection.", "Save a copy without the password and send that.")
}

/// Over a limit.
pub fn over_limit(message: &str) -> Finding {
    refuse("file_over_limit", message, "Split the file by year or by sheet and send the parts.")
}
