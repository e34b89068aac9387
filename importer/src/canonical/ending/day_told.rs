//! The day told with the fate: "dead 4 Aug 2023", "verkauft am 12.03.2024". Read where the row has no other day and the
//! text holds one date only, under the order that the file proves.

use analysis::vocabulary::{HeaderRole, find_header_word};

use crate::canonical::Work;
use crate::canonical::date_column::{DayOf, Known};
use crate::cell::date::{self, Order, Said};

/// Words of the longest date ("the 5th of March 2024").
const LONGEST: usize = 6;

/// "Dead since March".
const SINCE: [&str; 5] = ["since", "seit", "depuis", "desde", "sinds"];

/// The only date in a text, as written and read.
fn only_date(text: &str) -> Option<(&str, date::DateCell)> {
    let mut words: Vec<(usize, usize)> = Vec::new();
    let mut from = 0;
    for piece in text.split_inclusive(char::is_whitespace) {
        let word = piece.trim_end();
        words.extend((!word.is_empty()).then_some((from, from + word.len())));
        from += piece.len();
    }
    let mut found = None;
    let mut at = 0;
    while at < words.len() {
        let dated = (1..=LONGEST.min(words.len() - at)).rev().find_map(|length| {
            let written = text[words[at].0..words[at + length - 1].1].trim_matches([',', ';', '(', ')', ':']);
            let written = written.strip_suffix('.').unwrap_or(written);
            let cell = date::date(written);
            let whole = match &cell.said {
                Said::Day(_) | Said::Numeric(_) => !cell.seconds,
                Said::Span(first, last) => last.signed_duration_since(*first).num_days() < 31,
                _ => false,
            };
            whole.then_some((length, written, cell))
        });
        match dated {
            Some((length, written, cell)) => {
                if found.replace((written, cell)).is_some() {
                    return None;
                }
                at += length;
            }
            None => at += 1,
        }
    }
    found
}

/// The day that a text about an end tells, if it is certain.
pub(super) fn day(work: &Work, text: &str) -> Option<DayOf> {
    // "died, bought in June 2022" tells another day.
    let bought = |word: &str| {
        find_header_word(word) == Some(HeaderRole::Acquired) && !SINCE.contains(&word.to_lowercase().as_str())
    };
    if text.split(|letter: char| !letter.is_alphabetic()).any(bought) {
        return None;
    }
    let (_, cell) = only_date(text)?;
    let order = match &cell.said {
        Said::Numeric(numeric) => numeric.proves().or(work.order)?,
        _ => Order::DayFirst,
    };
    let (earliest, latest) = cell.said.days(order)?;
    let today = work.context.today;
    (today.is_none_or(|today| latest <= today)).then_some(DayOf::Known(Known { earliest, latest, clock: None }))
}

#[cfg(test)]
mod tests {
    use super::only_date;

    #[test]
    fn one_date_among_words() {
        for (text, date) in [
            ("dead 4 Aug 23", "4 Aug 23"),
            ("died 2023-08-04", "2023-08-04"),
            ("verkauft am 12.03.2024", "am 12.03.2024"),
            ("mort le 3 mars 2024, blanchi", "le 3 mars 2024"),
            ("RIP (June 2022)", "June 2022"),
            ("sold, 04/08/2023.", "04/08/2023"),
        ] {
            assert_eq!(only_date(text).map(|(written, _)| written), Some(date), "{text}");
        }
        for text in ["died", "sold Oct 23", "pale 2024-01-03, died 2024-02-10", "dead after 3 weeks", "lost 2 heads"] {
            assert!(only_date(text).is_none(), "{text}");
        }
    }
}
