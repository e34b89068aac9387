//! What exact figures of the same moment, or of the same ages, tell by being taken from each other.
//!
//! At each moment of a curve, and in each piece of age, everybody at risk lies in one cell: a name, a year of purchase, the
//! levels of the splits of one condition, and what held. Numbers told are sums over cells; which cells are empty is not
//! known. Found is what follows from them: sums of one or two kinds of cells that no figure tells apart, by elimination, and what
//! is left of a figure less one or two others.

use std::collections::{BTreeMap, BTreeSet};

use super::told::{edges, populations};
use crate::answer::survival::attempt::Attempt;
use crate::answer::survival::frame::Framed;
use crate::answer::survival::groups::Level;
use crate::answer::survival::records::{Ages, Records};
use crate::answer::survival::shown::framed_by;
use crate::answer::taxon::candidates;
use crate::answer::{Audience, By, Given, Outcome, Question, TaxonQuestion};
use crate::club::Club;
use crate::disclosure::cells::Block;
use crate::disclosure::keepers_needed;
use crate::disclosure::plan::{self, AT_RISK, HELD, NOT_KNOWN, Plan};
use crate::evidence::{minimums, tally};
use crate::follow_up::population::{acquired_year, latest_name};
use crate::follow_up::{Population, Run};
use crate::vocabulary::TaxonSlug;

/// The factors are counted by this prime.
const PRIME: i64 = 1_000_003;

/// Name, year of purchase, levels and marks.
type Cell = (TaxonSlug, Option<i32>, Vec<usize>, u32);

/// A number told: of which cells, at which of the ages told together.
struct Number {
    names: BTreeSet<TaxonSlug>,
    years: BTreeSet<Option<i32>>,
    part: Block,
    layer: usize,
    ages: BTreeSet<usize>,
    what: String,
}

impl Number {
    fn holds(&self, (name, year, levels, marks): &Cell, age: usize) -> bool {
        let level = self.part.split.and_then(|split| levels.get(split));
        self.ages.contains(&age)
            && self.names.contains(name)
            && self.years.contains(year)
            && plan::is_kept(self.layer, *marks)
            && (self.part.split.is_none() || level.is_some_and(|level| self.part.levels.contains(level)))
    }
}

/// Numbers told and what follows from them.
#[derive(Debug, Default)]
pub(super) struct Taken {
    /// Numbers told.
    pub(super) told: usize,
    /// Sums of fewer keepers than may be shown that follow from them.
    pub(super) found: usize,
    /// Some of these.
    pub(super) first: Vec<String>,
}

impl Taken {
    pub(super) fn join(&mut self, other: Taken) {
        self.told += other.told;
        self.found += other.found;
        self.first.extend(other.first);
    }
}

/// Everybody of a club by the cells of one split.
struct Everybody<'a> {
    club: &'a Club,
    records: Records,
    cells: Vec<Cell>,
}

impl<'a> Everybody<'a> {
    fn new(club: &'a Club, population: &Population, by: By, outcome: Outcome) -> Option<Everybody<'a>> {
        let records = Records::new(club, population, by, Some(Given::WaterInBand), outcome).ok()?;
        let names: BTreeSet<TaxonSlug> = club.specimens.iter().filter_map(latest_name).collect();
        let years: BTreeSet<Option<i32>> = club.specimens.iter().map(|of| of.acquired.map(acquired_year)).collect();
        let levels: BTreeSet<Vec<usize>> = records.ground.divided.each().map(|(levels, ..)| levels.to_vec()).collect();
        let marks = [0, HELD, NOT_KNOWN].into_iter().flat_map(|mark| [mark, mark | AT_RISK]);
        let marks: Vec<u32> = marks.collect();
        let mut cells = Vec::new();
        for (name, year) in names.iter().flat_map(|name| years.iter().map(move |year| (*name, *year))) {
            for (levels, marks) in levels.iter().flat_map(|levels| marks.iter().map(move |marks| (levels, *marks))) {
                cells.push((name, year, levels.clone(), marks));
            }
        }
        Some(Everybody { club, records, cells })
    }

    /// Keepers by cell at some ages.
    fn at(&self, ages: Ages) -> BTreeMap<Cell, BTreeSet<u32>> {
        let mut keepers: BTreeMap<Cell, BTreeSet<u32>> = BTreeMap::new();
        for (levels, year, entry) in self.records.at_ages(ages).divided.each() {
            let year = self.year(year);
            if let Some(name) = latest_name(&self.club.specimens[entry.specimen as usize]) {
                keepers.entry((name, year, levels.to_vec(), entry.marks)).or_default().insert(entry.keeper);
            }
        }
        keepers
    }

    fn year(&self, position: usize) -> Option<i32> {
        (self.records.unknown_year != Some(position)).then(|| self.records.first_year + position as i32)
    }

    /// What follows from numbers about these ages.
    fn taken(&self, numbers: &[Number], ages: &[Ages], audience: Audience, what: &str) -> Taken {
        let keepers: Vec<BTreeMap<Cell, BTreeSet<u32>>> = ages.iter().map(|ages| self.at(*ages)).collect();
        let mut atoms: BTreeMap<Vec<bool>, BTreeSet<u32>> = BTreeMap::new();
        for (cell, age) in self.cells.iter().flat_map(|cell| (0..ages.len()).map(move |age| (cell, age))) {
            let held: Vec<bool> = numbers.iter().map(|number| number.holds(cell, age)).collect();
            if held.contains(&true) {
                atoms.entry(held).or_default().extend(keepers[age].get(cell).into_iter().flatten());
            }
        }
        let atoms: Vec<(Vec<bool>, BTreeSet<u32>)> = atoms.into_iter().collect();
        let holds = |at: usize| atoms.iter().map(|(held, _)| i64::from(held[at])).collect::<Vec<i64>>();
        let rows: BTreeSet<Vec<i64>> = (0..numbers.len()).map(holds).collect();
        let mut sums: BTreeSet<Vec<i64>> = BTreeSet::new();
        let echelon = reduced(rows.iter().cloned());
        for one in 0..atoms.len() {
            for other in one..atoms.len() {
                let mut sum = vec![0; atoms.len()];
                (sum[one], sum[other]) = (1, 1);
                if follows(&echelon, sum.clone()) {
                    sums.insert(sum);
                }
            }
        }
        let less = |all: &[i64], part: &[i64]| {
            let left: Vec<i64> = all.iter().zip(part).map(|(all, part)| all - part).collect();
            (!left.contains(&-1) && left.contains(&1)).then_some(left)
        };
        let lesser = |all: &[i64]| rows.iter().filter_map(|part| less(all, part)).collect::<BTreeSet<_>>();
        for left in rows.iter().flat_map(|all| lesser(all)) {
            sums.extend(lesser(&left));
            sums.insert(left);
        }
        let mut taken = Taken { told: numbers.len(), ..Taken::default() };
        for sum in sums {
            let inside = || atoms.iter().zip(&sum).filter(|(_, factor)| **factor == 1).map(|(atom, _)| atom);
            let keepers: BTreeSet<u32> = inside().flat_map(|(_, keepers)| keepers).copied().collect();
            if !keepers.is_empty() && (keepers.len() as u64) < keepers_needed(audience) {
                taken.found += 1;
                let of = |held: &[bool]| {
                    numbers
                        .iter()
                        .zip(held)
                        .filter(|(_, held)| **held)
                        .map(|(of, _)| of.what.as_str())
                        .collect::<Vec<_>>()
                };
                let said: Vec<Vec<&str>> =
                    inside().filter(|(_, keepers)| !keepers.is_empty()).map(|(held, _)| of(held)).collect();
                if taken.first.len() < 2 {
                    taken.first.push(format!("{what}: {} keepers, {audience:?}: {said:?}", keepers.len()));
                }
            }
        }
        taken
    }
}

/// Rows in echelon form, each with the place of its first factor, which is 1.
fn reduced(rows: impl Iterator<Item = Vec<i64>>) -> Vec<(usize, Vec<i64>)> {
    let mut echelon: Vec<(usize, Vec<i64>)> = Vec::new();
    for row in rows {
        let row = less(&echelon, row);
        let Some(first) = row.iter().position(|factor| *factor != 0) else { continue };
        let inverse = power(row[first], PRIME - 2);
        echelon.push((first, row.iter().map(|factor| factor * inverse % PRIME).collect()));
    }
    echelon
}

fn power(base: i64, exponent: i64) -> i64 {
    let half = if exponent == 0 { return 1 } else { power(base, exponent / 2) };
    half * half % PRIME * if exponent % 2 == 1 { base } else { 1 } % PRIME
}

/// A row less multiples of these, so that it has nothing at their first places.
fn less(echelon: &[(usize, Vec<i64>)], mut row: Vec<i64>) -> Vec<i64> {
    for (first, of) in echelon {
        let factor = row[*first];
        if factor != 0 {
            row.iter_mut().zip(of).for_each(|(own, theirs)| *own = (*own - factor * theirs).rem_euclid(PRIME));
        }
    }
    row
}

fn follows(echelon: &[(usize, Vec<i64>)], sum: Vec<i64>) -> bool {
    less(echelon, sum).iter().all(|factor| *factor == 0)
}

fn since(club: &Club, whole: &Population, year: Option<i32>) -> Option<Population> {
    candidates(club, whole.taxon, year).into_iter().find(|population| population.subject() == whole.subject())
}

/// Questions about a population that are answered: undivided or by a split, by its bands or by one or two cuts, since each year.
fn questions(club: &Club, population: &Population, plain: &Question, audience: Audience) -> Vec<Question> {
    let Question { by, given, outcome, .. } = *plain;
    let Ok(records) = Records::new(club, population, by, given, outcome) else { return Vec::new() };
    let mut plan = Plan::new(&records.ground);
    let bought = club.specimens.iter().filter_map(|specimen| specimen.acquired);
    let years: BTreeSet<i32> = bought.map(acquired_year).collect();
    let years: Vec<Option<i32>> = std::iter::once(None).chain(years.into_iter().skip(1).map(Some)).collect();
    let edges = edges(by).into_iter().filter(|edges| edges.as_ref().is_none_or(|of| of.len() < 3));
    let asked = edges.flat_map(|edges| years.iter().map(move |year| (edges.clone(), *year)));
    let asked = asked.map(|(edges, since)| Question { edges, since, ..plain.clone() });
    asked.filter(|question| records.partition_in(&mut plan, question, audience).is_some()).collect()
}

/// Who a number of a population is about.
fn number(club: &Club, of: (&Everybody, &Population), part: Block, layer: usize, what: String) -> Number {
    let (everybody, population) = of;
    let names = population.members.iter().filter_map(|id| latest_name(&club.specimens[*id as usize])).collect();
    let years = part.years.clone().map(|year| everybody.year(year)).collect();
    Number { names, years, part, layer, ages: BTreeSet::from([0]), what }
}

/// Numbers at risk in the curves of all answers by one split and by none, week by week or month by month.
pub(super) fn curves(club: &Club, by: By, outcome: Outcome, audience: Audience) -> Taken {
    let populations = populations(club);
    let everybody = populations.iter().filter_map(|whole| Everybody::new(club, whole, by, outcome));
    // The cells of a species are cut by its own bands too.
    let Some(everybody) = everybody.max_by_key(|of| of.records.ground.splits.len()) else { return Taken::default() };
    let mut told: BTreeMap<u64, Vec<Number>> = BTreeMap::new();
    let menus = BTreeSet::from([By::None.as_str(), by.as_str()]).into_iter().filter_map(By::parse);
    let menus = menus.flat_map(|by| [(by, Outcome::Death), (by, outcome)]);
    let menus: Vec<_> = menus.flat_map(|(by, of)| [(by, of, None), (by, of, Some(Given::WaterInBand))]).collect();
    for whole in &populations {
        for &(by, outcome, given) in &menus {
            let (taxon, horizon_days) = (whole.taxon, 365.0);
            let plain = Question { taxon, outcome, by, edges: None, given, horizon_days, since: None };
            for question in questions(club, whole, &plain, audience) {
                let Some(population) = since(club, whole, question.since) else { continue };
                let framed_by = framed_by(&question, audience);
                let of = Attempt { club, asked: &question, question: &framed_by, population: &population, audience };
                for (part, name, times) in drawn(&of) {
                    for time in times {
                        let Question { edges, since, given, outcome, .. } = &question;
                        let what = format!(
                            "{} {} {edges:?} {name} since {since:?} {given:?} {}",
                            whole.subject(),
                            by.as_str(),
                            outcome.as_str()
                        );
                        let layer = plan::layer(given.is_some(), outcome.needs_looks());
                        told.entry(time.to_bits()).or_default().push(number(
                            club,
                            (&everybody, whole),
                            part.clone(),
                            layer,
                            what,
                        ));
                    }
                }
            }
        }
    }
    let mut taken = Taken::default();
    for (time, numbers) in told {
        let time = f64::from_bits(time);
        taken.join(everybody.taken(&numbers, &[Ages::At(time)], audience, &format!("day {time}")));
    }
    taken
}

/// The curves of an answer: what each is of, its name, and its moments.
fn drawn(of: &Attempt) -> Vec<(Block, String, Vec<f64>)> {
    let Ok(framed) = Framed::new(of.club, of.question, of.population, Run::Main) else { return Vec::new() };
    let rows = &framed.sets.middle;
    let Ok(whole) = tally(rows) else { return Vec::new() };
    let unknown = rows.level.iter().any(Option::is_none);
    let Ok(shown) = of.may_be_shown(&framed, unknown) else { return Vec::new() };
    if minimums::curve(&whole).is_err() {
        return Vec::new();
    }
    let sets = shown.levels.apply(&framed.sets);
    let tallies = shown.levels.tallies(&sets.middle).expect("levels");
    let mut by_age = shown.by_age(of.asked, of.audience);
    let mut found = Vec::new();
    for level in (0..tallies.len()).filter(|level| tallies[*level].specimens > 0) {
        let is_told = |age| shown.tells(&mut by_age, level, Ages::At(age));
        let drawn = Level::new(&shown.levels, &sets, (level, tallies[level]), (of.audience, 365.0), is_told);
        if let Ok(points) = &drawn.curve {
            let part = shown.parts[level + 1].clone();
            found.push((part, shown.levels.name(level).code, points.iter().map(|point| point.time).collect()));
        }
    }
    found
}

/// Days at risk by age, of all answers on when corals are lost.
pub(super) fn hazards(club: &Club, outcome: Outcome, audience: Audience) -> Taken {
    const CUTS: [f64; 7] = [0.0, 30.0, 90.0, 180.0, 365.0, 730.0, f64::INFINITY];
    let populations = populations(club);
    let Some(everybody) = populations.first().and_then(|whole| Everybody::new(club, whole, By::None, outcome)) else {
        return Taken::default();
    };
    let mut told: Vec<Number> = Vec::new();
    for (whole, outcome) in populations.iter().flat_map(|whole| [(whole, Outcome::Death), (whole, outcome)]) {
        let asked = TaxonQuestion { taxon: whole.taxon, outcome, since: None };
        for question in questions(club, whole, &asked.plain(), audience) {
            let Some(population) = since(club, whole, question.since) else { continue };
            let asked = TaxonQuestion { since: question.since, ..asked };
            let Ok(found) = crate::answer::hazard::result(club, &population, &asked, audience) else { continue };
            let Some(from) = everybody.records.since(question.since) else { continue };
            for piece in found.pieces {
                let (first, last) = (piece.piece.from_day, piece.piece.to_day.unwrap_or(f64::INFINITY));
                let ages = (0..6).filter(|at| CUTS[*at] >= first && CUTS[*at + 1] <= last).collect();
                let what =
                    format!("{} {} since {:?} {first} to {last}", whole.subject(), outcome.as_str(), question.since);
                let layer = plan::layer(false, outcome.needs_looks());
                let part = everybody.records.years_from(from);
                told.push(Number { ages, ..number(club, (&everybody, whole), part, layer, what) });
            }
        }
    }
    let ages: Vec<Ages> = CUTS.windows(2).map(|cut| Ages::Between(cut[0], cut[1])).collect();
    everybody.taken(&told, &ages, audience, "hazard")
}

#[test]
fn what_follows_by_subtraction_is_found() {
    // a + b + c, a + b and b: c and a follow, and so does a + c.
    let echelon = reduced([vec![1, 1, 1], vec![1, 1, 0], vec![0, 1, 0]].into_iter());
    assert!(follows(&echelon, vec![0, 0, 1]) && follows(&echelon, vec![1, 0, 0]) && follows(&echelon, vec![1, 0, 1]));
    // Of a ring of three sums of two, each part follows; of one of four, none does.
    let row = |n: usize, at: usize| (0..n).map(|of| i64::from(of == at || of == (at + 1) % n)).collect::<Vec<i64>>();
    let ring = |n: usize| reduced((0..n).map(|at| row(n, at)));
    assert!(follows(&ring(3), vec![1, 0, 0]) && !follows(&ring(4), vec![1, 0, 0, 0]));
}
