//! What a restricted audience may see of an answer on survival: levels as unions of blocks, or nothing.
//!
//! The blocks are made from all records of the taxon and of the wider taxa its answers are tied to, whatever the year,
//! the edges and the condition asked, so that no two answers differ by less than a block.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use super::attempt::Attempt;
use super::frame::{Framed, Levels, tanks, unusable};
use crate::answer::{Audience, By, Given, Outcome, Question};
use crate::club::{Club, TankId};
use crate::comparison::interaction::FED_FROM;
use crate::comparison::{Cell, Frame};
use crate::disclosure::cells::{Cells, Entry, tally};
use crate::disclosure::partition::Partition;
use crate::disclosure::plan::{self, AT_RISK, Division, Ground, HELD, NOT_KNOWN, Plan, Split};
use crate::disclosure::tree::{Node, chain, counted_once};
use crate::disclosure::{block_minimum, passes, suppressed};
use crate::exposure::condition::{finest, finest_edges};
use crate::exposure::given::{self, WaterInBand};
use crate::exposure::{Band, Condition, Level, LevelName, Rules};
use crate::follow_up::population::acquired_year;
use crate::follow_up::{FollowUp, Population, Run, follow_up, follow_up_for};
use crate::refusal::{Refusal, RefusalCode};
use crate::vocabulary::{ParameterCode, TaxonSlug};

/// What of an answer is shown.
pub(super) struct Shown {
    /// The levels as printed.
    pub(super) levels: Levels,
    /// Whether those left out are counted by reason.
    pub(super) left_out: bool,
    /// Whether the table of feeding by water is.
    pub(super) fed_by_water: bool,
    /// Whether the days left out by the condition that had to hold are told apart.
    pub(super) given_days: bool,
    /// Keepers with deaths by cause, for each set that could be found by subtraction from another answer.
    pub(super) deaths_beside: Vec<BTreeMap<u32, BTreeSet<u32>>>,
}

/// A stretch of calendar time of one specimen in one tank, as answers are made from.
pub(in crate::answer) struct Span {
    pub(in crate::answer) specimen: u32,
    pub(in crate::answer) keeper: u32,
    pub(in crate::answer) tank: Option<TankId>,
    pub(in crate::answer) from: f64,
    pub(in crate::answer) to: f64,
    /// Number of what ended it; `None` = nothing did.
    pub(in crate::answer) end: Option<u32>,
    /// It is time at risk of another outcome than death.
    pub(in crate::answer) other: bool,
}

/// How a specimen ended, and what it counts for.
pub(super) struct Ended {
    pub(super) entry: Entry,
    year: usize,
    pub(super) cause: u32,
}

/// A cell: its levels, its year of purchase, and what its time counts for.
struct NamedCell {
    levels: Vec<usize>,
    year: usize,
    marks: u32,
    name: String,
}

/// The records that blocks are made from.
pub(in crate::answer) struct Records {
    ground: Ground,
    /// The year of position 0.
    first_year: i32,
    /// The position after all years, of what was bought in no known year.
    unknown_year: Option<usize>,
    /// Levels of the finest split.
    names: Vec<LevelName>,
    pub(super) ends: Vec<Ended>,
    follow_up: FollowUp,
    everyone: Population,
}

/// The question by whose levels rows are cut: for a restricted audience edges are unions of finest levels, so that a
/// value between two of them is unknown for every answer.
pub(super) fn framed_by(question: &Question, audience: Audience) -> Question {
    if block_minimum(audience).is_none() || question.edges.is_none() {
        return question.clone();
    }
    Question { edges: finest_edges(question.by), ..question.clone() }
}

/// Light is a parameter too: both are asked of the same cells.
pub(super) fn split_of(by: By) -> By {
    match by {
        By::Light => ParameterCode::parse("par").map_or(by, By::Parameter),
        by => by,
    }
}

fn invalid(fault: impl std::fmt::Display) -> Refusal {
    Refusal::plain(RefusalCode::InvalidInput, format!("{fault}."))
}

/// The position of a level among its split's; unknown is the one after the known.
fn position(level: Option<u16>, known: usize) -> usize {
    level.map_or(known, usize::from).min(known)
}

/// The time at risk in the widest taxon that answers about a population are tied to, cut once for every split.
pub(super) struct TimeAtRisk<'a> {
    club: &'a Club,
    taxon: TaxonSlug,
    nodes: Vec<Node>,
    everyone: Population,
    spans: Vec<Span>,
    follow_up: FollowUp,
    water: OnceLock<WaterInBand>,
}

impl<'a> TimeAtRisk<'a> {
    /// Time at risk of death, and of the outcome asked.
    pub(super) fn new(club: &'a Club, population: &Population, outcome: Outcome) -> Result<TimeAtRisk<'a>, Refusal> {
        let nodes = chain(club, population);
        let everyone = everyone(club, population, &nodes);
        let whole = Condition::new(club, &everyone, By::None, None, Rules::of(Run::Main)).map_err(invalid)?;
        let mut spans = Vec::new();
        let follow_up = follow_up(club, &everyone, Run::Main);
        add_spans(&mut spans, club, &whole, &follow_up)?;
        if outcome.needs_looks() {
            add_spans(&mut spans, club, &whole, &follow_up_for(club, &everyone, outcome, Run::Main))?;
        }
        Ok(TimeAtRisk { club, taxon: population.taxon, nodes, everyone, spans, follow_up, water: OnceLock::new() })
    }

    /// Whether the water was within its bands, by tank.
    fn water(&self) -> &WaterInBand {
        let rules = Rules::of(Run::Main);
        self.water.get_or_init(|| WaterInBand::new(self.club, self.taxon, &tanks(self.club, &self.everyone), rules))
    }

    /// The records by the cells of a split.
    pub(super) fn by(&self, by: By, given: Option<Given>) -> Result<Records, Refusal> {
        let TimeAtRisk { club, taxon, nodes, everyone, spans, .. } = self;
        let rules = Rules::of(Run::Main);
        let by = split_of(by);
        let condition = |taxon, edges: Option<&[f64]>| {
            let members = Population { taxon, ..everyone.clone() };
            Condition::new(club, &members, by, edges, rules).map_err(invalid)
        };
        let undivided = matches!(by, By::None | By::Year);
        let mut conditions: Vec<Condition> = Vec::new();
        let mut taught = vec![None; nodes.len()];
        if !undivided {
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
        let water = given.map(|given| match given {
            Given::WaterInBand => self.water(),
        });
        let is_feeding = By::parse(by.as_str()) == Some(By::Feeding);
        let fed_by_water = match given {
            None if is_feeding => {
                let fed = Condition::new(club, everyone, By::Feeding, Some(&[FED_FROM]), rules).map_err(invalid)?;
                Some((fed, self.water()))
            }
            _ => None,
        };
        let year = |id: u32| club.specimens.get(id as usize).and_then(|of| of.acquired).map(acquired_year);
        let years: BTreeSet<i32> = spans.iter().filter_map(|span| year(span.specimen)).collect();
        let first_year = years.first().copied().unwrap_or_default();
        let known = years.last().map_or(0, |last| (last - first_year) as usize + 1);
        // What was bought in no known year is in every answer: it comes after all years.
        let unknown_year = spans.iter().any(|span| year(span.specimen).is_none()).then_some(known);
        let count = known + usize::from(unknown_year.is_some());
        let (mut cells, mut divided) = (Cells::new(count), Cells::new(count));
        let mut ends = Vec::new();
        for &Span { specimen, keeper, tank, from, to, end, other } in spans {
            let Some(year) = year(specimen).map_or(unknown_year, |year| Some((year - first_year) as usize)) else {
                continue;
            };
            // Stretches of the span with one level of each split and one answer to the condition that had to hold.
            let mut pieces: Vec<Piece> = vec![(from, to, Vec::new(), 0)];
            for condition in &conditions {
                pieces = cut(pieces, |piece, from, to| {
                    let segments = condition.between(specimen, keeper, tank, from, to).into_iter();
                    let of = |level| position(level, condition.levels.len());
                    let levels = |level| piece.2.iter().copied().chain([of(level)]).collect();
                    segments.map(|part| (part.start, part.stop, levels(part.level), 0)).collect()
                });
            }
            if let Some((feeding, water)) = &fed_by_water {
                pieces = cut(pieces, |piece, from, to| {
                    let mut parts = Vec::new();
                    for fed in feeding.between(specimen, keeper, tank, from, to) {
                        for part in water.steps(tank).between(fed.start, fed.stop) {
                            let cell = usize::from(Cell::of(fed.level, part.level));
                            let levels = piece.2.iter().copied().chain([cell]).collect();
                            parts.push((part.start, part.stop, levels, 0));
                        }
                    }
                    parts
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
                let entry = Entry { specimen, keeper, tank, days: stop - start, marks };
                cells.add(Vec::new(), year, entry);
                if let Some(cause) = end.filter(|_| stop == to) {
                    ends.push(Ended { entry, year, cause });
                }
                divided.add(levels, year, entry);
            }
        }
        let keeps_empty = !matches!(by, By::Identification | By::Form);
        let mut splits: Vec<Split> =
            conditions.iter().map(|one| Split { known: one.levels.len(), keeps_empty }).collect();
        let fixed = fed_by_water.as_ref().map(|_| splits.len());
        splits.extend(fixed.map(|_| Split { known: Cell::all().count(), keeps_empty: false }));
        let finest = (!undivided).then_some(0);
        let names = conditions.into_iter().next().map_or_else(Vec::new, |finest| finest.levels);
        let nodes = nodes.clone();
        let ground = Ground { undivided: cells, divided, splits, finest, fixed, taught, nodes };
        let everyone = everyone.clone();
        Ok(Records { ground, first_year, unknown_year, names, ends, follow_up: FollowUp::default(), everyone })
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
        let records = at_risk.by(by, given)?;
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
        TimeAtRisk { club, taxon, nodes, everyone, spans, follow_up, water }.by(by, None)
    }

    /// The position of the first year asked; `None` = nothing was bought since.
    fn since(&self, since: Option<i32>) -> Option<usize> {
        let from = since.map_or(0, |year| i64::from(year) - i64::from(self.first_year)).max(0) as usize;
        (from < self.ground.undivided.years()).then_some(from)
    }

    /// The rows of the partition as positions in the finest or taught levels, unknown last, as far as asked; `None` =
    /// suppressed.
    pub(in crate::answer) fn partition(&self, question: &Question, audience: Audience) -> Option<Partition> {
        self.partition_in(&mut Plan::new(&self.ground), question, audience)
    }

    /// The same from a plan of these records.
    fn partition_in(&self, plan: &mut Plan, question: &Question, audience: Audience) -> Option<Partition> {
        let from = self.since(question.since)?;
        let layer = plan::layer(question.given.is_some(), question.outcome.needs_looks());
        let taught = self.ground.taught.last().copied().flatten().is_some();
        let division = match split_of(question.by) {
            By::None | By::Year => Division::Years,
            by if by != question.by || question.edges.is_some() || !taught => Division::Finest,
            _ => Division::Taught,
        };
        let partition = plan.partition(division, layer, audience)?;
        #[cfg(test)]
        if crate::disclosure::plan::switches::is_off(crate::disclosure::plan::switches::Rule::Years) {
            return Some(partition);
        }
        partition.is_cut_at(from).then_some(partition)
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
        if self.ground.finest.is_some() { &self.ground.divided } else { &self.ground.undivided }
    }

    fn cell(&self, levels: &[usize], year: usize, marks: u32) -> String {
        let year = if self.unknown_year == Some(year) { None } else { Some(self.first_year + year as i32) };
        let names = levels.iter().enumerate().map(|(split, level)| match self.names.get(*level) {
            Some(name) if split == 0 => name.code.clone(),
            _ if split == 0 => "unknown".to_owned(),
            _ => level.to_string(),
        });
        format!("{}|{year:?}|{marks}", names.collect::<Vec<_>>().join("|"))
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
                let layer = plan::layer(question.given.is_some(), question.outcome.needs_looks());
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
    fn fixed_stands(&self, question: &Question, audience: Audience) -> bool {
        let layer = plan::layer(question.given.is_some(), question.outcome.needs_looks());
        let partition = Plan::new(&self.ground).partition(Division::Fixed, layer, audience);
        partition.zip(self.since(question.since)).is_some_and(|(partition, from)| partition.is_cut_at(from))
    }

    fn own(&self) -> Option<&Node> {
        self.ground.nodes.last()
    }
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

type Piece = (f64, f64, Vec<usize>, u32);

fn cut(pieces: Vec<Piece>, parts: impl Fn(&Piece, f64, f64) -> Vec<Piece>) -> Vec<Piece> {
    pieces.iter().flat_map(|piece| parts(piece, piece.0, piece.1)).collect()
}

/// The levels of a restricted answer from its partition; `None` = suppressed.
///
/// `known` are the levels that rows are cut by; `asked`, those of edges.
pub(in crate::answer) fn blocks(
    records: &Records,
    partition: &Partition,
    question: &Question,
    known: &[LevelName],
    asked: Option<&[LevelName]>,
) -> Option<Vec<(Vec<usize>, Option<LevelName>)>> {
    let from = records.since(question.since)?;
    if question.by == By::None {
        return Some(vec![(vec![0], None)]);
    }
    if question.by == By::Year {
        let years = &partition.rows.first()?.years;
        let blocks = years.iter().filter(|block| block.start >= from).filter_map(|block| {
            let lies_inside = |name: &LevelName| {
                let year = name.code.parse::<i32>().ok().and_then(|year| year.checked_sub(records.first_year));
                year.and_then(|year| usize::try_from(year).ok()).is_some_and(|year| block.contains(&year))
            };
            let mut levels: Vec<usize> = (0..known.len()).filter(|&level| lies_inside(&known[level])).collect();
            let mut names: Vec<LevelName> = levels.first().zip(levels.last()).map_or_else(Vec::new, |(first, last)| {
                let (first, last) = (&known[*first], &known[*last]);
                vec![if first == last { first.clone() } else { LevelName::years(&first.code, &last.code) }]
            });
            if records.unknown_year.is_some_and(|year| block.contains(&year)) {
                levels.push(known.len());
                names.push(LevelName::unknown());
            }
            let name = match names.as_slice() {
                [] => return None,
                [_] if levels.len() == 1 => None,
                [years] => Some(years.clone()),
                several => Some(LevelName::joined(several)),
            };
            Some((levels, name))
        });
        let blocks: Vec<_> = blocks.collect();
        let one_of_several = blocks.len() < 2 && blocks.iter().any(|(_, name)| name.is_some());
        return (!one_of_several).then_some(blocks);
    }
    let unknown = known.len();
    let rows: Vec<Vec<usize>> = match question.by {
        // The words of the widest taxon, of which this one has some.
        By::Identification | By::Form => {
            let place = |level: usize| match records.names.get(level) {
                Some(name) => known.iter().position(|own| own.code == name.code),
                None => Some(unknown),
            };
            partition.rows.iter().map(|row| row.levels.iter().filter_map(|&level| place(level)).collect()).collect()
        }
        _ => partition.rows.iter().map(|row| row.levels.clone()).collect(),
    };
    let rows: Vec<Vec<usize>> = rows.into_iter().filter(|row| !row.is_empty()).collect();
    let Some(asked) = asked else {
        let one_of_several = rows.len() < 2 && rows.iter().flatten().count() > 1;
        return (!one_of_several).then(|| rows.into_iter().map(|row| (row, None)).collect());
    };
    let cuts = finest(question.by);
    let edges = question.edges.as_deref().unwrap_or_default();
    let place = |level: usize| match level.checked_sub(1) {
        None => 0,
        Some(below) => edges.iter().filter(|edge| cuts.get(below).is_some_and(|cut| *edge <= cut)).count(),
    };
    let mut blocks = Vec::new();
    for (number, name) in asked.iter().enumerate() {
        let levels: Vec<usize> = (0..unknown).filter(|&level| place(level) == number).collect();
        if !partition.holds(&levels) {
            return None;
        }
        blocks.push((levels, Some(name.clone())));
    }
    blocks.extend(rows.into_iter().filter(|row| row.as_slice() == [unknown]).map(|row| (row, None)));
    Some(blocks)
}

impl Attempt<'_> {
    /// What may be shown of the answer: nothing that is no union of blocks, so that no part of it can be found by
    /// taking it from another answer.
    ///
    /// # Errors
    /// `Suppressed`.
    pub(super) fn may_be_shown(&self, framed: &Framed, unknown_has_rows: bool) -> Result<Shown, Refusal> {
        let known = framed.condition.levels.len();
        if block_minimum(self.audience).is_none() {
            let mut singles: Vec<Vec<usize>> = (0..known).map(|level| vec![level]).collect();
            singles.extend(unknown_has_rows.then(|| vec![known]));
            let levels = Levels::new(&framed.condition, &singles);
            return Ok(Shown {
                levels,
                left_out: true,
                fed_by_water: true,
                given_days: true,
                deaths_beside: Vec::new(),
            });
        }
        let refused = || suppressed(self.audience);
        let records = Records::new(self.club, self.population, self.asked.by, self.asked.given, self.asked.outcome)?;
        let partition = records.partition(self.asked, self.audience).ok_or_else(refused)?;
        let asked = match &self.asked.edges {
            Some(edges) => Some(
                Condition::new(self.club, self.population, self.asked.by, Some(edges), Rules::of(Run::Main))
                    .map_err(invalid)?
                    .levels,
            ),
            None => None,
        };
        let blocks =
            blocks(&records, &partition, self.asked, &framed.condition.levels, asked.as_deref()).ok_or_else(refused)?;
        let (levels, names): (Vec<Vec<usize>>, Vec<Option<LevelName>>) = blocks.into_iter().unzip();
        let plain = Levels::new(&framed.condition, &levels);
        let known_names = levels.iter().zip(names).filter(|(levels, _)| levels.as_slice() != [known]);
        let names = plain.names.iter().zip(known_names).map(|(plain, (_, name))| name.unwrap_or_else(|| plain.clone()));
        let names = names.collect();
        let levels = plain.named(names);
        let tallies = levels.tallies(&levels.apply(&framed.sets).middle)?;
        // What is printed is counted again from the rows of the answer itself.
        let fails = |tally: &crate::evidence::Tally| tally.specimens > 0 && !passes(tally, self.audience);
        if tallies.iter().all(|tally| tally.specimens == 0) || tallies.iter().any(fails) {
            return Err(refused());
        }
        Ok(Shown {
            levels,
            left_out: !self.asked.outcome.needs_looks() && self.left_out_passes(&records),
            fed_by_water: records.fixed_stands(self.asked, self.audience),
            given_days: self.given_days_pass(&records),
            deaths_beside: self.deaths_beside(&records),
        })
    }

    /// Whether each group of corals left out, and what wider taxa have of it beyond these, passes or is none.
    fn left_out_passes(&self, records: &Records) -> bool {
        if self.asked.since.is_some() {
            return false;
        }
        let followed: BTreeSet<u32> = records.follow_up.follows.iter().map(|follow| follow.specimen).collect();
        let mut by_reason: BTreeMap<Vec<u64>, Vec<u32>> = BTreeMap::new();
        for &id in records.everyone.members.iter().filter(|id| !followed.contains(id)) {
            let alone = Population { members: vec![id], ..records.everyone.clone() };
            let out = follow_up(self.club, &alone, Run::Main).left_out;
            let reason = [
                out.acquired_unknown,
                out.held,
                out.losses_not_listed,
                out.ended_before_entry,
                out.arrived_dead,
                out.no_follow_up,
            ];
            by_reason.entry(reason.to_vec()).or_default().push(id);
        }
        let Some(own) = records.own() else { return false };
        by_reason.into_values().all(|ids| {
            let entries = counted_once(self.club, ids.into_iter());
            let or_none = |is: &dyn Fn(&Entry) -> bool| {
                let tally = tally(entries.iter().filter(|entry| is(entry)));
                tally.specimens == 0 || passes(&tally, self.audience)
            };
            or_none(&|entry| own.holds(entry))
                && records.ground.nodes.iter().all(|wider| or_none(&|entry| wider.holds(entry) && !own.holds(entry)))
        })
    }

    /// Whether the days outside and the unknown days of the condition that had to hold each pass or are none.
    fn given_days_pass(&self, records: &Records) -> bool {
        let (Some(own), Some(from)) = (records.own(), records.since(self.asked.since)) else { return false };
        let cells = &records.ground.undivided;
        let years =
            |from| crate::disclosure::cells::Block { split: None, levels: Vec::new(), years: from..cells.years() };
        let at_risk = if self.asked.outcome.needs_looks() { AT_RISK } else { 0 };
        [at_risk, at_risk | NOT_KNOWN].into_iter().all(|mark| {
            let (block, whole) = (years(from), years(0));
            [[&block], [&whole]].iter().all(|blocks| {
                let entries = cells.within(blocks).filter(|entry| own.holds(entry) && entry.marks == mark);
                let left = tally(entries);
                left.specimens == 0 || passes(&left, self.audience)
            })
        })
    }

    /// Keepers with deaths by cause in what is left of wider answers: of all years, of all days, of wider taxa.
    fn deaths_beside(&self, records: &Records) -> Vec<BTreeMap<u32, BTreeSet<u32>>> {
        let (Some(own), Some(from)) = (records.own(), records.since(self.asked.since)) else { return Vec::new() };
        let kept = |death: &Ended| self.asked.given.is_none() || death.entry.marks & HELD != 0;
        let other = self.asked.outcome.needs_looks();
        let keepers = |is: &dyn Fn(&Ended) -> bool| {
            let mut by_cause: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
            let of_outcome = |death: &&Ended| (death.entry.marks & AT_RISK != 0) == other && is(death);
            for death in records.ends.iter().filter(of_outcome) {
                by_cause.entry(death.cause).or_default().insert(death.entry.keeper);
            }
            by_cause
        };
        let mut beside = Vec::new();
        if self.asked.since.is_some() {
            let layer = plan::layer(self.asked.given.is_some(), other);
            let eras = Plan::new(&records.ground).partition(Division::Years, layer, self.audience);
            beside.extend(eras.iter().flat_map(Partition::blocks).map(|block| {
                keepers(&|death| own.holds(&death.entry) && kept(death) && block.years.contains(&death.year))
            }));
        }
        if self.asked.given.is_some() {
            beside.push(keepers(&|death| own.holds(&death.entry) && death.year >= from && !kept(death)));
        }
        beside.extend(records.ground.nodes.iter().map(|wider| {
            let left = |entry: &Entry| wider.holds(entry) && !own.holds(entry);
            keepers(&|death| left(&death.entry) && kept(death) && death.year >= from)
        }));
        beside
    }
}

#[cfg(test)]
mod tests;
