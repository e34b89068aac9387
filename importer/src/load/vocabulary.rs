//! Compiled catalogue → the tables of codes that foreign keys point to.

use analysis::vocabulary::{Scope, catalogue};
use diesel::pg::PgConnection;
use migrations::{FindingKindRow, ParameterRow, TaxonRow, Vocabulary};

use super::LoadError;

/// The compiled catalogue as rows.
pub fn vocabulary() -> Vocabulary {
    let catalogue = catalogue();
    Vocabulary {
        parameters: catalogue
            .parameters()
            .iter()
            .map(|parameter| ParameterRow {
                code: parameter.code.as_str().to_owned(),
                name: parameter.name.to_string(),
                unit: parameter.unit.as_str().to_owned(),
                ucum: Some(parameter.ucum.to_string()).filter(|ucum| !ucum.is_empty()),
                hard_lower: parameter.hard.map(|(lower, _)| lower).filter(|edge| edge.is_finite()),
                hard_upper: parameter.hard.map(|(_, upper)| upper).filter(|edge| edge.is_finite()),
            })
            .collect(),
        taxa: catalogue
            .taxa()
            .iter()
            .map(|taxon| TaxonRow {
                slug: taxon.slug.as_str().to_owned(),
                name: taxon.name.to_string(),
                taxon_rank: taxon.rank.as_str().to_owned(),
                genus: taxon.genus.map(|genus| genus.as_str().to_owned()),
                group_code: Some(taxon.group.to_string()).filter(|group| !group.is_empty()),
            })
            .collect(),
        findings: catalogue
            .findings()
            .iter()
            .map(|finding| FindingKindRow {
                code: finding.code.as_str().to_owned(),
                severity: finding.severity.as_str().to_owned(),
                scope: finding.scope.iter().map(|scope| scope_code(*scope)).collect::<Vec<_>>().join(", "),
            })
            .collect(),
    }
}

const fn scope_code(scope: Scope) -> &'static str {
    match scope {
        Scope::Cell => "cell",
        Scope::Column => "column",
        Scope::Table => "table",
        Scope::File => "file",
    }
}

/// Brings a database up to this program: schema and codes. Safe to call from several processes at once.
///
/// # Errors
/// [`LoadError::Schema`]: the database is newer than the program, or refuses.
pub fn prepare(connection: &mut PgConnection) -> Result<(), LoadError> {
    migrations::migrate(connection)?;
    migrations::synchronise(connection, &vocabulary())?;
    Ok(())
}
