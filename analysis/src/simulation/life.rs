//! The life of one specimen under the model: acquired, living day by day, dying, leaving or living on.

use super::draw::Draw;
use super::{Tank, TaxonDesign};

/// What became of a simulated specimen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Died of the model's hazard.
    Died,
    /// Died in its tank's incident.
    Incident,
    /// Given away or sold.
    Left,
}

/// One life.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// What became of it and on what day; `None` = alive on the last day.
    pub end: Option<(Fate, i32)>,
    /// (day, size in mm) on the days its keeper might have measured.
    pub sizes: Vec<(i32, f64)>,
}

impl Life {
    /// Day of death.
    pub fn died_on(&self) -> Option<i32> {
        match self.end {
            Some((Fate::Died | Fate::Incident, day)) => Some(day),
            _ => None,
        }
    }

    /// Alive on a day, as far as it was in the tank.
    pub fn alive_on(&self, day: i32) -> bool {
        self.end.is_none_or(|(_, end)| day < end)
    }
}

/// A specimen about to live.
pub struct Case<'a> {
    /// Its taxon.
    pub plan: &'a TaxonDesign,
    /// Its tank.
    pub tank: &'a Tank,
    /// Day acquired.
    pub acquired: i32,
    /// Wild stock.
    pub wild: bool,
    /// Last day of the records.
    pub last_day: i32,
}

impl Case<'_> {
    /// Probability of dying on the day of an age, incident included.
    fn risk(&self, age: i32) -> f64 {
        let day = self.acquired + age;
        let nitrate = self.tank.water.nitrate(day);
        let hazard = self.tank.frailty * self.plan.daily_hazard(age, nitrate, self.wild, self.tank.feeds_per_week);
        let natural = -(-hazard).exp_m1();
        match self.tank.incident {
            Some(incident) if incident.day == day => 1.0 - (1.0 - natural) * (1.0 - incident.share),
            _ => natural,
        }
    }

    /// Probability of living `days` days.
    pub fn survival(&self, days: i32) -> f64 {
        (1..=days).map(|age| 1.0 - self.risk(age)).product()
    }

    /// Draws the life.
    pub fn live(&self, rng: &mut Draw) -> Life {
        let leaving = -(-self.plan.leaving_per_year / 365.25).exp_m1();
        let mut log_size = (self.plan.bought_mm * (0.7 + 0.6 * rng.unit())).ln();
        let vigour = 1.0 + 0.3 * rng.normal();
        let next_look = 20 + rng.whole(0, 40);
        let mut look = next_look;
        let mut sizes = vec![(self.acquired, log_size.exp())];
        for age in 1..=self.last_day - self.acquired {
            let day = self.acquired + age;
            if rng.chance(self.risk(age)) {
                let fate = match self.tank.incident {
                    Some(incident) if incident.day == day => Fate::Incident,
                    _ => Fate::Died,
                };
                return Life { end: Some((fate, day)), sizes };
            }
            if rng.chance(leaving) {
                return Life { end: Some((Fate::Left, day)), sizes };
            }
            let good = if self.plan.in_band(self.tank.water.nitrate(day)) { 1.0 } else { 0.7 };
            log_size += self.plan.growth_per_month * vigour * good / 30.4375;
            if age == look {
                sizes.push((day, (log_size + 0.03 * rng.normal()).exp()));
                look += 55 + rng.whole(0, 50);
            }
        }
        Life { end: None, sizes }
    }
}
