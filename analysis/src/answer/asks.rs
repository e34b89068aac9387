//! What only members can say, and how many answers that are refused today each of it would help.
//!
//! An answer here is one on survival of a taxon with at least ten corals on record, undivided or by one split, as a curator
//! reads it. It is lacking if its lead sentence (undivided) or the comparison of its levels (by a split) is refused for want
//! of corals, tanks, keepers, losses, looks or known conditions. What a member could say helps a lacking answer if
//! - it would make days known that are at an unknown level of that split today, of a coral that is in the figures;
//! - unless it is known conditions that the answer wants: it would bring a coral of that taxon into the figures that is in
//!   none today, or lengthen the time under observation of one that is in them.
//!
//! `lifts` counts the lacking answers that are helped so: each once, however much of what is lacking it brings. It is what is
//! written about, never how many were lost, that is counted.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::conditions::listed;
use super::question::{Audience, By, Outcome, Question, Stamp};
use super::shape::{State, SurvivalAnswer};
use super::{TaxonQuestion, survival};
use crate::club::{Club, Specimen};
use crate::exposure::{Condition, Rules};
use crate::follow_up::{FollowUp, Population, Run, day_number, follow_up};
use crate::numeric::parallel;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::vocabulary::{Fate, Origin, TaxonSlug, water_in_band};

/// Days between two possible days of an event from which its day is asked for.
const WIDE_DAYS: i64 = 31;
/// Days without a look after which it is asked whether a coral lives.
const UNSEEN_DAYS: i64 = 180;

/// What can be asked of a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Asked {
    /// From when the list of corals would show a loss.
    CompleteSince,
    /// Whether the list names those that were lost at all.
    LossesListed,
    /// When corals were got.
    Acquired,
    /// On what day corals were lost.
    DeathDay,
    /// Whether corals are alive.
    Unseen,
    /// Where corals come from.
    Origin,
    /// Tests, light, flow or a habit: what a split is by.
    Known(By),
}

impl Asked {
    /// As printed: `complete_since`, `losses_listed`, `acquired`, `death_day`, `unseen`, `origin`, or the code of a split.
    pub fn code(self) -> &'static str {
        match self {
            Asked::CompleteSince => "complete_since",
            Asked::LossesListed => "losses_listed",
            Asked::Acquired => "acquired",
            Asked::DeathDay => "death_day",
            Asked::Unseen => "unseen",
            Asked::Origin => "origin",
            Asked::Known(by) => by.as_str(),
        }
    }
}

/// A lacking answer: its taxon, and the code of its split.
pub type Lifted = (TaxonSlug, &'static str);

/// Something that one member could say.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// Whom to ask, as a position in [`Club::keepers`].
    pub keeper: u32,
    /// What.
    pub asked: Asked,
    /// About which corals, as positions in [`Club::specimens`].
    pub specimens: Vec<u32>,
    /// About which tanks, as positions in [`Club::tanks`].
    pub tanks: Vec<u32>,
    /// For tests: the last day of one in these tanks.
    pub last: Option<NaiveDate>,
    /// Lacking answers that it would help.
    pub lifts: Vec<Lifted>,
}

/// A lacking answer, with what of the club it could still use.
struct Lacking {
    taxon: TaxonSlug,
    by: By,
    /// More corals, losses or time could lift it; otherwise only known conditions can.
    wants_more: bool,
    /// Corals of the taxon.
    members: BTreeSet<u32>,
    /// Those in no figure.
    out: BTreeSet<u32>,
    /// Those in the figures with days at an unknown level.
    unknown: BTreeSet<u32>,
}

/// What is lacking in a club's answers.
pub struct Lacks<'a> {
    club: &'a Club,
    lacking: Vec<Lacking>,
    /// Corals whose observation begins on an assumed day.
    assumed: BTreeSet<u32>,
    /// By split, corals in the figures with days at an unknown level.
    unknown: BTreeMap<&'static str, (By, BTreeSet<u32>)>,
}

/// The splits whose levels a member could still write down.
fn splits() -> Vec<By> {
    let words = [By::Origin, By::Feeding, By::Flow, By::Carbon, By::WaterChange];
    let water = water_in_band().iter().copied();
    let light = crate::vocabulary::ParameterCode::parse("par");
    words.into_iter().chain(light.into_iter().chain(water).map(By::Parameter)).collect()
}

impl<'a> Lacks<'a> {
    /// What is lacking.
    pub fn of(club: &'a Club) -> Lacks<'a> {
        let mut lacks = Lacks { club, lacking: Vec::new(), assumed: BTreeSet::new(), unknown: BTreeMap::new() };
        let taxa = listed(club);
        let splits: Vec<By> = std::iter::once(By::None).chain(splits()).collect();
        let pairs: Vec<(TaxonSlug, By)> =
            taxa.iter().flat_map(|taxon| splits.iter().map(move |by| (*taxon, *by))).collect();
        let followed: BTreeMap<TaxonSlug, (Population, FollowUp)> = taxa
            .iter()
            .map(|taxon| {
                let population = Population::of(club, *taxon, None);
                let followed = follow_up(club, &population, Run::Main);
                (*taxon, (population, followed))
            })
            .collect();
        let found = parallel::map(&pairs, |(taxon, by)| {
            let (population, followed) = followed.get(taxon)?;
            Some((want_of(club, *taxon, *by), unknown_days(club, population, followed, *by)))
        });
        for ((taxon, by), found) in pairs.into_iter().zip(found) {
            let (Some((lacks_what, unknown)), Some((population, followed))) = (found, followed.get(&taxon)) else {
                continue;
            };
            if by != By::None {
                lacks.unknown.entry(by.as_str()).or_insert((by, BTreeSet::new())).1.extend(&unknown);
            }
            let inside: BTreeSet<u32> = followed.follows.iter().map(|follow| follow.specimen).collect();
            lacks.assumed.extend(followed.follows.iter().filter(|of| of.entry_assumed).map(|of| of.specimen));
            if let Some(code) = lacks_what {
                let members: BTreeSet<u32> = population.members.iter().copied().collect();
                let out = members.difference(&inside).copied().collect();
                let wants_more = code != RefusalCode::UnknownExposure;
                lacks.lacking.push(Lacking { taxon, by, wants_more, members, out, unknown });
            }
        }
        lacks
    }

    /// Lacking answers, all in all.
    pub fn count(&self) -> usize {
        self.lacking.len()
    }

    /// Lacking answers into which any of these corals would come that are in none of their figures.
    pub fn lifted_by_settling(&self, specimens: &[u32]) -> Vec<Lifted> {
        self.lifted(|lacking| lacking.wants_more && specimens.iter().any(|id| lacking.out.contains(id)))
    }

    fn lifted(&self, helps: impl Fn(&Lacking) -> bool) -> Vec<Lifted> {
        self.lacking.iter().filter(|lacking| helps(lacking)).map(|of| (of.taxon, of.by.as_str())).collect()
    }

    /// Everything that members could say, those that help most answers first; then by what is asked, and by member.
    /// `today` = the day from which looks and tests count back.
    pub fn asks(&self, today: NaiveDate) -> Vec<Ask> {
        let mut asks = Vec::new();
        for asked in [Asked::CompleteSince, Asked::LossesListed, Asked::Acquired, Asked::DeathDay, Asked::Unseen] {
            for (keeper, specimens) in self.by_keeper(|id, specimen| self.is_asked(asked, id, specimen, today)) {
                let lifts = self.lifted(|lacking| {
                    lacking.wants_more
                        && specimens.iter().any(|id| match asked {
                            Asked::CompleteSince => {
                                lacking.out.contains(id) || (lacking.members.contains(id) && self.assumed.contains(id))
                            }
                            Asked::Unseen => lacking.members.contains(id),
                            _ => lacking.out.contains(id),
                        })
                });
                asks.push(Ask { keeper, asked, specimens, tanks: Vec::new(), last: None, lifts });
            }
        }
        for (by, unknown) in self.unknown.values() {
            for (keeper, specimens) in self.by_keeper(|id, _| unknown.contains(&id)) {
                asks.push(self.of_split(*by, keeper, specimens));
            }
        }
        asks.sort_by(|one, other| {
            other
                .lifts
                .len()
                .cmp(&one.lifts.len())
                .then_with(|| (one.asked.code(), one.keeper).cmp(&(other.asked.code(), other.keeper)))
        });
        asks
    }

    fn of_split(&self, by: By, keeper: u32, specimens: Vec<u32>) -> Ask {
        let lifts = self.lifted(|of| of.by == by && specimens.iter().any(|id| of.unknown.contains(id)));
        let asked = if by == By::Origin { Asked::Origin } else { Asked::Known(by) };
        let stays = specimens.iter().filter_map(|id| self.club.specimens.get(*id as usize)).flat_map(|of| &of.stays);
        let is_of_coral = matches!(by, By::Origin | By::Flow) || by.as_str() == "par";
        let tanks: BTreeSet<u32> = stays.filter(|_| !is_of_coral).map(|stay| stay.tank).collect();
        let last = match by {
            By::Parameter(code) if !is_of_coral => {
                tanks.iter().flat_map(|tank| self.club.readings.of(*tank, code)).map(|reading| reading.on).max()
            }
            _ => None,
        };
        let specimens = if is_of_coral { specimens } else { Vec::new() };
        Ask { keeper, asked, specimens, tanks: tanks.into_iter().collect(), last, lifts }
    }

    fn by_keeper(&self, is: impl Fn(u32, &Specimen) -> bool) -> BTreeMap<u32, Vec<u32>> {
        let mut found: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for (id, specimen) in (0u32..).zip(&self.club.specimens) {
            if is(id, specimen) {
                found.entry(specimen.keeper).or_default().push(id);
            }
        }
        found
    }

    fn is_asked(&self, asked: Asked, id: u32, specimen: &Specimen, today: NaiveDate) -> bool {
        let wide = |earliest: NaiveDate, latest: NaiveDate| (latest - earliest).num_days() > WIDE_DAYS;
        match asked {
            Asked::CompleteSince => specimen.complete_since.is_none() && self.assumed.contains(&id),
            Asked::LossesListed => !specimen.losses_listed,
            Asked::Acquired => match specimen.acquired {
                None => true,
                Some(days) => days.earliest.is_none_or(|earliest| wide(earliest, days.latest)),
            },
            Asked::DeathDay => specimen
                .ending
                .as_ref()
                .is_some_and(|end| end.fate == Fate::Died && (end.date_held || wide(end.earliest, end.latest))),
            Asked::Unseen => {
                let looks =
                    specimen.sightings.iter().map(|look| look.on).chain(specimen.sizings.iter().map(|of| of.on));
                let last = looks.max().or(specimen.acquired.map(|days| days.latest));
                specimen.ending.is_none()
                    && !specimen.held
                    && last.is_some_and(|last| (today - last).num_days() > UNSEEN_DAYS)
            }
            Asked::Origin => specimen.origin.is_none_or(|origin| origin == Origin::Unknown),
            Asked::Known(_) => false,
        }
    }
}

/// For want of what records the lead sentence, or the comparison of the levels, is refused, if it is.
fn want_of(club: &Club, taxon: TaxonSlug, by: By) -> Option<RefusalCode> {
    let plain = TaxonQuestion { taxon, outcome: Outcome::Death, since: None }.plain();
    let stamp = Stamp { state: State::Edition(0), program_version: String::new() };
    let answer = survival(club, &Question { by, ..plain }, Audience::Curator, &stamp);
    refusal(&answer, by).map(|refused| refused.code).filter(|code| wants_records(*code))
}

fn refusal(answer: &SurvivalAnswer, by: By) -> Option<&Refusal> {
    match &answer.result {
        Part::Refused { refused } => Some(refused),
        Part::Given(result) if by == By::None => match &result.groups.first()?.sentence {
            Part::Refused { refused } => Some(refused),
            Part::Given(_) => None,
        },
        Part::Given(result) => match &result.cox {
            Part::Refused { refused } => Some(refused),
            Part::Given(_) => None,
        },
    }
}

/// Whether more, or fuller, records could lift a refusal.
fn wants_records(code: RefusalCode) -> bool {
    matches!(
        code,
        RefusalCode::NoEvents
            | RefusalCode::TooFewEvents
            | RefusalCode::EmptyGroup
            | RefusalCode::TooFewSpecimens
            | RefusalCode::TooFewTanks
            | RefusalCode::TooFewKeepers
            | RefusalCode::TooFewClusters
            | RefusalCode::RiskSetTooSmall
            | RefusalCode::BeyondFollowUp
            | RefusalCode::Separation
            | RefusalCode::NoLooks
            | RefusalCode::LooksTooRare
            | RefusalCode::UnknownExposure
    )
}

/// Corals in the figures with days at an unknown level of a split.
fn unknown_days(club: &Club, population: &Population, followed: &FollowUp, by: By) -> BTreeSet<u32> {
    let Ok(condition) = Condition::new(club, population, by, None, Rules::of(Run::Main)) else {
        return BTreeSet::new();
    };
    let has_unknown = |follow: &&crate::follow_up::Follow| {
        let Some(specimen) = club.specimens.get(follow.specimen as usize) else { return false };
        let (from, to) = (follow.entry, follow.end.middle());
        let of = |tank, from: f64, to: f64| {
            from < to
                && condition
                    .between(follow.specimen, follow.keeper, tank, from, to)
                    .iter()
                    .any(|part| part.level.is_none() && part.stop - part.start >= 1.0)
        };
        if specimen.stays.is_empty() {
            return of(None, from, to);
        }
        specimen.stays.iter().any(|stay| {
            let left = stay.to.map_or(to, day_number);
            of(Some(stay.tank), from.max(day_number(stay.from)), to.min(left))
        })
    };
    followed.follows.iter().filter(has_unknown).map(|follow| follow.specimen).collect()
}
