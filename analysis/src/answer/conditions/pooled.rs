//! Ratios drawn towards those of other taxa of the same rank.

use super::line::Making;
use crate::answer::based::TaxonQuestion;
use crate::answer::question::Audience;
use crate::answer::shape::{CoxCoefficient, Ratio, ShrunkenRatio};
use crate::club::Club;
use crate::comparison::curve::LEVEL;
use crate::exposure::Factor;
use crate::follow_up::Population;
use crate::numeric::meta_analysis::{Between, UNITS, pool};
use crate::numeric::tail::normal_multiplier;
use crate::refusal::{Refusal, RefusalCode};

/// The other taxa of a taxon's rank.
pub(super) struct Pooling<'a> {
    others: Vec<Making<'a>>,
}

impl<'a> Pooling<'a> {
    pub(super) fn new(others: &'a [Population], club: &'a Club, question: &TaxonQuestion) -> Pooling<'a> {
        let making = |population| Making::new(club, population, question.outcome, Audience::Curator);
        Pooling { others: others.iter().map(making).collect() }
    }

    /// No other taxa.
    pub(super) fn alone() -> Pooling<'a> {
        Pooling { others: Vec::new() }
    }

    /// The ratio of a taxon drawn towards the others'.
    ///
    /// # Errors
    /// The taxon has no ratio, or fewer than two others have one.
    pub(super) fn shrunken(&self, factor: Factor, own: Option<&CoxCoefficient>) -> Result<ShrunkenRatio, Refusal> {
        let number = |coefficient: &CoxCoefficient| Some((coefficient.coef?, coefficient.robust_std_error?.powi(2)));
        let Some(own) = own.and_then(number) else {
            return Err(Refusal::plain(RefusalCode::EmptyGroup, "There is no ratio of this taxon to draw anywhere."));
        };
        let mut all = vec![own];
        for other in &self.others {
            let found = other.cut(factor).and_then(|cut| other.coefficient(factor, &cut, false));
            all.extend(found.ok().as_ref().and_then(number));
        }
        let (y, v): (Vec<f64>, Vec<f64>) = all.into_iter().unzip();
        if y.len() < UNITS {
            return Err(Refusal::counted(
                RefusalCode::TooFewSpecimens,
                y.len() as f64,
                UNITS as f64,
                "Fewer than three taxa of this rank have a ratio: they stand apart.",
            ));
        }
        let pooled = pool(&y, &v, Between::Reml, LEVEL)?;
        let own = pooled.shrunken.first().copied().ok_or_else(|| {
            Refusal::plain(RefusalCode::NotConverged, "The ratios of these taxa could not be drawn together.")
        })?;
        let z = normal_multiplier(LEVEL);
        Ok(ShrunkenRatio {
            ratio: Ratio {
                hazard_ratio: own.estimate.exp(),
                std_error: own.std_error,
                lower: Some((own.estimate - z * own.std_error).exp()),
                upper: Some((own.estimate + z * own.std_error).exp()),
            },
            taxa: pooled.units as u64,
            between: pooled.tau_squared.sqrt(),
        })
    }
}

/// The taxa of the same rank with records enough to be on the list, without this one.
pub(super) fn others(club: &Club, of: &Population) -> Vec<Population> {
    let rank = of.taxon.get().rank;
    super::listed(club)
        .into_iter()
        .filter(|taxon| *taxon != of.taxon && taxon.get().rank == rank)
        .map(|taxon| Population::of(club, taxon, None))
        .collect()
}
