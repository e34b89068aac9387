//! Everything that an audience is told about survival, as sets of cells with their figures.

use std::collections::{BTreeMap, BTreeSet};

use super::clubs::TAXA;
use super::clubs::support::taxon;
use crate::answer::taxon::candidates;
use crate::answer::{Audience, By, Given, Outcome, Question, census};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::plan::{self, Plan};
use crate::disclosure::tree::counted_once;
use crate::exposure::condition::{finest, finest_edges};
use crate::exposure::{Condition, LevelName, Rules};
use crate::follow_up::population::latest_name;
use crate::follow_up::{Population, Run};
use crate::vocabulary::TaxonSlug;

use super::super::records::{Divided, Records, TimeAtRisk};
use super::super::shown::blocks;

/// Corals of one name and year of purchase.
pub(super) type Column = (TaxonSlug, Option<i32>);
/// A finest cell: a column, and the levels of the splits of one condition.
pub(super) type Cell = (Column, Vec<usize>);

/// What is on record in each finest cell.
#[derive(Debug, Default, Clone)]
pub(super) struct Truth {
    pub(super) entries: BTreeMap<Cell, Vec<Entry>>,
    /// How time ended, by cell; the marks say of which outcome and whether the condition held.
    pub(super) ends: BTreeMap<Cell, Vec<Entry>>,
}

/// Figures told together: those of a level, or of a whole answer.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// The subject they are of.
    pub(super) subject: String,
    pub(super) audience: Audience,
    pub(super) layer: usize,
    /// The corals' names, the first year, the last, and the levels; `None` = all.
    pub(super) names: BTreeSet<TaxonSlug>,
    pub(super) years: Vec<Option<i32>>,
    /// Which of the splits of a cell, and at which levels.
    pub(super) levels: Option<(usize, BTreeSet<usize>)>,
    pub(super) what: String,
}

impl Figure {
    pub(super) fn holds(&self, ((name, year), levels): &Cell) -> bool {
        self.names.contains(name)
            && self.years.contains(year)
            && self.levels.as_ref().is_none_or(|(split, of)| levels.get(*split).is_some_and(|level| of.contains(level)))
    }
}

/// What figures say of some cells.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Counts {
    pub(super) specimens: u64,
    pub(super) keepers: u64,
    pub(super) tanks: u64,
    pub(super) events: u64,
    pub(super) days: f64,
}

impl Truth {
    /// What is counted in some cells of a layer, without one keeper's own.
    pub(super) fn counts(&self, layer: usize, own: Option<u32>, holds: &dyn Fn(&Cell) -> bool) -> Counts {
        let kept = |entry: &&Entry| plan::is_kept(layer, entry.marks) && own != Some(entry.keeper);
        let inside = self.entries.iter().filter(|(cell, _)| holds(cell)).flat_map(|(_, entries)| entries);
        let all = tally(inside.filter(kept));
        let ends = self.ends.iter().filter(|(cell, _)| holds(cell)).flat_map(|(_, ends)| ends).filter(kept);
        let (specimens, keepers, tanks, days) = (all.specimens, all.keepers, all.tanks, all.days);
        Counts { specimens, keepers, tanks, events: ends.count() as u64, days }
    }
}

/// Whose answers are asked for.
pub(super) fn populations(club: &Club) -> Vec<Population> {
    let all = TAXA.iter().flat_map(|slug| candidates(club, taxon(slug), None));
    let mut seen = BTreeSet::new();
    all.filter(|population| !population.members.is_empty() && seen.insert(population.subject())).collect()
}

/// Edges that an address can ask for: none, the whole ladder, and each run of its steps beside what is below and above.
pub(super) fn edges(by: By) -> Vec<Option<Vec<f64>>> {
    let mut asked = vec![None];
    if let Some(cuts) = finest_edges(by) {
        for first in 0..cuts.len() {
            asked.extend((first + 1..=cuts.len()).map(|end| Some(cuts[first..end].to_vec())));
        }
    }
    asked
}

/// What is on record by the cells of a split or a condition.
pub(super) fn truth(club: &Club, population: &Population, of: Divided, outcome: Outcome) -> Truth {
    let given = matches!(of, Divided::By(_)).then_some(Given::WaterInBand);
    let records = TimeAtRisk::new(club, population, outcome).and_then(|at_risk| at_risk.by(of, given));
    records.map(|records| truth_of(club, &records)).unwrap_or_default()
}

fn truth_of(club: &Club, records: &Records) -> Truth {
    let year_of = |year: usize| (records.unknown_year != Some(year)).then(|| records.first_year + year as i32);
    let name_of = |entry: &Entry| club.specimens.get(entry.specimen as usize).and_then(latest_name);
    let mut truth = Truth::default();
    for (levels, year, entry) in records.ground.divided.each() {
        let Some(name) = name_of(entry) else { continue };
        truth.entries.entry(((name, year_of(year)), levels.to_vec())).or_default().push(*entry);
    }
    for end in &records.ends {
        let Some(name) = name_of(&end.entry) else { continue };
        truth.ends.entry(((name, year_of(end.year)), end.levels.clone())).or_default().push(end.entry);
    }
    truth
}

/// What is told of a population by a split or a condition, with the cells that it is told from.
pub(super) fn told(club: &Club, population: &Population, of: Divided, outcome: Outcome) -> (Truth, Vec<Figure>) {
    match of {
        Divided::By(by) => told_by(club, population, by, outcome),
        Divided::Factor(_) => told_in_lines(club, population, of, outcome),
    }
}

/// What lines of a condition tell, by which no answer on survival is split: each of its levels.
fn told_in_lines(club: &Club, population: &Population, of: Divided, outcome: Outcome) -> (Truth, Vec<Figure>) {
    let records = TimeAtRisk::new(club, population, outcome).and_then(|at_risk| at_risk.by(of, None));
    let Ok(records) = records else { return Default::default() };
    let truth = truth_of(club, &records);
    let year_of = |year: usize| (records.unknown_year != Some(year)).then(|| records.first_year + year as i32);
    let name_of = |entry: &Entry| club.specimens.get(entry.specimen as usize).and_then(latest_name);
    let Some(own) = records.own() else { return Default::default() };
    let names: BTreeSet<TaxonSlug> =
        truth.entries.values().flatten().filter(|entry| own.holds(entry)).filter_map(name_of).collect();
    let count = records.ground.undivided.years();
    let mut plan = Plan::new(&records.ground);
    let mut figures = Vec::new();
    for (layer, audience) in [0, 2].into_iter().flat_map(|of| [(of, Audience::Public), (of, Audience::Member)]) {
        for from in (0..count).filter(|from| *from == 0 || year_of(*from).is_some()) {
            let since = if from == 0 { None } else { year_of(from) };
            let outcome = if layer == 0 { Outcome::Death } else { outcome };
            let question = Question {
                taxon: population.taxon,
                outcome,
                by: By::None,
                edges: None,
                given: None,
                horizon_days: 365.0,
                since,
            };
            let Some(partition) = records.partition_in(&mut plan, &question, audience) else { continue };
            figures.extend(partition.rows.iter().zip(std::iter::repeat(partition.split)).filter_map(|(row, split)| {
                Some(Figure {
                    subject: population.subject(),
                    audience,
                    layer,
                    names: names.clone(),
                    years: (from..count).map(year_of).collect(),
                    levels: Some((split?, row.levels.iter().copied().collect())),
                    what: format!("{} {of:?} {:?} since {since:?} layer {layer}", population.subject(), row.levels),
                })
            }));
        }
    }
    let some = |figure: &Figure| truth.counts(figure.layer, None, &|cell| figure.holds(cell)).specimens > 0;
    figures.retain(some);
    (truth, figures)
}

fn told_by(club: &Club, population: &Population, by: By, outcome: Outcome) -> (Truth, Vec<Figure>) {
    let given = Some(Given::WaterInBand);
    let Ok(records) = Records::new(club, population, by, given, outcome) else { return Default::default() };
    let truth = truth_of(club, &records);
    let year_of = |year: usize| (records.unknown_year != Some(year)).then(|| records.first_year + year as i32);
    let name_of = |entry: &Entry| club.specimens.get(entry.specimen as usize).and_then(latest_name);
    let Some(own) = records.own() else { return Default::default() };
    let own = truth.entries.values().flatten().filter(|entry| own.holds(entry)).filter_map(name_of);
    let names: BTreeSet<TaxonSlug> = own.collect();
    let count = records.ground.undivided.years();
    let levels_named = |edges: Option<&[f64]>| {
        Condition::new(club, population, by, edges, Rules::of(Run::Main)).map(|of| of.levels).unwrap_or_default()
    };
    let finest_names = levels_named(finest_edges(by).as_deref());
    let taught_names = levels_named(None);
    let mut plan = Plan::new(&records.ground);
    let mut figures = Vec::new();
    let subject = population.subject();
    let menus = edges(by).into_iter().map(|edges| (levels_named(edges.as_deref()), edges));
    let menus: Vec<(Vec<LevelName>, Option<Vec<f64>>)> = menus.collect();
    for (layer, audience) in (0..4_usize).flat_map(|layer| [(layer, Audience::Public), (layer, Audience::Member)]) {
        let outcome = if layer < 2 { Outcome::Death } else { outcome };
        let given = if layer.is_multiple_of(2) { None } else { given };
        for (asked, edges) in &menus {
            for from in 0..count {
                let since = if from == 0 { None } else { year_of(from) };
                if from > 0 && since.is_none() {
                    continue;
                }
                let question = Question {
                    taxon: population.taxon,
                    outcome,
                    by,
                    edges: edges.clone(),
                    given,
                    horizon_days: 365.0,
                    since,
                };
                let Some(partition) = records.partition_in(&mut plan, &question, audience) else { continue };
                let (known, asked) = match edges {
                    Some(_) => (&finest_names, Some(asked.as_slice())),
                    None => (&taught_names, None),
                };
                let Some(blocks) = blocks(&records, &partition, &question, known, asked) else { continue };
                let of = |split, levels: &BTreeSet<usize>, years: std::ops::Range<usize>, what: &str| Figure {
                    subject: subject.clone(),
                    audience,
                    layer,
                    names: names.clone(),
                    years: years.map(year_of).collect(),
                    levels: Option::map(split, |split| (split, levels.clone())),
                    what: format!("{subject} {what} {edges:?} since {since:?} layer {layer} {audience:?}"),
                };
                figures.push(of(None, &BTreeSet::new(), from..count, "all"));
                if by == By::Year {
                    for years in partition.rows.iter().flat_map(|row| &row.years).filter(|years| years.start >= from) {
                        figures.push(of(None, &BTreeSet::new(), years.clone(), "years"));
                    }
                    continue;
                }
                let Some(split) = partition.split else { continue };
                let rows: Vec<BTreeSet<usize>> = match edges {
                    Some(_) => blocks.iter().map(|(levels, ..)| levels.iter().copied().collect()).collect(),
                    None => partition.rows.iter().map(|row| row.levels.iter().copied().collect()).collect(),
                };
                for row in &rows {
                    figures.push(of(Some(split), row, from..count, &format!("levels {row:?}")));
                }
            }
        }
    }
    let some = |figure: &Figure| truth.counts(figure.layer, None, &|cell| figure.holds(cell)).specimens > 0;
    figures.retain(some);
    (truth, figures)
}

/// Counts of what is on record, of every taxon.
pub(super) fn on_record(club: &Club) -> (Truth, Vec<Figure>) {
    let mut truth = Truth::default();
    for id in 0..club.specimens.len() as u32 {
        if let Some(name) = latest_name(&club.specimens[id as usize]) {
            truth.entries.entry(((name, None), Vec::new())).or_default().extend(counted_once(club, [id].into_iter()));
        }
    }
    let names: BTreeSet<TaxonSlug> = truth.entries.keys().map(|((name, _), _)| *name).collect();
    let mut figures = Vec::new();
    for audience in [Audience::Public, Audience::Member] {
        for row in census(club, audience).into_iter().filter(|row| row.counts.given().is_some()) {
            let of = taxon(&row.slug);
            figures.push(Figure {
                subject: row.slug.clone(),
                audience,
                layer: 0,
                names: names.iter().copied().filter(|name| name.is_within(of)).collect(),
                years: vec![None],
                levels: None,
                what: format!("{} on record {audience:?}", row.slug),
            });
        }
    }
    (truth, figures)
}

/// Whether the levels of a split can change while a coral lives.
pub(super) fn varies(by: By) -> bool {
    by.varies_in_time() || !finest(by).is_empty()
}
