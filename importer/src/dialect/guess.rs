//! What kind of thing a cell looks like, by its signs alone. Used to choose separators and to tell rows apart;
//! never reads a value: the cells stage does that.

use analysis::vocabulary::month_by_name;

/// The look of a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Look {
    /// Nothing.
    Blank,
    /// A number, also with a bound, a range, a doubt, a percent sign or a unit behind it.
    Number,
    /// A day, with or without a time.
    Date,
    /// A time of day.
    Time,
    /// Anything else.
    Word,
}

impl Look {
    /// A number, day or time.
    pub const fn is_value(self) -> bool {
        matches!(self, Look::Number | Look::Date | Look::Time)
    }
}

/// Looks at a cell. Linear in its length; long cells are words.
pub fn look(text: &str) -> Look {
    let cell = text.trim();
    if cell.is_empty() {
        return Look::Blank;
    }
    let Some(first) = cell.chars().next() else { return Look::Blank };
    let has_digit = cell.bytes().take(48).any(|byte| byte.is_ascii_digit());
    if !has_digit && !first.is_numeric() || cell.len() > 48 {
        return Look::Word;
    }
    if is_date(cell) {
        Look::Date
    } else if is_time(cell) {
        Look::Time
    } else if is_number(cell) {
        Look::Number
    } else {
        Look::Word
    }
}

/// Day, month and year in figures with one sign between, or with a month's name; a time may follow.
fn is_date(cell: &str) -> bool {
    let bytes = cell.as_bytes();
    let mut parts = [0_u32; 3];
    let mut digits = [0_usize; 3];
    let mut part = 0;
    let mut separator = 0_u8;
    let mut at = 0;
    while at < bytes.len() {
        match bytes[at] {
            byte if byte.is_ascii_digit() => {
                parts[part] = parts[part].saturating_mul(10).saturating_add(u32::from(byte - b'0'));
                digits[part] += 1;
            }
            byte @ (b'/' | b'.' | b'-') if digits[part] > 0 && part < 2 && (separator == 0 || separator == byte) => {
                separator = byte;
                part += 1;
                // "5. 2. 2024"
                if bytes.get(at + 1) == Some(&b' ') && bytes.get(at + 2).is_some_and(u8::is_ascii_digit) {
                    at += 1;
                }
            }
            b' ' | b'T' | b',' if part == 2 && digits[2] > 0 => {
                return plausible(parts, digits)
                    && cell[at + 1..].trim_start().bytes().next().is_some_and(|b| b.is_ascii_digit());
            }
            b' ' | b'T' if part == 0 && digits[0] == 8 => {
                return calendar(parts[0]) && bytes.get(at + 1).is_some_and(u8::is_ascii_digit);
            }
            _ => return has_month_name(cell),
        }
        at += 1;
    }
    match part {
        2 if digits[2] > 0 => plausible(parts, digits),
        // "03.2024", "2024-03": month and year.
        1 => {
            (digits[0] == 4 && (1900..2100).contains(&parts[0]) && (1..=12).contains(&parts[1]) && digits[1] <= 2)
                || (digits[1] == 4
                    && (1900..2100).contains(&parts[1])
                    && (1..=12).contains(&parts[0])
                    && digits[0] <= 2
                    && separator != b'-')
        }
        // "5/3", "5.3." without a year are numbers or dates by their column.
        2 => separator == b'.' && plausible_day_month(parts),
        // "20240302"
        0 if matches!(digits[0], 10 | 13) => crate::cell::date::date(cell).seconds,
        0 => digits[0] == 8 && calendar(parts[0]),
        _ => false,
    }
}

/// Whether eight figures are a day: 20240302.
fn calendar(figures: u32) -> bool {
    (1900..2100).contains(&(figures / 10_000))
        && (1..=12).contains(&(figures / 100 % 100))
        && (1..=31).contains(&(figures % 100))
}

fn plausible_day_month(parts: [u32; 3]) -> bool {
    (1..=31).contains(&parts[0]) && (1..=31).contains(&parts[1]) && (parts[0] <= 12 || parts[1] <= 12)
}

fn plausible(parts: [u32; 3], digits: [usize; 3]) -> bool {
    let year = |at: usize| digits[at] == 4 && (1900..2100).contains(&parts[at]) || digits[at] == 2;
    let day = |at: usize| (1..=2).contains(&digits[at]) && (1..=31).contains(&parts[at]);
    (day(0) && day(1) && year(2)) || (digits[0] == 4 && year(0) && day(1) && day(2))
}

/// "2 March 2024", "Mar-24", "14 févr. 2023": at most two numbers beside one month's name.
fn has_month_name(cell: &str) -> bool {
    let mut months = 0;
    let mut numbers = 0;
    for word in cell.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty()) {
        if word.bytes().all(|byte| byte.is_ascii_digit()) {
            numbers += 1;
            continue;
        }
        let day_end = word.bytes().take_while(u8::is_ascii_digit).count();
        let rest = &word[day_end..];
        if is_month(rest) {
            months += 1;
            numbers += usize::from(day_end > 0);
        } else if day_end > 0 && matches!(rest.to_ascii_lowercase().as_str(), "st" | "nd" | "rd" | "th" | "er" | "e") {
            numbers += 1;
        } else if !is_filler(rest) {
            return false;
        }
    }
    months == 1 && (1..=4).contains(&numbers)
}

fn is_filler(word: &str) -> bool {
    matches!(
        word.to_lowercase().as_str(),
        "de" | "del"
            | "le"
            | "den"
            | "der"
            | "of"
            | "the"
            | "mon"
            | "tue"
            | "wed"
            | "thu"
            | "fri"
            | "sat"
            | "sun"
            | "mo"
            | "di"
            | "mi"
            | "do"
            | "fr"
            | "sa"
            | "so"
            | "am"
            | "pm"
    )
}

/// Names of months in five languages, whole or short.
fn is_month(word: &str) -> bool {
    (3..=16).contains(&word.len()) && !word.bytes().any(|byte| byte.is_ascii_digit()) && month_by_name(word).is_some()
}

/// "March 2024", "März", "2024", "Mar 24": a title over the days of a month or a year.
pub fn is_month_title(text: &str) -> bool {
    let mut months = 0;
    let mut years = 0;
    for word in text.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty()) {
        if is_month(word) {
            months += 1;
        } else if word.len() == 4
            && (word.starts_with("19") || word.starts_with("20"))
            && word.bytes().all(|byte| byte.is_ascii_digit())
            || word.len() == 2 && months == 1 && word.bytes().all(|byte| byte.is_ascii_digit())
        {
            years += 1;
        } else {
            return false;
        }
    }
    months <= 1 && years <= 1 && months + years > 0
}

fn is_time(cell: &str) -> bool {
    let clock = cell.trim_end_matches(|letter: char| letter.is_ascii_alphabetic() || letter == ' ' || letter == '.');
    let suffix = cell[clock.len()..].trim().to_ascii_lowercase();
    if !matches!(suffix.as_str(), "" | "am" | "pm" | "a.m." | "p.m." | "h" | "uhr" | "uur") {
        return false;
    }
    let mut parts = 0;
    for part in clock.split([':', 'h']) {
        if part.is_empty()
            || part.len() > 2
            || !part.bytes().all(|byte| byte.is_ascii_digit())
            || part.parse::<u8>().is_ok_and(|n| n > 59)
        {
            return false;
        }
        parts += 1;
    }
    (2..=3).contains(&parts)
}

/// Digits with marks, bounds, ranges or a short unit.
fn is_number(cell: &str) -> bool {
    let head = cell.trim_start_matches(|letter: char| "<>≤≥~≈=+-−–(".contains(letter) || letter.is_whitespace());
    let head = ["ca.", "ca ", "approx.", "approx ", "about ", "c. "]
        .iter()
        .find_map(|mark| head.strip_prefix(mark))
        .unwrap_or(head)
        .trim_start();
    let starts = head
        .chars()
        .next()
        .is_some_and(|letter| letter.is_ascii_digit() || letter == '.' || letter == ',' || letter.is_numeric());
    if !starts {
        return false;
    }
    let number_end = head
        .char_indices()
        .find(|&(_, letter)| !(letter.is_numeric() || ".,'’/-–−?()~<>+* \u{a0}\u{202f}".contains(letter)))
        .map_or(head.len(), |(at, _)| at);
    let (number, unit) = head.split_at(number_end);
    if !number.chars().any(char::is_numeric) {
        return false;
    }
    let unit = unit.trim();
    // "8 heads", "25.2 °C", "1.2E-3": one short word; a sentence that opens with a number is no number.
    unit.is_empty()
        || (unit.chars().count() <= 10
            && unit.split_whitespace().count() <= 2
            && !unit.contains([';', '|', '\t', '=', '\n']))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks() {
        for (cell, expected) in [
            ("", Look::Blank),
            (" \u{a0}", Look::Blank),
            ("25.1", Look::Number),
            ("25,1", Look::Number),
            ("<0.02", Look::Number),
            ("5-10", Look::Number),
            ("8.2?", Look::Number),
            ("3 (4?)", Look::Number),
            ("146 ppm", Look::Number),
            ("77F", Look::Number),
            ("½", Look::Number),
            ("2 1/2 in", Look::Number),
            ("−3", Look::Number),
            ("1.2E-3", Look::Number),
            ("98%", Look::Number),
            ("05/02/2024", Look::Date),
            ("2024-03-02", Look::Date),
            ("2024-03-02T19:30", Look::Date),
            ("2024-03-02 19:30:00", Look::Date),
            ("14.05.2022", Look::Date),
            ("1. 5. 2022", Look::Date),
            ("06/01/24", Look::Date),
            ("20240302", Look::Date),
            ("20240302T081500", Look::Date),
            ("20240302 08:15", Look::Date),
            ("2 March 2024", Look::Date),
            ("June 2022", Look::Date),
            ("14-Mar-24", Look::Date),
            ("3. März 2024", Look::Date),
            ("03.2024", Look::Date),
            ("19:30", Look::Time),
            ("7:30 pm", Look::Time),
            ("19h30", Look::Time),
            ("forgot", Look::Word),
            ("Alder", Look::Word),
            ("C01", Look::Word),
            ("2024-03-02;8", Look::Word),
            ("8;2", Look::Word),
            ("before 2020", Look::Word),
            ("fragged into 3", Look::Word),
            ("12 tentacles a polyp, I think", Look::Word),
        ] {
            assert_eq!(look(cell), expected, "{cell}");
        }
    }
}
