//! Where a row of a list says that a coral ended: one column of days, a column of days for each way to leave, or ticks.

use analysis::vocabulary::{Fate, FateMatch, find_fate, yes_or_no};

use crate::canonical::date_column::{DateColumn, DayOf};
use crate::canonical::ending::{fate_of_choice, implied};
use crate::canonical::register::Columns;
use crate::canonical::{View, Work};
use crate::doubt::desk::Spot;
use crate::layout::DataRow;

/// What the columns of ends say of a row.
#[derive(Debug, Default)]
pub(super) struct Said {
    /// The column whose day holds; the first of the columns of days where none is filled.
    pub column: Option<u32>,
    /// A fate that a tick stands for: its cell, and the header it stands under.
    pub ticked: Option<(Spot, String)>,
    /// Cells that say another end.
    pub others: Vec<(Spot, String)>,
}

/// The fate that a header says outright.
fn fate_of(header: &str) -> Option<Fate> {
    match implied(header) {
        FateMatch::Fate { fate, .. } => Some(fate),
        _ => None,
    }
}

/// What a row says of its end; `told` is the fate that a column of its own says.
pub(super) fn of_row(
    work: &Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    label: &str,
    told: Option<&str>,
) -> Said {
    let filled = |column: &u32| {
        view.text(row, *column)
            .is_some_and(|text| !analysis::vocabulary::is_no_reading(&text) && yes_or_no(&text) != Some(false))
    };
    let mut dated: Vec<u32> = columns.ended.into_iter().chain(columns.exits.iter().copied()).filter(filled).collect();
    let mut ticks: Vec<u32> = columns.ticks.iter().copied().filter(filled).collect();
    let mut said = Said::default();
    if columns.exits.is_empty() && columns.ticks.is_empty() {
        said.column = columns.ended;
        return said;
    }
    // An answer about two ends keeps the one that it names.
    let answered = work.desk.ask("fate_contradicts", &crate::cell::fold::name(label)).choice().and_then(fate_of_choice);
    if let Some((fate, _)) = answered {
        let keeps = |column: &u32| fate_of(&view.header(*column)).is_none_or(|own| own == fate);
        dated.retain(keeps);
        ticks.retain(keeps);
    }
    // A header that says a fate holds before one that says only that something ended.
    dated.sort_by_key(|column| fate_of(&view.header(*column)).is_none());
    said.column = dated.first().copied().or(columns.ended);
    let cell = |column: u32| (view.spot(row.row, column), view.text(row, column).unwrap_or_default());
    let named: Vec<u32> = dated.iter().copied().filter(|column| fate_of(&view.header(*column)).is_some()).collect();
    said.others.extend(named.iter().skip(1).map(|column| cell(*column)));
    if let Some(tick) = ticks.first() {
        let (spot, text) = cell(*tick);
        // A word in place of the tick speaks for itself.
        let text = if yes_or_no(&text) == Some(true) { view.header(*tick) } else { text };
        said.ticked = Some((spot, text));
        said.others.extend(ticks.iter().skip(1).map(|column| cell(*column)));
    }
    // Two columns that name two fates.
    let by_day = named.first().and_then(|column| Some((*column, fate_of(&view.header(*column))?)));
    let by_tick = ticks.first().and_then(|column| Some((*column, fate_of(&view.header(*column))?)));
    let by_word = told.map(find_fate).and_then(|found| match found {
        FateMatch::Fate { fate, .. } => Some(fate),
        _ => None,
    });
    let differs = |one: Option<Fate>, other: Option<Fate>| one.zip(other).is_some_and(|(one, other)| one != other);
    let (day, tick) = (by_day.map(|(_, fate)| fate), by_tick.map(|(_, fate)| fate));
    if answered.is_none() {
        if differs(day, tick) {
            said.others.extend(by_tick.map(|(column, _)| cell(column)));
        }
        if differs(by_word, day) {
            said.others.extend(by_day.map(|(column, _)| cell(column)));
        } else if differs(by_word, tick) {
            said.others.extend(by_tick.map(|(column, _)| cell(column)));
        }
    } else {
        said.others.clear();
    }
    said
}

/// The first day of a row in any of the columns of ends.
pub(super) fn first_days(columns: Vec<DateColumn>) -> DateColumn {
    let mut first = DateColumn::default();
    for column in columns {
        for (row, day) in column.days {
            let known = first.days.entry(row).or_insert(DayOf::Absent);
            if matches!(known, DayOf::Absent) {
                *known = day;
            }
        }
    }
    first
}
