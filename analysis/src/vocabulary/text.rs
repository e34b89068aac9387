//! Words compared as people write them: without case, accents, punctuation and surplus blanks.

use std::borrow::Cow;

/// Keeps a text of the catalogue for the life of the program; called for compiled-in data only.
pub(super) fn keep(text: String) -> &'static str {
    Box::leak(text.into_boxed_str())
}

/// Keeps a list of texts.
pub(super) fn keep_all(texts: Vec<String>) -> Vec<&'static str> {
    texts.into_iter().map(keep).collect()
}

/// Words of a text in comparable form, one blank between: lower case, accents and apostrophes dropped, `µ` as
/// `u`, raised and lowered digits as digits, the degree sign dropped, `×` as `x`, all other punctuation a blank;
/// `%` and `‰` stay as words of their own, and a point or comma between two digits as a point.
///
/// ```
/// assert_eq!(analysis::vocabulary::text::fold("Température (°C)"), "temperature c");
/// assert_eq!(analysis::vocabulary::text::fold("NO₃-N [µg/L]"), "no3 n ug l");
/// assert_eq!(analysis::vocabulary::text::fold("KH °d"), "kh dh");
/// ```
pub fn fold(text: &str) -> String {
    let mut raw = String::with_capacity(text.len() + 8);
    let text = german_degrees(text);
    let mut chars = text.chars().flat_map(char::to_lowercase).peekable();
    while let Some(c) = chars.next() {
        let plain = match c {
            // "1.5" and "1,5" are one word, with a point.
            '.' | ','
                if raw.ends_with(|c: char| c.is_ascii_digit()) && chars.peek().is_some_and(char::is_ascii_digit) =>
            {
                "."
            }
            'a'..='z' | '0'..='9' => {
                raw.push(c);
                continue;
            }
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'ā' | 'ă' | 'ą' => "a",
            'ç' | 'ć' | 'č' => "c",
            'è' | 'é' | 'ê' | 'ë' | 'ē' | 'ę' | 'ě' => "e",
            'ì' | 'í' | 'î' | 'ï' | 'ī' => "i",
            'ñ' | 'ń' | 'ň' => "n",
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' | 'ō' | 'ő' => "o",
            'ù' | 'ú' | 'û' | 'ü' | 'ū' | 'ů' | 'ű' | 'µ' | 'μ' => "u",
            'ý' | 'ÿ' => "y",
            'š' | 'ś' => "s",
            'ž' | 'ź' | 'ż' => "z",
            'ł' => "l",
            'đ' | 'ð' => "d",
            'ß' => "ss",
            'æ' => "ae",
            'œ' => "oe",
            '⁰' | '₀' => "0",
            '¹' | '₁' => "1",
            '²' | '₂' => "2",
            '³' | '₃' => "3",
            '⁴' | '₄' => "4",
            '⁵' | '₅' => "5",
            '⁶' | '₆' => "6",
            '⁷' | '₇' => "7",
            '⁸' | '₈' => "8",
            '⁹' | '₉' => "9",
            '×' => "x",
            '%' => " % ",
            '‰' => " ‰ ",
            // Dropped, so that what stands around them stays one word.
            '°' | 'º' | '˚' | '\'' | '’' | '‘' | '´' | '`' => "",
            '\u{300}'..='\u{36f}' | '\u{ad}' | '\u{200b}' | '\u{feff}' => "",
            other if other.is_alphanumeric() => {
                raw.push(other);
                continue;
            }
            _ => " ",
        };
        raw.push_str(plain);
    }
    raw.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// "°d" for "°dH": with the degree sign dropped a lone d would be a day.
fn german_degrees(text: &str) -> Cow<'_, str> {
    let bare = |at: usize, degree: &str| {
        let rest = text[at + degree.len()..].strip_prefix(['d', 'D']);
        rest.is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
    };
    let Some((at, degree)) = text.match_indices(['°', 'º', '˚']).find(|(at, degree)| bare(*at, degree)) else {
        return Cow::Borrowed(text);
    };
    let end = at + degree.len() + 1;
    Cow::Owned(format!("{}H{}", &text[..end], &text[end..]))
}

/// [`fold`] without the blanks: the key that spellings are compared by.
pub fn compact(text: &str) -> String {
    let mut key = fold(text);
    key.retain(|c| c != ' ');
    key
}

/// The words of a text in comparable form.
pub fn words(text: &str) -> Vec<String> {
    fold(text).split(' ').filter(|word| !word.is_empty()).map(str::to_owned).collect()
}
