//! Deaths and days by tank, and the test that the bins' hazards are equal.

use std::collections::BTreeMap;
use std::ops::Range;

use super::proposal::{Counts, columns};
use super::{BIN_DEATHS, Bin, BinTest, DEATHS, FIT_LEVEL, LossCell, TANKS};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::piecewise_exponential::{Cells, RateTest, piecewise_exponential};

/// Counts by tank.
pub(super) struct Tanks {
    ids: Vec<u32>,
    pub(super) counts: Vec<Counts>,
    pub(super) all: Counts,
    pieces: usize,
    steps: usize,
}

impl Tanks {
    pub(super) fn new(cells: &[LossCell], cuts: &[f64]) -> Result<Tanks, Refusal> {
        let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
        if cuts.is_empty() || cuts.iter().any(|cut| !cut.is_finite()) || cuts.windows(2).any(|c| c[0] >= c[1]) {
            return invalid("the cuts of a ladder rise, and there is at least one".into());
        }
        let steps = cuts.len() + 1;
        for cell in cells {
            let sound = cell.days.is_finite() && cell.days >= 0.0 && (cell.days > 0.0 || cell.deaths == 0);
            if !sound || cell.step as usize >= steps {
                return invalid(format!(
                    "a cell of {} deaths in {} days at step {}",
                    cell.deaths, cell.days, cell.step
                ));
            }
        }
        let pieces = cells.iter().map(|cell| cell.age_piece as usize + 1).max().unwrap_or(0);
        let mut by_tank: BTreeMap<u32, Counts> = BTreeMap::new();
        let mut all = Counts::new(pieces, steps);
        // Days are added in one order, whatever the order of the cells.
        let mut sorted: Vec<&LossCell> = cells.iter().filter(|cell| cell.days > 0.0).collect();
        sorted.sort_by(|a, b| {
            (a.tank, a.age_piece, a.step, a.deaths)
                .cmp(&(b.tank, b.age_piece, b.step, b.deaths))
                .then(a.days.total_cmp(&b.days))
        });
        for cell in sorted {
            let own = by_tank.entry(cell.tank).or_insert_with(|| Counts::new(pieces, steps));
            own.add(cell.age_piece as usize, cell.step as usize, cell.deaths, cell.days);
            all.add(cell.age_piece as usize, cell.step as usize, cell.deaths, cell.days);
        }
        let (ids, counts) = by_tank.into_iter().unzip();
        Ok(Tanks { ids, counts, all, pieces, steps })
    }

    pub(super) fn drawn(&self, drawn: &[usize]) -> Counts {
        let mut counts = Counts::new(self.pieces, self.steps);
        drawn.iter().for_each(|&tank| counts.add_all(&self.counts[tank]));
        counts
    }

    pub(super) fn test(&self, cuts: &[f64]) -> Result<BinTest, Refusal> {
        let (of_deaths, of_days) = (self.all.deaths_by_step(), self.all.days_by_step());
        let deaths: u64 = of_deaths.iter().sum();
        if deaths < DEATHS {
            let message = format!("a range needs {DEATHS} deaths, {} more", DEATHS - deaths);
            return Err(Refusal::counted(RefusalCode::TooFewEvents, deaths as f64, DEATHS as f64, message));
        }
        if self.ids.len() < TANKS {
            let message = format!("a range needs {TANKS} tanks, {} more", TANKS - self.ids.len());
            return Err(Refusal::counted(RefusalCode::TooFewTanks, self.ids.len() as f64, TANKS as f64, message));
        }
        let steps = self.all.bins();
        let cut = |boundary: usize| boundary.checked_sub(1).and_then(|at| cuts.get(at)).copied();
        let bins: Vec<Bin> = steps
            .iter()
            .map(|own| Bin {
                steps: own.clone(),
                from: cut(own.start),
                to: cut(own.end),
                deaths: of_deaths[own.clone()].iter().sum(),
                days: of_days[own.clone()].iter().sum(),
            })
            .collect();
        let fewest = bins.iter().map(|bin| bin.deaths).min().unwrap_or(0);
        if bins.len() < 2 || fewest < BIN_DEATHS {
            return Err(Refusal::counted(
                RefusalCode::TooFewEvents,
                if bins.len() < 2 { 0.0 } else { fewest as f64 },
                BIN_DEATHS as f64,
                format!("a range needs {BIN_DEATHS} deaths in each of at least two bins of the ladder"),
            ));
        }
        let test = self.wald(&steps)?;
        let days = of_days.iter().sum();
        Ok(BinTest { bins, test, tanks: self.ids.len(), deaths, days })
    }

    fn wald(&self, bins: &[Range<usize>]) -> Result<RateTest, Refusal> {
        let pieces = self.all.pieces();
        let (mut piece, mut bin, mut tank) = (Vec::new(), Vec::new(), Vec::new());
        let (mut deaths, mut time) = (Vec::new(), Vec::new());
        for (&id, counts) in self.ids.iter().zip(&self.counts) {
            for (at_piece, &own) in pieces.iter().enumerate() {
                for (at_bin, steps) in bins.iter().enumerate() {
                    let (d, days) = counts.of(own, steps);
                    if days > 0.0 {
                        piece.push(at_piece);
                        bin.push(at_bin);
                        tank.push(id);
                        deaths.push(d);
                        time.push(days);
                    }
                }
            }
        }
        let (covariates, first) = columns(&piece, pieces.len(), &bin, bins.len());
        let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: Some(&tank) };
        let fit = piecewise_exponential(&cells, FIT_LEVEL)?;
        fit.wald(&(first..first + bins.len() - 1).collect::<Vec<_>>())
    }
}
