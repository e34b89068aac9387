//! Conversions that are curves, not lines: practical salinity from conductivity and from specific gravity,
//! the density of seawater, the un-ionised share of ammonia, oxygen at saturation, the dry mass of a skeleton.
//!
//! Pure functions of numbers. Temperatures are ITS-90 in °C unless a name says `t68`; pressures in dbar, 0 at
//! the surface; salinities practical (PSS-78). Nothing here decides whether a value is plausible.
//!
//! ```
//! use analysis::seawater::{SgReference, salinity_from_gravity};
//! let salinity = salinity_from_gravity(1.0264, SgReference::At25Over25);
//! assert!((salinity - 35.0360037272).abs() < 1e-9);
//! ```

pub mod ammonia; // the toxic share of total ammonia
pub mod conductivity; // PSS-78 and its inverse
pub mod density; // EOS-80
pub mod gravity; // hydrometers and refractometers
pub mod oxygen; // saturation
pub mod skeleton; // buoyant weight
pub mod teos10; // density once more, by the newer equation

pub use ammonia::{ammonia_pka, total_scale_from_nbs, un_ionised_fraction};
pub use conductivity::{conductivity_from_salinity, salinity_from_conductivity, salinity_from_ratio};
pub use density::{density, density_t68};
pub use gravity::{SgReference, gravity, gravity_interval, salinity_from_gravity, salinity_from_gravity_at};
pub use oxygen::{oxygen_saturation_mg_l, oxygen_saturation_umol_kg};
pub use skeleton::dry_mass_factor;
pub use teos10::density_teos10;

/// IPTS-68 temperature of an ITS-90 temperature, °C: the scale of PSS-78 and EOS-80 (Saunders 1990).
pub fn t68(t90: f64) -> f64 {
    1.00024 * t90
}

/// The root of an increasing function between `low` and `high`, to the last bits: halves until the interval
/// cannot shrink. Returns an end if the function has no root inside.
pub(crate) fn bisect(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    if f(low) >= 0.0 {
        return low;
    }
    if f(high) <= 0.0 {
        return high;
    }
    loop {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            return middle;
        }
        if f(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
}
