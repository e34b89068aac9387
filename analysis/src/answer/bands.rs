//! What is taught beside what was seen, parameter by parameter.

use std::collections::BTreeMap;

use super::based::{Based, TaxonQuestion};
use super::conditions::line::Making;
use super::conditions::shown::cuts;
use super::hazard::no_coral;
use super::question::{Audience, By, Outcome, Question, Stamp};
use super::shape::{
    BandLine, BandSide, BandsResult, PlacedRefusal, SeenBin, SeenEdge, SeenRange, SurvivalAnswer, TaughtBand,
    TaxonAnswer,
};
use super::{Called, round, survival};
use crate::club::{Club, SEVERAL};
use crate::comparison::{Frame, Rows};
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::{passes, suppressed};
use crate::evidence::verdict::{Taught, Tried, Verdict, verdict};
use crate::exposure::condition::ladder;
use crate::exposure::{Band, Condition, Factor, Rules};
use crate::follow_up::decline::follow_up_for;
use crate::follow_up::{Population, Run};
use crate::numeric::false_discovery::{Dependence, q_values};
use crate::numeric::parallel;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::fewest_losses::{Edge, FewestRange, Found, LossCell, bin_test, fewest_losses};
use crate::survival::piecewise_exponential::AGE_CUTS;
use crate::vocabulary::{ParameterCode, TaxonSlug, catalogue};
use crate::wording;

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "bands-2";
/// Seed of the draws of tanks.
const SEED: u64 = 8;

/// q values of the tests whether any range differs, over all taxa and parameters of a release.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RangesCalled {
    /// Tests on the list.
    pub tests: u64,
    q: BTreeMap<(TaxonSlug, ParameterCode), f64>,
}

/// The tests of all taxa with records enough by all parameters with a taught band, by the steps that a reader may see
/// apart; what is refused counts with p = 1.
pub fn ranges(club: &Club, outcome: Outcome, audience: Audience) -> RangesCalled {
    let mut list: Vec<((TaxonSlug, ParameterCode), f64)> = Vec::new();
    let mut tests = 0;
    for taxon in super::conditions::listed(club) {
        let population = Population::of(club, taxon, None);
        let making = Making::new(club, &population, (outcome, None), audience);
        let parameters = taught(club, taxon);
        let tested = parallel::map(&parameters, |parameter| {
            let cells = cells(club, &population, *parameter, &cuts(&making, *parameter)?, outcome)?;
            bin_test(&cells.losses, &cells.cuts)
        });
        tests += parameters.len();
        let found = parameters.into_iter().zip(tested);
        list.extend(found.filter_map(|(parameter, found)| Some(((taxon, parameter), found.ok()?.test.p))));
    }
    let p: Vec<f64> = list.iter().map(|(_, p)| *p).collect();
    let q = q_values(&p, tests, Dependence::Positive).unwrap_or_default();
    RangesCalled { tests: tests as u64, q: list.into_iter().map(|(key, _)| key).zip(q).collect() }
}

/// Parameters with a band taught for a taxon.
fn taught(club: &Club, taxon: TaxonSlug) -> Vec<ParameterCode> {
    catalogue()
        .parameters()
        .iter()
        .map(|row| row.code)
        .filter(|code| !ladder(By::Parameter(*code)).is_empty() && Band::taught(club, taxon, *code).is_some())
        .collect()
}

/// The bands taught for a taxon beside its records. `called`, `ranges`: the q values of the release, if it is one.
pub fn bands(
    club: &Club,
    question: &TaxonQuestion,
    audience: Audience,
    stamp: &Stamp,
    called: Option<&Called>,
    ranges: Option<&RangesCalled>,
) -> TaxonAnswer<BandsResult> {
    let based = Based::new(club, question, SEVERAL, audience, stamp);
    let result = match (&based.population, based.refusal()) {
        (Some(population), None) => {
            let conditions = Making::new(club, population, (question.outcome, question.since), audience);
            let making = Beside { club, population, question, audience, stamp, called, ranges, conditions };
            let lines = parallel::map(&taught(club, population.taxon), |code| making.line(*code));
            Ok(BandsResult { bands: lines.into_iter().flatten().collect() })
        }
        (_, refusal) => Err(refusal.unwrap_or_else(no_coral)),
    };
    let refusals = result.as_ref().map(refusals).unwrap_or_default();
    let mut answer = based.answer("bands", METHOD_ID, result, refusals);
    answer.method.lag_days = crate::exposure::LAG_DAYS;
    answer.method.seed = Some(SEED);
    round::bands(&mut answer, audience);
    answer
}

struct Beside<'a> {
    club: &'a Club,
    population: &'a Population,
    question: &'a TaxonQuestion,
    audience: Audience,
    stamp: &'a Stamp,
    called: Option<&'a Called>,
    ranges: Option<&'a RangesCalled>,
    conditions: Making<'a>,
}

impl Beside<'_> {
    fn line(&self, code: ParameterCode) -> Option<BandLine> {
        let band = Band::taught(self.club, self.population.taxon, code)?;
        let question = Question { by: By::Parameter(code), ..self.question.plain() };
        let answer = survival(self.club, &question, self.audience, self.stamp);
        // The split may be refused where the undivided answer is not: another taxon's bands are another matter.
        let own = answer.taxon.answered == self.population.taxon.as_str();
        let comparison = if own { comparison(&answer) } else { Err(first_refusal(&answer)) };
        let sentence = match (own, answer.result.given()) {
            (true, Some(result)) => result.sentence.clone(),
            _ => Part::Refused { refused: first_refusal(&answer) },
        };
        Some(BandLine {
            parameter: code.as_str().to_owned(),
            name: code.get().name.to_owned(),
            taught: TaughtBand {
                lower: band.lower,
                upper: band.upper,
                unit: band.unit.clone(),
                as_taught: band.as_taught.clone(),
                since: band.since,
            },
            comparison: Part::from(comparison),
            sentence,
            seen: Part::from(self.seen(code)),
            claim: self.claim(code),
        })
    }

    /// What the records say of "more are lost outside the band than within".
    fn claim(&self, code: ParameterCode) -> Verdict {
        let line = super::conditions::one(&self.conditions, Factor::Level(code));
        let q = self.called.and_then(|called| called.q(self.population.taxon, &line.condition));
        let limits = line.lower.zip(line.upper);
        let beside = [
            line.within_keeper.given().map(|ratio| ratio.hazard_ratio),
            line.adjusted.given().map(|adjusted| adjusted.ratio.hazard_ratio),
        ];
        let beside = beside.into_iter().flatten().collect();
        let tried = Tried { hazard_ratio: line.hazard_ratio, limits, q, grade: line.grade, beside };
        verdict(Taught::Higher, Some(&tried))
    }

    fn seen(&self, code: ParameterCode) -> Result<SeenRange, Refusal> {
        let Some(ranges) = self.ranges else {
            return Err(Refusal::plain(
                RefusalCode::AwaitsRelease,
                "The range with fewest losses is worked out when a release is made.",
            ));
        };
        let cuts = cuts(&self.conditions, code)?;
        let cells = cells(self.club, self.population, code, &cuts, self.question.outcome)?;
        self.may_be_shown(&cells)?;
        let tested = bin_test(&cells.losses, &cells.cuts)?;
        let q = ranges.q.get(&(self.population.taxon, code)).copied().unwrap_or(1.0);
        let found = fewest_losses(&cells.losses, &cells.cuts, q, SEED)?;
        match found.found {
            Found::NoDifference => Err(Refusal::plain(
                RefusalCode::TooFewEvents,
                "No band can be proposed: these records show no difference between ranges of values.",
            )),
            Found::NotStable { stability } => Err(Refusal::counted(
                RefusalCode::NotConverged,
                stability,
                crate::survival::fewest_losses::STABILITY,
                "Not stable, not shown: other tanks of the same club would give another range.",
            )),
            Found::Range(range) => Ok(self.range(code, &range, &tested.bins)),
        }
    }

    fn range(
        &self,
        code: ParameterCode,
        range: &FewestRange,
        bins: &[crate::survival::fewest_losses::Bin],
    ) -> SeenRange {
        let edge = |edge: &Edge| SeenEdge {
            estimate: edge.at,
            lower: edge.lower,
            upper: edge.upper,
            seen_up_to: edge.seen_up_to,
        };
        let bins = bins
            .iter()
            .zip(&range.ratios)
            .map(|(bin, ratio)| SeenBin {
                from: bin.from,
                to: bin.to,
                events: Part::Given(bin.deaths),
                specimen_days: Part::Given(bin.days),
                hazard_ratio: ratio.hazard_ratio,
                lower: ratio.limits.given().map(|limits| limits.lower),
                upper: ratio.limits.given().map(|limits| limits.upper),
                refused: match &ratio.limits {
                    Part::Refused { refused } => Some(refused.clone()),
                    Part::Given(_) => None,
                },
            })
            .collect();
        let (lower, upper) = (edge(&range.lower), edge(&range.upper));
        let unit = code.get().unit.get().printed;
        let sentence = wording::bands::seen(code.get().name, unit, &lower, &upper, range.stability);
        SeenRange { lower, upper, stability: range.stability, bins, sentence }
    }

    /// Every bin that is printed passes as a block.
    fn may_be_shown(&self, cells: &Cells) -> Result<(), Refusal> {
        let steps = cells.cuts.len() + 1;
        let (mut days, mut deaths) = (vec![0.0; steps], vec![0; steps]);
        for cell in &cells.losses {
            days[cell.step as usize] += cell.days;
            deaths[cell.step as usize] += cell.deaths;
        }
        let wanted = crate::survival::fewest_losses::wanted_bins(deaths.iter().sum());
        let bins = crate::survival::fewest_losses::bins(&days, &deaths, wanted);
        let all = bins.iter().all(|bin| {
            let entries = cells.entries.iter().filter(|(step, _)| bin.contains(&(*step as usize)));
            let tally = tally(entries.map(|(_, entry)| entry));
            tally.specimens == 0 || passes(&tally, self.audience)
        });
        if all { Ok(()) } else { Err(suppressed(self.audience)) }
    }
}

fn comparison(answer: &SurvivalAnswer) -> Result<Vec<BandSide>, Refusal> {
    let Some(result) = answer.result.given() else { return Err(first_refusal(answer)) };
    let ratio = |code: &str| {
        let cox = result.cox.given()?;
        let of = |name: &str| name.split_once(':').is_some_and(|(_, level)| level == code);
        cox.coefficients.iter().find(|coefficient| of(&coefficient.name)).cloned()
    };
    Ok(result
        .groups
        .iter()
        .map(|group| BandSide {
            level: group.group.clone(),
            label: group.label.clone(),
            evidence: group.evidence.clone(),
            rates: group.rates.clone(),
            ratio: ratio(&group.group),
        })
        .collect())
}

fn first_refusal(answer: &SurvivalAnswer) -> Refusal {
    match (&answer.result, answer.taxon.fallback.first()) {
        (_, Some(step)) => step.refused.clone(),
        (Part::Refused { refused }, None) => refused.clone(),
        (Part::Given(_), None) => no_coral(),
    }
}

/// Losses and days by tank, piece of age and step of the ladder, at known values.
pub(crate) struct Cells {
    pub(crate) cuts: Vec<f64>,
    pub(crate) losses: Vec<LossCell>,
    entries: Vec<(u32, Entry)>,
}

/// The cells of a population by a parameter cut here.
pub(crate) fn cells(
    club: &Club,
    population: &Population,
    code: ParameterCode,
    cuts: &[f64],
    outcome: Outcome,
) -> Result<Cells, Refusal> {
    let unusable = |error: String| {
        Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
    };
    let follow_up = follow_up_for(club, population, outcome, Run::Main);
    let condition = Condition::new(club, population, By::Parameter(code), Some(cuts), Rules::of(Run::Main))
        .map_err(|fault| unusable(fault.to_string()))?;
    let frame = Frame { club, follow_up: &follow_up, condition: &condition, given: None };
    let (rows, _) = frame.middle().map_err(|error| unusable(error.to_string()))?;
    let tanks = rows.tanks_as_clusters();
    let mut cells: BTreeMap<(u32, u32, u32), (u64, f64)> = BTreeMap::new();
    let mut entries = Vec::new();
    for (row, &tank) in tanks.iter().enumerate() {
        let Some(step) = rows.level[row].map(u32::from) else { continue };
        entries.push((step, entry(&rows, row)));
        let (start, stop) = (rows.episodes.start[row], rows.episodes.stop[row]);
        let bounds = std::iter::once(0.0).chain(AGE_CUTS.iter().copied());
        let ends = AGE_CUTS.iter().copied().chain([f64::INFINITY]);
        for (piece, (from, to)) in (0u32..).zip(bounds.zip(ends)) {
            let days = stop.min(to) - start.max(from);
            if days <= 0.0 {
                continue;
            }
            let cell = cells.entry((tank, piece, step)).or_default();
            cell.1 += days;
            cell.0 += u64::from(rows.episodes.event[row] && stop > from && stop <= to);
        }
    }
    let losses = cells
        .into_iter()
        .map(|((tank, age_piece, step), (deaths, days))| LossCell { tank, age_piece, step, deaths, days })
        .collect();
    Ok(Cells { cuts: cuts.to_vec(), losses, entries })
}

fn entry(rows: &Rows, row: usize) -> Entry {
    Entry {
        specimen: rows.specimen[row],
        keeper: rows.keeper[row],
        tank: rows.tank[row],
        days: rows.episodes.stop[row] - rows.episodes.start[row],
        marks: 0,
        ended: false,
    }
}

fn refusals(result: &BandsResult) -> Vec<PlacedRefusal> {
    let mut list = Vec::new();
    for line in &result.bands {
        let mut add =
            |part: &str, refused: Option<&Refusal>| {
                list.extend(refused.map(|refusal| PlacedRefusal {
                    key: format!("{}/{part}", line.parameter),
                    refusal: refusal.clone(),
                }));
            };
        fn of<T>(part: &Part<T>) -> Option<&Refusal> {
            match part {
                Part::Refused { refused } => Some(refused),
                Part::Given(_) => None,
            }
        }
        add("comparison", of(&line.comparison));
        add("sentence", of(&line.sentence));
        add("seen", of(&line.seen));
    }
    list
}
