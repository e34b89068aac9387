//! What a row of a register says of a coral besides its days, its tank and its end.

use analysis::vocabulary::{Origin, find_origin, find_origin_basis, find_source_kind};

use crate::canonical::coral_name::{Named, Written};
use crate::canonical::register::Columns;
use crate::canonical::{Cells, View, Work};
use crate::doubt::desk::{Doubt, Spot};
use crate::layout::DataRow;
use crate::record::Specimen;

/// A coral being described, with the cells that did.
pub(super) struct Draft {
    /// The coral.
    pub record: Specimen,
    /// Its cells.
    pub cells: Cells,
}

/// Everything of a row but days, tank and end.
pub(super) fn describe(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    label: &str,
    written: &Written,
    named: &Named,
) -> Draft {
    let cell = |column: Option<u32>| {
        column
            .and_then(|column| view.text(row, column).map(|text| (text, view.spot(row.row, column))))
            .filter(|(text, _)| !analysis::vocabulary::is_no_reading(text))
    };
    let mut record = Specimen {
        label: label.to_owned(),
        written: if written.text().is_empty() { label.to_owned() } else { written.text() },
        taxon: named.taxon,
        rank: named.taxon.map(|taxon| taxon.get().rank.as_str().to_owned()),
        confidence: named.confidence.map(str::to_owned),
        character: named.character.clone(),
        ..Specimen::default()
    };
    let mut cells: Cells = Vec::new();
    cells.extend(cell(columns.label).map(|(_, spot)| (spot, "label")));
    for (part, role) in [(&written.name, "taxon"), (&written.trade, "trade_name"), (&written.character, "character")] {
        cells.extend(part.as_ref().map(|(_, spot)| (*spot, role)));
    }
    cells.extend(
        columns
            .genus
            .filter(|column| view.raw(row, *column).is_some())
            .map(|column| (view.spot(row.row, column), "taxon")),
    );
    source(work, view, columns, row, &mut record, &mut cells);
    if let Some((text, spot)) = cell(columns.basis)
        && let Some(basis) = find_origin_basis(&text)
    {
        record.origin_basis = Some(basis);
        cells.push((spot, "origin_basis"));
    }
    let mut take = |column: Option<u32>, role: &'static str, put: &mut dyn FnMut(&mut Specimen, &str) -> bool| {
        if let Some((text, spot)) = cell(column)
            && put(&mut record, &text)
        {
            cells.push((spot, role));
        }
    };
    take(columns.form, "form", &mut |record, text| {
        record.form = form_of(text);
        record.form.is_some()
    });
    take(columns.parent, "parent", &mut |record, text| {
        record.parent = Some(text.to_owned());
        true
    });
    take(columns.line, "line", &mut |record, text| {
        record.line = Some(text.to_owned());
        true
    });
    take(columns.looked_when_got, "condition", &mut |record, text| {
        let state = analysis::vocabulary::find_condition(text)
            .map(|look| look.state.as_str())
            .filter(|state| matches!(*state, "open" | "off" | "poor"));
        record.condition = state.map(str::to_owned);
        record.condition.is_some()
    });
    take(columns.days_at_seller, "days_at_seller", &mut |record, text| {
        record.days_at_seller = text.trim().parse().ok().filter(|days: &f64| (0.0..=3650.0).contains(days));
        record.days_at_seller.is_some()
    });
    take(columns.confidence, "confidence", &mut |record, text| {
        let word = analysis::vocabulary::text::fold(text);
        let known = matches!(word.as_str(), "certain" | "likely" | "guess") && record.taxon.is_some();
        if known {
            record.confidence = Some(word);
        }
        known
    });
    Draft { record, cells }
}

/// The catalogue's form of a word.
fn form_of(text: &str) -> Option<String> {
    let folded = analysis::vocabulary::text::fold(text);
    let forms = analysis::vocabulary::catalogue().forms();
    forms
        .iter()
        .find(|form| {
            form.code == text.trim() || form.words.iter().any(|word| analysis::vocabulary::text::fold(word) == folded)
        })
        .map(|form| form.code.to_owned())
}

/// Origin and source: one column may hold either.
fn source(work: &mut Work, view: &View, columns: &Columns, row: &DataRow, record: &mut Specimen, cells: &mut Cells) {
    let told = |column: Option<u32>| {
        column
            .and_then(|column| view.text(row, column).map(|text| (column, text)))
            .filter(|(_, text)| !analysis::vocabulary::is_no_reading(text))
    };
    if let Some((column, text)) = told(columns.origin) {
        let spot = view.spot(row.row, column);
        if let Some(origin) = find_origin(&text) {
            origin_read(work, view, column, spot, &text, origin);
            record.origin = Some(origin);
            record.origin_basis = record.origin_basis.or_else(|| find_origin_basis(&text));
            cells.push((spot, "origin"));
        } else {
            work.labels.insert(spot);
        }
    }
    let Some((column, text)) = told(columns.source) else { return };
    let spot = view.spot(row.row, column);
    let origin = if record.origin.is_none() { find_origin(&text) } else { None };
    if let Some(origin) = origin {
        origin_read(work, view, column, spot, &text, origin);
        record.origin = Some(origin);
        record.origin_basis = find_origin_basis(&text);
    }
    let kind = find_source_kind(&text);
    record.source_kind = kind.map(|found| found.kind.to_owned()).filter(|kind| kind != "unknown" || origin.is_none());
    let names_someone = kind.map_or(origin.is_none(), |found| !found.bare && origin.is_none());
    if names_someone {
        record.source_name = Some(text.clone());
        work.desk.raise(
            Doubt::of("source_name_private")
                .about(view.about(column))
                .at(spot, &text)
                .fill("column", view.header(column))
                .cell(spot, "source"),
        );
    }
    cells.push((spot, "source"));
}

/// Words read by the table of origins are pointed out, codes are not.
fn origin_read(work: &mut Work, view: &View, column: u32, spot: Spot, text: &str, origin: Origin) {
    if origin.as_str() == text.trim() || origin == Origin::Unknown {
        return;
    }
    work.desk.raise(
        Doubt::of("origin_read")
            .about(view.about(column))
            .at(spot, text)
            .fill("column", view.header(column))
            .fill("written", text)
            .fill("origin", origin.as_str().replace('_', " "))
            .cell(spot, "origin"),
    );
}
