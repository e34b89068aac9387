//! Sizes as written: "3.2 cm", "2 1/2 in", "34", "3 heads".

use analysis::vocabulary::{Measure, MeasureMatch, UnitCode, find_measure, find_size_basis, find_unit};

use crate::canonical::View;
use crate::cell::fold;
use crate::cell::mark::{Says, Shape, says};
use crate::cell::number::{numeral, with_fraction};
use crate::doubt::desk::Spot;
use crate::grid::Raw;

/// What a size cell says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum SizeSays {
    /// A no-reading word.
    Nothing,
    /// A spreadsheet's error value.
    Fault,
    /// A number with its unit, if one is written.
    Number {
        /// As written.
        value: f64,
        /// Its unit.
        unit: Option<UnitCode>,
        /// "~8 cm".
        approximate: bool,
        /// "3 (4?)".
        doubted: bool,
    },
    /// Anything else.
    Word,
}

/// Reads a size cell.
pub(crate) fn size(raw: &Raw, decimal_comma: bool) -> SizeSays {
    let text = match raw {
        Raw::Number(value) => {
            return SizeSays::Number { value: *value, unit: None, approximate: false, doubted: false };
        }
        Raw::Error(_) => return SizeSays::Fault,
        Raw::Bool(_) | Raw::Date(_) => return SizeSays::Word,
        Raw::Text(text) => fold::plain(text),
    };
    if let Some((value, unit)) = with_unit(&text, decimal_comma) {
        return SizeSays::Number { value, unit, approximate: false, doubted: false };
    }
    match says(&text, decimal_comma) {
        Says::Nothing => SizeSays::Nothing,
        Says::Fault => SizeSays::Fault,
        Says::Number(number) => match number.shape {
            Shape::Is(figures) => SizeSays::Number {
                value: figures.first,
                unit: number.unit.as_deref().and_then(find_unit).map(|found| found.unit),
                approximate: number.approximate,
                doubted: number.doubted,
            },
            _ => SizeSays::Word,
        },
        _ => SizeSays::Word,
    }
}

/// The count that a cell names beside its number, whatever its column holds: "3 heads" under "Size".
pub(crate) fn own_count(raw: &Raw) -> Option<MeasureMatch> {
    let Raw::Text(text) = raw else { return None };
    let text = fold::plain(text);
    let (number, word) = text.split_once(char::is_whitespace)?;
    find_measure(word).filter(|found| found.measure.unit.as_str() == "1" && numeral(number, false).is_some())
}

/// Reads a cell of a measure: beside the number of a count its own word may stand ("3 heads").
pub(crate) fn of_measure(raw: &Raw, decimal_comma: bool, measure: &Measure) -> SizeSays {
    let says = size(raw, decimal_comma);
    let Raw::Text(text) = raw else { return says };
    if says != SizeSays::Word || measure.unit.as_str() != "1" {
        return says;
    }
    let text = fold::plain(text);
    let Some((number, word)) = text.split_once(char::is_whitespace) else { return says };
    match find_measure(word).filter(|found| found.measure.code == measure.code) {
        Some(_) => size(&Raw::Text(number.to_owned()), decimal_comma),
        None => says,
    }
}

/// The unit of a column, from its header or the row of units.
pub(crate) fn unit_of(view: &View, column: u32) -> Option<UnitCode> {
    let row = || view.table.units.iter().find(|cell| cell.column == column);
    unit_in_header(&view.header(column)).or_else(|| find_unit(&row()?.raw.written()).map(|found| found.unit))
}

/// A number or a fraction, then a unit or nothing.
fn with_unit(text: &str, decimal_comma: bool) -> Option<(f64, Option<UnitCode>)> {
    let number = |text: &str| {
        with_fraction(text, decimal_comma).or_else(|| numeral(text, decimal_comma).map(|figures| figures.first))
    };
    if let Some(value) = number(text) {
        return Some((value, None));
    }
    let splits = text
        .char_indices()
        .filter(|(at, c)| *at > 0 && (c.is_alphabetic() || matches!(c, '"' | '\'')))
        .map(|(at, _)| at);
    for at in splits {
        let (head, tail) = (text[..at].trim(), text[at..].trim());
        if let (Some(value), Some(found)) = (number(head), find_unit(tail)) {
            return Some((value, Some(found.unit)));
        }
        if with_fraction(head, decimal_comma).is_none() && numeral(head, decimal_comma).is_none() {
            return None;
        }
    }
    None
}

/// The unit in a header: "Size mm", "Größe (cm)".
pub(crate) fn unit_in_header(header: &str) -> Option<UnitCode> {
    let bracket = header.split_once(['(', '[']).map(|(_, rest)| rest.trim_end_matches([')', ']']).trim());
    let last = header.split_whitespace().last().filter(|word| *word != header.trim());
    let length = |text: &str| {
        find_unit(text).map(|found| found.unit).filter(|unit| {
            matches!(unit.as_str(), "mm" | "cm" | "m" | "in" | "mm2" | "cm2" | "in2" | "g" | "mg" | "kg" | "oz")
        })
    };
    bracket.and_then(length).or_else(|| last.and_then(length))
}

/// What a title says that sizes below it were measured on: "Skeleton widths", "Gemessen am Skelett". A word that has other
/// meanings ("base de datos") must stand beside a measure.
pub(crate) fn basis_of_titles(view: &View) -> Option<(&'static str, Spot)> {
    let mut told = view.table.titles.iter().filter_map(|title| {
        let Raw::Text(text) = &title.raw else { return None };
        let short = text.split_whitespace().count() <= 6;
        let basis = find_size_basis(text).filter(|basis| {
            short && basis.code != "not_said" && (basis.code == "skeleton" || find_measure(text).is_some())
        })?;
        Some((basis.code, view.spot(title.row, title.column)))
    });
    let first = told.next()?;
    told.all(|(code, _)| code == first.0).then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Option<(f64, Option<&'static str>)> {
        match size(&Raw::Text(text.to_owned()), false) {
            SizeSays::Number { value, unit, .. } => Some((value, unit.map(|unit| unit.as_str()))),
            _ => None,
        }
    }

    #[test]
    fn sizes_as_written() {
        assert_eq!(read("3.2 cm"), Some((3.2, Some("cm"))));
        assert_eq!(read("2 1/2 in"), Some((2.5, Some("in"))));
        assert_eq!(read("65mm"), Some((65.0, Some("mm"))));
        assert_eq!(read("34"), Some((34.0, None)));
        assert_eq!(read("12.84 g"), Some((12.84, Some("g"))));
        assert_eq!(read("fragged today"), None);
        let heads = Measure::parse("head_count").expect("a measure");
        let count = |text: &str| of_measure(&Raw::Text(text.to_owned()), false, heads);
        assert!(matches!(count("3 heads"), SizeSays::Number { value: 3.0, .. }));
        assert!(matches!(count("3 cabezas"), SizeSays::Number { value: 3.0, .. }));
        assert_eq!(count("3 frags"), SizeSays::Word);
    }

    #[test]
    fn units_in_headers() {
        assert_eq!(unit_in_header("Size mm").map(|unit| unit.as_str()), Some("mm"));
        assert_eq!(unit_in_header("Größe (cm)").map(|unit| unit.as_str()), Some("cm"));
        assert_eq!(unit_in_header("Size"), None);
    }
}
