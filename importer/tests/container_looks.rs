//! What a workbook shows beside its values: hidden rows and columns, merged cells, fills, percentages, the day from
//! which serials count. One sheet, written by hand into three containers.

use std::path::Path;

use importer::container::open_with;
use importer::finding::{Answer, Finding};
use importer::grid::{Grid, Merged};

fn open(name: &str, answers: &[Answer]) -> (Vec<Grid>, Vec<Finding>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs/workbooks").join(name);
    open_with(name, &std::fs::read(path).unwrap(), answers)
}

fn written(grid: &Grid) -> Vec<String> {
    grid.rows.iter().map(|row| row.cells.iter().map(|cell| cell.raw.written()).collect::<Vec<_>>().join("|")).collect()
}

#[test]
fn three_containers_show_the_same() {
    for name in ["looks.xlsx", "looks.xls", "looks.ods"] {
        let (grids, findings) = open(name, &[]);
        let grid = &grids[0];
        assert_eq!(grid.sheet.as_deref(), Some("Tests"), "{name}");
        assert_eq!(
            written(grid),
            [
                "Date|Tank|NO3 ppm|O2 %|Remark",
                "2024-03-02|Alder|5|98%",
                "2024-03-09|6|97%",
                "2024-03-23|Brook|8|96%",
                "2024-03-30|9|99%",
            ],
            "{name}"
        );
        let merged = |first_row, last_row| Merged { first_row, last_row, first_column: 2, last_column: 2 };
        assert_eq!(grid.merged, [merged(2, 4), merged(5, 6)], "{name}");
        let fills: Vec<(u32, u32)> = grid.fills.iter().map(|fill| (fill.row, fill.column)).collect();
        assert_eq!(fills, [(3, 3), (6, 3)], "{name}");
        assert_eq!(grid.aside.iter().map(|row| row.cells.len()).sum::<usize>(), 6 + 4, "{name}");
        let hidden: Vec<&str> = findings.iter().map(|finding| finding.message.as_str()).collect();
        assert!(hidden.contains(&"Hidden: row 4 and column 6. Kept, not read."), "{name}: {hidden:?}");
    }
}

#[test]
fn hidden_lines_are_read_where_somebody_says_so() {
    for name in ["looks.xlsx", "looks.xls", "looks.ods"] {
        let (_, findings) = open(name, &[]);
        let key = findings.iter().find(|finding| finding.message.contains("row 4")).unwrap().key.clone();
        let (grids, findings) = open(name, &[Answer { key, choice: "read".to_owned(), value: None }]);
        assert_eq!(grids[0].rows.len(), 6, "{name}");
        assert!(grids[0].aside.is_empty(), "{name}");
        assert!(findings.iter().all(|finding| !finding.message.contains("row 4")), "{name}: {findings:?}");
    }
}

#[test]
fn hidden_sheets_of_both_office_containers() {
    for name in ["looks.xlsx", "looks.xls"] {
        let (grids, findings) = open(name, &[]);
        assert!(grids[1].hidden, "{name}");
        assert!(
            findings.iter().any(|finding| finding.message == "Hidden: sheet \"Old\". Kept, not read."),
            "{name}: {findings:?}"
        );
    }
}

#[test]
fn serials_that_count_from_1904() {
    let (grids, findings) = open("days_1904.xls", &[]);
    assert_eq!(written(&grids[0]), ["Date|NO3 ppm", "2024-03-02|6", "2024-03-09|7"]);
    assert!(findings.is_empty(), "{findings:?}");
}
