//! Codes of the compiled catalogue → the small tables that foreign keys point to.
//!
//! Never deletes a row: a code once used stays, whatever a later catalogue holds.

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::upsert::excluded;

use crate::schema::{finding_kind, parameter, taxon};
use crate::{LOCK, MigrationError};

/// A row of `parameter`.
#[derive(Debug, Clone, PartialEq, Insertable, Queryable, Selectable)]
#[diesel(table_name = parameter, treat_none_as_default_value = false)]
pub struct ParameterRow {
    /// Code.
    pub code: String,
    /// Name as printed.
    pub name: String,
    /// Unit of every stored value.
    pub unit: String,
    /// The unit's UCUM code.
    pub ucum: Option<String>,
    /// Nothing can be below, in the unit.
    pub hard_lower: Option<f64>,
    /// Nothing can be above, in the unit.
    pub hard_upper: Option<f64>,
}

/// A row of `taxon`.
#[derive(Debug, Clone, PartialEq, Eq, Insertable, Queryable, Selectable)]
#[diesel(table_name = taxon, treat_none_as_default_value = false)]
pub struct TaxonRow {
    /// Slug.
    pub slug: String,
    /// Accepted name.
    pub name: String,
    /// `species`, `genus`, `group`.
    pub taxon_rank: String,
    /// Slug of a species' genus.
    pub genus: Option<String>,
    /// Group of the trade.
    pub group_code: Option<String>,
}

/// A row of `finding_kind`.
#[derive(Debug, Clone, PartialEq, Eq, Insertable, Queryable, Selectable)]
#[diesel(table_name = finding_kind, treat_none_as_default_value = false)]
pub struct FindingKindRow {
    /// Code.
    pub code: String,
    /// `refused`, `questioned`, `noted`.
    pub severity: String,
    /// `cell`, `column`, `table`, `file`.
    pub scope: String,
}

/// Everything that foreign keys of records point to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Vocabulary {
    /// What can be measured.
    pub parameters: Vec<ParameterRow>,
    /// What a specimen can be named by.
    pub taxa: Vec<TaxonRow>,
    /// What can be doubted.
    pub findings: Vec<FindingKindRow>,
}

/// Writes new codes and changed descriptions, in one transaction, and returns how many rows that were.
/// The edition is raised if there were any.
///
/// # Errors
/// [`MigrationError::Database`] if the database refuses a row; then nothing is written.
pub fn synchronise(connection: &mut PgConnection, vocabulary: &Vocabulary) -> Result<usize, MigrationError> {
    connection.transaction(|connection| {
        diesel::sql_query("SELECT pg_advisory_xact_lock($1)")
            .bind::<diesel::sql_types::BigInt, _>(LOCK)
            .execute(connection)?;
        let mut changed = 0;
        let known: Vec<ParameterRow> = parameter::table.select(ParameterRow::as_select()).load(connection)?;
        let fresh: Vec<&ParameterRow> = vocabulary.parameters.iter().filter(|row| !known.contains(row)).collect();
        changed += diesel::insert_into(parameter::table)
            .values(fresh)
            .on_conflict(parameter::code)
            .do_update()
            .set((
                parameter::name.eq(excluded(parameter::name)),
                parameter::unit.eq(excluded(parameter::unit)),
                parameter::ucum.eq(excluded(parameter::ucum)),
                parameter::hard_lower.eq(excluded(parameter::hard_lower)),
                parameter::hard_upper.eq(excluded(parameter::hard_upper)),
            ))
            .execute(connection)?;
        let known: Vec<TaxonRow> = taxon::table.select(TaxonRow::as_select()).load(connection)?;
        let fresh: Vec<&TaxonRow> = vocabulary.taxa.iter().filter(|row| !known.contains(row)).collect();
        changed += diesel::insert_into(taxon::table)
            .values(fresh)
            .on_conflict(taxon::slug)
            .do_update()
            .set((
                taxon::name.eq(excluded(taxon::name)),
                taxon::taxon_rank.eq(excluded(taxon::taxon_rank)),
                taxon::genus.eq(excluded(taxon::genus)),
                taxon::group_code.eq(excluded(taxon::group_code)),
            ))
            .execute(connection)?;
        let known: Vec<FindingKindRow> = finding_kind::table.select(FindingKindRow::as_select()).load(connection)?;
        let fresh: Vec<&FindingKindRow> = vocabulary.findings.iter().filter(|row| !known.contains(row)).collect();
        changed += diesel::insert_into(finding_kind::table)
            .values(fresh)
            .on_conflict(finding_kind::code)
            .do_update()
            .set((
                finding_kind::severity.eq(excluded(finding_kind::severity)),
                finding_kind::scope.eq(excluded(finding_kind::scope)),
            ))
            .execute(connection)?;
        if changed > 0 {
            diesel::sql_query("SELECT raise_edition()").execute(connection)?;
        }
        Ok(changed)
    })
}
