//! Step functions of calendar time.

/// Number of a level; `None` = not known.
pub type Level = Option<u16>;

/// A stretch `(start, stop]` of calendar days with one level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Start, not included.
    pub start: f64,
    /// End, included.
    pub stop: f64,
    /// Level throughout.
    pub level: Level,
}

/// A step function: each level holds on `(at, next at]`; before the first step it is unknown.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Steps {
    at: Vec<f64>,
    level: Vec<Level>,
}

impl Steps {
    /// One level at all times.
    pub fn constant(level: Level) -> Steps {
        Steps { at: vec![f64::NEG_INFINITY], level: vec![level] }
    }

    /// The function that has at each of these instants the level that `level_at` gives, and keeps it until the next.
    pub fn from_instants(mut instants: Vec<f64>, mut level_at: impl FnMut(f64) -> Level) -> Steps {
        instants.sort_by(f64::total_cmp);
        instants.dedup();
        let mut steps = Steps::default();
        for instant in instants {
            steps.push(instant, level_at(instant));
        }
        steps.at.shrink_to_fit();
        steps.level.shrink_to_fit();
        steps
    }

    /// The same steps with other levels.
    pub fn mapped(&self, map: impl Fn(u16) -> Level) -> Steps {
        let mut steps = Steps::default();
        for (at, level) in self.at.iter().zip(&self.level) {
            steps.push(*at, level.and_then(&map));
        }
        steps
    }

    /// Appends a step; a step to the level already in force adds nothing.
    pub(super) fn push(&mut self, at: f64, level: Level) {
        if self.level.last().copied().unwrap_or(None) != level {
            self.at.push(at);
            self.level.push(level);
        }
    }

    /// The instants at which the level changes.
    pub fn instants(&self) -> impl Iterator<Item = f64> + '_ {
        self.at.iter().copied()
    }

    /// The level just after `t`.
    pub fn after(&self, t: f64) -> Level {
        match self.at.partition_point(|at| *at <= t) {
            0 => None,
            next => self.level[next - 1],
        }
    }

    /// The stretches of `(from, to]`, in order.
    pub fn between(&self, from: f64, to: f64) -> Vec<Segment> {
        let mut segments = Vec::new();
        if from >= to {
            return segments;
        }
        let mut start = from;
        let mut level = self.after(from);
        let first = self.at.partition_point(|at| *at <= from);
        for (&at, &next) in self.at[first..].iter().zip(&self.level[first..]) {
            if at >= to {
                break;
            }
            segments.push(Segment { start, stop: at, level });
            (start, level) = (at, next);
        }
        segments.push(Segment { start, stop: to, level });
        segments
    }
}
