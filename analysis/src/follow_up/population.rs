//! Which specimens a question is about: by their latest name, the species, its genus and its group.

use std::collections::{BTreeMap, BTreeSet};

use crate::answer::MixLine;
use crate::club::{Club, Specimen};
use crate::follow_up::day_number;
use crate::vocabulary::{Fallback, Rank, TaxonSlug, catalogue};

/// The specimens of a taxon, or of a group without some genera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Population {
    /// The taxon answered.
    pub taxon: TaxonSlug,
    /// Genera of the group that are left out and on record.
    pub without: Vec<TaxonSlug>,
    /// Genera that are left out, on record or not.
    pub left_out: Vec<TaxonSlug>,
    /// Positions in [`Club::specimens`], ascending.
    pub members: Vec<u32>,
}

/// A specimen's latest name; `None` while its name is held.
pub fn latest_name(specimen: &Specimen) -> Option<TaxonSlug> {
    specimen.identifications.last().map(|name| name.taxon)
}

/// The name at purchase: the latest one written within 30 days after it. Names that came later say that it lived.
pub fn name_at_purchase(specimen: &Specimen) -> Option<TaxonSlug> {
    let latest = specimen.acquired.map(|days| day_number(days.latest) + NAMED_WITHIN_DAYS);
    let in_time = |day: Option<chrono::NaiveDate>| match (day, latest) {
        (None, _) => true,
        (Some(day), Some(latest)) => day_number(day) <= latest,
        (Some(_), None) => false,
    };
    specimen.identifications.iter().rev().find(|name| in_time(name.on)).map(|name| name.taxon)
}

/// Days after purchase within which what is written counts as known then.
const NAMED_WITHIN_DAYS: f64 = 30.0;

impl Population {
    /// The specimens of a taxon, acquired on or after 1 January of `since` if a year is given.
    pub fn of(club: &Club, taxon: TaxonSlug, since: Option<i32>) -> Population {
        Population::select(club, taxon, Vec::new(), since)
    }

    /// The specimens of a step of fallback.
    pub fn of_fallback(club: &Club, step: &Fallback, since: Option<i32>) -> Population {
        match step {
            Fallback::Genus(genus) => Population::select(club, *genus, Vec::new(), since),
            Fallback::GroupWithout { group, without, .. } => Population::select(club, *group, without.clone(), since),
        }
    }

    fn select(club: &Club, taxon: TaxonSlug, without: Vec<TaxonSlug>, since: Option<i32>) -> Population {
        let belongs = |specimen: &Specimen| {
            latest_name(specimen)
                .is_some_and(|name| name.is_within(taxon) && !without.iter().any(|genus| name.is_within(*genus)))
        };
        let in_time = |specimen: &Specimen| match since {
            None => true,
            // The year is that of the middle of the days on which it may have been acquired.
            Some(year) => specimen.acquired.is_none_or(|days| acquired_year(days) >= year),
        };
        let members = club
            .specimens
            .iter()
            .enumerate()
            .filter(|(_, specimen)| belongs(specimen) && in_time(specimen))
            .map(|(id, _)| id as u32)
            .collect();
        // Genera without a specimen need not be named as left out.
        let present = |genus: &TaxonSlug| {
            club.specimens.iter().filter_map(latest_name).any(|name| name.is_within(*genus) && name.is_within(taxon))
        };
        let left_out = without;
        let without = left_out.iter().copied().filter(|genus| present(genus)).collect();
        Population { taxon, without, left_out, members }
    }

    /// Some specimens of a taxon.
    pub fn of_members(taxon: TaxonSlug, members: Vec<u32>) -> Population {
        Population { taxon, without: Vec::new(), left_out: Vec::new(), members }
    }

    /// What it is of, by a text that stays the same whatever is on record.
    pub fn subject(&self) -> String {
        let genera: Vec<&str> = self.left_out.iter().map(|genus| genus.as_str()).collect();
        if genera.is_empty() { self.taxon.to_string() } else { format!("{} without {}", self.taxon, genera.join(", ")) }
    }

    /// The same in another club.
    pub fn again(&self, club: &Club) -> Population {
        Population::select(club, self.taxon, self.left_out.clone(), None)
    }

    /// Every population that answers are about: the taxa of the catalogue, and the groups without some genera that answer
    /// for others.
    pub fn subjects(club: &Club) -> Vec<Population> {
        let taxa = catalogue().taxa().iter().map(|row| row.slug);
        let steps = taxa.clone().flat_map(|taxon| taxon.fallback());
        let mut subjects: Vec<Population> = taxa.map(|taxon| Population::of(club, taxon, None)).collect();
        let mut known: BTreeSet<String> = subjects.iter().map(Population::subject).collect();
        for step in steps.filter(|step| matches!(step, Fallback::GroupWithout { .. })) {
            let population = Population::of_fallback(club, &step, None);
            if known.insert(population.subject()) {
                subjects.push(population);
            }
        }
        subjects
    }

    /// What these specimens are named, most first: each line a name with the number of the specimens in `ids`.
    pub fn mix(&self, club: &Club, ids: impl Iterator<Item = u32>) -> Vec<(TaxonSlug, Vec<u32>)> {
        let mut by_name: BTreeMap<TaxonSlug, Vec<u32>> = BTreeMap::new();
        for id in ids {
            if let Some(name) = club.specimens.get(id as usize).and_then(latest_name) {
                by_name.entry(name).or_default().push(id);
            }
        }
        let mut lines: Vec<(TaxonSlug, Vec<u32>)> = by_name.into_iter().collect();
        lines.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then(a.0.cmp(&b.0)));
        lines
    }

    /// A name of the mix in words.
    pub fn mix_name(&self, name: TaxonSlug) -> String {
        let taxon = name.get();
        match taxon.rank {
            Rank::Species => taxon.name.to_owned(),
            Rank::Genus | Rank::Group => format!("{} not named further", taxon.name),
        }
    }

    /// [`Population::mix`] with counts only.
    pub fn mix_lines(&self, club: &Club, ids: impl Iterator<Item = u32>) -> Vec<MixLine> {
        self.mix(club, ids)
            .into_iter()
            .map(|(name, ids)| MixLine { name: self.mix_name(name), specimens: ids.len() as u64 })
            .collect()
    }
}

/// Year of the middle of the days on which a specimen may have been acquired; of the latest, where they are open.
pub fn acquired_year(days: crate::club::Days) -> i32 {
    use chrono::Datelike;
    let latest = day_number(days.latest);
    let middle = days.earliest.map_or(latest, |earliest| (day_number(earliest) + latest) / 2.0);
    super::day_of(middle).map_or(days.latest.year(), |day| day.year())
}
