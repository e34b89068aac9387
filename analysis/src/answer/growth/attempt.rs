//! One taxon tried: its growth, or why it is refused.

use super::increments::{Increment, increments, slopes};
use super::lines::{LEVEL, Line, Lines};
use super::shown::Printed;
use super::{Figures, Refused, falls, method};
use crate::answer::origin;
use crate::answer::{
    Audience, By, GrowthEvidence, GrowthGroup, GrowthModel, GrowthQuestion, GrowthResult, Method, Period,
    SpecimenGrowth,
};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::{passes, suppressed};
use crate::evidence::{Graded, Tally, grade, minimums};
use crate::exposure::{Condition, LevelName, Rules};
use crate::follow_up::{Population, Run, day_of};
use crate::growth::{Contrast, GroupModel, Series, group_model, group_slope};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::wording::caution;

/// Seed of the draws of tanks.
const SEED: u64 = 9;

/// A taxon tried for a question.
pub(super) struct Attempt<'a> {
    pub(super) club: &'a Club,
    pub(super) question: &'a GrowthQuestion,
    pub(super) population: &'a Population,
    pub(super) audience: Audience,
}

/// The levels with their growth.
pub(super) struct Grown {
    pub(super) codes: Vec<String>,
    pub(super) groups: Vec<Part<GrowthGroup>>,
    model: GrowthModel,
}

impl Attempt<'_> {
    pub(super) fn figures(&self) -> Result<Figures, Refused> {
        let lines = Lines::new(self.club, self.population);
        let longest: Vec<&Line> = lines.longest();
        let whole = tally(longest.iter().map(|line| entry(line)).collect::<Vec<_>>().iter());
        if !passes(&whole, self.audience) {
            return Err(suppressed(self.audience).into());
        }
        let rules = Rules::of(Run::Main);
        let condition = Condition::new(self.club, self.population, self.question.by, self.cut_by().as_deref(), rules)
            .map_err(|fault| Refusal::plain(RefusalCode::InvalidInput, format!("{fault}.")))?;
        let unknown = self.measured_at_unknown(&lines, &longest, &condition);
        let blocks = self.printed(&condition, unknown)?;
        let enough = self.enough(&whole, &lines);
        let evidence = evidence(&lines, &longest, &whole, enough.is_ok());
        if let Err(refusal) = enough {
            return Err(Refused { refusal, evidence: Some(Box::new(evidence)) });
        }
        let taught = condition.band.is_some();
        let grown = self.groups(&lines, &longest, &condition, &blocks, taught)?;
        let sensitivity = falls::beside(self, &lines, &grown, &condition, &blocks);
        let Grown { codes: names, groups, model } = grown;
        let mut cautions = vec![caution::association(), caution::survivors_measured()];
        if self.question.by == By::Origin {
            cautions.push(origin::as_said(self.club, longest.iter().map(|line| line.specimen), self.audience));
        }
        match self.audience {
            Audience::Public => cautions.push(caution::rounded()),
            Audience::Curator => cautions.push(caution::not_for_passing_on()),
            Audience::Member | Audience::Keeper => {}
        }
        let specimens = (self.audience == Audience::Keeper).then(|| self.specimens(&lines, &condition));
        let method = Method {
            clusters: whole.tanks,
            carry_days: condition.carry_days,
            step_tolerance: condition.band.as_ref().map(|band| band.half_step(None)),
            band: condition.band.as_ref().map(|band| band.as_taught.clone()),
            bands_dated: condition.band.as_ref().and_then(|band| band.since),
            e_values: Vec::new(),
            seed: (model.kind == "theil_sen").then_some(SEED),
            variance: match model.kind {
                "theil_sen" => "bootstrap",
                "reml" => "model",
                _ => "cr0_g",
            },
            interval: if model.kind == "theil_sen" { "percentile" } else { "plain" },
            ..method(condition.lagged)
        };
        Ok(Figures {
            specimens: longest.iter().map(|line| line.specimen).collect(),
            evidence,
            result: GrowthResult {
                measure: lines.measure.clone(),
                bases: vec![lines.basis.clone()],
                specimens,
                groups,
                // Figures of the whole model rest on no block of their own.
                model: match self.audience {
                    Audience::Curator => model,
                    _ => GrowthModel { criterion: None, variances: None, ..model },
                },
            },
            names,
            cautions,
            method,
            sensitivity,
        })
    }

    fn enough(&self, whole: &Tally, lines: &Lines) -> Result<(), Refusal> {
        if whole.specimens == 0 && lines.tissue_only > 0 {
            return Err(Refusal::counted(
                RefusalCode::TooFewSpecimens,
                0.0,
                minimums::CURVE_SPECIMENS as f64,
                "Only sizes of tissue are on record, which follow the coral's mood: measure the skeleton or its base, \
                 count the heads, or weigh it in water, twice at least 14 days apart.",
            ));
        }
        if whole.specimens == 0 {
            return Err(Refusal::counted(
                RefusalCode::TooFewSpecimens,
                0.0,
                minimums::CURVE_SPECIMENS as f64,
                "No coral of this taxon has two sizes of one kind at least 14 days apart.",
            ));
        }
        minimums::curve(whole)
    }

    /// Whether any coral was measured over days at which the condition is unknown.
    fn measured_at_unknown(&self, lines: &Lines, longest: &[&Line], condition: &Condition) -> bool {
        let used: Vec<&Line> =
            if condition.by.varies_in_time() { lines.lines.iter().collect() } else { longest.to_vec() };
        used.iter().any(|line| {
            let (Some(&from), Some(&to)) = (line.days.first(), line.days.last()) else { return false };
            let segments = line.levels(self.club, condition, from, to);
            segments.iter().any(|segment| segment.level.is_none())
        })
    }

    pub(super) fn groups(
        &self,
        lines: &Lines,
        longest: &[&Line],
        condition: &Condition,
        blocks: &Printed,
        taught: bool,
    ) -> Result<Grown, Refusal> {
        let known = condition.levels.len();
        let printed: Vec<&(Vec<usize>, Option<LevelName>)> =
            blocks.iter().filter(|(block, _)| block.as_slice() != [known]).collect();
        let names: Vec<LevelName> =
            printed.iter().map(|(block, own)| own.clone().unwrap_or_else(|| name(condition, block))).collect();
        let block_of = |level: usize| printed.iter().position(|(block, _)| block.contains(&level));
        let mut codes = Vec::new();
        let mut groups = Vec::new();
        if condition.by.varies_in_time() {
            let steps = increments(self.club, &lines.lines, condition, printed.len(), block_of);
            let slopes = slopes(&steps, printed.len())?;
            for (level, name) in names.iter().enumerate() {
                let inside: Vec<&Increment> = steps.iter().filter(|step| step.share[level] > 0.0).collect();
                if inside.is_empty() && !taught {
                    continue;
                }
                let entries: Vec<Entry> = inside
                    .iter()
                    .map(|step| Entry {
                        specimen: step.specimen,
                        keeper: step.keeper,
                        tank: step.tank,
                        days: step.months,
                        marks: 0,
                        ended: false,
                    })
                    .collect();
                let tally = tally(entries.iter());
                let corals = tally.specimens;
                let figure = self.may_be_shown(&tally).and_then(|()| minimums::curve(&tally)).and_then(|()| {
                    let slope = slopes[level].ok_or_else(not_grown)?;
                    Ok(GrowthGroup {
                        group: name.code.clone(),
                        specimens: corals,
                        tanks: Some(tally.tanks),
                        slope_per_month: slope.slope,
                        std_error: slope.std_error,
                        df: slope.df,
                        lower: slope.lower,
                        upper: slope.upper,
                        ratio_per_month: slope.slope.exp(),
                    })
                });
                codes.push(name.code.clone());
                groups.push(Part::from(figure));
            }
            return Ok(Grown { codes, groups, model: GrowthModel::plain("increments") });
        }
        let level = |line: &Line| block_of(level_of(condition, line).unwrap_or(known));
        let mut given: Vec<(usize, Vec<&Line>, Tally)> = Vec::new();
        for (position, name) in names.iter().enumerate() {
            let inside: Vec<&Line> = longest.iter().copied().filter(|line| level(line) == Some(position)).collect();
            if inside.is_empty() {
                continue;
            }
            let tally = tally(inside.iter().map(|line| entry(line)).collect::<Vec<_>>().iter());
            codes.push(name.code.clone());
            match self.may_be_shown(&tally).and_then(|()| minimums::curve(&tally)) {
                Ok(()) => {
                    given.push((groups.len(), inside, tally));
                    // Its place, filled below.
                    groups.push(Part::Refused { refused: not_grown() });
                }
                Err(refused) => groups.push(Part::Refused { refused }),
            }
        }
        let fitted = fit(&given);
        for (at, (place, inside, tally)) in given.iter().enumerate() {
            let modelled = fitted.as_ref().ok().and_then(|fitted| fitted.slopes[at]);
            let figure = match modelled {
                Some(slope) => Ok(of_model(&codes[*place], tally, &slope)),
                None => of_medians(&codes[*place], tally, inside),
            };
            groups[*place] = figure.into();
        }
        let model = fitted.map_or_else(|_| GrowthModel::plain("theil_sen"), |fitted| GrowthModel::reml(&fitted));
        Ok(Grown { codes, groups, model })
    }

    fn specimens(&self, lines: &Lines, condition: &Condition) -> Vec<SpecimenGrowth> {
        lines
            .lines
            .iter()
            .map(|line| {
                let level = level_of(condition, line).and_then(|level| condition.levels.get(level));
                SpecimenGrowth {
                    specimen: self
                        .club
                        .specimens
                        .get(line.specimen as usize)
                        .map_or_else(String::new, |s| s.key.clone()),
                    group: level.map_or_else(|| "unknown".to_owned(), |name| name.code.clone()),
                    n: line.rate.n as u64,
                    first: line.rate.first_size,
                    last: line.rate.last_size,
                    sgr_percent_per_day: line.rate.sgr_percent_per_day,
                    lower: line.rate.lower,
                    upper: line.rate.upper,
                }
            })
            .collect()
    }
}

fn not_grown() -> Refusal {
    Refusal::plain(RefusalCode::EmptyGroup, "No coral was measured under this condition.")
}

/// Tank of the first size; corals of no known tank share one by keeper.
fn tank_of(line: &Line) -> u32 {
    line.tank.unwrap_or(u32::MAX - line.keeper)
}

/// One model of the corals of all levels that may be shown.
fn fit(given: &[(usize, Vec<&Line>, Tally)]) -> Result<GroupModel, Refusal> {
    let series: Vec<Series> = given
        .iter()
        .enumerate()
        .flat_map(|(group, (_, inside, _))| {
            inside.iter().map(move |line| Series { group, tank: tank_of(line), days: &line.days, sizes: &line.sizes })
        })
        .collect();
    group_model(&series, given.len(), LEVEL)
}

fn of_model(code: &str, tally: &Tally, slope: &Contrast) -> GrowthGroup {
    GrowthGroup {
        group: code.to_owned(),
        specimens: tally.specimens,
        tanks: Some(tally.tanks),
        slope_per_month: slope.estimate,
        std_error: Some(slope.std_error),
        df: Some(slope.df),
        lower: Some(slope.lower),
        upper: Some(slope.upper),
        ratio_per_month: slope.estimate.exp(),
    }
}

/// The median of the corals' median slopes, limits by drawing whole tanks.
fn of_medians(code: &str, tally: &Tally, inside: &[&Line]) -> Result<GrowthGroup, Refusal> {
    let slopes: Vec<f64> = inside.iter().map(|line| line.slope_per_month).collect();
    let tanks: Vec<u32> = inside.iter().map(|line| tank_of(line)).collect();
    let slope = group_slope(&slopes, &tanks, SEED, LEVEL)?;
    let limits = slope.limits.given();
    Ok(GrowthGroup {
        group: code.to_owned(),
        specimens: tally.specimens,
        tanks: Some(tally.tanks),
        slope_per_month: slope.slope,
        std_error: None,
        df: None,
        lower: limits.map(|limits| limits.lower),
        upper: limits.map(|limits| limits.upper),
        ratio_per_month: slope.slope.exp(),
    })
}

fn entry(line: &Line) -> Entry {
    let days = line.days.last().zip(line.days.first()).map_or(0.0, |(last, first)| last - first);
    Entry { specimen: line.specimen, keeper: line.keeper, tank: line.tank, days, marks: 0, ended: false }
}

fn name(condition: &Condition, block: &[usize]) -> LevelName {
    let parts: Vec<LevelName> =
        block.iter().map(|&level| condition.levels.get(level).cloned().unwrap_or_else(LevelName::unknown)).collect();
    if let [only] = parts.as_slice() { only.clone() } else { LevelName::joined(&parts) }
}

/// The level at the first size.
fn level_of(condition: &Condition, line: &Line) -> Option<usize> {
    let (&from, &to) = line.days.first().zip(line.days.last())?;
    let first = condition.between(line.specimen, line.keeper, line.tank, from, to).into_iter().next()?;
    first.level.map(usize::from)
}

fn evidence(lines: &Lines, longest: &[&Line], whole: &Tally, given: bool) -> GrowthEvidence {
    let first = longest.iter().filter_map(|line| line.days.first().copied()).min_by(f64::total_cmp);
    let last = longest.iter().filter_map(|line| line.days.last().copied()).max_by(f64::total_cmp);
    GrowthEvidence {
        specimens: whole.specimens,
        keepers: whole.keepers,
        tanks: whole.tanks,
        sizes: lines.lines.iter().map(|line| line.days.len() as u64).sum(),
        period: Period { from: first.and_then(day_of), to: last.and_then(day_of) },
        tissue_only: lines.tissue_only,
        other_measure: lines.other_measure,
        falls: lines.falls,
        // Corals with a rate stand where deaths stand for survival.
        grade: grade(&Graded {
            deaths: whole.specimens,
            keepers: whole.keepers,
            tanks: whole.tanks,
            unknown: 0.0,
            given,
        }),
    }
}
