//! Counts of every taxon on record.

use std::collections::{BTreeMap, BTreeSet};

use polars::prelude::*;

use super::question::Audience;
use super::shape::{CensusCounts, TaxonCensus};
use super::taxon::{MixOf, mix};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::tree::{counted_once, is_asked, part_of, shown_parts};
use crate::disclosure::{block_minimum, passes, rounding, suppressed};
use crate::follow_up::Population;
use crate::follow_up::population::latest_name;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::vocabulary::{Fate, Rank, TaxonSlug};

/// A taxon, the widest first.
type Ranked = (std::cmp::Reverse<Rank>, TaxonSlug);

/// One line per taxon with a specimen on record: groups, then genera, then species, each by slug.
///
/// Groups that are asked by genus have no line. For a restricted audience a line is `Suppressed` if its block fails, or
/// if it could be found by subtraction from the lines above it.
pub fn census(club: &Club, audience: Audience) -> Vec<TaxonCensus> {
    let mut taxa: BTreeSet<Ranked> = BTreeSet::new();
    for name in club.specimens.iter().filter_map(latest_name) {
        for taxon in name.ancestors() {
            taxa.insert((std::cmp::Reverse(taxon.get().rank), taxon));
        }
    }
    let shown = shown(club, &taxa, audience);
    let records = counted(club).map_err(|error| {
        Refusal::plain(RefusalCode::InvalidInput, format!("the specimens could not be counted: {error}"))
    });
    taxa.into_iter()
        .map(|(_, taxon)| taxon)
        .filter(|taxon| is_asked(*taxon))
        .map(|taxon| {
            let row = taxon.get();
            let counts = match &records {
                _ if !shown.contains(&taxon) => Part::Refused { refused: suppressed(audience) },
                Ok(records) => Part::Given(counts(records, taxon, club, audience)),
                Err(refusal) => Part::Refused { refused: refusal.clone() },
            };
            TaxonCensus {
                slug: taxon.as_str().to_owned(),
                name: row.name.to_owned(),
                rank: row.rank.as_str().to_owned(),
                counts,
            }
        })
        .collect()
}

/// Whether the counts of a taxon are told to a restricted audience.
pub(super) fn shows(club: &Club, taxon: TaxonSlug, audience: Audience) -> bool {
    let wider = taxon.ancestors().into_iter().map(|taxon| (std::cmp::Reverse(taxon.get().rank), taxon));
    shown(club, &wider.collect(), audience).contains(&taxon)
}

/// Taxa that may be shown: from the widest down, each as a part of the one above it. What is withheld for the sake of
/// another taxon takes its own parts with it; above a taxon that is not asked, or fails by itself, nothing is tied.
fn shown(club: &Club, taxa: &BTreeSet<Ranked>, audience: Audience) -> BTreeSet<TaxonSlug> {
    if block_minimum(audience).is_none() {
        return taxa.iter().map(|(_, taxon)| *taxon).collect();
    }
    let mut shown = BTreeSet::new();
    let mut tied = BTreeSet::new();
    for (_, taxon) in taxa {
        let population = Population::of(club, *taxon, None);
        let entries = counted_once(club, population.members.iter().copied());
        if !tied.contains(taxon) && is_asked(*taxon) && passes(&tally(entries.iter()), audience) {
            shown.insert(*taxon);
        }
        let name = |entry: &Entry| club.specimens.get(entry.specimen as usize).and_then(latest_name);
        let mut parts: BTreeMap<TaxonSlug, Vec<&Entry>> = BTreeMap::new();
        let mut rest = Vec::new();
        for entry in &entries {
            match name(entry).and_then(|name| part_of(name, *taxon)) {
                Some(part) => parts.entry(part).or_default().push(entry),
                None => rest.push(entry),
            }
        }
        if shown.contains(taxon) {
            shown.extend(shown_parts(&parts, &rest, audience, passes));
        }
        if shown.contains(taxon) || tied.contains(taxon) {
            tied.extend(parts.into_keys());
        }
    }
    shown
}

fn counts(records: &[Counted], taxon: TaxonSlug, club: &Club, audience: Audience) -> CensusCounts {
    let population = Population::of(club, taxon, None);
    let own = records.iter().find(|counted| counted.taxon == taxon.as_str());
    let mut counts = CensusCounts {
        specimens: own.map_or(0, |own| own.specimens),
        keepers: own.map_or(0, |own| own.keepers),
        deaths: own.map_or(0, |own| own.deaths),
        living: own.map_or(0, |own| own.living),
        mix: mix(club, &population, &MixOf { ids: &population.members, beyond: &[], since: None }, audience),
    };
    rounding::census(&mut counts, audience);
    counts
}

/// What is on record of one taxon, its narrower ones included.
struct Counted {
    taxon: String,
    specimens: u64,
    keepers: u64,
    deaths: u64,
    living: u64,
}

/// The counts of every taxon on record: each specimen is counted under its own name and under every wider one.
fn counted(club: &Club) -> PolarsResult<Vec<Counted>> {
    let (mut taxon, mut keeper, mut died, mut living) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for specimen in &club.specimens {
        let ended = specimen.ending.as_ref();
        let lost = specimen.arrived_dead
            || ended.is_some_and(|ending| {
                matches!(ending.fate, Fate::Died | Fate::Missing | Fate::ArrivedDead) || ending.all_died
            });
        for wider in latest_name(specimen).map(TaxonSlug::ancestors).unwrap_or_default() {
            taxon.push(wider.as_str());
            keeper.push(specimen.keeper);
            died.push(u32::from(lost));
            living.push(u32::from(ended.is_none() && !specimen.arrived_dead));
        }
    }
    let counted = df!("taxon" => taxon, "keeper" => keeper, "died" => died, "living" => living)?
        .lazy()
        .group_by_stable([col("taxon")])
        .agg([
            len().cast(DataType::UInt64).alias("specimens"),
            col("keeper").n_unique().cast(DataType::UInt64).alias("keepers"),
            col("died").sum().cast(DataType::UInt64),
            col("living").sum().cast(DataType::UInt64),
        ])
        .collect()?;
    let numbers = |name: &str| counted.column(name)?.u64();
    let (specimens, keepers) = (numbers("specimens")?, numbers("keepers")?);
    let (died, living) = (numbers("died")?, numbers("living")?);
    let taxa = counted.column("taxon")?.str()?;
    let line = |row: usize| {
        Some(Counted {
            taxon: taxa.get(row)?.to_owned(),
            specimens: specimens.get(row)?,
            keepers: keepers.get(row)?,
            deaths: died.get(row)?,
            living: living.get(row)?,
        })
    };
    Ok((0..counted.height()).filter_map(line).collect())
}
