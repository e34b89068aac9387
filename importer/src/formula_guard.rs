//! Text that a spreadsheet program would run as a formula, written so that it stays text, and read back as it was.
//!
//! Every CSV that is written passes its text and its headers through [`guarded`]; text files are read through
//! [`unguarded`]. An apostrophe in front is what spreadsheet programs themselves use for "this is text". Numbers are
//! left alone: -0.5 stays a number.
//!
//! The characters are those of the OWASP page "CSV Injection": `=`, `+`, `-`, `@`, tab, carriage return, line feed and
//! the full-width forms of the first four; counted also behind quotes and blanks, which some programs take off first.
//!
//! ```
//! use importer::formula_guard::{guarded, unguarded};
//! assert_eq!(guarded("=1+1"), "'=1+1");
//! assert_eq!(guarded("-0.5"), "-0.5");
//! assert_eq!(unguarded("'=1+1"), "=1+1");
//! ```

use std::borrow::Cow;

/// Text for a cell of a CSV file: with an apostrophe in front where a program would run it.
pub fn guarded(text: &str) -> Cow<'_, str> {
    if would_run(text) && !is_harmless(text) { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

/// Text of a cell without the apostrophe that [`guarded`] put in front.
pub fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if would_run(rest) && !is_harmless(rest) => rest,
        _ => text,
    }
}

/// How a table with these texts is quoted: where one holds a tab, or a formula behind what a program may take for a
/// separator, all words are, so that the separator meant is plain.
pub fn quoting<'t>(mut texts: impl Iterator<Item = &'t str>) -> csv::QuoteStyle {
    let formula_within = |text: &str| {
        let mut pairs = text.as_bytes().windows(2);
        pairs.any(|pair| matches!(pair[0], b';' | b'|' | b',') && matches!(pair[1], b'=' | b'+' | b'-' | b'@'))
    };
    match texts.any(|text| text.contains('\t') || formula_within(text)) {
        true => csv::QuoteStyle::NonNumeric,
        false => csv::QuoteStyle::Necessary,
    }
}

/// Whether the first character that is neither quote nor blank begins a formula.
fn would_run(text: &str) -> bool {
    for letter in text.chars() {
        match letter {
            '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠' => return true,
            '"' | '\'' | ' ' | '\u{a0}' => {}
            _ => return false,
        }
    }
    false
}

/// A number as it is, and the dash for "not tested".
fn is_harmless(text: &str) -> bool {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    text == "-"
        || unsigned.starts_with(|first: char| first.is_ascii_digit() || first == '.' || first == ',')
            && unsigned.bytes().any(|byte| byte.is_ascii_digit())
            && unsigned.replace(',', ".").parse::<f64>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_guarded_and_numbers_are_not() {
        for text in [
            "=1+1",
            "+1+cmd",
            "-1+1",
            "@SUM(A1)",
            "\t=1",
            "\rx",
            "\n=1",
            "\"=1+1\"",
            " =1",
            "'=1",
            "=HYPERLINK(\"x\")",
            "＝1",
            "-",
            "--",
            "-inf",
            "+.",
            "+49 170",
            "-5-10",
            "-a",
        ] {
            let expected = if text == "-" { text.to_owned() } else { format!("'{text}") };
            assert_eq!(guarded(text), expected, "{text:?}");
        }
        for text in
            ["", "a", "-5", "+5", "-0.5", "-0,5", "-1e-7", "+.5", "5-10", "a=b", "Goniopora", "<0.02", "'", "\""]
        {
            assert_eq!(guarded(text), text);
        }
    }

    #[test]
    fn what_was_written_is_read() {
        let letters = ['=', '+', '-', '@', '\t', '\r', '\n', '"', '\'', ' ', '1', '.', 'a', '＝'];
        let mut texts = vec![String::new()];
        for _ in 0..4 {
            let longer: Vec<String> =
                texts.iter().flat_map(|text| letters.iter().map(move |letter| format!("{text}{letter}"))).collect();
            for text in &longer {
                assert_eq!(unguarded(&guarded(text)), text);
                assert!(!matches!(guarded(text).chars().next(), Some('=' | '@' | '\t' | '\r' | '\n' | '＝')));
            }
            texts = longer;
        }
    }
}
