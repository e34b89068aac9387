//! Zip containers: what kind of workbook one is, and how large it is unpacked. Every part is unpacked once into
//! nothing, so that sizes stated falsely are found before a reader trusts them.

use std::io::{Cursor, Read};

use memchr::memmem;
use zip::ZipArchive;
use zip::result::ZipError;

use super::{Kind, limit, verdict};
use crate::finding::Finding;

/// Parts a workbook may have.
const PARTS: usize = 10_000;

/// The kind of workbook in a zip container.
pub fn kind(bytes: &[u8]) -> Result<Kind, Box<Finding>> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| Box::new(broken(&error)))?;
    if archive.len() > PARTS {
        return Err(Box::new(verdict::over_limit("parts", PARTS as u64, archive.len() as u64)));
    }
    let has = |name: &str| archive.index_for_name(name).is_some();
    let kind = if has("xl/workbook.xml") || has("xl\\workbook.xml") {
        Kind::Xlsx
    } else if has("content.xml") {
        Kind::Ods
    } else if has("xl/workbook.bin") {
        return Err(Box::new(verdict::kind_unknown("a binary .xlsb workbook")));
    } else if has("word/document.xml") {
        return Err(Box::new(verdict::kind_unknown("a word processor's document")));
    } else if has("[Content_Types].xml") {
        Kind::Xlsx
    } else {
        return Err(Box::new(verdict::kind_unknown("a zip archive of other files")));
    };
    measure(&mut archive)?;
    Ok(kind)
}

/// Unpacks every part into nothing and adds up.
fn measure(archive: &mut ZipArchive<Cursor<&[u8]>>) -> Result<(), Box<Finding>> {
    let mut stated = 0_u64;
    for index in 0..archive.len() {
        let part = archive.by_index_raw(index).map_err(|error| Box::new(broken(&error)))?;
        if part.encrypted() {
            return Err(Box::new(verdict::locked()));
        }
        stated = stated.saturating_add(part.size());
    }
    if stated > limit::UNPACKED {
        return Err(Box::new(verdict::over_limit("unpacked bytes", limit::UNPACKED, stated)));
    }
    let mut left = limit::UNPACKED;
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(|error| Box::new(broken(&error)))?;
        let name = part.name().map_or_else(|_| "without a name".to_owned(), |name| name.into_owned());
        // One byte beyond the limit tells that there is more.
        let unpacked = std::io::copy(&mut part.take(left + 1), &mut std::io::sink())
            .map_err(|error| Box::new(verdict::damaged(&format!("its part {name} breaks off ({error})"))))?;
        if unpacked > left {
            return Err(Box::new(verdict::over_limit(
                "unpacked bytes",
                limit::UNPACKED,
                limit::UNPACKED - left + unpacked,
            )));
        }
        left -= unpacked;
    }
    Ok(())
}

/// Adds up the cells of an OpenDocument sheet before they are unfolded: one element may stand for a million.
pub fn measure_repeats(bytes: &[u8], most: u64) -> Result<(), Box<Finding>> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| Box::new(broken(&error)))?;
    let mut part = archive.by_name("content.xml").map_err(|error| Box::new(broken(&error)))?;
    let mut content = Vec::new();
    part.by_ref()
        .take(limit::UNPACKED)
        .read_to_end(&mut content)
        .map_err(|error| Box::new(verdict::damaged(&format!("its content breaks off ({error})"))))?;
    let cells = unfolded_cells(&content);
    if cells > most { Err(Box::new(verdict::over_limit("cells", most, cells))) } else { Ok(()) }
}

/// Cells of the smallest rectangles that hold all filled cells of each table, rows and columns repeated as stated.
fn unfolded_cells(content: &[u8]) -> u64 {
    let number = |tag: &[u8], name: &[u8]| -> u64 {
        let Some(at) = memmem::find(tag, name) else { return 1 };
        let digits = tag[at + name.len()..].iter().skip(2).take_while(|byte| byte.is_ascii_digit()).take(9);
        digits.fold(0, |sum, byte| sum * 10 + u64::from(byte - b'0')).max(1)
    };
    let (mut total, mut rows, mut pending_rows, mut width, mut column, mut filled, mut repeat) =
        (0_u64, 0_u64, 0_u64, 0_u64, 0_u64, false, 1_u64);
    for at in memmem::find_iter(content, b"table:table") {
        if at == 0 {
            continue;
        }
        let end = memchr::memchr(b'>', &content[at..]).map_or(content.len(), |offset| at + offset);
        let (tag, closing) = (&content[at..end], content[at - 1] == b'/');
        if !closing && content[at - 1] != b'<' {
            continue;
        }
        let rest = &tag[b"table:table".len()..];
        if rest.starts_with(b"-row") && !rest.starts_with(b"-rows") {
            if closing {
                if filled {
                    rows = rows.saturating_add(pending_rows).saturating_add(repeat);
                    pending_rows = 0;
                } else {
                    pending_rows = pending_rows.saturating_add(repeat);
                }
            } else {
                (column, filled, repeat) = (0, false, number(tag, b"number-rows-repeated"));
            }
        } else if rest.starts_with(b"-cell") && !closing {
            column = column.saturating_add(number(tag, b"number-columns-repeated"));
            if !tag.ends_with(b"/") || memmem::find(tag, b"office:value").is_some() {
                filled = true;
                width = width.max(column);
            }
        } else if closing && !rest.starts_with(b"-") {
            total = total.saturating_add(rows.saturating_mul(width));
            (rows, pending_rows, width) = (0, 0, 0);
        }
    }
    total.saturating_add(rows.saturating_mul(width))
}

fn broken(error: &ZipError) -> Finding {
    match error {
        ZipError::UnsupportedArchive(ZipError::PASSWORD_REQUIRED) => verdict::locked(),
        other => verdict::damaged(&format!("the zip container is incomplete ({other})")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repeated_cells_are_counted_before_they_are_unfolded() {
        let small = b"<table:table table:name=\"a\"><table:table-row><table:table-cell office:value=\"1\"/><table:table-cell table:number-columns-repeated=\"16382\"/></table:table-row><table:table-row table:number-rows-repeated=\"1048575\"><table:table-cell/></table:table-row></table:table>";
        assert_eq!(unfolded_cells(small), 1);
        let large = b"<table:table><table:table-row table:number-rows-repeated=\"1000000\"><table:table-cell table:number-columns-repeated=\"16000\" office:value-type=\"float\"><text:p>1</text:p></table:table-cell></table:table-row></table:table>";
        assert_eq!(unfolded_cells(large), 16_000_000_000);
    }
}
