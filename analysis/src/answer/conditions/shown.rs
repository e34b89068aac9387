//! Whether a restricted audience sees a line.
//!
//! Time under the level, under its reference, under neither and at an unknown condition are cells of one table: each
//! passes as a block or is empty, for the taxon and for what every wider taxon has beyond it. Where answers on survival
//! are split by the same condition, the two levels are unions of their blocks besides; where none is, the condition has
//! blocks of its own, whose levels are never joined. So no part can be found by taking one answer from another, nor by
//! asking since one year and since the next. What a release withholds, as one or two members changed it, is not shown.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::line::{Cut, Making};
use crate::answer::question::{By, Question};
use crate::answer::survival::records::{Divided, Records, TimeAtRisk};
use crate::club::Club;
use crate::comparison::{Frame, Rows};
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::partition::Partition;
use crate::disclosure::{block_minimum, passes, suppressed, tree};
use crate::evidence::Tally;
use crate::exposure::condition::{finest, finest_edges, ladder};
use crate::exposure::{ABOVE_BAND, BELOW_BAND, Band, Condition, Factor, Rules, WITHIN_BAND};
use crate::follow_up::decline::follow_up_for;
use crate::follow_up::{FollowUp, Population, Run};
use crate::refusal::Refusal;
use crate::vocabulary::{Origin, ParameterCode, TaxonSlug, catalogue};

/// Whether the line may be shown.
pub(in crate::answer) fn may_be_shown(making: &Making, factor: Factor, cut: &Cut) -> bool {
    if block_minimum(making.audience).is_none() {
        return true;
    }
    if !making.club.stands.has(&making.population.subject(), &line_code(factor)) {
        return false;
    }
    let own = entries(&making.follow_up, &cut.sets.middle);
    let pass = |entries: &[(u16, Entry)]| cells(entries).all(|tally| passes(&tally, making.audience));
    if own.is_empty() || !pass(&own) || !has_blocks(making, factor) {
        return false;
    }
    making.ties().beyond.iter().all(|(beyond, follow_up)| {
        Condition::of_factor(making.club, beyond, factor, Rules::of(Run::Main)).is_ok_and(|condition| {
            let frame = Frame { club: making.club, follow_up, condition: &condition, given: None };
            frame.middle().is_ok_and(|(rows, _)| pass(&entries(follow_up, &rows)))
        })
    })
}

/// The conditions of a taxon by which no answer on survival is split.
pub(in crate::answer) fn of_no_split(taxon: TaxonSlug) -> impl Iterator<Item = Factor> {
    Factor::list(taxon).into_iter().filter(|factor| split(*factor).is_none())
}

/// The code of a condition's line, by which a release withholds it.
pub(in crate::answer) fn line_code(factor: Factor) -> String {
    format!("conditions/{}", factor.code())
}

/// The blocks of answers by one split, and the records they are made from.
type Blocks = Arc<(Records, Partition)>;

/// What lines of a taxon are tied to, worked out once.
pub(in crate::answer) struct Ties<'a> {
    /// The time at risk that blocks are made from; `None` = nothing that they could be made from.
    at_risk: Option<TimeAtRisk<'a>>,
    /// What each wider taxon has beyond this one, and the time it was under observation.
    beyond: Vec<(Population, FollowUp)>,
    /// Blocks of the answers on survival, by split; whether it is asked by cuts.
    blocks: Mutex<BTreeMap<(By, bool), Option<Blocks>>>,
}

impl<'a> Ties<'a> {
    pub(in crate::answer) fn new(making: &Making<'a>) -> Ties<'a> {
        let wider = making.population.taxon.ancestors().into_iter().filter(|wider| tree::is_asked(*wider));
        let beyond = wider
            .map(|wider| beyond(making.club, making.population, Population::of(making.club, wider, None)))
            .filter(|beyond| !beyond.members.is_empty())
            .map(|beyond| {
                let follow_up = follow_up_for(making.club, &beyond, making.outcome, Run::Main);
                (beyond, follow_up)
            })
            .collect();
        let at_risk = TimeAtRisk::new(making.club, making.population, making.outcome).ok();
        Ties { at_risk, beyond, blocks: Mutex::default() }
    }

    /// The blocks of a split or a condition as far as asked; `None` = suppressed.
    fn blocks(&self, making: &Making, question: &Question, divided: Divided) -> Option<Blocks> {
        let made = || {
            let records = self.at_risk.as_ref()?.by(divided, None).ok()?;
            let partition = records.partition(question, making.audience)?;
            Some(Arc::new((records, partition)))
        };
        // Several conditions are of one split; each is asked of itself once.
        let Divided::By(by) = divided else { return made() };
        let key = (by, question.edges.is_some());
        if let Some(known) = self.blocks.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return known.clone();
        }
        let made = made();
        self.blocks.lock().unwrap_or_else(PoisonError::into_inner).insert(key, made.clone());
        made
    }
}

/// What a wider taxon has beyond this population, whatever year it was bought in.
pub(in crate::answer) fn beyond(club: &Club, own: &Population, wider: Population) -> Population {
    let whole = Population::of(club, own.taxon, None);
    let inside = |id: &u32| {
        whole.members.binary_search(id).is_ok() && !(own.without.iter().any(|genus| named(club, *id, *genus)))
    };
    // The bands are those of the taxon answered.
    let members = wider.members.iter().copied().filter(|id| !inside(id)).collect();
    Population::of_members(own.taxon, members)
}

fn named(club: &Club, id: u32, taxon: crate::vocabulary::TaxonSlug) -> bool {
    let specimen = club.specimens.get(id as usize);
    specimen.and_then(crate::follow_up::population::latest_name).is_some_and(|name| name.is_within(taxon))
}

/// Time by level, unknown as a level of its own.
fn entries(follow_up: &FollowUp, rows: &Rows) -> Vec<(u16, Entry)> {
    (0..rows.len())
        .filter_map(|row| {
            let follow = follow_up.follows.get(rows.specimen[row] as usize)?;
            let entry = Entry {
                specimen: follow.specimen,
                keeper: rows.keeper[row],
                tank: rows.tank[row],
                days: rows.episodes.stop[row] - rows.episodes.start[row],
                marks: 0,
                ended: false,
            };
            Some((rows.level[row].unwrap_or(UNKNOWN), entry))
        })
        .collect()
}

const UNKNOWN: u16 = u16::MAX;

fn cells(entries: &[(u16, Entry)]) -> impl Iterator<Item = Tally> {
    let mut cells: BTreeMap<u16, Vec<Entry>> = BTreeMap::new();
    for (level, entry) in entries {
        cells.entry(*level).or_default().push(*entry);
    }
    cells.into_values().map(|entries| tally(entries.iter()))
}

/// The split of answers on survival by the same condition, with the cut that divides its two levels.
fn split(factor: Factor) -> Option<(By, Option<f64>)> {
    Some(match factor {
        Factor::Level(code) | Factor::Below(code) | Factor::Above(code) => (By::Parameter(code), None),
        Factor::FlowStill | Factor::FlowThrashing => (By::Flow, None),
        Factor::Feeding => (By::Feeding, Some(1.0)),
        Factor::Carbon => (By::Carbon, None),
        Factor::WaterChange => (By::WaterChange, Some(10.0)),
        Factor::TankAge => (By::TankAge, Some(6.0)),
        Factor::StingingCorals => (By::Neighbours, Some(1.0)),
        Factor::Origin => (By::Origin, None),
        Factor::Form(_) => (By::Form, None),
        Factor::KeeperExperience => (By::KeeperExperience, Some(2.0)),
        _ => return None,
    })
}

/// Whether the levels of the line are unions of blocks: of those of the answers on survival by the same condition, or of
/// its own.
fn has_blocks(making: &Making, factor: Factor) -> bool {
    let Some((by, edge)) = split(factor) else {
        return making.ties().blocks(making, &plain(making), Divided::Factor(factor)).is_some();
    };
    let taught = |code: ParameterCode| Band::taught(making.club, making.population.taxon, code).is_some();
    let edge = match factor {
        Factor::Level(code) if !taught(code) => {
            let cuts = ladder(By::Parameter(code));
            cuts.get(cuts.len() / 2).copied()
        }
        _ => edge,
    };
    let question = Question { by, edges: edge.map(|edge| vec![edge]), ..plain(making) };
    let Some(blocks) = making.ties().blocks(making, &question, Divided::By(by)) else { return false };
    let (records, partition) = blocks.as_ref();
    let holds = |groups: &[Vec<usize>]| groups.iter().all(|levels| records.is_union(partition, levels));
    if let Some(edge) = edge {
        return holds(&levels_between(by, &[edge]));
    }
    match factor {
        Factor::Level(_) => {
            let [below, within, above] = [BELOW_BAND, WITHIN_BAND, ABOVE_BAND].map(usize::from);
            holds(&[vec![within], vec![below, above]])
        }
        Factor::Below(_) | Factor::Above(_) | Factor::FlowStill | Factor::FlowThrashing => {
            holds(&[vec![0], vec![1], vec![2]])
        }
        Factor::Carbon => holds(&[vec![0], vec![1]]),
        Factor::Origin => {
            let known = Origin::ALL.iter().filter(|origin| **origin != Origin::Unknown).enumerate();
            let of = |is: fn(&Origin) -> bool| -> Vec<usize> {
                known.clone().filter(|(_, origin)| is(origin)).map(|(at, _)| at).collect()
            };
            let captive = of(|origin| matches!(origin, Origin::CaptiveGrown | Origin::CaptiveBred));
            holds(&[captive, of(|origin| *origin == Origin::WildCollected)])
        }
        Factor::Form(at) => {
            let code = catalogue().forms().get(usize::from(at)).map_or("", |form| form.code);
            records.level(code).is_some_and(|level| holds(&[vec![level]]))
        }
        _ => false,
    }
}

/// The finest levels of a split below the first of these cuts, from each up to the next, and from the last on.
fn levels_between(by: By, cuts: &[f64]) -> Vec<Vec<usize>> {
    let finest = finest(by);
    let mut groups = vec![Vec::new(); cuts.len() + 1];
    for level in 0..=finest.len() {
        // Level 0 lies below every cut, each other one from its own cut on.
        let from = level.checked_sub(1).and_then(|at| finest.get(at)).copied().unwrap_or(f64::NEG_INFINITY);
        groups[cuts.partition_point(|cut| *cut <= from)].push(level);
    }
    groups
}

/// The steps of a parameter's ladder that this reader may see apart: all for curators, else unions of the blocks of the
/// answers on survival by it.
///
/// # Errors
/// `Suppressed`.
pub(in crate::answer) fn cuts(making: &Making, code: ParameterCode) -> Result<Vec<f64>, Refusal> {
    let by = By::Parameter(code);
    let mut cuts = ladder(by);
    if block_minimum(making.audience).is_none() {
        return Ok(cuts);
    }
    let refused = || suppressed(making.audience);
    let question = Question { by, edges: finest_edges(by), ..plain(making) };
    let blocks = making.ties().blocks(making, &question, Divided::By(by)).ok_or_else(refused)?;
    let (records, partition) = blocks.as_ref();
    let holds = |cuts: &[f64]| levels_between(by, cuts).iter().all(|levels| records.is_union(partition, levels));
    cuts.retain(|cut| holds(&[*cut]));
    if holds(&cuts) { Ok(cuts) } else { Err(refused()) }
}

fn plain(making: &Making) -> Question {
    Question {
        taxon: making.population.taxon,
        outcome: making.outcome,
        by: By::None,
        edges: None,
        given: None,
        horizon_days: 365.0,
        since: making.since,
    }
}
