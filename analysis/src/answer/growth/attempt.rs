//! One taxon tried: its growth, or why it is refused.

use std::collections::BTreeSet;

use super::increments::{Increment, increments, slopes};
use super::lines::{LEVEL, Line, Lines};
use super::{Figures, Refused, falls, method};
use crate::answer::origin;
use crate::answer::{
    Audience, By, GrowthEvidence, GrowthGroup, GrowthModel, GrowthQuestion, GrowthResult, Method, Period,
    SpecimenGrowth,
};
use crate::club::Club;
use crate::disclosure::tree::{self, Member};
use crate::disclosure::{self, blocks, passes, suppressed};
use crate::evidence::{Graded, Tally, grade, minimums};
use crate::exposure::{Condition, LevelName, Rules};
use crate::follow_up::{Population, Run, day_of};
use crate::growth::group_slope;
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
    kind: &'static str,
}

/// Each coral's time under a level: what blocks are counted from.
pub(super) struct Spell {
    specimen: u32,
    level: Option<usize>,
    member: Member,
}

impl Attempt<'_> {
    pub(super) fn figures(&self) -> Result<Figures, Refused> {
        let lines = Lines::new(self.club, self.population);
        let longest: Vec<&Line> = lines.longest();
        let whole = self.tally(longest.iter().map(|line| member(line)));
        if !passes(&whole, self.audience) {
            return Err(suppressed(self.audience).into());
        }
        let beside =
            disclosure::tree::may_stand_beside(self.club, self.population.taxon, self.question.since, self.audience);
        if self.population.without.is_empty() && !beside {
            return Err(suppressed(self.audience).into());
        }
        if !self.rest_passes() {
            return Err(suppressed(self.audience).into());
        }
        let enough = self.enough(&whole, &lines);
        let evidence = evidence(&lines, &longest, &whole, enough.is_ok());
        if let Err(refusal) = enough {
            return Err(Refused { refusal, evidence: Some(Box::new(evidence)) });
        }
        let rules = Rules::of(Run::Main);
        let condition =
            Condition::new(self.club, self.population, self.question.by, self.question.edges.as_deref(), rules)
                .map_err(|fault| Refusal::plain(RefusalCode::InvalidInput, format!("{fault}.")))?;
        let spells = self.spells(&lines, &longest, &condition);
        let known = condition.levels.len();
        let unknown_has_rows = spells.iter().any(|spell| spell.level.is_none());
        let blocks =
            blocks::blocks(known, unknown_has_rows, self.audience, |levels| Ok(block_tally(&spells, levels, known)))?;
        let taught = condition.band.is_some();
        let grown = self.groups(&lines, &longest, &condition, &blocks, taught)?;
        let sensitivity = falls::beside(self, &lines, &grown, &condition, &blocks);
        let Grown { codes: names, groups, kind } = grown;
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
            seed: (kind == "theil_sen").then_some(SEED),
            variance: if kind == "theil_sen" { "bootstrap" } else { "cr0_g" },
            interval: if kind == "theil_sen" { "percentile" } else { "plain" },
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
                model: GrowthModel { kind, criterion: None, variances: None, dropped: Vec::new() },
            },
            names,
            cautions,
            method,
            sensitivity,
        })
    }

    fn tally(&self, members: impl Iterator<Item = Member>) -> Tally {
        let members: Vec<Member> = members.collect();
        tree::tally(members.iter())
    }

    /// Whether what a wider answer holds beyond this one (earlier purchases, genera left out) may be shown, or is none.
    fn rest_passes(&self) -> bool {
        if disclosure::block_minimum(self.audience).is_none() {
            return true;
        }
        let wider = Population::of(self.club, self.population.taxon, None);
        let members =
            wider.members.iter().copied().filter(|id| self.population.members.binary_search(id).is_err()).collect();
        let lines = Lines::new(self.club, &Population { members, ..wider });
        let rest = self.tally(lines.longest().into_iter().map(member));
        rest.specimens == 0 || passes(&rest, self.audience)
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

    /// Each coral's days between its first and last size, by level.
    pub(super) fn spells(&self, lines: &Lines, longest: &[&Line], condition: &Condition) -> Vec<Spell> {
        let mut spells = Vec::new();
        let used: Vec<&Line> =
            if condition.by.varies_in_time() { lines.lines.iter().collect() } else { longest.to_vec() };
        for line in used {
            let (Some(&from), Some(&to)) = (line.days.first(), line.days.last()) else { continue };
            for segment in line.levels(self.club, condition, from, to) {
                let weight = segment.stop - segment.start;
                spells.push(Spell {
                    specimen: line.specimen,
                    level: segment.level.map(usize::from),
                    member: Member { weight, ..member(line) },
                });
            }
        }
        spells
    }

    pub(super) fn groups(
        &self,
        lines: &Lines,
        longest: &[&Line],
        condition: &Condition,
        blocks: &[Vec<usize>],
        taught: bool,
    ) -> Result<Grown, Refusal> {
        let known = condition.levels.len();
        let printed: Vec<&Vec<usize>> = blocks.iter().filter(|block| block.as_slice() != [known]).collect();
        let names: Vec<LevelName> = printed.iter().map(|block| name(condition, block)).collect();
        let block_of = |level: usize| printed.iter().position(|block| block.contains(&level));
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
                let tally = self.tally(inside.iter().map(|step| Member {
                    keeper: step.keeper,
                    tanks: step.tank.into_iter().collect(),
                    weight: step.months,
                }));
                let corals = inside.iter().map(|step| step.specimen).collect::<BTreeSet<_>>().len() as u64;
                let tally = Tally { specimens: corals, ..tally };
                let figure = minimums::curve(&tally).and_then(|()| {
                    let slope = slopes[level].ok_or_else(|| {
                        Refusal::plain(RefusalCode::EmptyGroup, "No coral was measured under this condition.")
                    })?;
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
            return Ok(Grown { codes, groups, kind: "increments" });
        }
        for (position, name) in names.iter().enumerate() {
            let inside: Vec<&&Line> =
                longest.iter().filter(|line| level_of(condition, line).and_then(block_of) == Some(position)).collect();
            if inside.is_empty() {
                continue;
            }
            let tally = self.tally(inside.iter().map(|line| member(line)));
            let figure = minimums::curve(&tally).and_then(|()| {
                let slopes: Vec<f64> = inside.iter().map(|line| line.slope_per_month).collect();
                // Corals of no known tank share one by keeper.
                let tanks: Vec<u32> = inside.iter().map(|line| line.tank.unwrap_or(u32::MAX - line.keeper)).collect();
                let slope = group_slope(&slopes, &tanks, SEED, LEVEL)?;
                let limits = slope.limits.given();
                Ok(GrowthGroup {
                    group: name.code.clone(),
                    specimens: tally.specimens,
                    tanks: Some(tally.tanks),
                    slope_per_month: slope.slope,
                    std_error: None,
                    df: None,
                    lower: limits.map(|limits| limits.lower),
                    upper: limits.map(|limits| limits.upper),
                    ratio_per_month: slope.slope.exp(),
                })
            });
            codes.push(name.code.clone());
            groups.push(Part::from(figure));
        }
        Ok(Grown { codes, groups, kind: "theil_sen" })
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

/// The tally of the corals with time under some levels; unknown is the one after the known.
pub(super) fn block_tally(spells: &[Spell], levels: &[usize], known: usize) -> Tally {
    let chosen: Vec<&Spell> = spells.iter().filter(|spell| levels.contains(&spell.level.unwrap_or(known))).collect();
    let specimens = chosen.iter().map(|spell| spell.specimen).collect::<BTreeSet<_>>().len() as u64;
    Tally { specimens, ..tree::tally(chosen.iter().map(|spell| &spell.member)) }
}

fn member(line: &Line) -> Member {
    let span = line.days.last().zip(line.days.first()).map_or(0.0, |(last, first)| last - first);
    Member { keeper: line.keeper, tanks: line.tank.into_iter().collect(), weight: span }
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
