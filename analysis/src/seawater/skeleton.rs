//! Dry mass of a skeleton from its weight in water: Jokiel, Maragos & Franzisket (1978); Davies (1989).

/// Density of aragonite in g/cm³, the usual assumption. Skeletons of *Acropora* were measured at 2.781–2.873.
pub const ARAGONITE: f64 = 2.94;

/// What a buoyant weight is multiplied by to give the dry mass: `1/(1 − ρ_water/ρ_skeleton)`, both in g/cm³.
/// `None` where the skeleton would float or a density is not a positive number.
pub fn dry_mass_factor(water_g_cm3: f64, skeleton_g_cm3: f64) -> Option<f64> {
    (water_g_cm3 > 0.0 && skeleton_g_cm3 > water_g_cm3 && skeleton_g_cm3.is_finite())
        .then(|| 1.0 / (1.0 - water_g_cm3 / skeleton_g_cm3))
}
