//! The last step of the answers about a taxon: figures as an audience sees them.

use super::question::Audience;
use super::shape::{
    BandsResult, CasebookResult, ClaimForTaxon, ConditionLine, ConditionsResult, GrowthRatio, HazardResult,
    LeadUpResult, LevelEvidence, PlanResult, RateLimits, Ratio, TaxonAnswer,
};
use crate::disclosure::rounding::{self, count, days, two_digits};
use crate::refusal::{Part, Refusal};

/// Counts to five, figures to two digits, refusals without counts, for the public; nothing for others.
fn part<T>(part: &mut Part<T>, round: impl FnOnce(&mut T)) {
    match part {
        Part::Given(value) => round(value),
        Part::Refused { refused } => *refused = rounding::refusal(refused),
    }
}

fn opt(x: &mut Option<f64>) {
    *x = x.map(two_digits);
}

fn own(refused: &mut Option<Refusal>) {
    if let Some(refused) = refused {
        *refused = rounding::refusal(refused);
    }
}

/// Whether figures are rounded for an audience.
pub(super) fn is_rounded(audience: Audience) -> bool {
    audience == Audience::Public
}

/// The parts that every answer about a taxon has; evidence, mix and fallback come rounded from the plain answer.
fn common<R>(answer: &mut TaxonAnswer<R>) {
    for placed in &mut answer.refusals {
        placed.refusal = rounding::refusal(&placed.refusal);
    }
    if let Part::Refused { refused } = &mut answer.result {
        *refused = rounding::refusal(refused);
    }
}

/// An answer on conditions.
pub(super) fn conditions(answer: &mut TaxonAnswer<ConditionsResult>, audience: Audience) {
    if !is_rounded(audience) {
        return;
    }
    common(answer);
    if let Part::Given(result) = &mut answer.result {
        result.conditions.iter_mut().for_each(condition);
    }
}

fn ratio(ratio: &mut Ratio) {
    ratio.hazard_ratio = two_digits(ratio.hazard_ratio);
    ratio.std_error = two_digits(ratio.std_error);
    opt(&mut ratio.lower);
    opt(&mut ratio.upper);
}

fn level(level: &mut LevelEvidence) {
    for n in [&mut level.specimens, &mut level.keepers, &mut level.tanks, &mut level.events] {
        *n = count(*n);
    }
    level.specimen_days = days(level.specimen_days);
}

fn condition(line: &mut ConditionLine) {
    for x in [&mut line.hazard_ratio, &mut line.std_error, &mut line.lower, &mut line.upper, &mut line.p] {
        opt(x);
    }
    for of in &mut line.by_age {
        for x in [&mut of.hazard_ratio, &mut of.lower, &mut of.upper] {
            opt(x);
        }
    }
    own(&mut line.refused);
    part(&mut line.within_keeper, ratio);
    part(&mut line.adjusted, |adjusted| ratio(&mut adjusted.ratio));
    part(&mut line.shrunken, |shrunken| {
        ratio(&mut shrunken.ratio);
        shrunken.between = two_digits(shrunken.between);
    });
    part(&mut line.growth, |growth: &mut GrowthRatio| {
        growth.ratio_per_month = two_digits(growth.ratio_per_month);
        opt(&mut growth.lower);
        opt(&mut growth.upper);
        opt(&mut growth.p);
        opt(&mut growth.q);
    });
    part(&mut line.q, |q| *q = two_digits(*q));
    part(&mut line.sentence, |_| {});
    part(&mut line.evidence.level, level);
    part(&mut line.evidence.reference, level);
    part(&mut line.evidence.days_unknown, |unknown| *unknown = days(*unknown));
}

/// An answer on when corals are lost.
pub(super) fn hazard(answer: &mut TaxonAnswer<HazardResult>, audience: Audience) {
    if !is_rounded(audience) {
        return;
    }
    common(answer);
    let Part::Given(result) = &mut answer.result else { return };
    for age in &mut result.pieces {
        rounding::hazard_piece(&mut age.piece);
        part(&mut age.clustered, |limits: &mut RateLimits| {
            (limits.lower, limits.upper) = (two_digits(limits.lower), two_digits(limits.upper));
        });
    }
    rounding::rates(&mut result.overall);
}

/// The casebook: the public has none.
pub(super) fn casebook(answer: &mut TaxonAnswer<CasebookResult>, audience: Audience) {
    if is_rounded(audience) {
        common(answer);
    }
}

/// An answer on what to record.
pub(super) fn plan(answer: &mut TaxonAnswer<PlanResult>, audience: Audience) {
    if !is_rounded(audience) {
        return;
    }
    common(answer);
    let Part::Given(result) = &mut answer.result else { return };
    result.share = two_digits(result.share);
    result.design_effect = two_digits(result.design_effect);
    result.deaths_needed = two_digits(result.deaths_needed);
    part(&mut result.deaths_so_far, |deaths| *deaths = count(*deaths));
    part(&mut result.specimen_years_so_far, |years| *years = two_digits(*years));
    let years = &mut result.specimen_years;
    (years.estimate, years.lower) = (two_digits(years.estimate), two_digits(years.lower));
    opt(&mut years.upper);
    opt(&mut result.keepers);
    for step in &mut result.steps {
        step.count = step.count.map(count);
        opt(&mut step.specimen_years);
    }
}

/// An answer on the weeks before losses.
pub(super) fn lead_up(answer: &mut TaxonAnswer<LeadUpResult>, audience: Audience) {
    if !is_rounded(audience) {
        return;
    }
    common(answer);
    let Part::Given(result) = &mut answer.result else { return };
    (result.losses, result.controls) = (count(result.losses), count(result.controls));
    for line in &mut result.lines {
        part(&mut line.difference, |difference| *difference = two_digits(*difference));
        opt(&mut line.lower);
        opt(&mut line.upper);
        part(&mut line.odds_ratio, |odds| {
            for x in [&mut odds.estimate, &mut odds.lower, &mut odds.upper] {
                opt(x);
            }
        });
        part(&mut line.cases, |cases| *cases = count(*cases));
        part(&mut line.controls, |controls| *controls = count(*controls));
    }
    for line in &mut result.within_specimen {
        part(&mut line.difference, |difference| *difference = two_digits(*difference));
        opt(&mut line.lower);
        opt(&mut line.upper);
        part(&mut line.cases, |cases| *cases = count(*cases));
    }
}

/// An answer on taught bands; its comparisons come rounded from the answers on survival.
pub(super) fn bands(answer: &mut TaxonAnswer<BandsResult>, audience: Audience) {
    if !is_rounded(audience) {
        return;
    }
    common(answer);
    let Part::Given(result) = &mut answer.result else { return };
    for line in &mut result.bands {
        part(&mut line.comparison, |_| {});
        part(&mut line.sentence, |_| {});
        part(&mut line.seen, |seen| {
            seen.stability = two_digits(seen.stability);
            for bin in &mut seen.bins {
                part(&mut bin.events, |events| *events = count(*events));
                part(&mut bin.specimen_days, |time| *time = days(*time));
                bin.hazard_ratio = two_digits(bin.hazard_ratio);
                opt(&mut bin.lower);
                opt(&mut bin.upper);
                own(&mut bin.refused);
            }
        });
    }
}

/// What is taught of one taxon.
pub(super) fn claim(claim: &mut ClaimForTaxon, audience: Audience) {
    if !is_rounded(audience) {
        return;
    }
    for test in &mut claim.looked_at {
        for x in [&mut test.hazard_ratio, &mut test.lower, &mut test.upper, &mut test.growth_ratio_per_month] {
            opt(x);
        }
        part(&mut test.q, |q| *q = two_digits(*q));
        own(&mut test.refused);
    }
    if let Some(by_age) = &mut claim.by_age {
        part(by_age, |_| {});
    }
}
