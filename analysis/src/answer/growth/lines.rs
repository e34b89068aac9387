//! The sizes of each coral, by measure and basis, cut where it was cut.

use std::collections::{BTreeMap, BTreeSet};

use crate::club::{Club, Specimen, TankId};
use crate::comparison::rows::{Stretch, stretches};
use crate::exposure::{Condition, MONTH_DAYS, Segment};
use crate::follow_up::{Population, day_number};
use crate::growth::{SpecificGrowthRate, specific_growth_rate, theil_sen, unexplained_falls};

/// Coverage of limits.
pub(super) const LEVEL: f64 = 0.95;

/// The sizes of one coral between two cuts, of one measure and basis.
#[derive(Debug, Clone)]
pub(super) struct Line {
    /// Position in the club.
    pub(super) specimen: u32,
    pub(super) keeper: u32,
    /// Tank at the first size.
    pub(super) tank: Option<TankId>,
    /// Calendar days, ascending.
    pub(super) days: Vec<f64>,
    pub(super) sizes: Vec<f64>,
    pub(super) rate: SpecificGrowthRate,
    /// Median slope of ln size a month.
    pub(super) slope_per_month: f64,
}

/// The lines of a population for the measure and basis with most corals.
#[derive(Debug, Clone, Default)]
pub(super) struct Lines {
    pub(super) measure: String,
    pub(super) basis: String,
    pub(super) lines: Vec<Line>,
    /// Sizes of tissue.
    pub(super) tissue_only: u64,
    /// Sizes of other measures and bases.
    pub(super) other_measure: u64,
    /// Falls of more than 30 % without a recorded cut.
    pub(super) falls: u64,
}

/// Whether a size measures growth: tissue follows the animal's mood, and for fleshy kinds so does what is not said.
fn measures_growth(fleshy: bool, measure: &str, basis: &str) -> bool {
    match measure {
        "buoyant_weight" | "shell_length" | "head_count" | "branch_count" => true,
        _ => match basis {
            "skeleton" | "base" | "heads" => true,
            "not_said" => !fleshy,
            _ => false,
        },
    }
}

fn is_fleshy(specimen: &Specimen) -> bool {
    // A coral without a name is taken for fleshy: fewer of its sizes count.
    specimen.identifications.last().is_none_or(|name| name.taxon.get().fleshy)
}

fn tank_at(specimen: &Specimen, day: f64) -> Option<TankId> {
    specimen
        .stays
        .iter()
        .rev()
        .find(|stay| day_number(stay.from) <= day && stay.to.is_none_or(|to| day <= day_number(to)))
        .map(|stay| stay.tank)
}

type Kind = (String, String);

impl Lines {
    /// Reads the sizes of a population. Sizes that are not above 0 or lie after the end of the coral count for nothing.
    pub(super) fn new(club: &Club, population: &Population) -> Lines {
        Lines::measured(club, population, None, false)
    }

    /// The same for one measure and basis, whichever has most corals.
    pub(super) fn alike(&self, club: &Club, population: &Population) -> Lines {
        Lines::measured(club, population, Some((self.measure.clone(), self.basis.clone())), false)
    }

    /// The same sizes of the same measure and basis, each line cut at every fall of more than 30 %.
    pub(super) fn without_falls(&self, club: &Club, population: &Population) -> Lines {
        Lines::measured(club, population, Some((self.measure.clone(), self.basis.clone())), true)
    }

    fn measured(club: &Club, population: &Population, only: Option<Kind>, cut_at_falls: bool) -> Lines {
        let mut by_kind: BTreeMap<Kind, (Vec<Line>, u64, u64)> = BTreeMap::new();
        let mut tissue_only = 0;
        for &id in &population.members {
            let Some(specimen) = club.specimens.get(id as usize) else { continue };
            if specimen.held || specimen.arrived_dead {
                continue;
            }
            let fleshy = is_fleshy(specimen);
            let end = specimen.ending.as_ref().map_or(f64::INFINITY, |ending| day_number(ending.latest));
            let mut segments: BTreeMap<(Kind, u32), Vec<(f64, f64)>> = BTreeMap::new();
            for size in &specimen.sizings {
                let day = day_number(size.on);
                if !(size.value > 0.0 && size.value.is_finite() && day <= end) {
                    continue;
                }
                if !measures_growth(fleshy, &size.measure, &size.basis) {
                    tissue_only += 1;
                    continue;
                }
                let kind = (size.measure.clone(), size.basis.clone());
                segments.entry((kind, size.segment)).or_default().push((day, size.value));
            }
            for ((kind, _), mut points) in segments {
                points.sort_by(|a, b| a.0.total_cmp(&b.0));
                let days: Vec<f64> = points.iter().map(|(day, _)| *day).collect();
                let sizes: Vec<f64> = points.iter().map(|(_, size)| *size).collect();
                let (lines, count, falls) = by_kind.entry(kind).or_default();
                *count += points.len() as u64;
                let fallen = unexplained_falls(&sizes);
                *falls += fallen.len() as u64;
                let cuts = if cut_at_falls { fallen } else { Vec::new() };
                let starts = std::iter::once(0).chain(cuts.iter().copied());
                for (from, to) in starts.zip(cuts.iter().copied().chain([sizes.len()])) {
                    lines.extend(line(id, specimen, days[from..to].to_vec(), sizes[from..to].to_vec()));
                }
            }
        }
        let all: u64 = by_kind.values().map(|(_, count, _)| count).sum();
        let corals = |lines: &[Line]| lines.iter().map(|line| line.specimen).collect::<BTreeSet<_>>().len();
        by_kind.retain(|kind, _| only.as_ref().is_none_or(|only| kind == only));
        let most = by_kind.into_iter().rev().max_by_key(|(_, (lines, count, _))| (corals(lines), *count));
        let Some(((measure, basis), (lines, count, falls))) = most else {
            return Lines { tissue_only, ..Lines::default() };
        };
        Lines { measure, basis, lines, tissue_only, other_measure: all - count, falls }
    }

    /// One line a coral: the one with most sizes, the earliest of equals.
    pub(super) fn longest(&self) -> Vec<&Line> {
        let mut longest: BTreeMap<u32, &Line> = BTreeMap::new();
        for line in &self.lines {
            let kept = longest.entry(line.specimen).or_insert(line);
            if line.days.len() > kept.days.len() {
                *kept = line;
            }
        }
        longest.into_values().collect()
    }
}

impl Line {
    /// Its tanks from the first size to the last.
    pub(super) fn stretches(&self, club: &Club) -> Vec<Stretch> {
        let stays = club.specimens.get(self.specimen as usize).map_or(&[][..], |specimen| &specimen.stays);
        match (self.days.first(), self.days.last()) {
            (Some(&from), Some(&to)) => stretches(stays, from, to),
            _ => Vec::new(),
        }
    }

    /// The levels of a condition from one calendar day to another, each in the tank the coral was in at the time.
    pub(super) fn levels(&self, club: &Club, condition: &Condition, from: f64, to: f64) -> Vec<Segment> {
        let stays = club.specimens.get(self.specimen as usize).map_or(&[][..], |specimen| &specimen.stays);
        stretches(stays, from, to)
            .into_iter()
            .flat_map(|at| condition.between(self.specimen, self.keeper, at.tank, at.from, at.to))
            .collect()
    }
}

/// The growth of one line; `None` if it is too short for a rate.
fn line(id: u32, specimen: &Specimen, days: Vec<f64>, sizes: Vec<f64>) -> Option<Line> {
    let rate = specific_growth_rate(&days, &sizes, LEVEL).ok()?;
    let months: Vec<f64> = days.iter().map(|day| (day - days[0]) / MONTH_DAYS).collect();
    let logs: Vec<f64> = sizes.iter().map(|size| size.ln()).collect();
    let slope_per_month = theil_sen(&months, &logs, LEVEL).ok()?.slope;
    let tank = tank_at(specimen, days[0]);
    Some(Line { specimen: id, keeper: specimen.keeper, tank, days, sizes, rate, slope_per_month })
}
