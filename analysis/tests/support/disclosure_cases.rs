//! Suppressed cells beside totals.

use analysis::disclosure::bridge::{bridges, secondary};
use analysis::disclosure::{BlockMinimum, block_minimum};
use serde_json::Value;

use crate::case::Case;

fn cells(case: &mut Case, key: &str, rows: &[String], columns: &[String]) -> Vec<(usize, usize)> {
    let named = case.expected(key);
    let at = |names: &[String], name: &Value| names.iter().position(|own| name == own.as_str()).expect("a name");
    named.as_array().into_iter().flatten().map(|cell| (at(rows, &cell[0]), at(columns, &cell[1]))).collect()
}

fn names(case: &mut Case, key: &str) -> Vec<String> {
    let list = case.expected(key);
    list.as_array().into_iter().flatten().filter_map(|name| name.as_str().map(str::to_owned)).collect()
}

fn counts(case: &mut Case, key: &str) -> Vec<Vec<u64>> {
    let table = case.expected(key);
    let row = |row: &Value| row.as_array().into_iter().flatten().filter_map(Value::as_u64).collect();
    table.as_array().into_iter().flatten().map(row).collect()
}

#[test]
pub fn disclosure_bridge() {
    let mut case = Case::open("disclosure_bridge");
    let (rows, columns) = (names(&mut case, "rows"), names(&mut case, "cols"));
    let (specimens, keepers) = (counts(&mut case, "specimens"), counts(&mut case, "keepers"));
    let primary = cells(&mut case, "primary", &rows, &columns);
    // The minimum of members names the same cell.
    let BlockMinimum { keepers: fewest, .. } = block_minimum(analysis::answer::Audience::Member).expect("a minimum");
    let few: Vec<(usize, usize)> =
        (0..9).map(|at| (at / 3, at % 3)).filter(|&(row, column)| keepers[row][column] < fewest).collect();
    assert_eq!(few, primary);
    case.skip("reason");

    let published = cells(&mut case, "a_valid_minimal_secondary_set", &rows, &columns);
    let with = |more: &[(usize, usize)]| -> Vec<(usize, usize)> { primary.iter().chain(more).copied().collect() };
    assert_eq!(bridges(3, 3, &primary), primary);
    assert!(bridges(3, 3, &with(&published)).is_empty());
    let ours = secondary(&specimens, &primary).expect("a table of three by three");
    assert!(bridges(3, 3, &with(&ours)).is_empty());
    // Removing any of ours opens the table again: there is nothing too many.
    for left_out in &ours {
        let rest: Vec<(usize, usize)> = ours.iter().copied().filter(|cell| cell != left_out).collect();
        assert!(!bridges(3, 3, &with(&rest)).is_empty());
    }
    let cost = |cells: &[(usize, usize)]| cells.iter().map(|&(row, column)| specimens[row][column]).sum::<u64>();
    assert!(cost(&with(&ours)) <= 36, "{ours:?}");
    let list = case.expected("specimens");
    assert_eq!(list.as_array().map_or(0, Vec::len), specimens.len());
    case.number("specimens/0/2", Some(cost(&primary) as f64));
    case.skip("property");
    case.finish();
}
