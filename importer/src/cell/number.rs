//! Decimal marks and groups of thousands. A numeral that can be read twice is returned with both readings:
//! "1,310" is 1.31 or 1310, and only the hard limits of what was measured can say which.

/// A numeral as written, read under the file's decimal mark and, where it fits, under the other one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// The reading under the file's own mark; with the other mark in the cell, the reading as a decimal.
    pub first: f64,
    /// A second possible reading (thousands where `first` is a decimal).
    pub second: Option<f64>,
    /// The cell is written with the mark that the file does not use.
    pub other_mark: bool,
    /// Digits after the decimal mark in the first reading.
    pub decimals: u8,
}

impl Figures {
    /// A number that can be read in one way only.
    pub fn certain(value: f64) -> Self {
        let text = format!("{value}");
        let decimals = text.split_once('.').map_or(0, |(_, after)| after.len().min(250) as u8);
        Figures { first: value, second: None, other_mark: false, decimals }
    }
}

/// Reads a numeral that fills `text` entirely. `None` = not a numeral.
///
/// ```
/// let figures = importer::cell::number::numeral("25,4", false).unwrap();
/// assert_eq!((figures.first, figures.second, figures.other_mark), (25.4, None, true));
/// ```
pub fn numeral(text: &str, decimal_comma: bool) -> Option<Figures> {
    let text = text.trim();
    if let Some(value) = whole_and_fraction(text) {
        return Some(Figures { decimals: 2, ..Figures::certain(value) });
    }
    let (negative, digits) = match text.strip_prefix(['-', '+']) {
        Some(rest) => (text.starts_with('-'), rest.trim_start()),
        None => (false, text),
    };
    let starts = digits.starts_with(|c: char| c.is_ascii_digit())
        || (digits.starts_with(['.', ',']) && digits[1..].starts_with(|c: char| c.is_ascii_digit()));
    if !starts {
        return None;
    }
    let sign = if negative { -1.0 } else { 1.0 };
    if let Some(value) = exponent(digits) {
        return Some(Figures { first: sign * value, second: None, other_mark: false, decimals: 0 });
    }
    if !digits.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | ' ' | '\'')) {
        return None;
    }
    let digits = without_blank_groups(digits)?;
    let commas = digits.matches(',').count();
    let points = digits.matches('.').count();
    let (mark, other) = if decimal_comma { (',', '.') } else { ('.', ',') };
    let read =
        |decimal: Option<char>, groups: Option<char>| -> Option<(f64, u8)> { value_of(&digits, decimal, groups) };
    let figures = match (commas, points) {
        (0, 0) => {
            let (value, _) = read(None, None)?;
            Figures { first: value, second: None, other_mark: false, decimals: 0 }
        }
        (1, 0) | (0, 1) => {
            let used = if commas == 1 { ',' } else { '.' };
            let (decimal, decimals) = read(Some(used), None)?;
            let thousands = read(None, Some(used)).map(|(value, _)| value);
            Figures { first: decimal, second: thousands, other_mark: used != mark, decimals }
        }
        (_, 0) | (0, _) => {
            let used = if commas > 0 { ',' } else { '.' };
            let (value, _) = read(None, Some(used))?;
            Figures { first: value, second: None, other_mark: used == mark, decimals: 0 }
        }
        _ => {
            let decimal = if digits.rfind(',') > digits.rfind('.') { ',' } else { '.' };
            let groups = if decimal == ',' { '.' } else { ',' };
            let (value, decimals) = read(Some(decimal), Some(groups))?;
            Figures { first: value, second: None, other_mark: decimal == other, decimals }
        }
    };
    Some(Figures { first: sign * figures.first, second: figures.second.map(|value| sign * value), ..figures })
}

/// "1 310" and "1'310" without the blanks, if each group has three digits.
fn without_blank_groups(digits: &str) -> Option<String> {
    if !digits.contains([' ', '\'']) {
        return Some(digits.to_owned());
    }
    let whole_end = digits.find(['.', ',']).unwrap_or(digits.len());
    let mut groups = digits[..whole_end].split([' ', '\'']);
    let first = groups.next()?;
    let fits = (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3);
    let tail_clean = !digits[whole_end..].contains([' ', '\'']);
    (fits && tail_clean).then(|| digits.replace([' ', '\''], ""))
}

fn value_of(digits: &str, decimal: Option<char>, groups: Option<char>) -> Option<(f64, u8)> {
    let (whole, fraction) = match decimal {
        Some(mark) => digits.split_once(mark)?,
        None => (digits, ""),
    };
    let whole = match groups {
        Some(mark) if whole.contains(mark) => {
            let mut parts = whole.split(mark);
            let first = parts.next()?;
            let fits = (1..=3).contains(&first.len()) && !first.starts_with('0') && parts.all(|part| part.len() == 3);
            if !fits {
                return None;
            }
            whole.replace(mark, "")
        }
        _ => whole.to_owned(),
    };
    let clean = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if !clean(&whole) || !clean(fraction) || (whole.is_empty() && fraction.is_empty()) {
        return None;
    }
    let value: f64 =
        format!("{}.{}", if whole.is_empty() { "0" } else { &whole }, if fraction.is_empty() { "0" } else { fraction })
            .parse()
            .ok()?;
    value.is_finite().then_some((value, fraction.len().min(250) as u8))
}

fn exponent(digits: &str) -> Option<f64> {
    let (mantissa, power) = digits.split_once(['e', 'E'])?;
    let power_digits = power.strip_prefix(['-', '+']).unwrap_or(power);
    let clean = !power_digits.is_empty()
        && power_digits.bytes().all(|b| b.is_ascii_digit())
        && mantissa.bytes().all(|b| b.is_ascii_digit() || b == b'.')
        && mantissa.bytes().filter(|b| *b == b'.').count() <= 1;
    let value: f64 = if clean { digits.parse().ok()? } else { return None };
    value.is_finite().then_some(value)
}

/// "8½", "8 1/4": a whole number and a common fraction. "1/2" alone may be two numbers.
fn whole_and_fraction(text: &str) -> Option<f64> {
    let whole = text.bytes().take_while(u8::is_ascii_digit).count();
    let rest = &text[whole..];
    let vulgar = rest.trim_start().chars().next().is_some_and(|letter| "½¼¾⅓⅔⅛⅜⅝⅞".contains(letter));
    let spelt = rest.starts_with(' ')
        && rest.trim().split_once('/').is_some_and(|(over, under)| {
            matches!(under, "2" | "3" | "4" | "8")
                && over.parse::<u8>().is_ok_and(|over| over > 0 && under.parse().is_ok_and(|under: u8| over < under))
        });
    (whole > 0 && (vulgar || spelt)).then(|| with_fraction(text, false)).flatten()
}

/// "2 1/2", "1/2", "2½" as numbers, for sizes in inches. `None` = no fraction in it.
pub fn with_fraction(text: &str, decimal_comma: bool) -> Option<f64> {
    let text = text.trim();
    let vulgar = [
        ('½', 0.5),
        ('¼', 0.25),
        ('¾', 0.75),
        ('⅓', 1.0 / 3.0),
        ('⅔', 2.0 / 3.0),
        ('⅛', 0.125),
        ('⅜', 0.375),
        ('⅝', 0.625),
        ('⅞', 0.875),
    ];
    for (sign, part) in vulgar {
        if let Some(whole) = text.strip_suffix(sign) {
            let whole = whole.trim();
            return if whole.is_empty() { Some(part) } else { numeral(whole, decimal_comma).map(|f| f.first + part) };
        }
    }
    let (before, below) = text.split_once('/')?;
    let below: u32 = below.trim().parse().ok().filter(|d| (2..=64).contains(d))?;
    let (whole, above) = match before.trim().rsplit_once([' ', '-']) {
        Some((whole, above)) => (whole.trim().parse::<u32>().ok()?, above),
        None => (0, before.trim()),
    };
    let above: u32 = above.trim().parse().ok().filter(|n| *n < below)?;
    Some(f64::from(whole) + f64::from(above) / f64::from(below))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, decimal_comma: bool) -> Option<(f64, Option<f64>, bool)> {
        numeral(text, decimal_comma).map(|f| (f.first, f.second, f.other_mark))
    }

    #[test]
    fn own_mark() {
        assert_eq!(read("25.1", false), Some((25.1, None, false)));
        assert_eq!(read(".05", false), Some((0.05, None, false)));
        assert_eq!(read("25,1", true), Some((25.1, None, false)));
        assert_eq!(read("150", false), Some((150.0, None, false)));
        assert_eq!(read("-3.5", false), Some((-3.5, None, false)));
    }

    #[test]
    fn other_mark_is_read_and_told() {
        assert_eq!(read("25,4", false), Some((25.4, None, true)));
        assert_eq!(read("1,310", false), Some((1.31, Some(1310.0), true)));
        assert_eq!(read("8.2", true), Some((8.2, None, true)));
        assert_eq!(read("1.310", true), Some((1.31, Some(1310.0), true)));
    }

    #[test]
    fn thousands() {
        assert_eq!(read("1,310.5", false), Some((1310.5, None, false)));
        assert_eq!(read("1.310,5", true), Some((1310.5, None, false)));
        assert_eq!(read("1.310,5", false), Some((1310.5, None, true)));
        assert_eq!(read("1 310", false), Some((1310.0, None, false)));
        assert_eq!(read("1'310", false), Some((1310.0, None, false)));
        assert_eq!(read("1,310,000", false), Some((1_310_000.0, None, false)));
        assert_eq!(read("0,310", false), Some((0.31, None, true)));
    }

    #[test]
    fn not_numerals() {
        for text in ["", "-", "a", "1a", "1..2", "1,2,3", "1 2", "12 34", ".", "1.2.3", "--1", "∞", "1e999"] {
            assert_eq!(read(text, false), None, "{text}");
        }
    }

    #[test]
    fn exponents() {
        assert_eq!(read("5e-2", false), Some((0.05, None, false)));
    }

    #[test]
    fn fractions_of_an_inch() {
        assert_eq!(with_fraction("2 1/2", false), Some(2.5));
        assert_eq!(with_fraction("1/4", false), Some(0.25));
        assert_eq!(with_fraction("2½", false), Some(2.5));
        assert_eq!(with_fraction("8.1/8.3", false), None);
        assert_eq!(with_fraction("3", false), None);
    }
}
