//! Trade names within a text, and what they say beside other names.

use super::{NameMatch, Names, trade_match};
use crate::vocabulary::text::words;
use crate::vocabulary::{Rank, TaxonSlug, catalogue};

/// The longest trade names among the words of a text: "red flowerpot from the swap". Everyday words ("sun", "grape")
/// give way to names that mean nothing else; several names mean what all of them allow.
pub(super) fn within(names: &Names, all: &[String]) -> Option<NameMatch> {
    for length in (1..=names.longest_trade.min(all.len())).rev() {
        let mut rows: Vec<usize> = all.windows(length).filter_map(|part| names.trade(part)).collect();
        rows.sort_unstable();
        rows.dedup();
        let Some(all) = rows.iter().copied().map(trade_match).reduce(both) else { continue };
        if !matches!(all, NameMatch::Trade { .. }) && rows.iter().any(|row| !names.everyday.contains(row)) {
            rows.retain(|row| !names.everyday.contains(row));
            return rows.into_iter().map(trade_match).reduce(both);
        }
        return Some(all);
    }
    None
}

/// Kinds that a name can mean.
fn candidates(found: &NameMatch) -> Vec<TaxonSlug> {
    match found {
        NameMatch::Ambiguous { candidates, .. } => candidates.iter().map(|candidate| candidate.taxon).collect(),
        NameMatch::Near(several) => several.clone(),
        other => other.taxon().into_iter().collect(),
    }
}

/// What two trade names of one coral come to: the narrower of what both allow; a question where that is nothing or
/// several.
pub(super) fn both(first: NameMatch, second: NameMatch) -> NameMatch {
    let (left, right) = (candidates(&first), candidates(&second));
    let mut common: Vec<TaxonSlug> = Vec::new();
    for (a, b) in left.iter().flat_map(|a| right.iter().map(move |b| (*a, *b))) {
        common.extend(if a.is_within(b) {
            Some(a)
        } else if b.is_within(a) {
            Some(b)
        } else {
            None
        });
    }
    common.sort();
    common.dedup();
    match common.as_slice() {
        [taxon] => NameMatch::Trade { taxon: *taxon },
        // A clear name keeps its rank: "stag Acro" is an Acropora.
        [_, ..] if left.len() == 1 => NameMatch::Trade { taxon: left[0] },
        [_, ..] if right.len() == 1 => NameMatch::Trade { taxon: right[0] },
        [_, ..] if left == right => first,
        [_, ..] => NameMatch::Near(common),
        [] => {
            let mut all = left;
            all.extend(right);
            all.sort();
            all.dedup();
            NameMatch::Near(all)
        }
    }
}

/// A scientific name with a trade name beside it. The scientific one settles; a clear trade name of the same genus
/// says more; one of a kind that went by that genus is followed ("Euphyllia hammer"). `alone`: the two names are all
/// that is written, so that a clear contradiction is one.
pub(super) fn beside(said: NameMatch, trade: &NameMatch, alone: bool) -> NameMatch {
    let Some(own) = said.taxon() else { return said };
    match trade {
        NameMatch::Trade { taxon } | NameMatch::Accepted { taxon } | NameMatch::Older { taxon, .. } => {
            if own.is_within(*taxon) {
                said
            } else if taxon.is_within(own) || went_by(*taxon, own) {
                if trade.is_scientific() { trade.clone() } else { NameMatch::Trade { taxon: *taxon } }
            } else if alone {
                let mut several = vec![own, *taxon];
                several.sort();
                NameMatch::Near(several)
            } else {
                said
            }
        }
        NameMatch::Ambiguous { name, candidates, common } if own.get().rank == Rank::Genus => {
            let within = |taxon: TaxonSlug| taxon.is_within(own) || own.is_within(taxon);
            let fits: Vec<_> = candidates
                .iter()
                .filter(|candidate| within(candidate.taxon) || went_by(candidate.taxon, own))
                .copied()
                .collect();
            let moved = fits.iter().any(|candidate| !within(candidate.taxon));
            if !moved || fits.iter().any(|candidate| candidate.taxon == own) {
                return said;
            }
            match fits.as_slice() {
                [one] => NameMatch::Trade { taxon: one.taxon },
                _ => NameMatch::Ambiguous { name, candidates: fits, common: *common },
            }
        }
        _ => said,
    }
}

/// Whether a kind was a member of a genus before it moved.
fn went_by(taxon: TaxonSlug, genus: TaxonSlug) -> bool {
    let genus = words(genus.get().name).swap_remove(0);
    let own = taxon.get();
    let species = catalogue().taxa().iter().filter(|other| other.genus == Some(taxon) && own.rank == Rank::Genus);
    std::iter::once(own)
        .chain(species)
        .flat_map(|taxon| &taxon.older_names)
        .any(|older| words(older).first() == Some(&genus) && older.contains(' '))
}
