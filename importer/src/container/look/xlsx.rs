//! How the sheets of an Office Open XML workbook look (ECMA-376 part 1, clause 18.3 and 18.8).

use std::collections::HashMap;
use std::io::{BufReader, Cursor, Read};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use zip::ZipArchive;

use super::{Colours, Look, Looks, attribute, is_percent, number};
use crate::grid::Merged;

/// Formats with a percent sign that have no format code (clause 18.8.30).
const PERCENT_FORMATS: [u32; 2] = [9, 10];

type Parts<'b> = ZipArchive<Cursor<&'b [u8]>>;

/// Why the look of a sheet is not known.
pub type Unknown = String;

/// Looks of all sheets. A part that is missing has no look: whoever reads the values says so.
///
/// # Errors
/// A part that breaks off, in words.
pub fn looks(bytes: &[u8]) -> Result<Looks, Unknown> {
    let mut parts = ZipArchive::new(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    let names: HashMap<String, String> =
        parts.file_names().flatten().map(|name| (plain(&name), name.into_owned())).collect();
    let styles = match names.get("xl/styles.xml") {
        Some(part) => styles(&mut parts, part)?,
        None => Styles::default(),
    };
    let mut looks = Looks::new();
    for (sheet, part) in sheets(&mut parts, &names)? {
        looks.insert(sheet, look(&mut parts, &part, &styles)?);
    }
    Ok(looks)
}

fn plain(name: &str) -> String {
    name.replace('\\', "/").trim_start_matches('/').to_ascii_lowercase()
}

/// Goes through the elements of a part; `see` gets each start with the depth of its parents' names.
fn each(parts: &mut Parts<'_>, part: &str, mut see: impl FnMut(&BytesStart<'_>, bool)) -> Result<(), Unknown> {
    let file = parts.by_name(part).map_err(|error| format!("{part}: {error}"))?;
    let limit = crate::container::limit::UNPACKED;
    let mut reader = Reader::from_reader(BufReader::new(file.take(limit)));
    let mut buffer = Vec::new();
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer).map_err(|error| format!("{part}: {error}"))? {
            Event::Start(tag) | Event::Empty(tag) => see(&tag, true),
            Event::End(tag) => see(&BytesStart::new(tag.name().as_ref()), false),
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

/// Names of the sheets and the parts that hold them.
fn sheets(parts: &mut Parts<'_>, names: &HashMap<String, String>) -> Result<Vec<(String, String)>, Unknown> {
    let Some(book) = names.get("xl/workbook.xml") else { return Ok(Vec::new()) };
    let mut named = Vec::new();
    each(parts, book, |tag, start| {
        if start && tag.local_name().as_ref() == "sheet" {
            let value = |wanted: &str| {
                tag.attributes()
                    .flatten()
                    .find(|attribute| attribute.key.local_name().as_ref() == wanted)
                    .and_then(|attribute| attribute.normalized_value(quick_xml::XmlVersion::Implicit1_0).ok())
                    .map(|value| value.into_owned())
            };
            if let (Some(name), Some(id)) = (value("name"), value("id")) {
                named.push((name, id));
            }
        }
    })?;
    let mut targets = HashMap::new();
    if let Some(relations) = names.get("xl/_rels/workbook.xml.rels") {
        each(parts, relations, |tag, start| {
            if start
                && tag.local_name().as_ref() == "Relationship"
                && let (Some(id), Some(target)) = (attribute(tag, "Id"), attribute(tag, "Target"))
            {
                let whole = if target.starts_with('/') { plain(&target) } else { plain(&format!("xl/{target}")) };
                targets.insert(id.into_owned(), whole);
            }
        })?;
    }
    Ok(named.into_iter().filter_map(|(name, id)| Some((name, names.get(targets.get(&id)?)?.clone()))).collect())
}

/// What the styles of cells show, by their number.
#[derive(Default)]
struct Styles {
    fills: Vec<Option<u16>>,
    percents: Vec<bool>,
}

fn styles(parts: &mut Parts<'_>, part: &str) -> Result<Styles, Unknown> {
    let mut colours = Colours::default();
    let mut fills: Vec<Option<u16>> = Vec::new();
    let mut percents: HashMap<u32, bool> = HashMap::new();
    let mut styles = Styles::default();
    let (mut in_fills, mut in_cells, mut solid) = (false, false, false);
    each(parts, part, |tag, start| match (tag.local_name().as_ref(), start) {
        ("fills", start) => in_fills = start,
        ("cellXfs", start) => in_cells = start,
        ("fill", true) if in_fills => fills.push(None),
        ("patternFill", true) => {
            solid = attribute(tag, "patternType").is_some_and(|kind| !matches!(&*kind, "none" | "gray125"));
        }
        ("fgColor", true) if in_fills && solid => {
            let colour = attribute(tag, "rgb")
                .map(|rgb| rgb.into_owned())
                .or_else(|| {
                    attribute(tag, "theme").map(|theme| {
                        let tint = attribute(tag, "tint").map(|tint| format!(" {tint}")).unwrap_or_default();
                        format!("theme {theme}{tint}")
                    })
                })
                .or_else(|| attribute(tag, "indexed").map(|index| format!("indexed {index}")));
            if let (Some(last), Some(colour)) = (fills.last_mut(), colour) {
                *last = colours.number(&colour);
            }
        }
        ("numFmt", true) => {
            if let (Some(id), Some(code)) = (number(tag, "numFmtId"), attribute(tag, "formatCode")) {
                percents.insert(id, is_percent(&code));
            }
        }
        ("xf", true) if in_cells => {
            let fill = number(tag, "fillId").and_then(|at| fills.get(at as usize).copied().flatten());
            let format = number(tag, "numFmtId").unwrap_or(0);
            let percent = percents.get(&format).copied().unwrap_or_else(|| PERCENT_FORMATS.contains(&format));
            styles.fills.push(fill);
            styles.percents.push(percent);
        }
        _ => {}
    })?;
    Ok(styles)
}

fn look(parts: &mut Parts<'_>, part: &str, styles: &Styles) -> Result<Look, Unknown> {
    let mut look = Look::default();
    let painted = styles.fills.iter().any(Option::is_some) || styles.percents.contains(&true);
    let (mut row, mut column) = (0_u32, 0_u32);
    each(parts, part, |tag, start| {
        if !start {
            return;
        }
        match tag.local_name().as_ref() {
            "c" if painted => {
                column = attribute(tag, "r").and_then(|place| column_of(&place)).unwrap_or(column + 1);
                let Some(style) = number(tag, "s").map(|style| style as usize) else { return };
                if let Some(colour) = styles.fills.get(style).copied().flatten() {
                    look.fill(row, column, colour);
                }
                if styles.percents.get(style) == Some(&true) && look.percents.len() < super::MOST {
                    look.percents.insert((row, column));
                }
            }
            "row" => {
                row = number(tag, "r").unwrap_or(row + 1);
                column = 0;
                if is_true(tag, "hidden") {
                    look.hidden_rows.add(row, row);
                }
            }
            "col" if is_true(tag, "hidden") => {
                if let (Some(first), Some(last)) = (number(tag, "min"), number(tag, "max")) {
                    look.hidden_columns.add(first, last);
                }
            }
            "mergeCell" => {
                if let Some(merged) = attribute(tag, "ref").and_then(|range| range_of(&range)) {
                    look.merge(merged);
                }
            }
            _ => {}
        }
    })?;
    look.settle();
    Ok(look)
}

fn is_true(tag: &BytesStart<'_>, name: &str) -> bool {
    attribute(tag, name).is_some_and(|value| matches!(&*value, "1" | "true" | "on"))
}

/// The column of "AB12", from 1.
fn column_of(place: &str) -> Option<u32> {
    place
        .bytes()
        .take_while(u8::is_ascii_alphabetic)
        .take(4)
        .fold(None, |sum, letter| Some(sum.unwrap_or(0) * 26 + u32::from(letter.to_ascii_uppercase() - b'A') + 1))
}

/// The range of "A1:C3".
fn range_of(range: &str) -> Option<Merged> {
    let place = |text: &str| {
        let digits = text.trim_start_matches(|letter: char| letter.is_ascii_alphabetic());
        Some((digits.parse::<u32>().ok()?, column_of(text)?))
    };
    let (first, last) = range.split_once(':')?;
    let ((first_row, first_column), (last_row, last_column)) = (place(first)?, place(last)?);
    Some(Merged { first_row, last_row, first_column, last_column })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_and_ranges() {
        assert_eq!(column_of("A1"), Some(1));
        assert_eq!(column_of("AB12"), Some(28));
        assert_eq!(column_of("XFD1"), Some(16_384));
        let merged = Merged { first_row: 2, last_row: 4, first_column: 1, last_column: 3 };
        assert_eq!(range_of("A2:C4"), Some(merged));
        assert_eq!(range_of("A2"), None);
    }
}
