//! The un-ionised (toxic) share of total ammonia in seawater: Clegg & Whitfield (1995), total pH scale.

/// What hobby buffers (NBS) read above the total scale at S 35 and 25 °C.
pub const NBS_ABOVE_TOTAL: f64 = 0.137;

/// pH on the total scale of a pH on NBS buffers; holds near S 35 and 25 °C.
pub fn total_scale_from_nbs(ph_nbs: f64) -> f64 {
    ph_nbs - NBS_ABOVE_TOTAL
}

/// pKa of ammonium in seawater of practical salinity `s` at `t90` °C, total scale, mol/kg of seawater.
pub fn ammonia_pka(s: f64, t90: f64) -> f64 {
    let t = t90 + 273.15;
    let root = t.sqrt();
    let pk = 9.244605 - 2729.33 * (1.0 / 298.15 - 1.0 / t)
        + (0.04203362 - 11.24742 / t) * s.powf(0.25)
        + (-13.6416 + 1.176949 * root - 0.02860785 * t + 545.4834 / t) * s.sqrt()
        + (-0.1462507 + 0.0090226468 * root - 0.0001471361 * t + 10.5425 / t) * s * s.sqrt()
        + (0.004669309 - 0.0001691742 * root - 0.5677934 / t) * s * s
        + (-2.354039e-5 + 0.009698623 / t) * s * s * s.sqrt();
    // From moles per kilogram of water to moles per kilogram of seawater.
    pk - (1.0 - 0.001005 * s).log10()
}

/// Share of total ammonia that is NH3, 0 to 1, at a pH on the total scale.
pub fn un_ionised_fraction(ph_total: f64, s: f64, t90: f64) -> f64 {
    1.0 / (1.0 + 10f64.powf(ammonia_pka(s, t90) - ph_total))
}
