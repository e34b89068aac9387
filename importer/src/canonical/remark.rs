//! Remarks that say more than a remark: tests written into a sentence ("KH 8.2, NO3 5"), corals that were lost ("Torch
//! died"). Only what stands there word for word is read; the rest stays a remark.

use analysis::vocabulary::{ParameterKind, find_done, find_parameter_by_word, find_unit};

use crate::canonical::corals::{self, CoralOf};
use crate::canonical::test::{Group, Test};
use crate::canonical::wide::{When, group};
use crate::canonical::{View, Work, diary, event};
use crate::cell::mark::{Says, says};
use crate::doubt::desk::Spot;
use crate::grid::Raw;
use crate::layout::DataRow;
use crate::layout::coral_row::heads_losses;
use crate::meaning::{Quantity, quantities};

mod lost; // corals that a remark says were lost

use lost::Loss;

/// A test told in a remark.
struct Told {
    quantity: Quantity,
    number: String,
}

/// Pieces of a remark: at semicolons, line ends, tabs, bars, strokes and commas that are followed by a blank.
fn pieces(text: &str) -> Vec<&str> {
    let mut pieces = Vec::new();
    let mut from = 0;
    let letters: Vec<(usize, char)> = text.char_indices().collect();
    for (at, (place, letter)) in letters.iter().enumerate() {
        let blank_after = letters.get(at + 1).is_none_or(|(_, next)| next.is_whitespace());
        let blank_before = at > 0 && letters[at - 1].1.is_whitespace();
        let ends = match letter {
            ';' | '\n' | '\r' | '\t' | '|' => true,
            ',' => blank_after,
            '/' | '+' | '·' => blank_after && blank_before,
            _ => false,
        };
        if ends {
            pieces.push(text[from..*place].trim());
            from = place + letter.len_utf8();
        }
    }
    pieces.push(text[from..].trim());
    pieces
}

/// "KH 8.2", "NO3: 5 ppm", and nothing else.
fn told(piece: &str, comma: bool) -> Option<Told> {
    // The number begins after the last blank, colon or equals sign before it: "NO3 5".
    let starts = piece.char_indices().filter(|(at, letter)| {
        (letter.is_ascii_digit() || matches!(letter, '<' | '>' | '~'))
            && *at > 0
            && piece[..*at].ends_with(|before: char| before.is_whitespace() || matches!(before, ':' | '='))
    });
    for (at, _) in starts {
        let name = piece[..at].trim_end_matches(|letter: char| letter.is_whitespace() || matches!(letter, ':' | '='));
        let number = piece[at..].trim();
        // "ca. 8" is about eight of something.
        let about = piece[..at].trim_end().eq_ignore_ascii_case("ca.");
        if about || name.is_empty() || name.split_whitespace().count() > 2 || find_parameter_by_word(name).len() != 1 {
            continue;
        }
        let quantity = quantities(name).into_iter().next()?;
        if quantity.parameter.get().kind == ParameterKind::Routine {
            continue;
        }
        let Says::Number(said) = says(number, comma) else { continue };
        let known = match said.unit.as_deref() {
            None => true,
            Some(unit) => find_unit(unit).is_some_and(|found| {
                quantity.parameter.get().accepts.iter().any(|accepted| accepted.unit == found.unit)
            }),
        };
        if known {
            return Some(Told { quantity, number: number.to_owned() });
        }
    }
    None
}

/// Whether a cell of words says something that is recorded.
pub(crate) fn speaks(work: &Work, header: &str, text: &str, comma: bool) -> bool {
    tells_tests(text, comma) || !losses(work, header, text).0.is_empty()
}

/// The losses that a cell tells of, with its words as they are to be read: under "Deaths" a name alone tells one.
fn losses(work: &Work, header: &str, text: &str) -> (Vec<Loss>, String) {
    let told = lost::losses(work.corals.labels(), text);
    if told.is_empty() && heads_losses(header) {
        // What a noun over the column says is no more than that they were lost.
        let word = if lost::ends(header) { header } else { "lost" };
        return (lost::under(work.corals.labels(), text), format!("{word}: {text}"));
    }
    (told, text.to_owned())
}

/// Reads a remark: tests come back, a loss is recorded at once. What says nothing stays a label.
pub(crate) fn read(work: &mut Work, view: &View, row: &DataRow, column: u32, when: &When) -> Vec<Group> {
    let groups = tests(view, row, column, when);
    let Some(text) = view.text(row, column) else { return groups };
    let (lost, text) = losses(work, &view.header(column), &text);
    for Loss::Of(label) | Loss::Unsure(label) in lost {
        record_loss(work, view, row, &label, when, &text, view.spot(row.row, column));
    }
    groups
}

/// Small words between two things that were done.
const AND: [&str; 6] = [" and ", " und ", " et ", " y ", " en ", " & "];

/// What a remark says was done to the tank: all of it ("Wasser gewechselt, 20 l"), or its pieces that say nothing else.
fn things_done(text: &str) -> Vec<&str> {
    if find_done(text).is_some() {
        return vec![text];
    }
    let pieces = pieces(text).into_iter().flat_map(|piece| {
        let and = AND.iter().find(|and| find_done(piece).is_none() && piece.contains(*and));
        match and {
            Some(and) => piece.split(and).collect::<Vec<_>>(),
            None => vec![piece],
        }
    });
    pieces.map(str::trim).filter(|piece| find_done(piece).is_some()).collect()
}

/// Whether a remark says what was done to the tank.
pub(crate) fn tells_done(text: &str) -> bool {
    !things_done(text).is_empty()
}

/// Records what a remark says was done to the tank: "WW 15 %, Kohle gewechselt".
pub(crate) fn done(work: &mut Work, view: &View, row: &DataRow, column: u32, when: &When) {
    let Some(text) = view.text(row, column) else { return };
    for piece in things_done(&text) {
        event::done(work, view, row, column, piece, when);
    }
}

/// Whether a remark tells of tests.
pub(crate) fn tells_tests(text: &str, comma: bool) -> bool {
    pieces(text).into_iter().any(|piece| told(piece, comma).is_some())
}

/// The tests that a remark tells of.
pub(crate) fn tests(view: &View, row: &DataRow, column: u32, when: &When) -> Vec<Group> {
    let Some(text) = view.text(row, column) else { return Vec::new() };
    let spot = view.spot(row.row, column);
    let comma = view.table.decimal_comma;
    let mut groups = Vec::new();
    for told in pieces(&text).into_iter().filter_map(|piece| told(piece, comma)) {
        let mut test = Test::of(&Raw::Text(told.number), spot, comma, when.clone().shared());
        test.line = row.line;
        let about = format!("{} {}", view.about(column), told.quantity.parameter.as_str());
        let mut one = group(view.at, about, view.header(column), &told.quantity, spot);
        one.tests.push(test);
        groups.push(one);
    }
    groups
}

fn record_loss(work: &mut Work, view: &View, row: &DataRow, label: &str, when: &When, text: &str, spot: Spot) {
    let coral = corals::named(work, label, spot);
    if let CoralOf::Held(key) = &coral {
        let key = key.clone();
        work.desk.wait(&key, [(spot, "remark")]);
    }
    let shared = when.cells.iter().filter(|(_, role)| *role != "tank").copied().collect();
    diary::remark(work, view, row, label.to_owned(), coral, when.day.clone(), shared, text, spot);
}

/// One group of each parameter, in the order of the file.
pub(crate) fn joined(groups: Vec<Group>) -> Vec<Group> {
    let mut joined: Vec<Group> = Vec::new();
    for group in groups {
        match joined.iter_mut().find(|known| known.about == group.about && known.unit == group.unit) {
            Some(known) => known.tests.extend(group.tests),
            None => joined.push(group),
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<(String, String)> {
        pieces(text)
            .into_iter()
            .filter_map(|piece| told(piece, false))
            .map(|told| (told.quantity.parameter.as_str().to_owned(), told.number))
            .collect()
    }

    #[test]
    fn what_was_done_in_a_remark() {
        for (text, done) in [
            ("WW 10 %", 1),
            ("Wasser gewechselt, 20 l", 1),
            ("WW 15 %, Kohle gewechselt", 2),
            ("wc 10% and fed", 2),
            ("changement d'eau 10 % et charbon changé", 2),
            ("cambio de agua 10 %; lámpara limpiada", 1),
            ("no water change", 0),
            ("kein Wasserwechsel", 0),
            ("water change tomorrow", 0),
            ("before the water change", 0),
        ] {
            assert_eq!(things_done(text).len(), done, "{text}");
        }
    }

    #[test]
    fn tests_in_sentences() {
        let pair = |code: &str, number: &str| (code.to_owned(), number.to_owned());
        assert_eq!(read("KH 8.2, NO3 5"), [pair("alkalinity", "8.2"), pair("nitrate", "5")]);
        assert_eq!(read("KH: 8,2 dKH; moved the torch"), [pair("alkalinity", "8,2 dKH")]);
        assert_eq!(
            read("KH 8.1 / NO3 6 / PO4 <0.02"),
            [pair("alkalinity", "8.1"), pair("nitrate", "6"), pair("phosphate", "<0.02")]
        );
        for text in
            ["raised KH to 8", "NO3 test 2 days old", "KH 8 last week", "3 frags", "temp 25 at night", "fed twice"]
        {
            assert!(read(text).is_empty(), "{text}");
        }
    }
}
