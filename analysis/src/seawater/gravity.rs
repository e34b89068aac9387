//! Specific gravity: what a hydrometer or refractometer marked "SG t1/t2" shows is the density of the water at
//! t1 over the density of fresh water at t2. Densities by EOS-80.

use super::{bisect, density};

/// The temperatures an instrument is marked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SgReference {
    /// 25/25 °C, the same as 77/77 °F.
    At25Over25,
    /// 20/20 °C.
    At20Over20,
    /// 60/60 °F.
    At60Over60F,
    /// 15/15 °C.
    At15Over15,
    /// 20/4 °C.
    At20Over4,
}

impl SgReference {
    /// All references, from the highest salinity at a gravity to the lowest; 20/4 stands apart.
    pub const ALL: [SgReference; 5] =
        [Self::At25Over25, Self::At20Over20, Self::At60Over60F, Self::At15Over15, Self::At20Over4];

    /// The code as printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::At25Over25 => "25/25",
            Self::At20Over20 => "20/20",
            Self::At60Over60F => "60/60F",
            Self::At15Over15 => "15/15",
            Self::At20Over4 => "20/4",
        }
    }

    /// The reference of a code.
    pub fn parse(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reference| reference.as_str() == code)
    }

    /// Temperature of the sample and of the fresh water, °C on ITS-90.
    pub fn temperatures(self) -> (f64, f64) {
        match self {
            Self::At25Over25 => (25.0, 25.0),
            Self::At20Over20 => (20.0, 20.0),
            Self::At60Over60F => ((60.0 - 32.0) / 1.8, (60.0 - 32.0) / 1.8),
            Self::At15Over15 => (15.0, 15.0),
            Self::At20Over4 => (20.0, 4.0),
        }
    }
}

/// Highest salinity that a gravity is searched in; far above any tank.
const HIGHEST: f64 = 60.0;

/// Specific gravity shown for a practical salinity.
pub fn gravity(salinity: f64, reference: SgReference) -> f64 {
    let (t1, t2) = reference.temperatures();
    density(salinity, t1) / density(0.0, t2)
}

/// Practical salinity of a specific gravity read at the temperature the instrument is marked at; 0 or 60 where
/// the gravity lies outside that range, NaN for NaN.
pub fn salinity_from_gravity(sg: f64, reference: SgReference) -> f64 {
    salinity_from_gravity_at(sg, reference, reference.temperatures().0)
}

/// Practical salinity of a hydrometer's reading in water of `t90` °C (the glass taken as rigid).
pub fn salinity_from_gravity_at(sg: f64, reference: SgReference, t90: f64) -> f64 {
    if sg.is_nan() || t90.is_nan() {
        return f64::NAN;
    }
    let fresh = density(0.0, reference.temperatures().1);
    bisect(0.0, HIGHEST, |s| density(s, t90) / fresh - sg)
}

/// Lowest and highest practical salinity of a gravity whose reference nobody knows: from 15/15 to 25/25. An
/// instrument marked 20/4 reads about 2 lower and must be named.
pub fn gravity_interval(sg: f64) -> (f64, f64) {
    (salinity_from_gravity(sg, SgReference::At15Over15), salinity_from_gravity(sg, SgReference::At25Over25))
}
