//! Words over the columns of a log that name no parameter: date, tank, value, acquired, fate, …
//!
//! Knows words in five languages, never values: whether a "from" is a day or a seller, its cells decide.
//!
//! ```
//! use analysis::vocabulary::header::{HeaderRole, find_header_word};
//! assert_eq!(find_header_word("Gekauft am"), Some(HeaderRole::Acquired));
//! assert_eq!(find_header_word("Date (d/m/y)"), Some(HeaderRole::Date));
//! ```

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use super::text::{compact, words};
use super::word::is_summary_word;

/// What a column is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeaderRole {
    /// Day, or day and time, of the row.
    Date,
    /// Time of day.
    Time,
    /// Tank.
    Tank,
    /// Name of what was tested.
    Parameter,
    /// "What", "kind": a parameter, a measure or an event, as its cells say.
    What,
    /// Value of a test or a measurement.
    Value,
    /// Unit of the value.
    Unit,
    /// Free words.
    Remark,
    /// The keeper's label of a coral.
    Label,
    /// Name of a coral.
    Name,
    /// Genus, where the species stands in a column of its own.
    Genus,
    /// Name under which it is sold.
    TradeName,
    /// Day on which a coral came.
    Acquired,
    /// Day on which a coral ended or left.
    Ended,
    /// What became of a coral.
    Fate,
    /// Main cause of a loss.
    Cause,
    /// Further causes.
    OtherCauses,
    /// Day on which a coral was last seen alive.
    LastSeen,
    /// Seller or giver.
    Source,
    /// Wild, farmed, own cutting…
    Origin,
    /// How the origin is known.
    OriginBasis,
    /// "From": a day, a source or an origin, as its cells say.
    From,
    /// "To": a last day.
    To,
    /// Which dimension was measured.
    Measure,
    /// A size.
    Size,
    /// The column is headed by what was measured: "heads", "diameter".
    Dimension,
    /// On what a size was measured.
    Basis,
    /// How a coral looks.
    Condition,
    /// Colour.
    Colour,
    /// A character to know the coral by.
    Character,
    /// How sure the name is.
    Confidence,
    /// Mother colony.
    Parent,
    /// Line of cuttings.
    Line,
    /// Growth form.
    Form,
    /// Days at the seller.
    DaysAtSeller,
    /// Where it stands.
    Height,
    /// A stinging neighbour.
    StingingNeighbour,
    /// Kind of care.
    Kind,
    /// How often.
    Rate,
    /// Per day, week, month.
    Per,
    /// Amount given.
    Amount,
    /// Test kit or instrument.
    Instrument,
    /// Smallest step of an instrument.
    Step,
    /// Smallest value an instrument shows.
    Limit,
    /// Reference temperature of a gravity scale.
    Reference,
    /// Volume of a tank.
    Litres,
    /// Who tested or keeps.
    Person,
    /// What it cost: kept as a label.
    Price,
    /// Number of pieces.
    Count,
}

/// What a row is that opens with such a word and holds no test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RowWord {
    /// A mean, a sum, a lowest or highest value, a count (the summary words of `words.toml`).
    #[serde(skip)]
    Summary,
    /// A goal or a range.
    Target,
    /// A key to the signs used, or a note.
    Legend,
    /// A group of corals, over the corals of that group.
    Group,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    header: Vec<Entry<HeaderRole>>,
    row: Vec<RowEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry<T> {
    role: T,
    words: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RowEntry {
    kind: RowWord,
    words: Vec<String>,
}

struct Words {
    roles: BTreeMap<String, Vec<HeaderRole>>,
    rows: BTreeMap<String, RowWord>,
}

static WORDS: LazyLock<Words> =
    LazyLock::new(|| match toml::from_str::<File>(include_str!("../../catalogue/headers.toml")) {
        Ok(file) => {
            let mut roles: BTreeMap<String, Vec<HeaderRole>> = BTreeMap::new();
            for entry in file.header {
                for word in entry.words {
                    let known = roles.entry(key(&word)).or_default();
                    if !known.contains(&entry.role) {
                        known.push(entry.role);
                    }
                }
            }
            let rows = file
                .row
                .into_iter()
                .flat_map(|entry| entry.words.into_iter().map(move |word| (key(&word), entry.kind)))
                .collect();
            Words { roles, rows }
        }
        // The file is compiled in and read by a test: no input reaches this line.
        Err(error) => panic!("catalogue/headers.toml: {error}"),
    });

/// The likeliest role of a header cell, or `None` for a word that names no role (it may name a parameter).
pub fn find_header_word(text: &str) -> Option<HeaderRole> {
    header_roles(text).first().copied()
}

/// All roles a header cell may have, likeliest first.
pub fn header_roles(text: &str) -> &'static [HeaderRole] {
    let key_of_text = key(text);
    if key_of_text.is_empty() {
        return &[];
    }
    // "Tank #" has no word of its own: it is a tank.
    if let Some(roles) = WORDS.roles.get(&key_of_text).or_else(|| WORDS.roles.get(&compact(text))) {
        return roles;
    }
    let open = text.find(['(', '[', '{', '/']).filter(|&at| at > 0);
    open.and_then(|at| WORDS.roles.get(&key(&text[..at]))).map_or(&[], Vec::as_slice)
}

/// What a row is whose first cell is this text, if it holds no test: "Average", "Ø NO3", "Target:", "Mean of March".
///
/// Marks and figures beside the word do not count, and up to three words may follow it.
pub fn find_row_word(text: &str) -> Option<RowWord> {
    let text = text.trim();
    if text.starts_with(['Ø', '∅', 'Σ', '∑', 'μ']) && text.chars().nth(1).is_none_or(|letter| !letter.is_alphabetic())
    {
        return Some(RowWord::Summary);
    }
    let head = text.split([':', '(', '=']).next().unwrap_or(text);
    if let Some(kind) = WORDS.rows.get(&key(head)) {
        return Some(*kind);
    }
    let words = words(head);
    if words.len() > 4 {
        return None;
    }
    if words.first().is_some_and(|first| is_summary_word(first)) {
        return Some(RowWord::Summary);
    }
    let named = |count: usize| words.get(..count).and_then(|first| WORDS.rows.get(&first.concat())).copied();
    (1..words.len()).rev().find_map(named).filter(|kind| matches!(kind, RowWord::Target))
}

/// Words for a goal that may also head the span of a day's readings.
const SPANS: [&str; 4] = ["range", "rango", "normal", "norm"];

/// `true` for the header of a column of goals: "KH Soll", "Target NO3", "consigne". Feeding one coral at a time
/// ("target feeding") is no goal.
pub fn names_a_goal(text: &str) -> bool {
    // "KH Soll (dKH)", "KH (Sollwert)".
    let head = text.split(['(', '[', ':', '=']).next().unwrap_or(text);
    [head, text].into_iter().any(|text| {
        let words = words(text);
        let fed = words.iter().any(|word| word.starts_with("feed") || word == "fed");
        let goal = |part: &[String]| {
            let key = part.concat();
            WORDS.rows.get(&key) == Some(&RowWord::Target) && !SPANS.contains(&key.as_str())
        };
        words.len() <= 4
            && !fed
            && (1..=words.len()).any(|count| goal(&words[..count]) || goal(&words[words.len() - count..]))
    })
}

/// The key by which header words are compared. A number sign counts: "Coral #" is a label, "Coral" is a name.
fn key(text: &str) -> String {
    match text.trim().trim_end_matches(['.', ':']) {
        "#" | "№" => "#".to_owned(),
        other => compact(&other.replace(['#', '№'], " no ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_five_languages_reach_their_role() {
        for (word, role) in [
            ("Date", HeaderRole::Date),
            ("Datum", HeaderRole::Date),
            ("FECHA", HeaderRole::Date),
            ("Aquarium:", HeaderRole::Tank),
            ("Becken", HeaderRole::Tank),
            ("Date d'achat", HeaderRole::Acquired),
            ("Gekauft am", HeaderRole::Acquired),
            ("Got", HeaderRole::Acquired),
            ("Gone", HeaderRole::Ended),
            ("Fecha de muerte", HeaderRole::Ended),
            ("What happened", HeaderRole::Fate),
            ("Doodsoorzaak", HeaderRole::Cause),
            ("Einheit", HeaderRole::Unit),
            ("Größe (mm)", HeaderRole::Size),
            ("Größe", HeaderRole::Size),
            ("No.", HeaderRole::Label),
            ("#", HeaderRole::Label),
            ("Espèce", HeaderRole::Name),
            ("Coral", HeaderRole::Name),
            ("Frag", HeaderRole::Name),
            ("Colony", HeaderRole::Name),
            ("Coral #", HeaderRole::Label),
            ("Frag #", HeaderRole::Label),
            ("Tank #", HeaderRole::Tank),
        ] {
            assert_eq!(find_header_word(word), Some(role), "{word}");
        }
    }

    #[test]
    fn a_word_with_two_readings_keeps_both() {
        assert_eq!(header_roles("Tag"), [HeaderRole::Date, HeaderRole::Label]);
        assert_eq!(header_roles("Mort"), [HeaderRole::Ended]);
        assert_eq!(find_header_word("Nitrate"), None);
        assert_eq!(find_header_word("  "), None);
    }

    #[test]
    fn rows_that_state_a_goal_are_known() {
        assert_eq!(find_row_word("Target:"), Some(RowWord::Target));
        assert_eq!(find_row_word("Soll"), Some(RowWord::Target));
        assert_eq!(find_row_word("Legende: x = nicht gemessen"), Some(RowWord::Legend));
        assert_eq!(find_row_word("Average"), Some(RowWord::Summary));
        assert_eq!(find_row_word("Mean of March"), Some(RowWord::Summary));
        assert_eq!(find_row_word("Ø"), Some(RowWord::Summary));
        assert_eq!(find_row_word("Ø 2024"), Some(RowWord::Summary));
        assert_eq!(find_row_word("Totals:"), Some(RowWord::Summary));
        assert_eq!(find_row_word("Øresund"), None);
        assert_eq!(find_row_word("LPS"), Some(RowWord::Group));
        assert_eq!(find_row_word("Soft hammer"), None);
        assert_eq!(find_row_word("2024-01-01"), None);
        assert_eq!(find_row_word("minced mussel"), None);
    }
}
