//! The records that the blocks of answers are made from: who spent how long in which cell of a split, cut once for every
//! split, and the partitions of a question's answers.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

use super::frame::{tanks, unusable};
use crate::answer::{Audience, By, Given, Outcome, Question};
use crate::club::{Club, ClubBand, TankId};
use crate::comparison::interaction::FED_FROM;
use crate::comparison::{Cell, Frame};
use crate::disclosure::cells::{Block, Cells, Entry};
use crate::disclosure::partition::Partition;
use crate::disclosure::plan::{self, AT_RISK, Division, Ground, HELD, NOT_KNOWN, Plan, Split};
use crate::disclosure::tree::{Narrower, Node, chain, narrower};
use crate::exposure::condition::finest_edges;
use crate::exposure::given::{self, WaterInBand};
use crate::exposure::{Band, Condition, Factor, Level, LevelName, Rules};
use crate::follow_up::population::acquired_year;
use crate::follow_up::{FollowUp, Population, Run, follow_up, follow_up_for};
use crate::refusal::{Refusal, RefusalCode};
use crate::vocabulary::{ParameterCode, TaxonSlug};

/// A stretch of calendar time of one specimen in one tank, as answers are made from.
pub(in crate::answer) struct Span {
    pub(in crate::answer) specimen: u32,
    pub(in crate::answer) keeper: u32,
    pub(in crate::answer) tank: Option<TankId>,
    pub(in crate::answer) from: f64,
    pub(in crate::answer) to: f64,
    /// The day from which its age is counted.
    pub(in crate::answer) day0: f64,
    /// Number of what ended it; `None` = nothing did.
    pub(in crate::answer) end: Option<u32>,
    /// It is time at risk of another outcome than death.
    pub(in crate::answer) other: bool,
}

/// How a specimen ended, and what it counts for.
pub(super) struct Ended {
    pub(super) entry: Entry,
    pub(super) year: usize,
    pub(super) cause: u32,
    /// The levels at which it did.
    #[cfg(test)]
    pub(super) levels: Vec<usize>,
}

/// Ages, in days since acquisition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::answer) enum Ages {
    /// At risk at one.
    At(f64),
    /// From after the one to the other.
    Between(f64, f64),
}

impl Ages {
    /// Days of a stretch of time at risk at these ages; `None` = it has no part in them.
    fn days(self, from: f64, to: f64) -> Option<f64> {
        match self {
            Ages::At(age) => (from < age && age <= to).then_some(to - from),
            Ages::Between(first, last) => Some(to.min(last) - from.max(first)).filter(|days| *days > 0.0),
        }
    }
}

/// An entry with its place and its ages.
#[derive(Debug, Clone)]
struct Aged {
    levels: Vec<usize>,
    year: usize,
    entry: Entry,
    from: f64,
    to: f64,
}

/// A cell: its levels, its year of purchase, and what its time counts for.
struct NamedCell {
    levels: Vec<usize>,
    year: usize,
    marks: u32,
    name: String,
}

/// The bands that cells are cut by. Cells are named by them where another release taught others, so that the same cell has
/// the same name in both.
#[derive(Debug, Clone, Default, PartialEq)]
struct Cuts {
    /// What each split is by; empty = by no band.
    splits: Vec<String>,
    /// The bands that the water had to be within, where it had to.
    water: Option<String>,
    /// Another release taught other bands.
    others: bool,
}

/// What cells are divided by: a split of answers on survival, or the levels of a condition, which are never joined.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Divided {
    /// A split.
    By(By),
    /// A condition.
    Factor(Factor),
}

/// The records that blocks are made from.
pub(in crate::answer) struct Records {
    /// Its levels are never joined.
    levels_stand: bool,
    pub(super) ground: Ground,
    /// The year of position 0.
    pub(super) first_year: i32,
    /// The position after all years, of what was bought in no known year.
    pub(super) unknown_year: Option<usize>,
    /// Levels of the finest split.
    pub(super) names: Vec<LevelName>,
    /// The bands that cells are cut by, those of another release among them.
    cuts: Cuts,
    pub(super) ends: Vec<Ended>,
    /// Every entry, in order.
    aged: Vec<Aged>,
    pub(super) follow_up: FollowUp,
    pub(super) everyone: Population,
}

/// Light is a parameter too: both are asked of the same cells.
pub(super) fn split_of(by: By) -> By {
    match by {
        By::Light => ParameterCode::parse("par").map_or(by, By::Parameter),
        by => by,
    }
}

pub(super) fn invalid(fault: impl std::fmt::Display) -> Refusal {
    Refusal::plain(RefusalCode::InvalidInput, format!("{fault}."))
}

/// The position of a level among its split's; unknown is the one after the known.
fn position(level: Option<u16>, known: usize) -> usize {
    level.map_or(known, usize::from).min(known)
}

/// The time at risk in the widest taxon that answers about a population are tied to, cut once for every split.
pub(in crate::answer) struct TimeAtRisk<'a> {
    club: &'a Club,
    taxon: TaxonSlug,
    nodes: Vec<Node>,
    narrower: Arc<[Narrower]>,
    everyone: Population,
    spans: Vec<Span>,
    follow_up: FollowUp,
    water: OnceLock<WaterInBand>,
    /// The club's own bands of another release, where they are others: the time is cut at their edges too.
    other_bands: Option<&'a [ClubBand]>,
}

impl<'a> TimeAtRisk<'a> {
    /// Time at risk of death, and of the outcome asked.
    pub(in crate::answer) fn new(
        club: &'a Club,
        population: &Population,
        outcome: Outcome,
    ) -> Result<TimeAtRisk<'a>, Refusal> {
        let nodes = chain(club, population);
        let narrower = narrower(club, population, &nodes).into();
        let everyone = everyone(club, population, &nodes);
        let whole = Condition::new(club, &everyone, By::None, None, Rules::of(Run::Main)).map_err(invalid)?;
        let mut spans = Vec::new();
        let follow_up = follow_up(club, &everyone, Run::Main);
        add_spans(&mut spans, club, &whole, &follow_up)?;
        if outcome.needs_looks() {
            add_spans(&mut spans, club, &whole, &follow_up_for(club, &everyone, outcome, Run::Main))?;
        }
        let (taxon, water) = (population.taxon, OnceLock::new());
        Ok(TimeAtRisk { club, taxon, nodes, narrower, everyone, spans, follow_up, water, other_bands: None })
    }

    /// The same, cut at the edges of another release's bands too.
    pub(in crate::answer) fn beside(self, bands: &'a [ClubBand]) -> TimeAtRisk<'a> {
        TimeAtRisk { other_bands: Some(bands), ..self }
    }

    /// The conditions by another release's bands whose levels are none of these.
    fn others(&self, divided: Divided, conditions: &[Condition]) -> Vec<Condition> {
        let (Some(bands), rules) = (self.other_bands, Rules::of(Run::Main)) else { return Vec::new() };
        let members = |taxon| Population::of_members(taxon, self.everyone.members.clone());
        let mut others: Vec<Condition> = Vec::new();
        let mut add = |other: Condition| {
            let key = |of: &Condition| of.band.as_ref().map(Band::key);
            if !conditions.iter().chain(&others).any(|known| key(known) == key(&other)) {
                others.push(other);
            }
        };
        match divided {
            Divided::By(by @ By::Parameter(code)) => {
                let has_ladder = finest_edges(by).is_some();
                let own = std::iter::once(self.taxon).filter(|_| !has_ladder);
                let nodes = self.nodes.iter().map(|node| node.taxon).filter(|_| has_ladder);
                for taxon in own.chain(nodes).filter(|taxon| Band::among(bands, *taxon, code).is_some()) {
                    add(Condition::taught(self.club, bands, &members(taxon), by, rules));
                }
            }
            Divided::Factor(factor @ (Factor::Level(_) | Factor::Below(_) | Factor::Above(_))) => {
                let other = Condition::of_factor_among(self.club, bands, &members(self.taxon), factor, rules);
                other.into_iter().for_each(add);
            }
            Divided::By(_) | Divided::Factor(_) => {}
        }
        others
    }

    /// Whether the water was within another release's bands, if those are others.
    fn other_water(&self) -> Option<WaterInBand> {
        let (bands, rules) = (self.other_bands?, Rules::of(Run::Main));
        let is_other = given::key_among(bands, self.taxon) != self.water().key;
        is_other.then(|| WaterInBand::among(self.club, bands, self.taxon, &tanks(self.club, &self.everyone), rules))
    }

    /// Whether the water was within its bands, by tank.
    fn water(&self) -> &WaterInBand {
        let rules = Rules::of(Run::Main);
        self.water.get_or_init(|| WaterInBand::new(self.club, self.taxon, &tanks(self.club, &self.everyone), rules))
    }

    /// The records by the cells of a split or of a condition.
    pub(in crate::answer) fn by(&self, divided: Divided, given: Option<Given>) -> Result<Records, Refusal> {
        let TimeAtRisk { club, taxon, nodes, everyone, spans, .. } = self;
        let rules = Rules::of(Run::Main);
        let (by, factor) = match divided {
            Divided::By(by) => (split_of(by), None),
            Divided::Factor(factor) => (By::None, Some(factor)),
        };
        let condition = |taxon, edges: Option<&[f64]>| {
            let members = Population::of_members(taxon, everyone.members.clone());
            Condition::new(club, &members, by, edges, rules).map_err(invalid)
        };
        let undivided = factor.is_none() && matches!(by, By::None | By::Year);
        let mut conditions: Vec<Condition> = Vec::new();
        let mut taught = vec![None; nodes.len()];
        if let Some(factor) = factor {
            let members = Population::of_members(*taxon, everyone.members.clone());
            conditions.push(Condition::of_factor(club, &members, factor, rules)?);
        } else if !undivided {
            conditions.push(condition(*taxon, finest_edges(by).as_deref())?);
        }
        // Without a ladder, there is nothing finer than what is taught.
        if let (By::Parameter(code), Some(_)) = (by, finest_edges(by)) {
            for (node, taught) in nodes.iter().zip(&mut taught) {
                let Some(band) = Band::taught(club, node.taxon, code) else { continue };
                let known = conditions.iter().position(|other| other.band.as_ref() == Some(&band));
                *taught = Some(known.unwrap_or(conditions.len()));
                if known.is_none() {
                    conditions.push(condition(node.taxon, None)?);
                }
            }
        }
        let by_others = self.others(divided, &conditions);
        let mut cuts = Cuts { others: !by_others.is_empty(), ..Cuts::default() };
        conditions.extend(by_others);
        cuts.splits.extend(conditions.iter().map(|one| one.band.as_ref().map_or_else(String::new, Band::key)));
        let water = given.map(|given| match given {
            Given::WaterInBand => self.water(),
        });
        cuts.water = water.map(|water| water.key.clone());
        let is_feeding = factor.is_none() && By::parse(by.as_str()) == Some(By::Feeding);
        let fed_by_water = match given {
            None if is_feeding => {
                let fed = Condition::new(club, everyone, By::Feeding, Some(&[FED_FROM]), rules).map_err(invalid)?;
                Some((fed, self.water()))
            }
            _ => None,
        };
        let other_water = if given.is_some() || is_feeding { self.other_water() } else { None };
        cuts.others |= other_water.is_some();
        let year = |id: u32| club.specimens.get(id as usize).and_then(|of| of.acquired).map(acquired_year);
        let years: BTreeSet<i32> = spans.iter().filter_map(|span| year(span.specimen)).collect();
        let first_year = years.first().copied().unwrap_or_default();
        let known = years.last().map_or(0, |last| (last - first_year) as usize + 1);
        // What was bought in no known year is in every answer: it comes after all years.
        let unknown_year = spans.iter().any(|span| year(span.specimen).is_none()).then_some(known);
        let count = known + usize::from(unknown_year.is_some());
        let (mut cells, mut divided) = (Cells::new(count), Cells::new(count));
        let (mut ends, mut aged) = (Vec::new(), Vec::new());
        for &Span { specimen, keeper, tank, from, to, day0, end, other } in spans {
            let Some(year) = year(specimen).map_or(unknown_year, |year| Some((year - first_year) as usize)) else {
                continue;
            };
            // Stretches of the span with one level of each split and one answer to the condition that had to hold.
            let mut pieces: Vec<Piece> = vec![(from, to, Vec::new(), 0)];
            for condition in &conditions {
                pieces = cut(pieces, |piece, from, to| {
                    let segments = condition.between(specimen, keeper, tank, from, to).into_iter();
                    let of = |level| position(level, condition.levels.len());
                    let levels = |level| with(&piece.2, of(level));
                    segments.map(|part| (part.start, part.stop, levels(part.level), 0)).collect()
                });
            }
            if let Some((feeding, water)) = &fed_by_water {
                for steps in [Some(water.steps(tank)), other_water.as_ref().map(|water| water.steps(tank))] {
                    let Some(steps) = steps else { continue };
                    pieces = cut(pieces, |piece, from, to| {
                        let fed = feeding.between(specimen, keeper, tank, from, to).into_iter();
                        let parts = fed.flat_map(|fed| {
                            let within = steps.between(fed.start, fed.stop).into_iter();
                            within.map(move |part| (part.start, part.stop, Cell::of(fed.level, part.level)))
                        });
                        parts.map(|(start, stop, cell)| (start, stop, with(&piece.2, usize::from(cell)), 0)).collect()
                    });
                }
            } else if let Some(other) = &other_water {
                pieces = cut(pieces, |piece, from, to| {
                    let parts = other.steps(tank).between(from, to).into_iter();
                    let level = |level| position(level, WATER_LEVELS);
                    parts.map(|part| (part.start, part.stop, with(&piece.2, level(part.level)), 0)).collect()
                });
            }
            if let Some(water) = water {
                pieces = cut(pieces, |piece, from, to| {
                    let mark =
                        |level: Level| level.map_or(NOT_KNOWN, |level| if level == given::HELD { HELD } else { 0 });
                    let segments = water.steps(tank).between(from, to).into_iter();
                    segments.map(|part| (part.start, part.stop, piece.2.clone(), mark(part.level))).collect()
                });
            }
            for (start, stop, levels, marks) in pieces {
                let marks = marks | if other { AT_RISK } else { 0 };
                let cause = end.filter(|_| stop == to);
                let entry = Entry { specimen, keeper, tank, days: stop - start, marks, ended: cause.is_some() };
                cells.add(Vec::new(), year, entry);
                if let Some(cause) = cause {
                    ends.push(Ended {
                        entry,
                        year,
                        cause,
                        #[cfg(test)]
                        levels: levels.clone(),
                    });
                }
                divided.add(levels.clone(), year, entry);
                aged.push(Aged { levels, year, entry, from: start - day0, to: stop - day0 });
            }
        }
        let keeps_empty = factor.is_none() && !matches!(by, By::Identification | By::Form);
        let mut splits: Vec<Split> =
            conditions.iter().map(|one| Split { known: one.levels.len(), keeps_empty }).collect();
        let fed = fed_by_water.as_ref().map(|_| splits.len());
        let fixed = fed.or(factor.map(|_| 0));
        if let Some((_, water)) = &fed_by_water {
            let keys = [Some(&water.key), other_water.as_ref().map(|water| &water.key)];
            for key in keys.into_iter().flatten() {
                splits.push(Split { known: Cell::all().count(), keeps_empty: false });
                cuts.splits.push(format!("fed, {key}"));
            }
        } else if let Some(other) = &other_water {
            splits.push(Split { known: WATER_LEVELS, keeps_empty: false });
            cuts.splits.push(format!("{WATER}{}", other.key));
        }
        let finest = (!undivided).then_some(0);
        let names = conditions.into_iter().next().map_or_else(Vec::new, |finest| finest.levels);
        let nodes = nodes.iter().cloned().collect();
        let narrower = self.narrower.clone();
        let ground = Ground { undivided: cells, divided, splits, finest, fixed, taught, nodes, narrower };
        let everyone = everyone.clone();
        let (levels_stand, follow_up) = (factor.is_some(), FollowUp::default());
        Ok(Records { levels_stand, ground, first_year, unknown_year, names, cuts, ends, aged, follow_up, everyone })
    }
}

impl Records {
    /// Every record on survival of the widest taxon that answers about this population are tied to, by the cells of a
    /// split: time at risk of death, and of the outcome asked.
    pub(in crate::answer) fn new(
        club: &Club,
        population: &Population,
        by: By,
        given: Option<Given>,
        outcome: Outcome,
    ) -> Result<Records, Refusal> {
        let at_risk = TimeAtRisk::new(club, population, outcome)?;
        let records = at_risk.by(Divided::By(by), given)?;
        Ok(Records { follow_up: at_risk.follow_up, ..records })
    }

    /// The same from any spans of the widest of these taxa.
    pub(in crate::answer) fn of_spans(
        club: &Club,
        population: &Population,
        nodes: Vec<Node>,
        by: By,
        spans: Vec<Span>,
    ) -> Result<Records, Refusal> {
        let everyone = everyone(club, population, &nodes);
        let (taxon, follow_up, water) = (population.taxon, FollowUp::default(), OnceLock::new());
        // Nothing ends this time: what answers on narrower taxa say of ends bounds nothing.
        let narrower = Arc::new([]);
        let at_risk = TimeAtRisk { club, taxon, nodes, narrower, everyone, spans, follow_up, water, other_bands: None };
        at_risk.by(Divided::By(by), None)
    }

    /// The position of the first year asked; `None` = nothing was bought since.
    pub(in crate::answer) fn since(&self, since: Option<i32>) -> Option<usize> {
        let from = since.map_or(0, |year| i64::from(year) - i64::from(self.first_year)).max(0) as usize;
        (from < self.ground.undivided.years()).then_some(from)
    }

    /// Everything bought from this position on.
    pub(in crate::answer) fn years_from(&self, from: usize) -> Block {
        Block { split: None, levels: Vec::new(), years: from..self.ground.undivided.years() }
    }

    /// The rows of the partition as positions in the finest or taught levels, unknown last, as far as asked; `None` =
    /// suppressed.
    pub(in crate::answer) fn partition(&self, question: &Question, audience: Audience) -> Option<Partition> {
        self.partition_in(&mut Plan::new(&self.ground), question, audience)
    }

    /// The same from a plan of these records.
    pub(super) fn partition_in(&self, plan: &mut Plan, question: &Question, audience: Audience) -> Option<Partition> {
        let from = self.since(question.since)?;
        let partition = plan.partition(self.division(question), layer_of(question), audience)?;
        #[cfg(test)]
        if crate::disclosure::plan::switches::is_off(crate::disclosure::plan::switches::Rule::Years) {
            return Some(partition);
        }
        partition.is_cut_at(from).then_some(partition)
    }

    /// How answers to a question are divided.
    pub(super) fn division(&self, question: &Question) -> Division {
        let taught = self.ground.taught.last().copied().flatten().is_some();
        match split_of(question.by) {
            _ if self.levels_stand => Division::Fixed,
            By::None | By::Year => Division::Years,
            by if by != question.by || question.edges.is_some() || !taught => Division::Finest,
            _ => Division::Taught,
        }
    }

    /// The ground of the time at some ages alone.
    pub(super) fn at_ages(&self, ages: Ages) -> Ground {
        let years = self.ground.undivided.years();
        let (mut undivided, mut divided) = (Cells::new(years), Cells::new(years));
        for Aged { levels, year, entry, from, to } in &self.aged {
            let Some(days) = ages.days(*from, *to) else { continue };
            let entry = Entry { days, ..*entry };
            undivided.add(Vec::new(), *year, entry);
            divided.add(levels.clone(), *year, entry);
        }
        self.ground.with(undivided, divided)
    }

    /// Whether these levels are a union of whole rows, where levels without any time are part of no row.
    pub(in crate::answer) fn is_union(&self, partition: &Partition, levels: &[usize]) -> bool {
        let (Some(split), Some(own)) = (partition.split, self.own()) else { return false };
        let present = self.ground.divided.levels_of(split, |entry| own.holds(entry));
        partition.rows.iter().all(|row| {
            let there = || row.levels.iter().filter(|level| present.contains(level));
            let inside = there().filter(|level| levels.contains(level)).count();
            inside == 0 || inside == there().count()
        })
    }

    /// The taxon's own entries by the name of their cell: names stay what they are when words or years are added.
    pub(super) fn own_cells(&self) -> BTreeMap<String, Vec<&Entry>> {
        let Some(own) = self.own() else { return BTreeMap::new() };
        let mut by_place: BTreeMap<(&[usize], usize, u32), Vec<&Entry>> = BTreeMap::new();
        for (levels, year, entry) in self.cells_of().each().filter(|(_, _, entry)| own.holds(entry)) {
            by_place.entry((levels, year, entry.marks)).or_default().push(entry);
        }
        let mut named: BTreeMap<String, Vec<&Entry>> = BTreeMap::new();
        for ((levels, year, marks), entries) in by_place {
            named.entry(self.cell(levels, year, marks)).or_default().extend(entries);
        }
        named
    }

    fn cells_of(&self) -> &Cells {
        // Undivided answers are told apart too where another release's bands cut the time.
        let divided = self.ground.finest.is_some() || self.cuts.others;
        if divided { &self.ground.divided } else { &self.ground.undivided }
    }

    /// The bands that cells are cut by.
    pub(super) fn cut_by(&self) -> BTreeSet<String> {
        let water = self.cuts.water.iter().map(|key| format!("{WATER}{key}"));
        self.cuts.splits.iter().filter(|key| !key.is_empty()).cloned().chain(water).collect()
    }

    fn cell(&self, levels: &[usize], year: usize, marks: u32) -> String {
        let year = if self.unknown_year == Some(year) { None } else { Some(self.first_year + year as i32) };
        let name = |split: usize, level: usize| match self.names.get(level) {
            _ if Some(split) != self.ground.finest => level.to_string(),
            Some(name) => name.code.clone(),
            None => "unknown".to_owned(),
        };
        let levels = levels.iter().copied().enumerate();
        if !self.cuts.others {
            let names: Vec<String> = levels.map(|(split, level)| name(split, level)).collect();
            return format!("{}|{year:?}|{marks}", names.join("|"));
        }
        // By bands, not by their places in the list: those of the one release stand elsewhere in the other's.
        let keyed = levels.map(|(split, level)| match self.cuts.splits.get(split).map_or("", String::as_str) {
            "" if !self.levels_stand => name(split, level),
            key => format!("{key}={level}"),
        });
        let water = self.cuts.water.iter().map(|key| format!("{WATER}{key}={}", WATER_OF_MARKS[(marks & 3) as usize]));
        let mut named: Vec<String> = keyed.chain(water).collect();
        named.sort();
        format!("{}|{year:?}|{}", named.join("|"), marks & AT_RISK)
    }

    /// Every cell with time in it.
    fn named_cells(&self) -> Vec<NamedCell> {
        let places: BTreeSet<(&[usize], usize, u32)> =
            self.cells_of().each().map(|(levels, year, entry)| (levels, year, entry.marks)).collect();
        let named = places.into_iter().map(|(levels, year, marks)| NamedCell {
            levels: levels.to_vec(),
            year,
            marks,
            name: self.cell(levels, year, marks),
        });
        named.collect()
    }

    /// The cells of each block of the answers to each of these questions, for each of these readers; none where they are
    /// suppressed.
    pub(super) fn blocks_by_cell(&self, questions: &[Question], readers: &[Audience]) -> Vec<Vec<BTreeSet<String>>> {
        let cells = self.named_cells();
        let mut plan = Plan::new(&self.ground);
        let of_reader = readers.iter().map(|audience| {
            let mut blocks = Vec::new();
            for question in questions {
                let Some(partition) = self.partition_in(&mut plan, question, *audience) else { continue };
                let layer = layer_of(question);
                blocks.extend(partition.blocks().map(|block| {
                    let lies = |cell: &&NamedCell| {
                        let level = block.split.and_then(|split| cell.levels.get(split));
                        block.years.contains(&cell.year)
                            && plan::is_kept(layer, cell.marks)
                            && (block.split.is_none() || level.is_some_and(|level| block.levels.contains(level)))
                    };
                    cells.iter().filter(lies).map(|cell| cell.name.clone()).collect()
                }));
            }
            blocks
        });
        of_reader.collect()
    }

    /// The level of this code.
    pub(in crate::answer) fn level(&self, code: &str) -> Option<usize> {
        self.names.iter().position(|name| name.code == code)
    }

    /// Whether the table whose levels are never joined may be shown as asked.
    pub(super) fn fixed_stands(&self, question: &Question, audience: Audience) -> bool {
        let layer = layer_of(question);
        let partition = Plan::new(&self.ground).partition(Division::Fixed, layer, audience);
        partition.zip(self.since(question.since)).is_some_and(|(partition, from)| partition.is_cut_at(from))
    }

    pub(super) fn own(&self) -> Option<&Node> {
        self.ground.nodes.last()
    }
}

/// The layer of answers to a question.
pub(super) fn layer_of(question: &Question) -> usize {
    plan::layer(question.given.is_some(), question.outcome.needs_looks())
}

/// Adds the time at risk of an outcome.
fn add_spans(spans: &mut Vec<Span>, club: &Club, whole: &Condition, of: &FollowUp) -> Result<(), Refusal> {
    let frame = Frame { club, follow_up: of, condition: whole, given: None };
    let (rows, _) = frame.middle().map_err(unusable)?;
    for row in 0..rows.len() {
        let Some(follow) = of.follows.get(rows.specimen[row] as usize) else { continue };
        spans.push(Span {
            specimen: follow.specimen,
            keeper: rows.keeper[row],
            tank: rows.tank[row],
            from: follow.day0 + rows.episodes.start[row],
            to: follow.day0 + rows.episodes.stop[row],
            day0: follow.day0,
            end: (rows.cause[row] > 0).then_some(rows.cause[row]),
            other: of.outcome.needs_looks(),
        });
    }
    Ok(())
}

/// Every specimen of the widest of these taxa.
fn everyone(club: &Club, population: &Population, nodes: &[Node]) -> Population {
    Population::of(club, nodes.first().map_or(population.taxon, |node| node.taxon), None)
}

/// The list of what the water had to be, in names of cells.
const WATER: &str = "water, ";
/// Levels of water within its bands: not, and held; the next is unknown.
const WATER_LEVELS: usize = 2;
/// Those levels, unknown included, by the marks [`HELD`] and [`NOT_KNOWN`].
const WATER_OF_MARKS: [usize; 4] = [given::FAILED as usize, given::HELD as usize, WATER_LEVELS, WATER_LEVELS];

/// Levels with one more.
fn with(levels: &[usize], level: usize) -> Vec<usize> {
    levels.iter().copied().chain([level]).collect()
}

type Piece = (f64, f64, Vec<usize>, u32);

fn cut(pieces: Vec<Piece>, parts: impl Fn(&Piece, f64, f64) -> Vec<Piece>) -> Vec<Piece> {
    pieces.iter().flat_map(|piece| parts(piece, piece.0, piece.1)).collect()
}
