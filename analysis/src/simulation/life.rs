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
    /// (day, condition from 5, open and growing, to 1) on the days its keeper might have looked.
    pub looks: Vec<(i32, u8)>,
}

/// A stretch of days in which it does badly.
struct Spell {
    from: i32,
    to: i32,
    /// It ends in death.
    last: bool,
    /// Worst condition, of one it recovers from.
    worst: u8,
}

impl Spell {
    fn condition(&self, day: i32) -> u8 {
        let share = f64::from(day - self.from) / f64::from((self.to - self.from).max(1));
        match (self.last, share) {
            (true, share) if share >= 0.8 => 1,
            (true, share) if share >= 0.4 => 2,
            (false, share) if (0.3..0.7).contains(&share) => self.worst,
            _ => 3,
        }
    }
}

impl Life {
    /// Day of death.
    pub fn died_on(&self) -> Option<i32> {
        match self.end {
            Some((Fate::Died | Fate::Incident, day)) => Some(day),
            _ => None,
        }
    }

    /// Draws how it looked: most deaths are seen coming, and now and then one does badly and recovers.
    pub(super) fn look(&mut self, acquired: i32, last_day: i32, rng: &mut Draw) {
        let end = self.end.map_or(last_day, |(_, day)| day);
        let mut spells = Vec::new();
        let mut day = acquired;
        loop {
            day += rng.whole(60, 2_600);
            let to = day + rng.whole(20, 60);
            let worst = if rng.chance(0.3) { 2 } else { 3 };
            if day >= end {
                break;
            }
            spells.push(Spell { from: day, to, last: false, worst });
            day = to;
        }
        let (foreseen, before) = (rng.chance(0.75), rng.whole(15, 130));
        if let Some((Fate::Died, day)) = self.end
            && foreseen
        {
            spells.insert(0, Spell { from: day - before, to: day, last: true, worst: 1 });
        }
        let mut day = acquired + rng.whole(0, 20);
        while day < end {
            let well = if rng.chance(0.2) { 5 } else { 4 };
            let spell = spells.iter().find(|spell| (spell.from..spell.to).contains(&day));
            self.looks.push((day, spell.map_or(well, |spell| spell.condition(day))));
            day += rng.whole(22, 42);
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

    /// Draws the life, without looks.
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
                return Life { end: Some((fate, day)), sizes, looks: Vec::new() };
            }
            if rng.chance(leaving) {
                return Life { end: Some((Fate::Left, day)), sizes, looks: Vec::new() };
            }
            let good = if self.plan.in_band(self.tank.water.nitrate(day)) { 1.0 } else { 0.7 };
            log_size += self.plan.growth_per_month * vigour * good / 30.4375;
            if age == look {
                sizes.push((day, (log_size + 0.03 * rng.normal()).exp()));
                look += 55 + rng.whole(0, 50);
            }
        }
        Life { end: None, sizes, looks: Vec::new() }
    }
}
