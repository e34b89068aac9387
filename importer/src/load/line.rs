//! Codes of lines that nobody made, and mothers that are on no list: the cutting loads, its line begins with it.
//!
//! A line is made by whoever writes its code beside a coral that is not itself a cutting received; so only the
//! codes of received cuttings are looked up, among the keeper's own corals and everybody's lines.

use std::collections::{BTreeMap, BTreeSet};

use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::specimen;

use super::LoadError;
use super::compare::at;
use super::found::found;
use crate::finding::Finding;
use crate::fold::LiveUpload;
use crate::fold::key::folded;
use crate::record::{CellRef, Record, Specimen};

/// Findings `line_unknown` of a file: one for each code, with its cells.
pub fn unknown(
    connection: &mut PgConnection,
    keeper_id: i64,
    others: &[LiveUpload<'_>],
    records: &[Record],
) -> Result<Vec<Finding>, LoadError> {
    let own: Vec<&Specimen> = records.iter().filter_map(coral).collect();
    let known: Vec<&Specimen> = others.iter().flat_map(|upload| upload.records).filter_map(coral).collect();
    let labels: BTreeSet<String> = own.iter().chain(&known).map(|coral| folded(&coral.label)).collect();
    let makers = own.iter().filter(|coral| !received(coral)).chain(&known);
    let mut lines: BTreeSet<String> = makers.filter_map(|coral| coral.line.as_deref().map(folded)).collect();

    let mut asked: BTreeMap<String, (&str, Vec<CellRef>)> = BTreeMap::new();
    for coral in &own {
        let line = coral.line.as_deref().filter(|_| received(coral)).map(|line| (line, "line"));
        let mother = coral.parent.as_deref().filter(|mother| !labels.contains(&folded(mother)));
        for (written, role) in line.into_iter().chain(mother.map(|mother| (mother, "parent"))) {
            let (_, cells) = asked.entry(folded(written)).or_insert((written.trim(), Vec::new()));
            cells.extend(coral.place.cells.iter().filter(|cell| cell.role == role).cloned());
        }
    }
    asked.retain(|code, _| !lines.contains(code));
    if !asked.is_empty() {
        lines.extend(made_by_others(connection, keeper_id, asked.keys())?);
    }
    Ok(asked
        .into_iter()
        .filter(|(code, _)| !lines.contains(code))
        .map(|(code, (written, cells))| {
            let mut finding = found("line_unknown", format!("line_unknown:{code}"), &[("written", written)]);
            finding.written = written.to_owned();
            at(&mut finding, cells);
            finding
        })
        .collect())
}

const fn coral(record: &Record) -> Option<&Specimen> {
    match record {
        Record::Specimen(specimen) => Some(specimen),
        _ => None,
    }
}

/// A cutting of somebody's line: of another member, of a swap, of a mother.
fn received(coral: &Specimen) -> bool {
    coral.parent.is_some() || matches!(coral.source_kind.as_deref(), Some("own_cutting" | "member" | "event"))
}

/// Of these codes, those that a coral of another keeper has.
fn made_by_others<'c>(
    connection: &mut PgConnection,
    keeper_id: i64,
    codes: impl Iterator<Item = &'c String>,
) -> Result<Vec<String>, LoadError> {
    let lineages: Vec<String> = codes.map(|code| format!("line:{code}")).collect();
    let made: Vec<String> = specimen::table
        .filter(specimen::keeper_id.ne(keeper_id).and(specimen::lineage.eq_any(lineages)))
        .select(specimen::lineage)
        .distinct()
        .load(connection)?;
    Ok(made.into_iter().filter_map(|lineage| lineage.strip_prefix("line:").map(str::to_owned)).collect())
}
