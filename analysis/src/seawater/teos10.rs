//! Density at the surface by the Thermodynamic Equation of Seawater 2010 (IOC, SCOR and IAPSO 2010, Manuals and
//! Guides 56): the polynomial of specific volume of Roquet, Madec, McDougall & Barker (2015), Ocean Modelling 90,
//! over conservative temperature from potential temperature as the manual gives it.
//!
//! Instruments of the trade are converted by EOS-80, which the makers of their scales used; this stands beside it
//! and differs by a few parts in a million.

/// Absolute salinity of water of practical salinity 35 and reference composition, g/kg.
const REFERENCE_SALINITY: f64 = 35.16504;
/// Heat capacity that defines conservative temperature, J/(kg K).
const HEAT_CAPACITY: f64 = 3991.86795711963;

/// Potential enthalpy: rows are powers of `sqrt(S/S_u)`, columns powers of `t/40 °C`.
const ENTHALPY: [&[f64]; 8] = [
    &[
        61.01362420681071,
        168776.46138048015,
        -2735.2785605119625,
        2574.2164453821433,
        -1536.6644434977543,
        545.7340497931629,
        -50.91091728474331,
        -18.30489878927802,
    ],
    &[],
    &[
        268.5520265845071,
        -12019.028203559312,
        3734.858026725145,
        -2046.7671145057618,
        465.28655623826234,
        -0.6370820302376359,
        -10.650848542359153,
    ],
    &[937.2099110620707, 588.1802812170108, 248.39476522971285, -3.871557904936333, -2.6268019854268356],
    &[
        -1687.914374187449,
        936.3206544460336,
        -942.7827304544439,
        369.4389437509002,
        -33.83664947895248,
        -9.987880382780322,
    ],
    &[246.9598888781377],
    &[123.59576582457964],
    &[-48.5891069025409],
];

/// Specific volume at the surface in m³/kg: rows are powers of `sqrt((S + 24 g/kg)/S_u)`, columns of `Θ/40 °C`.
const VOLUME: [&[f64]; 7] = [
    &[
        1.0769995862e-3,
        -1.5649734675e-5,
        2.7762106484e-5,
        -1.6521159259e-5,
        6.9111322702e-6,
        -8.0539615540e-7,
        2.0543094268e-7,
    ],
    &[-3.1038981976e-4, 3.5009599764e-5, -3.7435842344e-5, 2.4141479483e-5, -8.7595873154e-6, -3.3052758900e-7],
    &[6.6928067038e-4, -4.3592678561e-5, 3.5907822760e-5, -1.4353633048e-5, 4.3703680598e-6],
    &[-8.5047933937e-4, 3.4532461828e-5, -1.8698584187e-5, 2.2863324556e-6],
    &[5.8086069943e-4, -1.1959409788e-5, 3.8595339244e-6],
    &[-2.1092370507e-4, 1.3864594581e-6],
    &[3.1932457305e-5],
];

fn polynomial(rows: &[&[f64]], x: f64, y: f64) -> f64 {
    let along = |row: &[f64]| row.iter().rev().fold(0.0, |sum, c| sum * y + c);
    rows.iter().rev().fold(0.0, |sum, row| sum * x + along(row))
}

/// Density in kg/m³ at the surface of water of practical salinity `s` (reference composition) at `t90` °C.
pub fn density_teos10(s: f64, t90: f64) -> f64 {
    let absolute = s * REFERENCE_SALINITY / 35.0;
    let unit = 40.0 * REFERENCE_SALINITY / 35.0;
    let enthalpy = polynomial(&ENTHALPY, (absolute / unit).sqrt(), t90 / 40.0);
    let conservative = enthalpy / HEAT_CAPACITY;
    1.0 / polynomial(&VOLUME, ((absolute + 24.0) / unit).sqrt(), conservative / 40.0)
}
