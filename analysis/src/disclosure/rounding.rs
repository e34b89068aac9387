//! The last step: figures as an audience sees them.

use chrono::{Datelike, NaiveDate};

use crate::answer::{
    AtHorizon, Audience, CauseIncidence, CensusCounts, CoxResult, CurvePoint, Estimate, Evidence, FedByWater,
    FirthCoefficient, GivenDays, GrowthAnswer, GrowthEvidence, GrowthGroup, HazardPiece, InteractionRatios, LeftOut,
    LogRankTest, Method, MixLine, Period, RatePart, RestrictedMeanPart, RunOutcome, SurvivalAnswer, SurvivalGroup,
    TaxonAnswered,
};
use crate::refusal::{Part, Refusal};

/// The nearest multiple of 5, halves up.
pub fn count(n: u64) -> u64 {
    (n + 2) / 5 * 5
}

/// The nearest multiple of 50 days, halves up.
pub fn days(x: f64) -> f64 {
    (x / 50.0 + 0.5).floor() * 50.0
}

/// Two significant digits, halves away from 0.
pub fn two_digits(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let exponent = x.abs().log10().floor() as i32 - 1;
    // Through text: dividing by a power of ten would leave digits behind.
    let scaled = x / 10_f64.powi(exponent);
    format!("{}e{exponent}", scaled.round()).parse().unwrap_or(x)
}

/// A refusal without counts: what is lacking would say what there is.
pub fn refusal(refusal: &Refusal) -> Refusal {
    let own = refusal.code == crate::refusal::RefusalCode::Suppressed;
    Refusal {
        code: refusal.code,
        have: None,
        need: refusal.need,
        message: if own { refusal.message.clone() } else { sentence_of(crate::wording::refusal(refusal.code)) },
    }
}

/// A few words as a sentence of their own.
pub fn sentence_of(words: &str) -> String {
    let mut letters = words.chars();
    let sentence: String =
        letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect());
    format!("{sentence}.")
}

fn opt(x: &mut Option<f64>) {
    *x = x.map(two_digits);
}

fn part<T>(part: &mut Part<T>, round: impl FnOnce(&mut T)) {
    match part {
        Part::Given(value) => round(value),
        Part::Refused { refused } => *refused = refusal(refused),
    }
}

/// First and last day by year for the public, by month for members.
fn period(period: &mut Period, audience: Audience) {
    let (from, to) = match audience {
        Audience::Public => (
            period.from.and_then(|day| NaiveDate::from_ymd_opt(day.year(), 1, 1)),
            period.to.and_then(|day| NaiveDate::from_ymd_opt(day.year(), 12, 31)),
        ),
        Audience::Member => (
            period.from.and_then(|day| day.with_day(1)),
            period.to.and_then(|day| day.with_day(1)?.checked_add_months(chrono::Months::new(1))?.pred_opt()),
        ),
        Audience::Curator | Audience::Keeper => return,
    };
    (period.from, period.to) = (from, to);
}

fn evidence(evidence: &mut Evidence) {
    for n in [
        &mut evidence.specimens,
        &mut evidence.keepers,
        &mut evidence.tanks,
        &mut evidence.deaths,
        &mut evidence.date_held,
        &mut evidence.acquired_midpoint,
        &mut evidence.register_sightings,
        &mut evidence.missing,
        &mut evidence.tank_events,
    ] {
        *n = count(*n);
    }
    evidence.declines = evidence.declines.map(count);
    evidence.specimen_days = days(evidence.specimen_days);
    evidence.days_unknown = days(evidence.days_unknown);
    if let Some(left) = &mut evidence.left_out {
        *left = LeftOut {
            acquired_unknown: count(left.acquired_unknown),
            held: count(left.held),
            losses_not_listed: count(left.losses_not_listed),
            ended_before_entry: count(left.ended_before_entry),
            arrived_dead: count(left.arrived_dead),
            no_follow_up: count(left.no_follow_up),
            poor_at_entry: left.poor_at_entry.map(count),
            no_look_at_entry: left.no_look_at_entry.map(count),
            never_declined: left.never_declined.map(count),
        };
    }
    if let Some(given) = &mut evidence.given {
        *given = GivenDays { kept: days(given.kept), outside: days(given.outside), unknown: days(given.unknown) };
    }
}

fn curve(points: &mut Vec<CurvePoint>) {
    for point in points {
        point.at_risk = count(point.at_risk);
        point.events = count(point.events);
        point.censored = count(point.censored);
        point.survival = two_digits(point.survival);
        opt(&mut point.std_error);
        opt(&mut point.lower);
        opt(&mut point.upper);
    }
}

fn group(group: &mut SurvivalGroup) {
    group.n = count(group.n);
    group.events = count(group.events);
    group.start_time = two_digits(group.start_time);
    evidence(&mut group.evidence);
    part(&mut group.curve, curve);
    part(&mut group.at_horizon, |at: &mut AtHorizon| {
        at.survival = two_digits(at.survival);
        opt(&mut at.lower);
        opt(&mut at.upper);
    });
    part(&mut group.sentence, |_| {});
    part(&mut group.median, |median: &mut Estimate| {
        opt(&mut median.estimate);
        opt(&mut median.lower);
        opt(&mut median.upper);
    });
    part(&mut group.rmst, |mean: &mut RestrictedMeanPart| {
        mean.estimate = two_digits(mean.estimate);
        opt(&mut mean.std_error);
        opt(&mut mean.lower);
        opt(&mut mean.upper);
        if let Some(difference) = &mut mean.difference {
            part(difference, |days: &mut Estimate| {
                opt(&mut days.estimate);
                opt(&mut days.lower);
                opt(&mut days.upper);
            });
        }
    });
    part(&mut group.rates, rates);
}

/// Losses per 100 coral-months.
pub fn rates(rate: &mut RatePart) {
    rate.per_100_months = two_digits(rate.per_100_months);
    rate.lower = two_digits(rate.lower);
    rate.upper = two_digits(rate.upper);
}

fn causes(causes: &mut Vec<CauseIncidence>) {
    for cause in causes {
        cause.events = count(cause.events);
        cause.incidence = two_digits(cause.incidence);
        opt(&mut cause.std_error);
        opt(&mut cause.lower);
        opt(&mut cause.upper);
    }
}

fn hazard(pieces: &mut [HazardPiece]) {
    pieces.iter_mut().for_each(hazard_piece);
}

/// One piece of age.
pub fn hazard_piece(piece: &mut HazardPiece) {
    piece.events = count(piece.events);
    piece.specimen_days = days(piece.specimen_days);
    piece.rate = two_digits(piece.rate);
    piece.lower = two_digits(piece.lower);
    piece.upper = two_digits(piece.upper);
}

fn cox(fit: &mut CoxResult) {
    for coefficient in &mut fit.coefficients {
        for x in [
            &mut coefficient.coef,
            &mut coefficient.hazard_ratio,
            &mut coefficient.std_error,
            &mut coefficient.robust_std_error,
            &mut coefficient.lower,
            &mut coefficient.upper,
            &mut coefficient.p,
        ] {
            opt(x);
        }
        if let Some(of) = &mut coefficient.firth {
            *of = firth(of);
        }
        if let Some(refused) = &mut coefficient.refused {
            *refused = refusal(refused);
        }
    }
    fit.log_likelihood.at_zero = two_digits(fit.log_likelihood.at_zero);
    fit.log_likelihood.fitted = two_digits(fit.log_likelihood.fitted);
    part(&mut fit.proportionality, |tests| {
        for test in tests {
            test.statistic = two_digits(test.statistic);
            test.p = two_digits(test.p);
        }
    });
}

fn interaction(table: &mut FedByWater) {
    table.days_unknown = days(table.days_unknown);
    for cell in &mut table.cells {
        evidence(&mut cell.evidence);
        part(&mut cell.rates, rates);
    }
    part(&mut table.hazard_ratios, |ratios: &mut InteractionRatios| {
        for ratio in [&mut ratios.among_in, &mut ratios.among_out, &mut ratios.ratio] {
            ratio.coef = two_digits(ratio.coef);
            ratio.hazard_ratio = two_digits(ratio.hazard_ratio);
            ratio.std_error = two_digits(ratio.std_error);
            for x in [&mut ratio.robust_std_error, &mut ratio.lower, &mut ratio.upper, &mut ratio.p] {
                opt(x);
            }
            if let Some(of) = &mut ratio.firth {
                *of = firth(of);
            }
            if let Some(refused) = &mut ratio.refused {
                *refused = refusal(refused);
            }
        }
    });
    part(&mut table.sentence, |_| {});
}

fn firth(fit: &FirthCoefficient) -> FirthCoefficient {
    FirthCoefficient {
        coef: two_digits(fit.coef),
        hazard_ratio: two_digits(fit.hazard_ratio),
        std_error: two_digits(fit.std_error),
        lower: two_digits(fit.lower),
        upper: two_digits(fit.upper),
        p: two_digits(fit.p),
    }
}

fn log_rank(test: &mut LogRankTest) {
    test.statistic = two_digits(test.statistic);
    test.p = two_digits(test.p);
    opt(&mut test.robust_p);
}

fn taxon(taxon: &mut TaxonAnswered) {
    mix(&mut taxon.mix);
    for step in &mut taxon.fallback {
        step.refused = refusal(&step.refused);
    }
}

fn mix(lines: &mut Vec<MixLine>) {
    for line in lines {
        line.specimens = count(line.specimens);
    }
}

fn method(method: &mut Method) {
    method.clusters = count(method.clusters);
    opt(&mut method.start_time);
    for line in &mut method.e_values {
        line.estimate = two_digits(line.estimate);
        line.limit = two_digits(line.limit);
    }
}

/// An answer on survival, rounded for its audience.
pub fn survival(answer: &mut SurvivalAnswer, audience: Audience) {
    if let Part::Given(whole) = &mut answer.evidence {
        period(&mut whole.period, audience);
    }
    if let Part::Given(result) = &mut answer.result {
        for group in &mut result.groups {
            period(&mut group.evidence.period, audience);
        }
        if let Some(Part::Given(table)) = &mut result.interaction {
            table.cells.iter_mut().for_each(|cell| period(&mut cell.evidence.period, audience));
        }
    }
    if audience != Audience::Public {
        return;
    }
    taxon(&mut answer.taxon);
    part(&mut answer.evidence, evidence);
    part(&mut answer.result, |result| {
        result.groups.iter_mut().for_each(group);
        part(&mut result.causes, causes);
        part(&mut result.hazard, |pieces| hazard(pieces));
        part(&mut result.log_rank, log_rank);
        part(&mut result.cox, cox);
        part(&mut result.sentence, |_| {});
        if let Some(table) = &mut result.interaction {
            part(table, interaction);
        }
    });
    for placed in &mut answer.refusals {
        placed.refusal = refusal(&placed.refusal);
    }
    method(&mut answer.method);
    for run in &mut answer.sensitivity {
        outcome(&mut run.outcome);
    }
}

fn outcome(outcome: &mut RunOutcome) {
    match outcome {
        RunOutcome::Same { .. } => {}
        RunOutcome::Refused { refused } => *refused = refusal(refused),
        RunOutcome::Estimate { estimate, lower, upper, .. } => {
            *estimate = two_digits(*estimate);
            opt(lower);
            opt(upper);
        }
    }
}

/// An answer on growth, rounded for its audience.
pub fn growth(answer: &mut GrowthAnswer, audience: Audience) {
    if let Part::Given(whole) = &mut answer.evidence {
        period(&mut whole.period, audience);
    }
    if audience != Audience::Public {
        return;
    }
    taxon(&mut answer.taxon);
    part(&mut answer.evidence, |evidence: &mut GrowthEvidence| {
        for n in [
            &mut evidence.specimens,
            &mut evidence.keepers,
            &mut evidence.tanks,
            &mut evidence.sizes,
            &mut evidence.tissue_only,
            &mut evidence.other_measure,
            &mut evidence.falls,
        ] {
            *n = count(*n);
        }
    });
    part(&mut answer.result, |result| {
        for group in &mut result.groups {
            part(group, |group: &mut GrowthGroup| {
                group.specimens = count(group.specimens);
                group.tanks = group.tanks.map(count);
                group.slope_per_month = two_digits(group.slope_per_month);
                group.ratio_per_month = two_digits(group.ratio_per_month);
                opt(&mut group.std_error);
                opt(&mut group.df);
                opt(&mut group.lower);
                opt(&mut group.upper);
            });
        }
    });
    for placed in &mut answer.refusals {
        placed.refusal = refusal(&placed.refusal);
    }
    method(&mut answer.method);
}

/// Counts of a census, rounded for their audience.
pub fn census(counts: &mut CensusCounts, audience: Audience) {
    if audience != Audience::Public {
        return;
    }
    for n in [&mut counts.specimens, &mut counts.keepers, &mut counts.deaths, &mut counts.living] {
        *n = count(*n);
    }
    mix(&mut counts.mix);
}
