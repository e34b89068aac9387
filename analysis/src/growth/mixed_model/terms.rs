//! Which random terms a mixed model has, and which of them can be told from 0.

use super::Theta;

/// The random terms of a model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::growth) struct Terms {
    intercept: bool,
    slope: bool,
    /// A specimen's slope may go with its start.
    joint: bool,
    tank: bool,
}

/// A random term that could not be told from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dropped {
    /// That fast growers start larger or smaller.
    SlopeCorrelation,
    /// That specimens differ in their slopes.
    SpecimenSlope,
    /// That tanks differ. Comparisons between tanks then count specimens as if they were tanks.
    Tank,
    /// That specimens differ in size at their start.
    SpecimenIntercept,
}

impl Dropped {
    /// The name in print.
    pub fn as_str(self) -> &'static str {
        match self {
            Dropped::SlopeCorrelation => "slope_correlation",
            Dropped::SpecimenSlope => "specimen_slope",
            Dropped::Tank => "tank",
            Dropped::SpecimenIntercept => "specimen_intercept",
        }
    }
}

/// Variances of the random terms; `None` for a term that is not in the model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variances {
    /// Of the specimens' starts, in squared units of `y`.
    pub specimen_intercept: Option<f64>,
    /// Of their slopes, per squared unit of time.
    pub specimen_slope: Option<f64>,
    /// Covariance of the two.
    pub covariance: Option<f64>,
    /// Of the tanks.
    pub tank: Option<f64>,
    /// Of what is left.
    pub residual: f64,
}

impl Terms {
    pub(super) fn all(tank: bool) -> Terms {
        Terms { intercept: true, slope: true, joint: true, tank }
    }

    pub(super) fn without_slope(self) -> Terms {
        Terms { slope: false, joint: false, ..self }
    }

    /// Whether each of intercept, joint, slope, tank is free.
    fn free(self) -> [bool; 4] {
        [self.intercept, self.joint, self.slope, self.tank]
    }

    /// Factors from the free ones.
    pub(in crate::growth) fn theta(self, free: &[f64]) -> Theta {
        let mut values = free.iter().copied();
        let [intercept, joint, slope, tank] =
            self.free().map(|is_free| if is_free { values.next().unwrap_or(0.0) } else { 0.0 });
        Theta { intercept, joint, slope, tank }
    }

    /// The free factors of these.
    pub(in crate::growth) fn of(self, theta: &Theta) -> Vec<f64> {
        let all = [theta.intercept, theta.joint, theta.slope, theta.tank];
        all.into_iter().zip(self.free()).filter(|(_, is_free)| *is_free).map(|(value, _)| value).collect()
    }

    pub(super) fn start(self, size: f64) -> Vec<f64> {
        self.of(&Theta { intercept: size, joint: 0.0, slope: size, tank: size })
    }

    /// The next smaller set of terms if a factor is 0 or a correlation 1, and what was dropped: first the correlation of
    /// slope and start, then the slope, then the tank, last the start.
    pub(super) fn without_singular(self, theta: &Theta, zero: f64) -> Option<(Terms, Dropped)> {
        let slope_is_zero = self.slope && theta.slope < zero * theta.joint.abs().max(1.0);
        let intercept_is_zero = self.intercept && theta.intercept < zero;
        if self.joint && (slope_is_zero || intercept_is_zero) {
            Some((Terms { joint: false, ..self }, Dropped::SlopeCorrelation))
        } else if slope_is_zero {
            Some((Terms { slope: false, ..self }, Dropped::SpecimenSlope))
        } else if self.tank && theta.tank < zero {
            Some((Terms { tank: false, ..self }, Dropped::Tank))
        } else if intercept_is_zero {
            Some((Terms { intercept: false, ..self }, Dropped::SpecimenIntercept))
        } else {
            None
        }
    }

    pub(super) fn variances(self, theta: &Theta, residual: f64, time_scale: f64) -> Variances {
        let (joint, slope) = (theta.joint / time_scale, theta.slope / time_scale);
        let given = |is_free: bool, value: f64| is_free.then_some(residual * value);
        Variances {
            specimen_intercept: given(self.intercept, theta.intercept * theta.intercept),
            specimen_slope: given(self.slope, joint * joint + slope * slope),
            covariance: given(self.joint, theta.intercept * joint),
            tank: given(self.tank, theta.tank * theta.tank),
            residual,
        }
    }
}
