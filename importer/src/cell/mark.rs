//! Everything a number cell can say: a number with its marks and unit, two numbers, a range, a limit,
//! "not detected", "trace", nothing at all, or a word.

use analysis::vocabulary::{find_unit, is_below_limit, is_no_reading, is_trace_word};

use crate::cell::fold;
use crate::cell::number::{Figures, numeral};

/// How a number is bounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// The number itself.
    Is(Figures),
    /// "<0.02".
    Below(Figures),
    /// ">50", "50+".
    Above(Figures),
    /// "5-10".
    Span(Figures, Figures),
}

/// A number with what stands beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Number {
    /// The number.
    pub shape: Shape,
    /// Unit as written in the cell, if the catalogue knows it.
    pub unit: Option<String>,
    /// "~8", "ca. 8", "8ish".
    pub approximate: bool,
    /// "8.2?", "3 (4?)".
    pub doubted: bool,
}

impl Number {
    /// A plain number.
    pub fn certain(value: f64) -> Self {
        Number { shape: Shape::Is(Figures::certain(value)), unit: None, approximate: false, doubted: false }
    }
}

/// What a cell of a number column says.
#[derive(Debug, Clone, PartialEq)]
pub enum Says {
    /// A no-reading word.
    Nothing,
    /// "ND", "n.d.", "BDL".
    NotDetected,
    /// "trace".
    Trace,
    /// A number.
    Number(Number),
    /// Two numbers: "8.1/8.3", "8.2 (retest 8.0)".
    Two {
        /// As first written.
        first: Box<Number>,
        /// As written second.
        second: Box<Number>,
    },
    /// O, o, l or I inside a number, with the number it would be.
    Letter(Number),
    /// A spreadsheet's error value, or a formula as text.
    Fault,
    /// Any other word.
    Word,
}

const ABOUT: &[&str] = &[
    "~",
    "≈",
    "±",
    "ca.",
    "ca ",
    "circa ",
    "c. ",
    "approx.",
    "approx ",
    "approximately ",
    "about ",
    "around ",
    "roughly ",
    "etwa ",
    "ungefähr ",
    "rund ",
    "environ ",
    "env.",
    "vers ",
    "aprox.",
    "aprox ",
    "unos ",
    "ongeveer ",
    "±",
];
const ABOUT_AFTER: &[&str] = &["ish", "-ish", " approx", " approx.", " circa", " ca."];
const BELOW: &[&str] = &[
    "<=",
    "<",
    "less than ",
    "below ",
    "under ",
    "lower than ",
    "unter ",
    "kleiner als ",
    "weniger als ",
    "moins de ",
    "inférieur à ",
    "menos de ",
    "minder dan ",
    "onder ",
    "lt ",
];
const ABOVE: &[&str] = &[
    ">=",
    ">",
    "more than ",
    "above ",
    "over ",
    "greater than ",
    "über ",
    "mehr als ",
    "größer als ",
    "plus de ",
    "supérieur à ",
    "más de ",
    "meer dan ",
    "boven ",
    "gt ",
];
const RANGE: &[&str] = &[" to ", " - ", "...", "..", "-", " bis ", " à ", " a ", " tot ", " hasta "];
const PAIR: &[&str] =
    &["->", "→", "=>", " then ", " / ", "/", ";", " & ", "&", " and ", " und ", " et ", " y ", " en ", " + ", ", "];
const RETEST: &[&str] = &[
    "retest",
    "re-test",
    "retested",
    "again",
    "second",
    "2nd",
    "repeat",
    "then",
    "nochmal",
    "wiederholt",
    "zweite",
    "retesté",
    "otra vez",
    "opnieuw",
    "or",
    "oder",
    "ou",
];

/// Reads a cell of a number column written as text.
///
/// ```
/// use importer::cell::mark::{Says, says};
/// assert_eq!(says("not tested", false), Says::Nothing);
/// assert!(matches!(says("8.1/8.3", false), Says::Two { .. }));
/// ```
pub fn says(text: &str, decimal_comma: bool) -> Says {
    let plain = fold::plain(text);
    let lower = plain.to_lowercase();
    let lower = lower.trim_matches(['"', '*', '!']).trim().trim_start_matches('\'').trim();
    if lower.is_empty() || is_no_reading(lower) {
        return Says::Nothing;
    }
    if lower.starts_with('=') || is_error_value(&plain) {
        return Says::Fault;
    }
    if is_below_limit(lower) {
        return Says::NotDetected;
    }
    if is_trace_word(lower) {
        return Says::Trace;
    }
    if let Some(number) = bounded(lower, decimal_comma) {
        return Says::Number(number);
    }
    if let Some(says) = bracketed(lower, decimal_comma) {
        return says;
    }
    if let Some((first, second)) = two(lower, decimal_comma) {
        return Says::Two { first: Box::new(first), second: Box::new(second) };
    }
    letter(lower, decimal_comma).map_or(Says::Word, Says::Letter)
}

/// `#DIV/0!` and the like, in any language a spreadsheet writes them.
pub fn is_error_value(text: &str) -> bool {
    let text = text.trim();
    // "#3 hammer?" is a label and no failure.
    text.starts_with('#')
        && text.len() > 2
        && !text.contains(char::is_whitespace)
        && text.contains(char::is_alphabetic)
        && (text.ends_with('!')
            || text.ends_with('?')
            || text.eq_ignore_ascii_case("#n/a")
            || text.eq_ignore_ascii_case("#nv"))
}

/// A number with marks before or after it, filling the text.
fn bounded(text: &str, decimal_comma: bool) -> Option<Number> {
    let (text, doubted) = match text.strip_suffix("(?)").or_else(|| text.strip_suffix('?')) {
        Some(rest) => (rest.trim_end_matches('?').trim(), true),
        None => (text.strip_prefix('?').map_or(text, str::trim), text.starts_with('?')),
    };
    let (text, about_before) = match ABOUT.iter().find_map(|mark| text.strip_prefix(mark)) {
        Some(rest) => (rest.trim(), true),
        None => (text, false),
    };
    let (text, about_after) = match ABOUT_AFTER.iter().find_map(|mark| text.strip_suffix(mark)) {
        Some(rest) => (rest.trim(), true),
        None => (text, false),
    };
    let done = |shape, unit| Number { shape, unit, approximate: about_before || about_after, doubted };
    if let Some(rest) = BELOW.iter().find_map(|mark| text.strip_prefix(mark)) {
        let (figures, unit) = with_unit(rest, decimal_comma)?;
        return Some(done(Shape::Below(figures), unit));
    }
    if let Some(rest) = ABOVE.iter().find_map(|mark| text.strip_prefix(mark)) {
        let (figures, unit) = with_unit(rest, decimal_comma)?;
        return Some(done(Shape::Above(figures), unit));
    }
    if let Some((figures, unit)) = with_unit(text, decimal_comma) {
        return Some(done(Shape::Is(figures), unit));
    }
    if let Some(rest) = text.strip_suffix('+')
        && let Some(figures) = numeral(rest, decimal_comma)
    {
        return Some(done(Shape::Above(figures), None));
    }
    range(text, decimal_comma).map(|(lower, upper, unit)| done(Shape::Span(lower, upper), unit))
}

fn range(text: &str, decimal_comma: bool) -> Option<(Figures, Figures, Option<String>)> {
    // "5 and 10" is two numbers, "between 5 and 10" is a range.
    let inner =
        ["between ", "zwischen ", "entre ", "tussen ", "from ", "von "].iter().find_map(|word| text.strip_prefix(word));
    let (text, shortened) = (inner.unwrap_or(text), inner.is_some());
    let spoken: &[&str] = if shortened { &[" and ", " und ", " et ", " y ", " en "] } else { &[] };
    for mark in RANGE.iter().chain(spoken) {
        for (at, _) in text.match_indices(mark).filter(|(at, _)| *at > 0) {
            let (left, right) = (text[..at].trim(), text[at + mark.len()..].trim());
            let (Some((lower, left_unit)), Some((upper, right_unit))) =
                (with_unit(left, decimal_comma), with_unit(right, decimal_comma))
            else {
                continue;
            };
            let unit = right_unit.or(left_unit);
            return Some(if lower.first <= upper.first { (lower, upper, unit) } else { (upper, lower, unit) });
        }
    }
    None
}

/// A numeral with an optional unit after (or, for "SG 1.025", before) it.
fn with_unit(text: &str, decimal_comma: bool) -> Option<(Figures, Option<String>)> {
    let text = text.trim();
    if let Some(figures) = numeral(text, decimal_comma) {
        return Some((figures, None));
    }
    let body = text.strip_prefix(['-', '+']).map_or(text, str::trim_start);
    let lead = text.len() - body.len();
    let run = body.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | ' ' | '\''))).unwrap_or(body.len());
    for end in (1..=run).rev() {
        let Some(head) = text.get(..lead + end) else { continue };
        let Some(figures) = numeral(head, decimal_comma) else { continue };
        let tail = text[lead + end..].trim();
        if tail.starts_with(|c: char| c.is_ascii_digit()) {
            return None;
        }
        if tail.chars().all(|c| matches!(c, '.' | ',' | '*' | '!')) {
            return Some((figures, None));
        }
        if find_unit(tail).is_some() {
            return Some((figures, Some(tail.to_owned())));
        }
        if let Some(remark) = tail.strip_prefix('(').and_then(|t| t.strip_suffix(')')) {
            if find_unit(remark).is_some() {
                return Some((figures, Some(remark.trim().to_owned())));
            }
            let only_words = !remark.contains(|c: char| c.is_ascii_digit() || matches!(c, '(' | ')' | '?'));
            return only_words.then_some((figures, None));
        }
        return None;
    }
    let at = text.find(|c: char| c.is_ascii_digit())?;
    let head = text[..at].trim_end_matches(['.', ',', '-', '<', '>', '~']).trim().trim_end_matches([':', '=']).trim();
    if head.len() < at && !head.is_empty() && head.chars().any(char::is_alphabetic) && find_unit(head).is_some() {
        return numeral(&text[at..], decimal_comma).map(|figures| (figures, Some(head.to_owned())));
    }
    None
}

/// "3 (4?)", "8.2 (retest 8.0)", "8.2 (8.0)".
fn bracketed(text: &str, decimal_comma: bool) -> Option<Says> {
    let (head, inner) = text.strip_suffix(')')?.split_once('(')?;
    let first = bounded(head.trim(), decimal_comma)?;
    let inner = inner.trim();
    if let Some(doubt) = inner.strip_suffix('?') {
        bounded(doubt, decimal_comma)?;
        return Some(Says::Number(Number { doubted: true, ..first }));
    }
    let inner =
        RETEST.iter().find_map(|word| inner.strip_prefix(word)).unwrap_or(inner).trim_start_matches([':', '=']).trim();
    let second = bounded(inner, decimal_comma)?;
    Some(Says::Two { first: Box::new(first), second: Box::new(second) })
}

fn two(text: &str, decimal_comma: bool) -> Option<(Number, Number)> {
    for mark in PAIR {
        let Some((left, right)) = text.split_once(mark) else { continue };
        let right =
            RETEST.iter().find_map(|word| right.trim().strip_prefix(word)).unwrap_or(right).trim_start_matches(':');
        if let (Some(first), Some(second)) = (bounded(left.trim(), decimal_comma), bounded(right.trim(), decimal_comma))
        {
            let unit = second.unit.clone().or(first.unit.clone());
            return Some((Number { unit: unit.clone(), ..first }, Number { unit, ..second }));
        }
    }
    for word in ["retest", "repeat", "again"] {
        let Some((left, right)) = text.split_once(word) else { continue };
        if let (Some(first), Some(second)) = (
            bounded(left.trim().trim_end_matches([',', ';']), decimal_comma),
            bounded(right.trim().trim_start_matches(':'), decimal_comma),
        ) {
            return Some((first, second));
        }
    }
    None
}

fn letter(text: &str, decimal_comma: bool) -> Option<Number> {
    let has_digit = text.contains(|c: char| c.is_ascii_digit());
    let has_letter = text.contains(['o', 'l', 'i', '|']);
    if !has_digit || !has_letter {
        return None;
    }
    let mended: String = text
        .chars()
        .map(|c| match c {
            'o' => '0',
            'l' | 'i' | '|' => '1',
            other => other,
        })
        .collect();
    numeral(&mended, decimal_comma).map(|figures| Number {
        shape: Shape::Is(figures),
        unit: None,
        approximate: false,
        doubted: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(text: &str) -> Number {
        match says(text, false) {
            Says::Number(number) => number,
            other => panic!("{text}: {other:?}"),
        }
    }

    fn is(text: &str) -> f64 {
        match number(text).shape {
            Shape::Is(figures) => figures.first,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn plain_numbers_and_units() {
        assert_eq!(is("8.2"), 8.2);
        assert_eq!(is("8.2 dKH"), 8.2);
        assert_eq!(number("77F").unit.as_deref(), Some("f"));
        assert_eq!(number("146 ppm").unit.as_deref(), Some("ppm"));
        assert_eq!(number("98%").unit.as_deref(), Some("%"));
        assert_eq!(is("8.2 (after the change)"), 8.2);
        assert_eq!(is("SG 1.025"), 1.025);
    }

    #[test]
    fn bounds() {
        assert!(matches!(number("<0.02").shape, Shape::Below(f) if f.first == 0.02));
        assert!(matches!(number("≤ 0.02 mg/l").shape, Shape::Below(f) if f.first == 0.02));
        assert!(matches!(number(">50").shape, Shape::Above(f) if f.first == 50.0));
        assert!(matches!(number("50+").shape, Shape::Above(f) if f.first == 50.0));
        for text in ["5-10", "5 – 10", "5 to 10", "10-5", "5-10 ppm"] {
            assert!(matches!(number(text).shape, Shape::Span(a, b) if a.first == 5.0 && b.first == 10.0), "{text}");
        }
    }

    #[test]
    fn doubt_and_about() {
        assert!(number("8?").doubted);
        assert!(number("3 (4?)").doubted);
        assert!(number("8.2 (?)").doubted);
        for text in ["~8", "ca. 8", "8ish", "about 8"] {
            assert!(number(text).approximate, "{text}");
        }
        assert!(!number("8").approximate);
    }

    #[test]
    fn two_numbers() {
        for text in ["8.1/8.3", "8.2 (retest 8.0)", "8.2 (8.0)", "8.1 & 8.3", "8.1; 8.3", "8.2, retest 8.0"] {
            assert!(matches!(says(text, false), Says::Two { .. }), "{text}: {:?}", says(text, false));
        }
    }

    #[test]
    fn letters_words_and_faults() {
        assert!(matches!(says("8.O", false), Says::Letter(n) if matches!(n.shape, Shape::Is(f) if f.first == 8.0)));
        assert_eq!(says("forgot", false), Says::Word);
        assert_eq!(says("#DIV/0!", false), Says::Fault);
        assert!(is_error_value("#NOMBRE?") && !is_error_value("#3 hammer?") && !is_error_value("#12!"));
        assert_eq!(says("=B12", false), Says::Fault);
        assert_eq!(says("ok", false), Says::Word);
        assert_eq!(says("used 2 kits", false), Says::Word);
    }

    #[test]
    fn nothing_not_detected_and_trace() {
        for text in ["-", "n/a", "not tested", "k.A."] {
            assert_eq!(says(text, false), Says::Nothing, "{text}");
        }
        assert_eq!(says("ND", false), Says::NotDetected);
        assert_eq!(says("trace", false), Says::Trace);
    }

    #[test]
    fn no_text_panics() {
        for text in [
            "é", "1é", "é1", "(", ")", "(é)", "1 (é", "<", "é/é", "1/é", "-é", "~", "?", "??", "1 é2", "İ1", "１",
            "1\u{301}",
        ] {
            says(text, false);
            says(text, true);
        }
    }
}
