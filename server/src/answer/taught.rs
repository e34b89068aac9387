//! What the records say of what is taught, by the catalogue and by the club.

use analysis::answer::{self, Audience, ClaimsAnswer, Families, Outcome, TaxonRecords, listed};
use analysis::club::SEVERAL;

use super::Snapshot;
use crate::problem::Problem;

/// What the records say of each thing taught: of a release from what stands for each taxon.
///
/// # Errors
/// The database refused.
pub fn claims(snapshot: &Snapshot, audience: Audience) -> Result<ClaimsAnswer, Problem> {
    let by_taxon = snapshot.by_taxon(SEVERAL)?;
    let listed = listed(&snapshot.club);
    // What is told of a taxon comes from the release that stands for it.
    let mut called = Vec::new();
    for taxon in listed {
        let of = by_taxon.of(taxon);
        let (death, decline) =
            (of.called(Outcome::Death, audience)?, of.called(Outcome::FirstSeriousDecline, audience)?);
        called.push((taxon, of, death, decline));
    }
    let taxa: Vec<TaxonRecords> = called
        .iter()
        .map(|(taxon, of, death, decline)| {
            let families = Families { death: death.as_deref(), decline: decline.as_deref() };
            TaxonRecords { taxon: *taxon, club: &of.club, families }
        })
        .collect();
    Ok(answer::claims(&taxa, &snapshot.club.claims, audience, &snapshot.stamp()))
}
