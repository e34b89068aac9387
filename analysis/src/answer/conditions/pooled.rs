//! Ratios drawn towards those of other taxa of the same rank.

use super::Called;
use super::line::{Crude, Making};
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
use crate::vocabulary::TaxonSlug;

/// The other taxa of a taxon's rank.
pub(super) enum Pooling<'a> {
    /// None.
    Alone,
    /// Those of an edition, worked out as they are asked.
    Others(Vec<Making<'a>>),
    /// Those of a release: only what its reader may see of them.
    Released { called: &'a Called, others: Vec<TaxonSlug> },
}

impl<'a> Pooling<'a> {
    /// The other taxa of an edition.
    pub(super) fn of_edition(others: &'a [Population], club: &'a Club, question: &TaxonQuestion) -> Pooling<'a> {
        let making = |population| Making::new(club, population, (question.outcome, question.since), Audience::Curator);
        Pooling::Others(others.iter().map(making).collect())
    }

    fn ratios(&self, factor: Factor) -> Vec<Crude> {
        match self {
            Pooling::Alone => Vec::new(),
            Pooling::Others(others) => others
                .iter()
                .filter_map(|other| {
                    let cut = other.cut(factor).ok()?;
                    Crude::of(&other.coefficient(factor, &cut, false).ok()?)
                })
                .collect(),
            Pooling::Released { called, others } => {
                others.iter().filter_map(|other| called.crude(*other, &factor.code())).collect()
            }
        }
    }

    /// The ratio of a taxon drawn towards the others'.
    ///
    /// # Errors
    /// The taxon has no ratio, or fewer than two others have one.
    pub(super) fn shrunken(&self, factor: Factor, own: Option<&CoxCoefficient>) -> Result<ShrunkenRatio, Refusal> {
        let Some(own) = own.and_then(Crude::of) else {
            return Err(Refusal::plain(RefusalCode::EmptyGroup, "There is no ratio of this taxon to draw anywhere."));
        };
        let all = std::iter::once(own).chain(self.ratios(factor));
        let (y, v): (Vec<f64>, Vec<f64>) = all.map(|crude| (crude.coef, crude.variance)).unzip();
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
pub(super) fn others(club: &Club, of: TaxonSlug) -> Vec<TaxonSlug> {
    let rank = of.get().rank;
    super::listed(club).into_iter().filter(|taxon| *taxon != of && taxon.get().rank == rank).collect()
}
