//! Practical salinity from conductivity: PSS-78, UNESCO Technical Papers in Marine Science 44 (1983), with the
//! extension of Hill, Dauphinee & Woods (1986) below a salinity of 2, scaled so that both meet at 2.

use super::{bisect, t68};

/// Conductivity of standard seawater (S 35, 15 °C on IPTS-68, surface), mS/cm.
pub const STANDARD_CONDUCTIVITY: f64 = 42.914;

const A: [f64; 6] = [0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081];
const B: [f64; 6] = [0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144];

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

fn temperature_term(t68: f64) -> f64 {
    (t68 - 15.0) / (1.0 + 0.0162 * (t68 - 15.0))
}

fn rt_of_temperature(t68: f64) -> f64 {
    polynomial(&[0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9], t68)
}

fn rp(ratio: f64, t68: f64, p: f64) -> f64 {
    let upper = p * (2.070e-5 + p * (-6.370e-10 + p * 3.989e-15));
    let lower = 1.0 + 3.426e-2 * t68 + 4.464e-4 * t68 * t68 + (0.4215 - 3.107e-3 * t68) * ratio;
    1.0 + upper / lower
}

fn pss78(rt: f64, t68: f64) -> f64 {
    let root = rt.sqrt();
    polynomial(&A, root) + temperature_term(t68) * polynomial(&B, root)
}

fn hill(rt: f64, t68: f64) -> f64 {
    let x = 400.0 * rt;
    let y = 10.0 * rt.sqrt();
    let first = A[0] / (1.0 + x * (1.5 + x));
    let second = B[0] * temperature_term(t68) / (1.0 + y * (1.0 + y * (1.0 + y)));
    pss78(rt, t68) - first - second
}

/// Where PSS-78 reaches 2, the extension is scaled to reach 2 as well.
fn hill_ratio(t68: f64) -> f64 {
    let rt_at_2 = bisect(1e-3, 0.5, |rt| pss78(rt, t68) - 2.0);
    2.0 / hill(rt_at_2, t68)
}

fn salinity_from_rt(rt: f64, t68: f64) -> f64 {
    let salinity = pss78(rt, t68);
    if salinity >= 2.0 { salinity } else { hill_ratio(t68) * hill(rt, t68) }
}

/// Practical salinity from the conductivity ratio `C/C(35, 15 °C, 0)`, a temperature on IPTS-68 in °C and a
/// pressure in dbar. The scale is defined for 2 to 42 and −2 to 35 °C; NaN for a negative ratio.
pub fn salinity_from_ratio(ratio: f64, t68: f64, p_dbar: f64) -> f64 {
    if ratio.is_nan() || ratio < 0.0 {
        return f64::NAN;
    }
    let rt = ratio / (rp(ratio, t68, p_dbar) * rt_of_temperature(t68));
    salinity_from_rt(rt, t68)
}

/// Practical salinity from a conductivity in mS/cm at water temperature `t90` (°C) and `p_dbar`.
pub fn salinity_from_conductivity(ms_cm: f64, t90: f64, p_dbar: f64) -> f64 {
    salinity_from_ratio(ms_cm / STANDARD_CONDUCTIVITY, t68(t90), p_dbar)
}

/// Conductivity in mS/cm at the surface of water with a practical salinity, at `t90` °C: the inverse of
/// [`salinity_from_conductivity`].
pub fn conductivity_from_salinity(salinity: f64, t90: f64) -> f64 {
    let t = t68(t90);
    // Below a ratio of about 1e-5 the extension turns back; no water is that pure.
    let rt = bisect(1e-6, 4.0, |rt| salinity_from_rt(rt, t) - salinity);
    rt * rt_of_temperature(t) * STANDARD_CONDUCTIVITY
}
