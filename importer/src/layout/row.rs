//! What a single row can be, by its own cells: data, a title, a mean, a note.

use analysis::vocabulary::{HeaderRole, RowWord, find_parameter_by_word, find_row_word, header_roles, month_by_name};

use super::Kind;
use crate::dialect::guess::{Look, is_month_title, look};
use crate::grid::{Raw, Row};

/// What kind of thing a cell looks like.
pub fn look_of(raw: &Raw) -> Look {
    match raw {
        Raw::Text(text) => look(text),
        Raw::Number(_) | Raw::Error(_) => Look::Number,
        Raw::Date(_) => Look::Date,
        Raw::Bool(_) => Look::Word,
    }
}

/// A row reckoned from others, or a goal: its first cell says so. In a list of corals "Max" may be a coral's name, and
/// in the ready-made sheet every row is what its tab says.
pub fn is_summary(row: &Row, kind: Option<Kind>) -> bool {
    let Some(Raw::Text(text)) = row.cells.first().map(|cell| &cell.raw) else { return false };
    if matches!(kind, Some(Kind::LogSheet(_))) {
        return false;
    }
    let numbers_only = || row.cells.iter().skip(1).all(|cell| look_of(&cell.raw) == Look::Number);
    match find_row_word(text) {
        Some(RowWord::Summary | RowWord::Target) => match kind {
            Some(Kind::Register) => numbers_only(),
            Some(Kind::Long) => find_parameter_by_word(text).is_empty(),
            _ => true,
        },
        Some(RowWord::Legend) => text.contains(':'),
        Some(RowWord::Group) | None => false,
    }
}

/// A sentence rather than a name.
pub fn is_prose(raw: &Raw) -> bool {
    match raw {
        Raw::Text(text) => {
            let text = text.trim();
            text.chars().count() > 48
                || text.split_whitespace().count() > 6
                || text.ends_with(['.', ':', '!']) && text.contains(' ')
        }
        _ => false,
    }
}

/// A footnote's star, or a comment's sign.
pub fn starts_with_mark(row: &Row) -> bool {
    row.cells.len() <= 2
        && row.cells.first().is_some_and(|cell| match &cell.raw {
            Raw::Text(text) => {
                let text = text.trim_start();
                text.starts_with(['*', '†', '‡']) && text.chars().count() > 2
                    || text.starts_with("# ")
                    || text.starts_with("//")
                    || text.starts_with("--")
            }
            _ => false,
        })
}

/// "Page 2", "Seite 2 von 3", "continued".
pub fn is_page_title(text: &str) -> bool {
    let words = analysis::vocabulary::text::words(text);
    let Some(first) = words.first() else { return false };
    let page =
        matches!(first.as_str(), "page" | "p" | "seite" | "pagina" | "blatt" | "sheet" | "feuille" | "hoja" | "blad");
    page && words.len() > 1 && words[1].bytes().all(|byte| byte.is_ascii_digit())
        || words.len() <= 2
            && matches!(first.as_str(), "continued" | "cont" | "fortsetzung" | "suite" | "continuacion" | "vervolg")
}

/// A row with at least two values in at least three cells, found outside a table.
pub fn is_data_like(row: &Row) -> bool {
    row.cells.len() >= 3 && row.cells.iter().filter(|cell| look_of(&cell.raw).is_value()).count() >= 2
}

/// The name of a parameter with a number right of it: a test, though nothing heads it.
pub fn is_test_like(row: &Row) -> bool {
    let name = |raw: &Raw| matches!(raw, Raw::Text(text) if text.len() <= 40 && find_row_word(text).is_none() && !find_parameter_by_word(text).is_empty());
    row.cells
        .windows(2)
        .any(|pair| look_of(&pair[0].raw) == Look::Word && look_of(&pair[1].raw) == Look::Number && name(&pair[0].raw))
}

/// Names of two tests and more, and no value: "Date | Temp (°C) | KH"; "Nitrate | NO3 | not tested" names one twice.
pub fn names_several_tests(row: &Row) -> bool {
    let mut first = None;
    let mut several = false;
    for cell in &row.cells {
        let Raw::Text(text) = &cell.raw else { return false };
        if look_of(&cell.raw).is_value() {
            return false;
        }
        let Some(code) = find_parameter_by_word(text).first().map(|(code, ..)| *code) else { continue };
        several |= *first.get_or_insert(code) != code;
    }
    several
}

/// A header that runs across: at least two days, and no number but the year of its months.
pub fn is_row_of_days(row: &Row) -> bool {
    let days = days_across(row.cells.iter().map(|cell| (cell.column, &cell.raw)));
    let number = |(at, raw): (usize, &Raw)| look_of(raw) == Look::Number && !(at == 0 && is_year(raw));
    days.len() >= 2 && !row.cells.iter().map(|cell| &cell.raw).enumerate().any(number)
}

/// Columns over which a row has days; if none is a day, months by their names alone that stand side by side: over days
/// in the row below a month stands once.
pub fn days_across<'r>(cells: impl Iterator<Item = (u32, &'r Raw)> + Clone) -> Vec<u32> {
    let days: Vec<u32> =
        cells.clone().filter(|(_, raw)| look_of(raw) == Look::Date).map(|(column, _)| column).collect();
    if !days.is_empty() {
        return days;
    }
    let months: Vec<u32> = cells.filter(|(_, raw)| is_month(raw)).map(|(column, _)| column).collect();
    let side_by_side = months.windows(2).all(|pair| pair[1] == pair[0] + 1);
    if side_by_side { months } else { Vec::new() }
}

/// A day, or a month by its name alone.
pub fn is_day(raw: &Raw) -> bool {
    look_of(raw) == Look::Date || is_month(raw)
}

/// "Jan", "März": a month without a year.
pub fn is_month(raw: &Raw) -> bool {
    matches!(raw, Raw::Text(text) if month_by_name(text).is_some() && text.chars().any(char::is_alphabetic))
}

/// "2024".
pub fn is_year(raw: &Raw) -> bool {
    match raw {
        Raw::Number(year) => year.fract() == 0.0 && (1980.0..2100.0).contains(year),
        Raw::Text(text) => text.trim().parse().is_ok_and(|year: u32| (1980..2100).contains(&year)),
        _ => false,
    }
}

/// One short line of words in the first columns: "Tank: Brook (300 L)", "Big room".
pub fn is_section_title(row: &Row) -> bool {
    let words = |raw: &Raw| match raw {
        Raw::Text(text) => {
            !is_month_title(text)
                && !is_page_title(text)
                && text.split_whitespace().count() <= 6
                && find_row_word(text).is_none()
        }
        _ => false,
    };
    let mut cells = row.cells.iter();
    let alone = cells
        .next()
        .is_some_and(|first| words(&first.raw) && look_of(&first.raw) == Look::Word && !is_prose(&first.raw));
    alone && (row.cells.len() == 1 || row.cells.len() == 2 && names_a_tank(row)) && !starts_with_mark(row)
}

/// "Tank: Brook", "Becken 2", "Bac principal": the line's first word says that a tank is named.
pub fn names_a_tank(row: &Row) -> bool {
    let Some(Raw::Text(text)) = row.cells.first().map(|cell| &cell.raw) else { return false };
    let Some(end) = text.find(|letter: char| letter == ':' || letter.is_whitespace()) else {
        return row.cells.len() == 2 && header_roles(text).first() == Some(&HeaderRole::Tank);
    };
    header_roles(&text[..end]).first() == Some(&HeaderRole::Tank)
}

/// A name of a kind of coral, known to the catalogue.
pub fn is_coral(text: &str) -> bool {
    use analysis::vocabulary::NameMatch;
    !matches!(crate::canonical::kind::of(text), NameMatch::Near(_) | NameMatch::Unknown)
}

/// "SPS", "Soft corals": the name of a group alone, over the corals of that group.
pub fn is_group_title(raw: &Raw) -> bool {
    matches!(raw, Raw::Text(text) if find_row_word(text) == Some(RowWord::Group))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Cell;

    fn row(cells: &[&str]) -> Row {
        let cells = (1..).zip(cells).map(|(column, text)| Cell { column, raw: Raw::Text((*text).to_owned()) });
        Row { number: 1, line: None, cells: cells.collect() }
    }

    #[test]
    fn titles_of_sections() {
        assert!(is_section_title(&row(&["Tank: Brook (300 L)"])));
        assert!(is_section_title(&row(&["Tank", "Brook"])));
        assert!(is_section_title(&row(&["Big room"])));
        assert!(!is_section_title(&row(&["March 2024"])));
        assert!(!is_section_title(&row(&["Page 2"])));
        assert!(!is_section_title(&row(&["Average"])));
        assert!(!is_section_title(&row(&["2024-03-02"])));
        assert!(!is_section_title(&row(&["all tests were made in the evening before the lamps went out"])));
        assert!(names_a_tank(&row(&["Becken 2"])));
        assert!(names_a_tank(&row(&["Tank", "Brook"])));
        assert!(!names_a_tank(&row(&["Big room"])));
    }

    #[test]
    fn names_of_several_tests() {
        assert!(names_several_tests(&row(&["Date", "Temp (°C)", "Salinity (ppt)", "KH (dKH)"])));
        assert!(names_several_tests(&row(&["Fecha", "Nitrato", "Fosfato"])));
        assert!(!names_several_tests(&row(&["Nitrate", "NO3", "not tested", "mg/l"])));
        assert!(!names_several_tests(&row(&["Calcium", "Ca", "421", "mg/l"])));
        assert!(!names_several_tests(&row(&["Element", "Result", "Unit"])));
    }

    #[test]
    fn names_of_groups_alone() {
        for (text, expected) in [
            ("SPS", true),
            ("LPS:", true),
            ("Soft corals", true),
            ("Goniopora", false),
            ("Hammer", false),
            ("Juno", false),
        ] {
            assert_eq!(is_group_title(&Raw::Text(text.to_owned())), expected, "{text}");
        }
    }
}
