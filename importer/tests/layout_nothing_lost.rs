//! Every non-empty cell of any grid ends in exactly one place, and no text or byte stops the reader.

use std::collections::BTreeMap;

use importer::container;
use importer::grid::{Cell, Grid, Merged, Raw, Row};
use importer::layout;
use proptest::prelude::*;

/// Words, values and oddities of logs.
const CELLS: [&str; 48] = [
    "Date",
    "Datum",
    "KH",
    "NO3 (mg/L)",
    "Temp °C",
    "Notes",
    "Coral",
    "Label",
    "Got",
    "Gone",
    "Fate",
    "Value",
    "Reading",
    "What",
    "Unit",
    "Tank",
    "mg/L",
    "°C",
    "dd/mm/yyyy",
    "2024-03-02",
    "05/02/2024",
    "March 2024",
    "5",
    "8.2",
    "25,1",
    "<0.02",
    "5-10",
    "forgot",
    "n.d.",
    "Average",
    "Target",
    "Ø",
    "TANK: Alder",
    "Page 2",
    "* see book",
    "C01",
    "Goniopora sp.",
    "died on holiday",
    "Nitrate",
    "Phosphate",
    "label [label]",
    "coral [look_label]",
    "day [test_day]",
    "salinity [salinity]",
    "-",
    "?",
    "a sentence that goes on and on, longer than any name of a coral would be.",
    "19:30",
];

fn cell() -> impl Strategy<Value = Raw> {
    prop_oneof![
        12 => prop::sample::select(&CELLS[..]).prop_map(|text| Raw::Text(text.to_owned())),
        2 => (-10.0..3000.0_f64).prop_map(Raw::Number),
        1 => (40_000..46_000_i64).prop_map(|day| Raw::Date(chrono::NaiveDateTime::default() + chrono::TimeDelta::days(day - 25_569))),
        1 => any::<bool>().prop_map(Raw::Bool),
        1 => Just(Raw::Error("#DIV/0!".into())),
        1 => "\\PC{1,12}".prop_filter("not blank", |text| !text.trim().is_empty()).prop_map(Raw::Text),
    ]
}

fn grid() -> impl Strategy<Value = Grid> {
    let row = prop::collection::vec((0..3_u32, cell()), 1..8);
    (
        prop::collection::vec((0..4_u32, row), 0..30),
        any::<bool>(),
        prop::option::of(prop::sample::select(vec![b',', b';', b'\t'])),
        prop::collection::vec((1..6_u32, 1..6_u32, 0..3_u32, 1..4_u32), 0..3),
    )
        .prop_map(|(rows, named, delimiter, merged)| {
            let merged = merged.into_iter().map(|(row, column, down, across)| Merged {
                first_row: row,
                last_row: row + down,
                first_column: column,
                last_column: column + across,
            });
            let mut grid = Grid {
                sheet: named.then(|| "Kelp".to_owned()),
                delimiter,
                merged: merged.collect(),
                ..Grid::default()
            };
            let mut number = 0;
            for (gap, cells) in rows {
                number += 1 + gap / 2;
                let mut column = 0;
                let cells = cells.into_iter().map(|(gap, raw)| {
                    column += 1 + gap / 2;
                    Cell { column, raw }
                });
                grid.rows.push(Row { number, line: Some(number), cells: cells.collect() });
            }
            grid
        })
}

/// How often each place occurs in the outcome.
fn places(grid: &Grid) -> BTreeMap<(u32, u32), usize> {
    let (tables, findings, labels) = layout::tables(grid);
    let mut seen = BTreeMap::new();
    // Sections under one header share its cells.
    // A header that a turned table was given stands on no cell.
    let has = |row: u32, column: u32| {
        grid.rows.iter().any(|own| own.number == row && own.cells.iter().any(|cell| cell.column == column))
    };
    let headers: std::collections::BTreeSet<(u32, u32)> = tables
        .iter()
        .flat_map(|table| table.header.iter().map(|column| table.place(column.row, column.column)))
        .filter(|(row, column)| has(*row, *column))
        .collect();
    let mut see = |row: u32, column: u32| *seen.entry((row, column)).or_insert(0) += 1;
    headers.iter().for_each(|(row, column)| see(*row, *column));
    for table in &tables {
        let rows = table.rows.iter().flat_map(|row| &row.cells);
        table.titles.iter().chain(&table.labels).for_each(|cell| {
            let (row, column) = table.place(cell.row, cell.column);
            see(row, column);
        });
        // A key cell that was filled down stands for several rows and counts once.
        let mut own = std::collections::BTreeSet::new();
        for cell in table.units.iter().chain(rows) {
            let (row, column) = table.place(cell.row, cell.column);
            if table.turned || own.insert((row, column)) {
                see(row, column);
            }
        }
    }
    findings.iter().flat_map(|finding| &finding.cells).for_each(|cell| see(cell.row, cell.column));
    labels.iter().for_each(|cell| see(cell.row, cell.column));
    seen
}

proptest! {
    #![proptest_config(ProptestConfig { cases: std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(400), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_cell_has_exactly_one_place(grid in grid()) {
        let wanted: BTreeMap<(u32, u32), usize> = grid.rows.iter().flat_map(|row| row.cells.iter().map(move |cell| ((row.number, cell.column), 1))).collect();
        prop_assert_eq!(places(&grid), wanted);
    }

    #[test]
    fn every_question_can_be_answered_and_then_is_not_asked_again(grid in grid()) {
        let (_, findings, _) = layout::tables(&grid);
        for finding in &findings {
            prop_assert!(finding.choices.iter().any(|choice| choice.code == "leave_out") && finding.choices.iter().any(|choice| choice.code == "dont_know"));
            for choice in &finding.choices {
                let answer = importer::finding::Answer { key: finding.key.clone(), choice: choice.code.clone(), value: None };
                let (_, after, _) = layout::tables_with(&grid, &[answer]);
                let same = after.iter().find(|other| other.key == finding.key);
                prop_assert!(same.is_none_or(|same| same.answered.as_deref() == Some("dont_know") && choice.code == "dont_know"), "{} {}", finding.key, choice.code);
            }
        }
    }

    #[test]
    fn any_text_is_taken_whole(text in "([a-z0-9 .,;|\t\"'\r\n]|Date|KH|°|\\PC){0,300}") {
        let (grids, findings) = container::open("log.csv", text.as_bytes());
        prop_assert!(grids.len() == 1 || !findings.is_empty());
        for grid in &grids {
            let cells: usize = grid.rows.iter().map(|row| row.cells.len()).sum();
            let held: usize = findings.iter().filter(|finding| finding.severity == importer::finding::Severity::Questioned).map(|finding| finding.cells.len()).sum();
            prop_assert_eq!(places(grid).values().sum::<usize>() + held, cells);
            prop_assert!(grid.rows.windows(2).all(|pair| pair[0].number < pair[1].number && pair[0].line < pair[1].line));
        }
    }

    #[test]
    fn any_bytes_are_taken_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let (grids, findings) = container::open("log", &bytes);
        prop_assert!(!grids.is_empty() || !findings.is_empty());
    }

    #[test]
    fn quoting_what_has_separators_in_it_gives_the_cells_back(
        rows in prop::collection::vec(prop::collection::vec("[a-z0-9 ,;\"\n.]{0,12}", 3..=3), 2..12)
    ) {
        let mut writer = csv::WriterBuilder::new().quote_style(csv::QuoteStyle::Always).from_writer(Vec::new());
        for row in &rows {
            writer.write_record(row).expect("a row");
        }
        let text = String::from_utf8(writer.into_inner().expect("bytes")).expect("text");
        let mut records = importer::dialect::split::Records::new(&text, importer::dialect::Dialect::of(Some(b',')));
        let mut read: Vec<Vec<String>> = Vec::new();
        while let Some(record) = records.next_record() {
            read.push(record.fields.iter().map(|field| field.text.to_string()).collect());
        }
        prop_assert_eq!(read, rows);
    }
}
