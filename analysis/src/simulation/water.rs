//! The water of one tank, day by day: each parameter wanders about the tank's own mean.

use super::draw::Draw;
use crate::vocabulary::ParameterCode;

/// Parameters that have a course, in the order of [`Water::on`].
pub const PARAMETERS: [&str; 7] =
    ["temperature", "salinity", "alkalinity", "calcium", "magnesium", "nitrate", "phosphate"];

/// How a parameter wanders: centre and spread over tanks, spread within a tank, on the log scale or not.
struct Course {
    centre: f64,
    between: f64,
    within: f64,
    log: bool,
}

const COURSES: [Course; 7] = [
    Course { centre: 25.2, between: 0.35, within: 0.35, log: false },
    Course { centre: 34.6, between: 0.45, within: 0.35, log: false },
    Course { centre: 8.4, between: 0.6, within: 0.35, log: false },
    Course { centre: 425.0, between: 14.0, within: 8.0, log: false },
    Course { centre: 1320.0, between: 40.0, within: 20.0, log: false },
    Course { centre: 10.0, between: 0.55, within: 0.35, log: true },
    Course { centre: 0.06, between: 0.5, within: 0.4, log: true },
];

/// Share of yesterday's departure from the mean that is still there today.
const MEMORY: f64 = 0.97;

/// Daily values of one tank.
#[derive(Debug, Clone)]
pub struct Water {
    first_day: i32,
    days: Vec<[f64; PARAMETERS.len()]>,
}

impl Water {
    /// Draws the course from `first_day` up to and without `end`.
    pub fn draw(first_day: i32, end: i32, rng: &mut Draw) -> Self {
        let mut means = [0.0; PARAMETERS.len()];
        let mut now = [0.0; PARAMETERS.len()];
        for (at, course) in COURSES.iter().enumerate() {
            let centre = if course.log { course.centre.ln() } else { course.centre };
            means[at] = centre + course.between * rng.normal();
            now[at] = course.within * rng.normal();
        }
        let fresh = (1.0 - MEMORY * MEMORY).sqrt();
        let days = (first_day..end)
            .map(|_| {
                let mut values = [0.0; PARAMETERS.len()];
                for (at, course) in COURSES.iter().enumerate() {
                    now[at] = MEMORY * now[at] + fresh * course.within * rng.normal();
                    let value = means[at] + now[at];
                    values[at] = if course.log { value.exp() } else { value };
                }
                values
            })
            .collect();
        Water { first_day, days }
    }

    /// All values of a day, in the order of [`PARAMETERS`]; the nearest day at the ends.
    pub fn on(&self, day: i32) -> &[f64; PARAMETERS.len()] {
        let at = (day - self.first_day).clamp(0, self.days.len() as i32 - 1);
        &self.days[at as usize]
    }

    /// Nitrate of a day in mg/L.
    pub fn nitrate(&self, day: i32) -> f64 {
        self.on(day)[5]
    }

    /// The catalogue's codes, in the order of [`PARAMETERS`].
    pub fn codes() -> Vec<ParameterCode> {
        PARAMETERS.iter().filter_map(|code| ParameterCode::parse(code)).collect()
    }
}
