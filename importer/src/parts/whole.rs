//! What is known of a whole text while its parts are read.

use std::collections::HashMap;
use std::rc::Rc;

use crate::canonical::date_column::year;
use crate::doubt::order::Verdict;

/// What is known of a whole text while its parts are read.
#[derive(Debug)]
pub(crate) struct Whole {
    /// What the column of days shows about its order.
    pub order: Verdict,
    /// Rows whose year has slipped.
    pub slips: Vec<year::Slipped>,
    /// Rows without a day.
    pub undated: usize,
    /// Numbers of each column or test as written, a sample.
    pub(super) samples: HashMap<String, Rc<[f64]>>,
    /// Unit and basis of each group of tests, as its first part showed them.
    pub(super) units: HashMap<String, (Option<&'static str>, Option<&'static str>)>,
    /// The level of each group whose parts are level.
    pub(super) levels: HashMap<String, f64>,
    /// Why the parts must be read together after all.
    pub unsound: Option<&'static str>,
}

impl Whole {
    /// Numbers of a column as written, spread over the whole text.
    pub fn sample(&self, about: &str) -> &[f64] {
        self.samples.get(about).map_or(&[], |sample| sample)
    }

    /// Takes note of what a group of tests was taken for: every part must say the same.
    pub fn agrees(&mut self, about: &str, told: (Option<&'static str>, Option<&'static str>)) {
        if *self.units.entry(about.to_owned()).or_insert(told) != told {
            self.unsound = Some("the unit of a column changes");
        }
    }

    /// Takes note of the level of a level part; one that differs by `factor` from an earlier one is a step between them.
    pub fn level(&mut self, about: &str, level: f64, is_step: impl Fn(f64) -> bool) {
        let known = self.levels.entry(about.to_owned()).or_insert(level);
        if is_step(level / *known) {
            self.unsound = Some("the level of a column steps between two parts");
        }
        *known = level;
    }
}
