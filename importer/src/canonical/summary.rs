//! Rows that no day and no word tells apart: a mean or total of the rows above, or a test whose day is missing.

use crate::canonical::{View, Work};
use crate::cell::number::numeral;
use crate::doubt::desk::{Doubt, Settled};
use crate::grid::Raw;
use crate::layout::DataRow;

/// Numbers a column must have above for its mean to be known by its look.
const LEAST: usize = 3;

/// A number as written, with its decimals.
fn number(raw: &Raw, comma: bool) -> Option<(f64, usize)> {
    match raw {
        Raw::Number(number) => {
            let written = raw.written();
            Some((*number, written.split_once('.').map_or(0, |(_, decimals)| decimals.len())))
        }
        Raw::Text(text) => {
            let text = crate::cell::fold::plain(text);
            let decimals = text.rsplit_once(['.', ',']).map_or(0, |(_, decimals)| decimals.len());
            numeral(&text, comma).map(|figures| (figures.first, decimals))
        }
        _ => None,
    }
}

type Summed = fn(&[f64]) -> f64;

const SUMS: [Summed; 4] = [
    |values| values.iter().sum::<f64>() / values.len() as f64,
    |values| values.iter().sum(),
    |values| values.iter().copied().fold(f64::INFINITY, f64::min),
    |values| values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
];

/// Whether all numbers of a row are the mean (or the total, the least, the largest) of the dated rows above it.
fn sums_up(view: &View, row: &DataRow, date: u32, columns: &[u32]) -> bool {
    let comma = view.table.decimal_comma;
    let mut cells: Vec<(f64, usize, Vec<f64>)> = Vec::new();
    for column in columns {
        let Some(raw) = view.raw(row, *column) else { continue };
        let Some((value, decimals)) = number(raw, comma) else { return false };
        let above: Vec<f64> = view
            .table
            .rows
            .iter()
            .take_while(|other| other.row < row.row)
            .filter(|other| view.raw(other, date).is_some())
            .filter_map(|other| number(view.raw(other, *column)?, comma))
            .map(|(value, _)| value)
            .collect();
        if above.len() < LEAST {
            return false;
        }
        cells.push((value, decimals, above));
    }
    let fits = |summed: Summed| {
        cells.iter().all(|(value, decimals, above)| {
            let slack = 0.501 * 10_f64.powi(-i32::try_from(*decimals).unwrap_or(0));
            (summed(above) - value).abs() <= slack
        })
    };
    // One equal number is chance; two and more are a sum.
    cells.len() >= 2 && SUMS.into_iter().any(fits)
}

/// Settles whether a row without its day is a summary: `true` if it holds no test, or waits for an answer.
pub(crate) fn is_no_test(work: &mut Work, view: &View, row: &DataRow, date: Option<u32>, columns: &[u32]) -> bool {
    let Some(date) = date.filter(|date| view.raw(row, *date).is_none()) else { return false };
    if !sums_up(view, row, date, columns) {
        return false;
    }
    let filled = || columns.iter().filter(|column| view.raw(row, **column).is_some());
    let about = format!("{} row {}", view.table_about(), row.row);
    let about = about.trim();
    match work.desk.ask("summary_unclear", about) {
        Settled::Choice("test", _) => false,
        Settled::Choice(..) | Settled::LeaveOut => {
            work.labels.extend(filled().map(|column| view.spot(row.row, *column)));
            true
        }
        Settled::Open | Settled::DontKnow => {
            let Some(first) = filled().next() else { return false };
            work.desk.raise(
                Doubt::of("summary_unclear")
                    .about(about)
                    .at(view.spot(row.row, *first), view.text(row, *first).unwrap_or_default())
                    .of_row()
                    .fill("line", format!("row {}", row.row))
                    .cells(filled().map(|column| (view.spot(row.row, *column), "value"))),
            );
            true
        }
    }
}
