//! Density of seawater: the equation of state EOS-80, UNESCO Technical Papers in Marine Science 44 (1983);
//! at the surface Millero & Poisson (1981), under pressure the secant bulk modulus.

use super::t68;

fn surface(s: f64, t: f64) -> f64 {
    let water =
        999.842594 + t * (6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9))));
    let a = 8.24493e-1 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)));
    let b = -5.72466e-3 + t * (1.0227e-4 - t * 1.6546e-6);
    water + a * s + b * s * s.sqrt() + 4.8314e-4 * s * s
}

/// Secant bulk modulus in bar at `p` bar.
fn bulk_modulus(s: f64, t: f64, p: f64) -> f64 {
    let root = s.sqrt();
    let kw = 19652.21 + t * (148.4206 + t * (-2.327105 + t * (1.360477e-2 - t * 5.155288e-5)));
    let k0 = kw
        + s * (54.6746 + t * (-0.603459 + t * (1.09987e-2 - t * 6.1670e-5)))
        + s * root * (7.944e-2 + t * (1.6483e-2 - t * 5.3009e-4));
    let aw = 3.239908 + t * (1.43713e-3 + t * (1.16092e-4 - t * 5.77905e-7));
    let a = aw + s * (2.2838e-3 + t * (-1.0981e-5 - t * 1.6078e-6)) + 1.91075e-4 * s * root;
    let bw = 8.50935e-5 + t * (-6.12293e-6 + t * 5.2787e-8);
    let b = bw + s * (-9.9348e-7 + t * (2.0816e-8 + t * 9.1697e-10));
    k0 + p * (a + p * b)
}

/// Density in kg/m³ of water of practical salinity `s` at `t68` °C (IPTS-68) and `p_dbar`.
pub fn density_t68(s: f64, t68: f64, p_dbar: f64) -> f64 {
    let at_surface = surface(s, t68);
    if p_dbar == 0.0 {
        return at_surface;
    }
    let bar = p_dbar / 10.0;
    at_surface / (1.0 - bar / bulk_modulus(s, t68, bar))
}

/// Density in kg/m³ at the surface, `t90` °C.
pub fn density(s: f64, t90: f64) -> f64 {
    density_t68(s, t68(t90), 0.0)
}
