//! The bin of lowest hazard and how far it reaches, from deaths and days by age piece and step.

use std::ops::Range;

use super::bins::{bins, wanted_bins};
use super::{ALIKE, LOWEST_DEATHS, LOWEST_SHARE};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::cox::Covariate;
use crate::survival::piecewise_exponential::{Cells, indicators, piecewise_exponential};

/// Deaths and days by age piece and step of the ladder.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Counts {
    steps: usize,
    deaths: Vec<u64>,
    days: Vec<f64>,
}

/// What counts propose.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Proposal {
    /// The bins.
    pub(super) bins: Vec<Range<usize>>,
    /// The bin of lowest hazard.
    pub(super) lowest: usize,
    /// Log hazard ratio of each bin to the lowest one.
    pub(super) log_ratio: Vec<f64>,
    /// Steps of the range, up to an end of the ladder where it reaches that of the days.
    pub(super) range: Range<usize>,
}

impl Counts {
    pub(super) fn new(pieces: usize, steps: usize) -> Counts {
        Counts { steps, deaths: vec![0; pieces * steps], days: vec![0.0; pieces * steps] }
    }

    pub(super) fn add(&mut self, piece: usize, step: usize, deaths: u64, days: f64) {
        self.deaths[piece * self.steps + step] += deaths;
        self.days[piece * self.steps + step] += days;
    }

    pub(super) fn add_all(&mut self, other: &Counts) {
        self.deaths.iter_mut().zip(&other.deaths).for_each(|(own, other)| *own += other);
        self.days.iter_mut().zip(&other.days).for_each(|(own, other)| *own += other);
    }

    pub(super) fn deaths_by_step(&self) -> Vec<u64> {
        (0..self.steps).map(|step| self.deaths.iter().skip(step).step_by(self.steps).sum()).collect()
    }

    pub(super) fn days_by_step(&self) -> Vec<f64> {
        (0..self.steps).map(|step| self.days.iter().skip(step).step_by(self.steps).sum()).collect()
    }

    pub(super) fn bins(&self) -> Vec<Range<usize>> {
        let deaths = self.deaths_by_step();
        bins(&self.days_by_step(), &deaths, wanted_bins(deaths.iter().sum()))
    }

    /// Age pieces with a death. The others say nothing of ratios: their own rate is 0 whatever the bins'.
    pub(super) fn pieces(&self) -> Vec<usize> {
        let of_piece = self.deaths.chunks_exact(self.steps).enumerate();
        of_piece.filter(|(_, deaths)| deaths.iter().any(|&d| d > 0)).map(|(piece, _)| piece).collect()
    }

    /// Deaths and days of an age piece in a bin.
    pub(super) fn of(&self, piece: usize, bin: &Range<usize>) -> (u64, f64) {
        let cells = piece * self.steps + bin.start..piece * self.steps + bin.end;
        (self.deaths[cells.clone()].iter().sum(), self.days[cells].iter().sum())
    }
}

/// The columns of a model of age pieces and bins, and the position of the first bin's coefficient.
pub(super) fn columns(piece: &[usize], pieces: usize, bin: &[usize], bins: usize) -> (Vec<Covariate>, usize) {
    let mut covariates = vec![Covariate { name: "all".into(), values: vec![1.0; piece.len()] }];
    covariates.extend(indicators("age piece", piece, pieces, 0));
    let first = covariates.len();
    covariates.extend(indicators("bin", bin, bins, 0));
    (covariates, first)
}

/// The range that these counts propose.
///
/// # Errors
/// `TooFewEvents` if deaths lie in one bin only or no bin may be the lowest; what the fit refuses.
pub(super) fn propose(counts: &Counts) -> Result<Proposal, Refusal> {
    let bins = counts.bins();
    if bins.len() < 2 {
        return Err(Refusal::counted(
            RefusalCode::TooFewEvents,
            bins.len() as f64,
            2.0,
            "deaths and days lie in one bin only",
        ));
    }
    let pieces = counts.pieces();
    let (mut piece, mut bin, mut deaths, mut time) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (at_piece, &own) in pieces.iter().enumerate() {
        for (at_bin, steps) in bins.iter().enumerate() {
            let (d, days) = counts.of(own, steps);
            piece.push(at_piece);
            bin.push(at_bin);
            deaths.push(d);
            time.push(days);
        }
    }
    let (covariates, first) = columns(&piece, pieces.len(), &bin, bins.len());
    let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: None };
    let fit = piecewise_exponential(&cells, super::FIT_LEVEL)?;
    let hazard: Vec<f64> = std::iter::once(0.0).chain(fit.coefficients[first..].iter().map(|own| own.coef)).collect();
    let (of_deaths, of_days) = (counts.deaths_by_step(), counts.days_by_step());
    let all: f64 = of_days.iter().sum();
    let may_be_lowest = |at: &usize| {
        let steps = bins[*at].clone();
        let deaths: u64 = of_deaths[steps.clone()].iter().sum();
        let days: f64 = of_days[steps].iter().sum();
        deaths >= LOWEST_DEATHS || days >= LOWEST_SHARE * all
    };
    let lowest = (0..bins.len()).filter(may_be_lowest).min_by(|&a, &b| hazard[a].total_cmp(&hazard[b]));
    let Some(lowest) = lowest else {
        return Err(Refusal::plain(RefusalCode::TooFewEvents, "no bin has enough deaths or days to be the lowest"));
    };
    let log_ratio: Vec<f64> = hazard.iter().map(|own| own - hazard[lowest]).collect();
    let alike = |at: usize| log_ratio[at] <= ALIKE.ln();
    let below = (0..lowest).rev().take_while(|&at| alike(at)).last().unwrap_or(lowest);
    let above = (lowest + 1..bins.len()).take_while(|&at| alike(at)).last().unwrap_or(lowest);
    // A range that reaches the end of the days on record has no edge there.
    let start = if below == 0 { 0 } else { bins[below].start };
    let end = if above + 1 == bins.len() { counts.steps } else { bins[above].end };
    let range = start..end;
    Ok(Proposal { bins, lowest, log_ratio, range })
}

impl Proposal {
    /// The log hazard ratio at a step; `None` outside the bins.
    pub(super) fn at_step(&self, step: usize) -> Option<f64> {
        self.bins.iter().position(|bin| bin.contains(&step)).map(|bin| self.log_ratio[bin])
    }
}
