//! The split of a question as numbered levels, and the level of each specimen at each moment.

use std::collections::BTreeMap;

use super::band::{Band, Scale};
use super::by_tank::levels_by_tank;
use super::carry::Carry;
use super::habit::{self, Counting, Doing};
use super::steps::{Level, Segment, Steps};
use super::{LAG_DAYS, MONTH_DAYS, neighbours, place};
use crate::answer::{By, InvalidQuestion};
use crate::club::{Club, ClubBand, TankId};
use crate::follow_up::population::{acquired_year, name_at_purchase};
use crate::follow_up::{Population, Run, day_number};
use crate::vocabulary::{Origin, ParameterCode, Sting, catalogue};

mod factor; // the conditions that answers compare corals by, each of two levels
mod names; // levels in words

pub use factor::{CONTRAST, Factor, OTHER, REFERENCE};
pub use names::LevelName;

/// How long tests, habits and places speak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// Days before they begin to speak.
    pub lag: f64,
    /// The shorter carry of the catalogue.
    pub short_carry: bool,
}

impl Rules {
    /// The rules of a run.
    pub fn of(run: Run) -> Rules {
        Rules { lag: if run == Run::Lag0 { 0.0 } else { LAG_DAYS }, short_carry: run == Run::ShortCarry }
    }

    /// How long a test of a parameter speaks.
    pub fn carry(self, parameter: ParameterCode) -> Carry {
        let row = parameter.get();
        let days = if self.short_carry { row.short_carry_days } else { row.carry_days };
        Carry { lag: self.lag, days: f64::from(days) }
    }
}

/// A split: its levels in order, and where to read them.
#[derive(Debug, Clone)]
pub struct Condition {
    /// The split as asked.
    pub by: By,
    /// Known levels in order; a [`Level`] is a position here.
    pub levels: Vec<LevelName>,
    /// Whether neighbours among the levels are neighbours in what they mean.
    pub ordered: bool,
    /// The taught band, if that is the split.
    pub band: Option<Band>,
    /// Days a test or placement speaks; `None` if none is read.
    pub carry_days: Option<f64>,
    /// Whether what is read speaks after a lag.
    pub lagged: bool,
    source: Source,
    unknown: Steps,
}

#[derive(Debug, Clone)]
enum Source {
    /// One level for all, at all times.
    All(Steps),
    /// By specimen.
    Specimen(BTreeMap<u32, Steps>),
    /// By tank.
    Tank(BTreeMap<TankId, Steps>),
    /// By keeper.
    Keeper(BTreeMap<u32, Steps>),
    /// By tank, and by specimen in a tank before that.
    SpecimenInTank { own: BTreeMap<(u32, TankId), Steps>, tank: BTreeMap<TankId, Steps> },
}

impl Condition {
    /// The levels of a split for the specimens of a population.
    ///
    /// # Errors
    /// Cut points where there is no ladder, or that are not ascending numbers.
    pub fn new(
        club: &Club,
        population: &Population,
        by: By,
        edges: Option<&[f64]>,
        rules: Rules,
    ) -> Result<Condition, InvalidQuestion> {
        let cuts = match edges {
            None => None,
            Some(edges) => Some(checked(by, edges)?),
        };
        Ok(Builder { club, bands: &club.bands, population, rules }.build(by, cuts))
    }

    /// The levels of a split that is not asked by edges, where these are the club's own bands.
    pub fn taught(club: &Club, bands: &[ClubBand], population: &Population, by: By, rules: Rules) -> Condition {
        Builder { club, bands, population, rules }.build(by, None)
    }

    /// The levels of a specimen in a tank (or in none that is known) over `(from, to]`, calendar days.
    pub fn between(&self, specimen: u32, keeper: u32, tank: Option<TankId>, from: f64, to: f64) -> Vec<Segment> {
        self.steps(specimen, keeper, tank).between(from, to)
    }

    fn steps(&self, specimen: u32, keeper: u32, tank: Option<TankId>) -> &Steps {
        let found = match &self.source {
            Source::All(steps) => Some(steps),
            Source::Specimen(steps) => steps.get(&specimen),
            Source::Tank(steps) => tank.and_then(|tank| steps.get(&tank)),
            Source::Keeper(steps) => steps.get(&keeper),
            Source::SpecimenInTank { own, tank: of_tank } => {
                tank.and_then(|tank| own.get(&(specimen, tank)).or_else(|| of_tank.get(&tank)))
            }
        };
        found.unwrap_or(&self.unknown)
    }
}

/// The cut points that a split may be asked by, in its unit; empty where there is no ladder.
pub fn ladder(by: By) -> Vec<f64> {
    let parameter = |code: &str| ParameterCode::parse(code).map(|code| code.get().ladder.clone()).unwrap_or_default();
    let condition = |code: &str| {
        catalogue().conditions().iter().find(|row| row.code == code).map(|row| row.ladder.clone()).unwrap_or_default()
    };
    match by {
        By::TankAge => condition("tank_age"),
        By::KeeperExperience => EXPERIENCE_YEARS.to_vec(),
        By::Feeding => FEEDS_PER_WEEK[1..].to_vec(),
        By::Light => parameter("par"),
        By::WaterChange => parameter("water_change"),
        By::Neighbours => condition("stinging_corals"),
        By::Parameter(code) => match as_habit(code) {
            Some(habit) => ladder(habit),
            None => code.get().ladder.clone(),
        },
        By::None | By::Origin | By::Identification | By::Form | By::Year | By::Flow | By::Carbon => Vec::new(),
    }
}

/// The cuts of the finest levels of a split: those that it may be asked by, and what it is cut at unasked.
pub fn finest(by: By) -> Vec<f64> {
    match by {
        By::Feeding => FEEDS_PER_WEEK.to_vec(),
        By::Parameter(code) => as_habit(code).map_or_else(|| ladder(by), finest),
        by => ladder(by),
    }
}

/// The edges that give those levels; `None` = no edges do.
pub fn finest_edges(by: By) -> Option<Vec<f64>> {
    match by {
        By::Parameter(code) if as_habit(code).is_none() => Some(ladder(by)).filter(|cuts| !cuts.is_empty()),
        _ => None,
    }
}

/// Years of keeping reefs at which experience is cut.
const EXPERIENCE_YEARS: &[f64] = &[1.0, 2.0, 5.0];
/// Feeds a week: not fed, less than once, then from 1, 2 and 4.
const FEEDS_PER_WEEK: &[f64] = &[f64::MIN_POSITIVE, 1.0, 2.0, 4.0];
const YEAR_DAYS: f64 = 365.25;

/// The routine conditions have codes of parameters too.
fn as_habit(code: ParameterCode) -> Option<By> {
    match code.as_str() {
        "feeding" => Some(By::Feeding),
        "water_change" => Some(By::WaterChange),
        "carbon" => Some(By::Carbon),
        _ => None,
    }
}

fn checked(by: By, edges: &[f64]) -> Result<Vec<f64>, InvalidQuestion> {
    let invalid = |message: String| Err(InvalidQuestion { parameter: "edges", message });
    let ladder = ladder(by);
    if ladder.is_empty() {
        return invalid(format!("by={} has no cut points: leave edges out", by.as_str()));
    }
    let ascending = edges.windows(2).all(|pair| pair[0] < pair[1]);
    if edges.is_empty() || !ascending || edges.iter().any(|edge| !edge.is_finite()) {
        let steps: Vec<String> = ladder.iter().map(f64::to_string).collect();
        return invalid(format!("give ascending numbers, for by={} of {}", by.as_str(), steps.join(", ")));
    }
    Ok(edges.to_vec())
}

struct Builder<'a> {
    club: &'a Club,
    /// The club's own bands, of this or of another time.
    bands: &'a [ClubBand],
    population: &'a Population,
    rules: Rules,
}

impl Builder<'_> {
    fn build(&self, by: By, cuts: Option<Vec<f64>>) -> Condition {
        match by {
            By::None => self.condition(by, vec![LevelName::all()], Source::All(Steps::constant(Some(0)))),
            By::Origin => self.origin(),
            By::Identification => self.words(by, |id| {
                let name = name_at_purchase(&self.club.specimens[id as usize])?;
                Some((name.as_str().to_owned(), self.population.mix_name(name)))
            }),
            By::Form => self.words(by, |id| {
                let form = self.club.specimens[id as usize].form.clone().filter(|form| form != "not_said")?;
                let label = form.replace('_', " ");
                Some((form, label))
            }),
            By::Year => self.words(by, |id| {
                let year = acquired_year(self.club.specimens[id as usize].acquired?).to_string();
                Some((year.clone(), format!("acquired in {year}")))
            }),
            By::TankAge => self.tank_age(cuts),
            By::KeeperExperience => self.experience(cuts),
            By::Feeding => self.feeding(cuts),
            By::WaterChange => self.water_change(cuts),
            By::Carbon => self.carbon(),
            By::Light => self.light(By::Light, cuts, false),
            By::Flow => self.flow(),
            By::Neighbours => self.neighbours(cuts),
            By::Parameter(code) if code.as_str() == "par" => self.light(by, cuts, true),
            By::Parameter(code) => match as_habit(code) {
                Some(habit) => self.build(habit, cuts),
                None => self.parameter(code, cuts),
            },
        }
    }

    fn condition(&self, by: By, levels: Vec<LevelName>, source: Source) -> Condition {
        Condition {
            by,
            levels: levels.into_iter().map(|level| level.spoken(by)).collect(),
            ordered: true,
            band: None,
            carry_days: None,
            lagged: false,
            source,
            unknown: Steps::default(),
        }
    }

    /// Tanks in which a specimen of the population ever stood, ascending.
    fn tanks(&self) -> Vec<TankId> {
        let mut tanks: Vec<TankId> =
            self.members().flat_map(|(_, specimen)| specimen.stays.iter().map(|stay| stay.tank)).collect();
        tanks.sort_unstable();
        tanks.dedup();
        tanks
    }

    fn members(&self) -> impl Iterator<Item = (u32, &crate::club::Specimen)> {
        self.population.members.iter().filter_map(|&id| Some((id, self.club.specimens.get(id as usize)?)))
    }

    fn origin(&self) -> Condition {
        let levels: Vec<Origin> = Origin::ALL.iter().copied().filter(|origin| *origin != Origin::Unknown).collect();
        let source = self
            .members()
            .map(|(id, specimen)| {
                let level = specimen.origin.and_then(|origin| levels.iter().position(|known| *known == origin));
                (id, Steps::constant(level.map(|level| level as u16)))
            })
            .collect();
        let names = levels.iter().map(|origin| LevelName::origin(*origin)).collect();
        Condition { ordered: false, ..self.condition(By::Origin, names, Source::Specimen(source)) }
    }

    /// Levels that are words of the specimens themselves, in alphabetical order.
    fn words(&self, by: By, word: impl Fn(u32) -> Option<(String, String)>) -> Condition {
        let said: Vec<(u32, Option<(String, String)>)> = self.members().map(|(id, _)| (id, word(id))).collect();
        let words: BTreeMap<String, String> = said.iter().filter_map(|(_, said)| said.clone()).collect();
        let position = |code: &str| words.keys().position(|known| known == code).map(|level| level as u16);
        let source = said
            .iter()
            .map(|(id, said)| (*id, Steps::constant(said.as_ref().and_then(|(code, _)| position(code)))))
            .collect();
        let names = words.iter().map(|(code, label)| LevelName::new(code, label)).collect();
        Condition { ordered: by == By::Year, ..self.condition(by, names, Source::Specimen(source)) }
    }

    fn parameter(&self, code: ParameterCode, cuts: Option<Vec<f64>>) -> Condition {
        let (scale, names, band) = self.scale(code, cuts);
        let carry = self.rules.carry(code);
        let source = levels_by_tank(self.club, code, &self.tanks(), &scale, &carry);
        Condition {
            band,
            carry_days: Some(carry.days),
            lagged: true,
            ..self.condition(By::Parameter(code), names, Source::Tank(source))
        }
    }

    /// The taught band, if no cuts are asked and one is taught; else the cuts or the whole ladder.
    fn scale(&self, code: ParameterCode, cuts: Option<Vec<f64>>) -> (Scale, Vec<LevelName>, Option<Band>) {
        let taught = if cuts.is_none() { Band::among(self.bands, self.population.taxon, code) } else { None };
        match taught {
            Some(band) => (Scale::Taught(band.clone()), LevelName::taught(&band), Some(band)),
            None => {
                let cuts = cuts.unwrap_or_else(|| code.get().ladder.clone());
                let names = LevelName::ladder(&cuts, code.get().unit.get().printed);
                (Scale::Ladder(cuts), names, None)
            }
        }
    }

    fn light(&self, by: By, cuts: Option<Vec<f64>>, taught: bool) -> Condition {
        let Some(par) = ParameterCode::parse("par") else {
            return self.condition(by, Vec::new(), Source::All(Steps::default()));
        };
        let cuts = cuts.or_else(|| (!taught).then(|| par.get().ladder.clone()));
        let (scale, names, band) = self.scale(par, cuts);
        let carry = self.rules.carry(par);
        let source =
            self.members().map(|(id, specimen)| (id, place::light(specimen, &scale, carry.lag, carry.days))).collect();
        Condition {
            band,
            carry_days: Some(carry.days),
            lagged: true,
            ..self.condition(by, names, Source::Specimen(source))
        }
    }

    fn flow(&self) -> Condition {
        let days = ParameterCode::parse("flow").map_or(180.0, |code| self.rules.carry(code).days);
        let source = self.members().map(|(id, specimen)| (id, place::flow(specimen, self.rules.lag, days))).collect();
        let names = place::FLOW_WORDS.iter().map(|(code, label)| LevelName::new(code, label)).collect();
        Condition { carry_days: Some(days), lagged: true, ..self.condition(By::Flow, names, Source::Specimen(source)) }
    }

    fn tank_age(&self, cuts: Option<Vec<f64>>) -> Condition {
        let cuts = cuts.unwrap_or_else(|| ladder(By::TankAge));
        let names = LevelName::ladder(&cuts, "months");
        let source = self
            .tanks()
            .into_iter()
            .map(|tank| {
                let started = self.club.tanks.get(tank as usize).and_then(|tank| tank.started);
                (tank, ages(started.map(day_number), &cuts, MONTH_DAYS))
            })
            .collect();
        self.condition(By::TankAge, names, Source::Tank(source))
    }

    fn experience(&self, cuts: Option<Vec<f64>>) -> Condition {
        let cuts = cuts.unwrap_or_else(|| EXPERIENCE_YEARS.to_vec());
        let names = LevelName::ladder(&cuts, "years");
        let source = self
            .club
            .keepers
            .iter()
            .enumerate()
            .map(|(id, keeper)| {
                // Only the year is known: its middle.
                let since = keeper.keeping_since.and_then(|year| chrono::NaiveDate::from_ymd_opt(year, 7, 1));
                (id as u32, ages(since.map(day_number), &cuts, YEAR_DAYS))
            })
            .collect();
        self.condition(By::KeeperExperience, names, Source::Keeper(source))
    }

    fn feeding(&self, cuts: Option<Vec<f64>>) -> Condition {
        let names = match &cuts {
            None => LevelName::feeding(),
            Some(cuts) => LevelName::ladder(cuts, "feeds a week"),
        };
        let scale = Scale::Ladder(cuts.unwrap_or_else(|| FEEDS_PER_WEEK.to_vec()));
        self.habit(By::Feeding, &["target_feed", "broadcast_feed"], Counting::Each, names, |doing| {
            // What is done to the tank and to the coral adds up; a rate that does not convert hides the sum.
            let mut sum = None;
            for kind in doing.iter().flatten() {
                match kind {
                    Doing::PerWeek(rate) => sum = Some(sum.unwrap_or(0.0) + rate),
                    Doing::InUse => return None,
                }
            }
            scale.level_of(sum?)
        })
    }

    fn water_change(&self, cuts: Option<Vec<f64>>) -> Condition {
        let cuts = cuts.unwrap_or_else(|| ladder(By::WaterChange));
        let names = LevelName::ladder(&cuts, "% a week");
        let scale = Scale::Ladder(cuts);
        self.habit(By::WaterChange, &["water_change"], Counting::Amount, names, |doing| {
            match doing.first().copied().flatten()? {
                Doing::PerWeek(rate) => scale.level_of(rate),
                Doing::InUse => None,
            }
        })
    }

    fn carbon(&self) -> Condition {
        let names = vec![LevelName::new("not_in_use", "not in use"), LevelName::new("in_use", "in use")];
        self.habit(By::Carbon, &["carbon"], Counting::Use, names, |doing| match doing.first().copied().flatten()? {
            Doing::PerWeek(rate) => Some(u16::from(rate > 0.0)),
            Doing::InUse => Some(1),
        })
    }

    fn habit(
        &self,
        by: By,
        kinds: &[&str],
        counting: Counting,
        names: Vec<LevelName>,
        level: impl Fn(&[Option<Doing>]) -> Level,
    ) -> Condition {
        let tank = self
            .tanks()
            .into_iter()
            .map(|tank| (tank, habit::steps(self.club, tank, None, kinds, counting, self.rules.lag, &level)))
            .collect();
        let with_own = habit::specimens_with_own(self.club, kinds);
        let mut own = BTreeMap::new();
        for (id, specimen) in self.members().filter(|(id, _)| with_own.contains(id)) {
            for stay in &specimen.stays {
                own.entry((id, stay.tank)).or_insert_with(|| {
                    habit::steps(self.club, stay.tank, Some(id), kinds, counting, self.rules.lag, &level)
                });
            }
        }
        Condition { lagged: true, ..self.condition(by, names, Source::SpecimenInTank { own, tank }) }
    }

    fn neighbours(&self, cuts: Option<Vec<f64>>) -> Condition {
        let cuts = cuts.unwrap_or_else(|| ladder(By::Neighbours));
        let names = LevelName::counts(&cuts, "other stinging corals");
        let source = self.counted_neighbours(Scale::Ladder(cuts), Sting::counts);
        Condition { lagged: true, ..self.condition(By::Neighbours, names, source) }
    }

    /// Steps of the number of other corals in the tank with such a sting.
    fn counted_neighbours(&self, scale: Scale, is: impl Fn(Sting) -> bool) -> Source {
        let mut own = BTreeMap::new();
        for tank in self.tanks() {
            let stays = neighbours::stays_of(self.club, tank, &is);
            for (id, _) in self.members().filter(|(_, s)| s.stays.iter().any(|stay| stay.tank == tank)) {
                own.insert((id, tank), neighbours::steps(&stays, id, &scale, self.rules.lag));
            }
        }
        Source::SpecimenInTank { own, tank: BTreeMap::new() }
    }
}

/// Levels of an age that grows from `since`; unknown without it and before it.
fn ages(since: Option<f64>, cuts: &[f64], unit_days: f64) -> Steps {
    let Some(since) = since else { return Steps::default() };
    let mut instants = vec![since];
    instants.extend(cuts.iter().map(|cut| since + cut * unit_days));
    Steps::from_instants(instants.clone(), |instant| {
        instants.iter().rposition(|step| *step <= instant).map(|level| level as u16)
    })
}
