//! Files of every kind, whole and broken. Workbooks are written by a library or, where a program's oddities are
//! meant, part by part (ECMA-376 SpreadsheetML, OASIS OpenDocument 1.2).

use std::io::{Cursor, Write};

use importer::container::{self, limit};
use importer::finding::{Answer, Severity};
use importer::grid::{Grid, Raw};
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// The only finding of a refused file.
#[track_caller]
fn refused(bytes: &[u8]) -> String {
    let (grids, findings) = container::open("log", bytes);
    assert_eq!((grids.len(), findings.len()), (0, 1));
    assert_eq!(findings[0].severity, Severity::Refused);
    assert!(!findings[0].message.is_empty() && !findings[0].remedy.is_empty());
    findings[0].code.clone()
}

#[track_caller]
fn one(bytes: &[u8]) -> Grid {
    let (mut grids, findings) = container::open("log", bytes);
    assert_eq!(findings, []);
    assert_eq!(grids.len(), 1);
    grids.remove(0)
}

fn written(grid: &Grid) -> Vec<Vec<String>> {
    grid.rows.iter().map(|row| row.cells.iter().map(|cell| cell.raw.written()).collect()).collect()
}

fn zipped(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in parts {
        archive.start_file(*name, SimpleFileOptions::default()).expect("part");
        archive.write_all(content).expect("content");
    }
    archive.finish().expect("archive").into_inner()
}

/// A workbook of one sheet, part by part.
fn book(workbook: &str, sheet: &str) -> Vec<u8> {
    let types = br#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/></Types>"#;
    let links = br#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#;
    let root = br#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
    let styles = br#"<?xml version="1.0"?><styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>"#;
    let workbook = format!(
        r#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">{workbook}<sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>"#
    );
    let sheet = format!(
        r#"<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{sheet}</sheetData></worksheet>"#
    );
    zipped(&[
        ("[Content_Types].xml", types),
        ("_rels/.rels", root),
        ("xl/workbook.xml", workbook.as_bytes()),
        ("xl/_rels/workbook.xml.rels", links),
        ("xl/styles.xml", styles),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
    ])
}

/// An OpenDocument spreadsheet with the given tables.
fn document(tables: &str) -> Vec<u8> {
    let content = format!(
        r#"<?xml version="1.0"?><office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"#
    );
    let manifest = br#"<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"></manifest:manifest>"#;
    zipped(&[
        ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet"),
        ("META-INF/manifest.xml", manifest),
        ("content.xml", content.as_bytes()),
    ])
}

#[test]
fn a_workbook_gives_numbers_days_times_texts_and_stored_values() {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    sheet.set_name("Kelp").expect("name");
    let day = Format::new().set_num_format("dd.mm.yyyy");
    let clock = Format::new().set_num_format("hh:mm");
    let both = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    sheet.write_string(1, 1, "Datum").expect("cell");
    sheet.write_with_format(2, 1, ExcelDateTime::from_ymd(2024, 3, 1).expect("day"), &day).expect("cell");
    sheet
        .write_with_format(
            3,
            1,
            ExcelDateTime::from_ymd(2024, 3, 1).expect("day").and_hms(19, 30, 0).expect("time"),
            &both,
        )
        .expect("cell");
    sheet.write_with_format(3, 2, ExcelDateTime::from_hms(7, 5, 0).expect("time"), &clock).expect("cell");
    sheet.write_number(4, 1, 0.1 + 0.2).expect("cell");
    sheet.write_formula(4, 2, Formula::new("=B5*2").set_result("0.6")).expect("cell");
    sheet.write_formula(4, 3, Formula::new("=1/0").set_result("#DIV/0!")).expect("cell");
    sheet.write_boolean(4, 4, true).expect("cell");
    sheet.write_string(4, 5, "  ").expect("cell");
    let grid = one(&workbook.save_to_buffer().expect("bytes"));
    assert_eq!(grid.sheet.as_deref(), Some("Kelp"));
    assert_eq!(
        written(&grid),
        [vec!["Datum"], vec!["2024-03-01"], vec!["2024-03-01T19:30", "07:05"], vec!["0.3", "0.6", "#DIV/0!", "TRUE"]]
    );
    assert_eq!(grid.rows.iter().map(|row| row.number).collect::<Vec<_>>(), [2, 3, 4, 5]);
    assert_eq!(grid.rows[0].cells[0].column, 2);
    assert_eq!(grid.rows[3].cells[2].raw, Raw::Error("#DIV/0!".into()));
}

#[test]
fn a_formula_without_a_stored_value_is_an_error_cell() {
    let grid = one(&book(
        "",
        r#"<row r="1"><c r="A1"><f>B1*2</f></c><c r="B1"><v>4</v></c><c r="C1" t="str"><f>""</f><v></v></c></row>"#,
    ));
    assert_eq!(grid.rows[0].cells.len(), 2);
    assert_eq!(grid.rows[0].cells[0].raw, Raw::Error("=B1*2".into()));
    assert_eq!(grid.rows[0].cells[1].raw, Raw::Number(4.0));
}

#[test]
fn a_workbook_counts_its_days_from_1900_or_1904_as_it_says() {
    let cell = r#"<row r="1"><c r="A1" s="1"><v>43890</v></c></row>"#;
    assert_eq!(written(&one(&book(r#"<workbookPr date1904="1"/>"#, cell))), [["2024-03-01"]]);
    assert_eq!(written(&one(&book("", &cell.replace("43890", "45352")))), [["2024-03-01"]]);
}

#[test]
fn cells_out_of_order_are_put_in_order_and_the_first_of_two_stands() {
    let sheet = r#"<row r="2"><c r="B2"><v>22</v></c><c r="A2"><v>21</v></c><c r="A2"><v>99</v></c></row><row r="1"><c r="A1"><v>11</v></c></row>"#;
    assert_eq!(written(&one(&book("", sheet))), [vec!["11"], vec!["21", "22"]]);
}

#[test]
fn hidden_sheets_are_said_and_read_only_when_asked_for() {
    let mut workbook = Workbook::new();
    workbook.add_worksheet().set_name("Shown").expect("name").write_string(0, 0, "a").expect("cell");
    workbook.add_worksheet().set_name("Old").expect("name").set_hidden(true).write_string(0, 0, "b").expect("cell");
    workbook.add_worksheet().set_name("Empty").expect("name").set_hidden(true);
    let bytes = workbook.save_to_buffer().expect("bytes");
    let (grids, findings) = container::open("log.xlsx", &bytes);
    assert_eq!(grids.iter().map(|grid| grid.hidden).collect::<Vec<_>>(), [false, true, true]);
    assert_eq!(
        findings.iter().map(|finding| (finding.code.as_str(), finding.sheet.as_deref())).collect::<Vec<_>>(),
        [("sheet_hidden", Some("Old"))]
    );
    let answer = Answer { key: findings[0].key.clone(), choice: "read".to_owned(), value: None };
    let (grids, findings) = container::open_with("log.xlsx", &bytes, &[answer]);
    assert_eq!((grids[1].hidden, findings.len()), (false, 0));
}

#[test]
fn an_open_document_gives_the_same_cells() {
    let table = r#"<table:table table:name="Kelp"><table:table-row><table:table-cell office:value-type="string"><text:p>Date</text:p></table:table-cell><table:table-cell office:value-type="string"><text:p>KH</text:p></table:table-cell></table:table-row>
        <table:table-row table:number-rows-repeated="2"><table:table-cell table:number-columns-repeated="1000"/></table:table-row>
        <table:table-row><table:table-cell office:value-type="date" office:date-value="2024-03-01"><text:p>01.03.2024</text:p></table:table-cell><table:table-cell office:value-type="float" office:value="8.2"><text:p>8,2</text:p></table:table-cell><table:table-cell table:number-columns-repeated="16382"/></table:table-row>
        <table:table-row table:number-rows-repeated="1048572"><table:table-cell table:number-columns-repeated="16384"/></table:table-row></table:table>"#;
    let grid = one(&document(table));
    assert_eq!(written(&grid), [["Date", "KH"], ["2024-03-01", "8.2"]]);
    assert_eq!(grid.rows[1].number, 4);
}

#[test]
fn an_open_document_that_unfolds_beyond_measure_is_refused() {
    let table = r#"<table:table table:name="a"><table:table-row table:number-rows-repeated="1000000"><table:table-cell table:number-columns-repeated="16000" office:value-type="float" office:value="1"><text:p>1</text:p></table:table-cell></table:table-row></table:table>"#;
    assert_eq!(refused(&document(table)), "file_over_limit");
}

#[test]
fn files_that_hold_nothing_are_refused() {
    assert_eq!(refused(b""), "file_empty");
    assert_eq!(refused(b"\xef\xbb\xbf"), "file_empty");
    assert_eq!(refused(b" \r\n;;;\n\xc2\xa0;\t\n"), "file_empty");
    assert_eq!(refused(&book("", "")), "file_empty");
}

#[test]
fn the_kind_is_told_by_content_not_by_name() {
    for bytes in [
        &b"%PDF-1.7 text"[..],
        b"\x89PNG\r\n\x1a\n",
        b"\xff\xd8\xff\xe0",
        b"\x1f\x8b\x08\0\0",
        b"\0\x01\x02\x03\0\xff\xfe\x07",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old",
    ] {
        assert_eq!(refused(bytes), "file_kind_unknown");
    }
    assert_eq!(refused(&zipped(&[("holiday.txt", b"sun")])), "file_kind_unknown");
    assert_eq!(refused(&zipped(&[("word/document.xml", b"<a/>")])), "file_kind_unknown");
    let (grids, _) = container::open("tests.xlsx", b"Date,KH\n2024-03-02,8.2\n");
    assert_eq!(grids.len(), 1, "a text file under a workbook's name");
}

#[test]
fn locked_files_are_said_to_be_locked() {
    let mut bytes = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec();
    bytes.resize(1024, 0);
    bytes.extend("EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes));
    assert_eq!(refused(&bytes), "file_locked");
}

#[test]
fn broken_containers_are_said_to_be_damaged() {
    let whole = book("", r#"<row r="1"><c r="A1"><v>4</v></c></row>"#);
    for keep in [4, 30, whole.len() / 2, whole.len() - 1] {
        assert_eq!(refused(&whole[..keep]), "file_damaged", "cut at {keep}");
    }
    assert_eq!(refused(&book("", r#"<row r="1"><c r="A1"><v>4</v>"#)), "file_damaged");
    assert_eq!(
        refused(&book("", r#"<row r="1"><c r="A1" t="s"><v>7</v></c></row>"#)),
        "file_damaged",
        "a text that is not there"
    );
    assert_eq!(refused(&zipped(&[("[Content_Types].xml", b"<a/>")])), "file_damaged");
    assert_eq!(refused(&zipped(&[("content.xml", b"<a><b></a>")])), "file_damaged");
}

#[test]
fn any_byte_changed_never_stops_the_reader() {
    let whole = book("", r#"<row r="1"><c r="A1"><v>4</v></c><c r="B1" t="inlineStr"><is><t>KH</t></is></c></row>"#);
    for at in 0..whole.len() {
        let mut bytes = whole.clone();
        bytes[at] ^= 0x55;
        let (grids, findings) = container::open("log.xlsx", &bytes);
        assert!(!grids.is_empty() || !findings.is_empty());
    }
}

#[test]
fn a_bomb_is_refused_before_it_unfolds() {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    archive.start_file("xl/workbook.xml", SimpleFileOptions::default()).expect("part");
    let zeros = vec![b' '; 1 << 20];
    for _ in 0..=limit::UNPACKED >> 20 {
        archive.write_all(&zeros).expect("content");
    }
    let bytes = archive.finish().expect("archive").into_inner();
    assert!(bytes.len() < 1 << 20);
    assert_eq!(refused(&bytes), "file_over_limit");
    // The same archive that states small sizes in its directory.
    let mut lying = bytes.clone();
    let stated = (limit::UNPACKED + (1 << 20)) as u32;
    let mut changed = 0;
    for at in 0..lying.len() - 4 {
        if lying[at..at + 4] == stated.to_le_bytes() {
            lying[at..at + 4].copy_from_slice(&100_u32.to_le_bytes());
            changed += 1;
        }
    }
    assert!(changed > 0);
    let (grids, findings) = container::open("log.xlsx", &lying);
    assert_eq!(grids.len(), 0);
    assert!(["file_over_limit", "file_damaged"].contains(&findings[0].code.as_str()), "{}", findings[0].code);
}

#[test]
fn limits_are_stated_with_what_was_found() {
    let long = "x".repeat(limit::CELL_BYTES as usize + 1);
    let (_, findings) = container::open("log.csv", format!("Date,Note\n2024-03-02,{long}\n").as_bytes());
    assert_eq!(findings[0].code, "file_over_limit");
    assert!(
        findings[0].message.contains("1048577") && findings[0].message.contains("1048576"),
        "{}",
        findings[0].message
    );
    assert_eq!(refused("x".repeat(5 << 20).as_bytes()), "file_over_limit");
    assert_eq!(refused("1,".repeat(limit::COLUMNS as usize + 1).as_bytes()), "file_over_limit");
    assert_eq!(refused("1\n".repeat(limit::ROWS as usize + 1).as_bytes()), "file_over_limit");
    let far = r#"<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>"#;
    assert_eq!(one(&book("", far)).rows.len(), 1, "one far cell takes one cell of memory");
    let mut sheets = Workbook::new();
    for _ in 0..=limit::SHEETS {
        sheets.add_worksheet();
    }
    assert_eq!(refused(&sheets.save_to_buffer().expect("bytes")), "file_over_limit");
}

#[test]
fn text_files_keep_their_places() {
    let grid = one(b"\xef\xbb\xbftitle;;;\r\n\r\nDate;KH;Note;\r\n02.03.2024;8,2;\"two\r\nlines\";\r\n03.03.2024; 8,1 ;;\r\n;;;\r\n");
    assert_eq!(
        written(&grid),
        [
            vec!["title"],
            vec!["Date", "KH", "Note"],
            vec!["02.03.2024", "8,2", "two\r\nlines"],
            vec!["03.03.2024", " 8,1 "]
        ]
    );
    assert_eq!(
        grid.rows.iter().map(|row| (row.number, row.line)).collect::<Vec<_>>(),
        [(1, Some(1)), (3, Some(3)), (4, Some(4)), (5, Some(6))]
    );
    assert!(grid.decimal_comma);
    assert_eq!(grid.delimiter, Some(b';'));
}

#[test]
fn line_ends_may_be_mixed_and_of_any_kind() {
    let rows = [["Date", "KH"], ["2024-03-02", "8.2"], ["2024-03-09", "8.1"]];
    for text in [
        "Date,KH\r2024-03-02,8.2\r2024-03-09,8.1",
        "Date,KH\r\n2024-03-02,8.2\n2024-03-09,8.1\r",
        "Date,KH\n2024-03-02,8.2\n2024-03-09,8.1\n\x1a",
    ] {
        assert_eq!(written(&one(text.as_bytes())), rows);
    }
}

#[test]
fn repaired_quotes_and_lost_letters_are_noted_with_their_cells() {
    let (grids, findings) = container::open(
        "log.csv",
        "Date,Note,KH\n2024-03-02,\"5\" hose,8.2\n2024-03-09,Gr\u{fffd}\u{fffd}e,8.1\n".as_bytes(),
    );
    assert_eq!(written(&grids[0])[1], ["2024-03-02", "\"5\" hose", "8.2"]);
    let seen: Vec<_> =
        findings.iter().map(|finding| (finding.code.as_str(), finding.severity, finding.row, finding.column)).collect();
    assert_eq!(
        seen,
        [("quote_repaired", Severity::Noted, Some(2), Some(2)), ("letters_lost", Severity::Noted, Some(3), Some(2))]
    );
}

#[test]
fn two_separators_that_fit_alike_hold_the_file_until_one_is_chosen() {
    let text = b"a|b;c\nd|e;f\ng|h;i\n";
    let (grids, findings) = container::open("log.txt", text);
    assert!(grids[0].held);
    let codes: Vec<&str> = findings[0].choices.iter().map(|choice| choice.code.as_str()).collect();
    assert_eq!(
        (findings.len(), findings[0].code.as_str(), codes),
        (1, "separator_unclear", vec!["semicolon", "bar", "leave_out", "dont_know"])
    );
    assert_eq!(findings[0].cells.len(), 6);
    assert!(findings[0].choices[1].label.contains("a \u{2503} b;c"), "{}", findings[0].choices[1].label);
    let open = |choice: &str| {
        container::open_with(
            "log.txt",
            text,
            &[Answer { key: findings[0].key.clone(), choice: choice.to_owned(), value: None }],
        )
    };
    for (choice, delimiter) in [("semicolon", b';'), ("bar", b'|')] {
        let (grids, findings) = open(choice);
        assert_eq!((findings.len(), grids[0].delimiter, grids[0].held), (0, Some(delimiter), false));
    }
    let (grids, findings) = open("leave_out");
    assert_eq!((findings.len(), grids[0].hidden), (0, true));
    let (grids, findings) = open("dont_know");
    assert_eq!((findings[0].answered.as_deref(), grids[0].held), (Some("dont_know"), true));
}

#[test]
fn two_encodings_that_fit_alike_hold_the_file_until_one_is_chosen() {
    let text = b"Date,Note\n2024-03-02,a \xf7 b\n";
    let (grids, findings) = container::open("log.csv", text);
    assert_eq!((findings.len(), findings[0].code.as_str(), grids[0].held), (1, "encoding_unclear", true));
    assert_eq!(findings[0].choices[0].label, "2024-03-02,a \u{f7} b");
    for (choice, note) in [("first", "a \u{f7} b"), ("second", "a \u{2dc} b")] {
        let (grids, findings) = container::open_with(
            "log.csv",
            text,
            &[Answer { key: findings[0].key.clone(), choice: choice.to_owned(), value: None }],
        );
        assert_eq!((findings.len(), written(&grids[0])[1][1].as_str()), (0, note));
    }
}
