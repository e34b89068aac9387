//! Nothing is lost in a workbook: hidden sheets, rows and columns, merged cells, formulas' values and failed formulas, as
//! xlsx and as OpenDocument. The filled cells are counted from the sheets that the test wrote, not from what is read.

#[path = "support/book.rs"]
mod book;
#[path = "support/odd_grids.rs"]
mod odd_grids;

use std::collections::BTreeSet;

use book::{Container, Page, Value};
use importer::context::{Context, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use odd_grids::{Place, answered, context, counted, grid, place, today};
use proptest::prelude::*;

const CONTAINERS: [Container; 2] = [Container::Xlsx, Container::Ods];

/// A cell of a log as a spreadsheet program keeps it: a number as number, formula or text, a day as day or text.
fn value(text: &str, how: u8) -> Value {
    let number = text.parse::<f64>().ok().filter(|number| number.is_finite());
    let day = text.parse::<chrono::NaiveDate>().ok().filter(|_| text.len() == 10);
    match (text, number, day, how) {
        ("", ..) => Value::Empty,
        ("#DIV/0!", ..) => Value::Failed("#DIV/0!"),
        (_, Some(number), _, 0..=5) => Value::Number(number),
        (_, Some(number), _, 6) => Value::Reckoned(number),
        (_, Some(_), _, 7) => Value::Failed("#REF!"),
        (_, _, Some(day), 0..=6) => Value::Day(day),
        ("yes", ..) => Value::Truth(true),
        (_, None, None, 7) => Value::Joined(text.to_owned()),
        _ => Value::Text(text.to_owned()),
    }
}

fn page() -> impl Strategy<Value = Page> {
    let some = || prop::collection::btree_set(1_u32..9, 0..3);
    let ranges = prop::collection::vec((1_u32..9, 1_u32..7, 0_u32..3, 0_u32..3), 0..3);
    let turns = prop::collection::vec(0_u8..9, 1..40);
    (grid(), turns, some(), some(), ranges, 0_u8..5).prop_map(
        |(rows, turns, hidden_rows, hidden_columns, ranges, hidden)| {
            let mut turn = turns.iter().cycle();
            let rows = rows
                .iter()
                .map(|row| row.iter().map(|text| value(text, *turn.next().expect("turns go round"))).collect())
                .collect();
            let mut page = Page { rows, hidden_rows, hidden_columns, hidden: hidden == 0, ..Page::default() };
            for (top, left, down, across) in ranges {
                let range = [top, left, top + down, left + across];
                let apart = |other: &[u32; 4]| {
                    range[0] > other[2] || range[2] < other[0] || range[1] > other[3] || range[3] < other[1]
                };
                if down + across > 0 && page.merged.iter().all(apart) {
                    page.merged.push(range);
                }
            }
            page
        },
    )
}

/// Sheets of a book; the first is shown, as programs demand.
fn pages() -> impl Strategy<Value = Vec<Page>> {
    prop::collection::vec(page(), 1..4).prop_map(|mut pages| {
        for (page, name) in pages.iter_mut().zip(["Alder", "Tests & more", "Old"]) {
            page.name = name.to_owned();
        }
        pages[0].hidden = false;
        pages
    })
}

fn places(pages: &[Page]) -> BTreeSet<Place> {
    let of = |page: &Page| -> Vec<Place> {
        page.filled().map(|(row, column)| (Some(page.name.clone()), row, column)).collect()
    };
    pages.iter().flat_map(of).collect()
}

fn hidden(pages: &[Page]) -> BTreeSet<Place> {
    let of = |page: &Page| -> Vec<Place> {
        let filled = page.filled().filter(|(row, column)| page.hides(*row, *column));
        filled.map(|(row, column)| (Some(page.name.clone()), row, column)).collect()
    };
    pages.iter().flat_map(of).collect()
}

/// The book with what is hidden taken out.
fn emptied(pages: &[Page]) -> Vec<Page> {
    let mut pages = pages.to_vec();
    for page in &mut pages {
        let looks = page.clone();
        for (row, cells) in (1..).zip(&mut page.rows) {
            for (column, cell) in (1..).zip(cells) {
                if looks.hides(row, column) {
                    *cell = Value::Empty;
                }
            }
        }
    }
    pages
}

/// The book with nothing hidden.
fn shown(pages: &[Page]) -> Vec<Page> {
    let shown = |page: &Page| Page {
        hidden: false,
        hidden_rows: BTreeSet::new(),
        hidden_columns: BTreeSet::new(),
        ..page.clone()
    };
    pages.iter().map(shown).collect()
}

/// Keys of what is asked and refused.
fn asked(outcome: &Outcome) -> BTreeSet<&str> {
    let found = outcome.findings.iter().filter(|finding| finding.severity != Severity::Noted);
    found.map(|finding| finding.key.as_str()).collect()
}

fn same(one: &Outcome, other: &Outcome) -> Result<(), TestCaseError> {
    prop_assert_eq!(
        serde_json::to_value(&one.records).expect("records print"),
        serde_json::to_value(&other.records).expect("records print")
    );
    prop_assert_eq!(asked(one), asked(other));
    Ok(())
}

fn told(name: &str, bytes: &[u8], context: &Context) -> Outcome {
    read(&format!("log.{name}"), bytes, context)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(60), failure_persistence: None, ..ProptestConfig::default() })]

    /// Every filled cell counts once, before and after all questions are answered.
    #[test]
    fn of_any_book(pages in pages(), context in context(), pick in 0_usize..12) {
        let file = places(&pages);
        let hidden = hidden(&pages);
        for container in CONTAINERS {
            let bytes = container.write(&pages);
            let outcome = told(container.ending(), &bytes, &context);
            counted(&file, &outcome)?;
            counted(&file, &answered("log", &bytes, &context, pick))?;
            // What is hidden is said, and nothing of it is read.
            let used = outcome.records.iter().flat_map(|record| &record.place().cells)
                .chain(outcome.findings.iter().filter(|finding| finding.severity != Severity::Noted).flat_map(|finding| &finding.cells));
            for cell in used {
                prop_assert!(!hidden.contains(&place(cell)), "{cell:?} is hidden");
            }
            let empty = file == BTreeSet::new();
            let said = outcome.findings.iter().any(|finding| finding.code == "sheet_hidden");
            prop_assert!(empty || said != hidden.is_empty(), "{:?}", outcome.findings);
        }
    }

    /// A hidden cell changes nothing, and once it is to be read too it is as if it had never been hidden.
    #[test]
    fn what_is_hidden_is_as_if_it_were_not_there_until_somebody_says_so(pages in pages(), known in context()) {
        for container in CONTAINERS {
            let bytes = container.write(&pages);
            let outcome = told(container.ending(), &bytes, &known);
            let without = emptied(&pages);
            if !places(&without).is_empty() {
                same(&outcome, &told(container.ending(), &container.write(&without), &known))?;
            }
            // Hidden lines of a hidden sheet are said once the sheet is read.
            let mut context = known.clone();
            for _ in 0..2 {
                let outcome = told(container.ending(), &bytes, &context);
                let keys = outcome.findings.iter().filter(|finding| finding.code == "sheet_hidden").map(|finding| finding.key.clone());
                context.answers.extend(keys.map(|key| Answer { key, choice: "read".to_owned(), value: None }));
            }
            let read_too = told(container.ending(), &bytes, &context);
            let bytes = container.write(&shown(&pages));
            let open = told(container.ending(), &bytes, &known);
            same(&read_too, &open)?;
            prop_assert_eq!(read_too.cells, open.cells);
            counted(&places(&pages), &read_too)?;
        }
    }

    /// Both containers say the same.
    #[test]
    fn two_containers_say_the_same(pages in pages(), context in context()) {
        let [one, other] = CONTAINERS.map(|container| told("book", &container.write(&pages), &context));
        same(&one, &other)?;
        prop_assert_eq!(one.cells, other.cells);
    }
}

/// A formula's number is a number, wherever the formula stands, and a failed one is named, never a value.
#[test]
fn values_of_formulas_count_and_failures_are_named() {
    let day = |text: &str| Value::Day(text.parse().expect("a day"));
    let text = |text: &str| Value::Text(text.to_owned());
    let rows = vec![
        vec![text("Date"), text("KH"), text("NO3")],
        vec![day("2024-03-02"), Value::Reckoned(8.1), Value::Number(5.0)],
        vec![day("2024-03-09"), Value::Failed("#DIV/0!"), Value::Reckoned(6.0)],
        vec![day("2024-03-16"), Value::Number(8.2), Value::Failed("#VALUE!")],
    ];
    for container in CONTAINERS {
        let pages = [Page::new("Tests", rows.clone())];
        let outcome = told("book", &container.write(&pages), &Context { today: today(), ..Context::default() });
        let readings = outcome.records.iter().filter(|record| matches!(record, importer::record::Record::Reading(_)));
        assert_eq!(readings.count(), 4, "{container:?}");
        let failed: Vec<Place> = outcome
            .findings
            .iter()
            .filter(|finding| finding.code == "formula_error")
            .flat_map(|finding| finding.cells.iter().map(place))
            .collect();
        let at = |row, column| (Some("Tests".to_owned()), row, column);
        for cell in [at(3, 2), at(4, 3)] {
            assert!(failed.contains(&cell), "{container:?}: {failed:?}");
        }
    }
}

/// Kept from runs of the laws above.
mod found {
    use super::*;

    fn text(text: &str) -> Value {
        Value::Text(text.to_owned())
    }

    fn codes(outcome: &Outcome) -> Vec<&str> {
        outcome.findings.iter().map(|finding| finding.code.as_str()).collect()
    }

    #[test]
    fn a_hidden_sheet_whose_rows_are_hidden_too_is_said() {
        let shown =
            Page::new("Alder", vec![vec![text("Date"), text("KH")], vec![text("2024-03-02"), Value::Number(8.1)]]);
        let mut old = Page { name: "Old".to_owned(), ..shown.clone() };
        old.hidden = true;
        old.hidden_rows = BTreeSet::from([1, 2]);
        for container in CONTAINERS {
            let outcome = told("book", &container.write(&[shown.clone(), old.clone()]), &Context::default());
            assert!(codes(&outcome).contains(&"sheet_hidden"), "{container:?}");
        }
    }

    #[test]
    fn words_without_a_table_are_asked_about_beside_hidden_ones_and_those_are_in_no_question() {
        let mut page = Page::new("Alder", vec![vec![text("Reef diary")], vec![text("all well")], vec![text("old")]]);
        page.hidden_rows = BTreeSet::from([3]);
        for container in CONTAINERS {
            let outcome = told("book", &container.write(&[page.clone()]), &Context::default());
            let asked =
                outcome.findings.iter().find(|finding| finding.code == "table_kind_unclear").expect("a question");
            let rows: Vec<u32> = asked.cells.iter().map(|cell| cell.row).collect();
            assert_eq!(rows, [1, 2], "{container:?}");
        }
    }

    #[test]
    fn a_day_in_a_hidden_row_is_not_the_lists_day() {
        let header = ["Label", "Species", "Tank", "Acquired", "Ended"].map(text).to_vec();
        let coral = ["C1", "Goniopora stokesi", "Alder", "2023-03-05", ""].map(text).to_vec();
        let mut page = Page::new("Corals", vec![vec![text("As of 2024-05-01")], Vec::new(), header, coral]);
        page.hidden_rows = BTreeSet::from([1]);
        for container in CONTAINERS {
            let context = Context { today: today(), ..Context::default() };
            let outcome = told("book", &container.write(&[page.clone()]), &context);
            assert_ne!(outcome.about.as_of, chrono::NaiveDate::from_ymd_opt(2024, 5, 1), "{container:?}");
        }
    }

    #[test]
    fn a_failed_formula_names_no_coral() {
        let rows = vec![
            ["Label", "Species", "Tank", "Acquired"].map(text).to_vec(),
            vec![text("C1"), text("Goniopora stokesi"), text("Alder"), text("2023-03-05")],
            vec![Value::Failed("#REF!"), text("Goniopora stokesi"), text("Alder"), text("2023-03-19")],
        ];
        let labels = CONTAINERS.map(|container| {
            let outcome = told("book", &container.write(&[Page::new("Corals", rows.clone())]), &Context::default());
            let labels = outcome.records.iter().filter_map(|record| match record {
                importer::record::Record::Specimen(specimen) => Some(specimen.label.clone()),
                _ => None,
            });
            labels.collect::<Vec<String>>()
        });
        assert_eq!(labels, [["C1"], ["C1"]]);
    }

    #[test]
    fn a_failed_formula_names_no_tank_and_the_tank_above_is_not_meant() {
        let text_of = |rows: &[[&str; 3]]| rows.iter().map(|row| row.join(",")).collect::<Vec<_>>().join("\n");
        let log = text_of(&[
            ["Date", "Tank", "KH"],
            ["2024-03-02", "Alder", "8.1"],
            ["2024-03-09", "", "8.2"],
            ["2024-03-16", "", "8.1"],
            ["2024-03-02", "#REF!", "7.6"],
            ["2024-03-09", "", "7.7"],
            ["2024-03-16", "", "7.6"],
            ["2024-03-02", "Copse", "7.1"],
            ["2024-03-09", "", "7.2"],
            ["2024-03-16", "", "7.1"],
        ]);
        let outcome = told("csv", log.as_bytes(), &Context { today: today(), ..Context::default() });
        let refused = outcome.findings.iter().find(|finding| finding.code == "formula_error").expect("a refusal");
        assert_eq!((refused.row, refused.column, refused.cells.len()), (Some(5), Some(2), 3 + 2 + 2));
        let tanks: BTreeSet<String> = outcome
            .records
            .iter()
            .filter_map(|record| match record {
                importer::record::Record::Tank(tank) => Some(tank.name.clone()),
                _ => None,
            })
            .collect();
        assert_eq!(tanks, BTreeSet::from(["Alder".to_owned(), "Copse".to_owned()]));
        let readings = outcome.records.iter().filter(|record| matches!(record, importer::record::Record::Reading(_)));
        assert_eq!(readings.count(), 6);
    }
}
