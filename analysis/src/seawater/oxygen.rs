//! Oxygen in equilibrium with moist air at one atmosphere: Garcia & Gordon (1992), the fit to the data of
//! Benson & Krause.

use super::density;

/// Molar mass of O2, g/mol.
const OXYGEN: f64 = 31.998;

/// Oxygen at saturation in µmol per kg of seawater of practical salinity `s` at `t90` °C.
pub fn oxygen_saturation_umol_kg(s: f64, t90: f64) -> f64 {
    let ts = ((298.15 - t90) / (273.15 + t90)).ln();
    let fresh = 5.80871 + ts * (3.20291 + ts * (4.17887 + ts * (5.10006 + ts * (-0.0986643 + ts * 3.80369))));
    let salt = -7.01577e-3 + ts * (-7.70028e-3 + ts * (-1.13864e-2 + ts * -9.51519e-3));
    (fresh + s * salt - 2.75915e-7 * s * s).exp()
}

/// Oxygen at saturation in mg/L.
pub fn oxygen_saturation_mg_l(s: f64, t90: f64) -> f64 {
    oxygen_saturation_umol_kg(s, t90) * OXYGEN / 1000.0 * density(s, t90) / 1000.0
}
