//! What became of them: the share lost to each of several competing causes (Aalen–Johansen).
//!
//! One minus the survival curve of one cause, with deaths of other causes censored, is not the share lost to it; this
//! is. Survival and the incidences of all causes always sum to 1.
//!
//! Aalen 1978, Ann Stat 6: 534–545; Marubini & Valsecchi 1995, *Analysing Survival Data from Clinical Trials and
//! Observational Studies*, section 10.2 (from memory).

use crate::episode::Episodes;
use crate::numeric::tail::normal_multiplier;
use crate::refusal::{Refusal, RefusalCode};

use super::kaplan_meier::FollowUp;
use super::risk::RiskSets;

/// Incidence of one cause at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Incidence {
    /// Share lost to the cause so far.
    pub incidence: f64,
    /// Standard error.
    pub std_error: f64,
    /// Lower limit, on the log(-log) scale; `None` where the incidence is 0 or 1.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// The state of affairs from one time of a death up to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct IncidenceStep {
    /// Time of the deaths.
    pub time: f64,
    /// At risk just before `time`.
    pub at_risk: u64,
    /// Deaths at `time` of any cause.
    pub events: u64,
    /// Share still alive.
    pub survival: f64,
    /// By cause, the first being cause 1.
    pub causes: Vec<Incidence>,
}

/// Incidence of competing causes over time.
#[derive(Debug, Clone, PartialEq)]
pub struct CumulativeIncidence {
    /// Everything is conditional on being alive at this time.
    pub start_time: f64,
    /// One step per time of a death; before the first all incidences are 0.
    pub steps: Vec<IncidenceStep>,
    /// Last time anybody was watched without a break; steps end there.
    pub last_time: f64,
    /// The time from which nobody was at risk although others entered later; everything ends there.
    pub gap: Option<f64>,
    /// Coverage of the limits.
    pub level: f64,
}

impl CumulativeIncidence {
    /// The step in force at `t`; `None` before the first death, before the start and after the last look.
    pub fn at(&self, t: f64) -> Option<&IncidenceStep> {
        if t.is_nan() || t < self.start_time || t > self.last_time {
            return None;
        }
        self.steps.partition_point(|step| step.time <= t).checked_sub(1).and_then(|last| self.steps.get(last))
    }
}

/// Incidence of the causes `1..=causes`; `cause` holds one number per row, 0 for a row that ends without death.
/// `start_time` `None`: from the smallest entry. The column `event` of the rows is not read.
///
/// # Errors
/// `InvalidInput` for a bad row or cause, `NoEvents` if no row has a cause at `start_time` or later.
pub fn cumulative_incidence(
    episodes: &Episodes,
    cause: &[u32],
    causes: usize,
    start_time: Option<f64>,
    level: f64,
) -> Result<CumulativeIncidence, Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    if let Err(row) = episodes.check() {
        return invalid(row.to_string());
    }
    if cause.len() != episodes.len() {
        return invalid(format!("{} rows but {} causes", episodes.len(), cause.len()));
    }
    if let Some(row) = cause.iter().position(|&c| c as usize > causes) {
        return invalid(format!("row {}: cause {} is not one of {causes}", row + 1, cause[row]));
    }
    let dead = ending_by(episodes, cause);
    let start_time = start_time.or(episodes.first_entry()).unwrap_or(0.0);
    let risk = RiskSets::new(&dead, None, Some(start_time));
    if risk.times.is_empty() {
        return Err(Refusal::counted(
            RefusalCode::NoEvents,
            0.0,
            1.0,
            "nobody died: there are no causes to tell apart",
        ));
    }
    Ok(incidences(&dead, &risk, cause, causes, start_time, level))
}

/// The rows with a death of any cause as their event.
pub(super) fn ending_by(episodes: &Episodes, cause: &[u32]) -> Episodes {
    Episodes { event: cause.iter().map(|&c| c > 0).collect(), ..episodes.clone() }
}

/// Incidence of the causes `1..=causes` of checked rows; `dead` is [`ending_by`] of them, `risk` is that of `dead`.
pub(super) fn incidences(
    dead: &Episodes,
    risk: &RiskSets,
    cause: &[u32],
    causes: usize,
    start_time: f64,
    level: f64,
) -> CumulativeIncidence {
    let follow_up = FollowUp::new(dead, start_time);
    let gap = follow_up.first_gap(start_time);
    let last_time = gap.or(follow_up.last_exit()).unwrap_or(start_time);
    let (at_risk, events) = risk.counts(dead);
    let mut by_cause = vec![0u64; risk.times.len() * causes];
    for (row, &c) in cause.iter().enumerate() {
        if let Some(death) = risk.own_death(dead, row) {
            by_cause[death * causes + c as usize - 1] += 1;
        }
    }
    let z = normal_multiplier(level);
    let mut survival = 1.0;
    let mut running = vec![Running::default(); causes];
    let mut steps = Vec::with_capacity(risk.times.len());
    for j in 0..risk.times.partition_point(|t| *t <= last_time) {
        let (n, d) = (at_risk[j] as f64, events[j] as f64);
        let of_causes = running
            .iter_mut()
            .enumerate()
            .map(|(k, sums)| sums.advance(survival, n, d, by_cause[j * causes + k] as f64, z))
            .collect();
        survival = if d >= n { 0.0 } else { survival * ((n - d) / n) };
        steps.push(IncidenceStep {
            time: risk.times[j],
            at_risk: at_risk[j],
            events: events[j],
            survival,
            causes: of_causes,
        });
    }
    CumulativeIncidence { start_time, steps, last_time, gap, level }
}

/// Sums of the variance of `F(t)`, kept so that no large terms cancel:
/// Var F(t) = Σ (F(t)-F_j)² a_j + Σ b_j - 2 Σ (F(t)-F_j) c_j, with a_j = d/(n(n-d)) of all causes,
/// b_j = S² (n-d_k) d_k / n³ and c_j = S d_k / n².
#[derive(Debug, Clone, Copy, Default)]
struct Running {
    incidence: f64,
    a: f64,
    distance_a: f64,
    distance2_a: f64,
    b: f64,
    c: f64,
    distance_c: f64,
}

impl Running {
    fn advance(&mut self, survival_before: f64, n: f64, d: f64, own: f64, z: f64) -> Incidence {
        let step = survival_before * own / n;
        self.distance2_a += step * (2.0 * self.distance_a + step * self.a);
        self.distance_a += step * self.a;
        self.distance_c += step * self.c;
        self.incidence += step;
        self.a += if d < n { d / (n * (n - d)) } else { 0.0 };
        self.b += survival_before * survival_before * (n - own) * own / (n * n * n);
        self.c += survival_before * own / (n * n);
        let std_error = (self.distance2_a + self.b - 2.0 * self.distance_c).max(0.0).sqrt();
        let f = self.incidence;
        let inside = f > 0.0 && f < 1.0 && std_error > 0.0;
        let spread = inside.then(|| (z * std_error / (f * f.ln().abs())).exp());
        Incidence { incidence: f, std_error, lower: spread.map(|v| f.powf(v)), upper: spread.map(|v| f.powf(1.0 / v)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(stop: &[f64]) -> Episodes {
        Episodes { start: vec![0.0; stop.len()], stop: stop.to_vec(), event: vec![false; stop.len()] }
    }

    #[test]
    fn two_causes_by_hand() -> Result<(), Refusal> {
        // Day 1: cause 1, of 4. Day 2: cause 2, of 3. Day 3: censored. Day 4: cause 1, of 1.
        let f = cumulative_incidence(&rows(&[1.0, 2.0, 3.0, 4.0]), &[1, 2, 0, 1], 2, None, 0.95)?;
        let at = |step: usize, k: usize| f.steps[step].causes[k].incidence;
        assert!((at(1, 0) - 0.25).abs() < 1e-15 && (at(1, 1) - 0.25).abs() < 1e-15);
        assert!((at(2, 0) - 0.75).abs() < 1e-15 && f.steps[2].survival == 0.0);
        // Var F_2(2): (1/4)² * 1/12 + 0 * 1/6 + (3/4)² * 2 * 1/27 - 2 * 0 = 3/64, the binomial variance of 1 of 4.
        let se = f.steps[1].causes[1].std_error;
        assert!((se * se - 3.0 / 64.0).abs() < 1e-15, "{}", se * se);
        Ok(())
    }

    #[test]
    fn without_censoring_the_variance_is_binomial() -> Result<(), Refusal> {
        let f = cumulative_incidence(&rows(&[1.0, 2.0, 3.0, 4.0, 5.0]), &[1, 2, 1, 2, 2], 2, None, 0.95)?;
        for step in &f.steps[..4] {
            for cause in &step.causes {
                let share = cause.incidence;
                assert!((cause.std_error * cause.std_error - share * (1.0 - share) / 5.0).abs() < 1e-15);
            }
        }
        Ok(())
    }

    #[test]
    fn what_cannot_be_told_says_why() {
        let code = |result: Result<CumulativeIncidence, Refusal>| result.map(|_| ()).map_err(|r| r.code);
        let e = rows(&[1.0, 2.0]);
        assert_eq!(code(cumulative_incidence(&e, &[0, 0], 2, None, 0.95)), Err(RefusalCode::NoEvents));
        assert_eq!(code(cumulative_incidence(&e, &[3, 0], 2, None, 0.95)), Err(RefusalCode::InvalidInput));
        assert_eq!(code(cumulative_incidence(&e, &[1], 2, None, 0.95)), Err(RefusalCode::InvalidInput));
        assert_eq!(code(cumulative_incidence(&rows(&[-1.0]), &[1], 2, None, 0.95)), Err(RefusalCode::InvalidInput));
    }
}
