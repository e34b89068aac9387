//! How strong one hidden cause would need to be, on both sides, to explain a hazard ratio away.
//!
//! It says nothing about measurement error, selection or reversed time.
//!
//! VanderWeele & Ding 2017, Ann Intern Med 167: 268–274.

/// E-values of a hazard ratio and of its limit nearer 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EValue {
    /// Risk ratio that the hazard ratio stands for.
    pub risk_ratio: f64,
    /// E-value of the estimate.
    pub point: f64,
    /// E-value of the limit nearer 1; 1 if the interval holds 1.
    pub limit: f64,
}

/// E-values of a hazard ratio with its limits. `rare`: fewer than 15 % died by the end of follow-up, so that hazard
/// and risk ratio are nearly the same. `None` unless `0 < lower <= hazard_ratio <= upper`, all finite.
pub fn e_value(hazard_ratio: f64, lower: f64, upper: f64, rare: bool) -> Option<EValue> {
    let sound = lower > 0.0 && lower <= hazard_ratio && hazard_ratio <= upper && upper.is_finite();
    if !sound {
        return None;
    }
    let risk_ratio = |hr: f64| {
        if rare { hr } else { (1.0 - 0.5f64.powf(hr.sqrt())) / (1.0 - 0.5f64.powf((1.0 / hr).sqrt())) }
    };
    let e = |hr: f64| {
        let rr = risk_ratio(hr);
        let rr = if rr < 1.0 { 1.0 / rr } else { rr };
        rr + (rr * (rr - 1.0)).sqrt()
    };
    let limit = if lower <= 1.0 && upper >= 1.0 {
        1.0
    } else if hazard_ratio > 1.0 {
        e(lower)
    } else {
        e(upper)
    };
    Some(EValue { risk_ratio: risk_ratio(hazard_ratio), point: e(hazard_ratio), limit })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand_and_symmetric() {
        let up = e_value(2.0, 1.5, 3.0, true).map(|e| e.point).unwrap_or_default();
        let down = e_value(0.5, 0.4, 0.8, true).map(|e| e.point).unwrap_or_default();
        assert!((up - (2.0 + 2f64.sqrt())).abs() < 1e-15);
        assert!((up - down).abs() < 1e-15);
    }

    #[test]
    fn an_interval_that_holds_one_needs_no_hidden_cause() {
        assert_eq!(e_value(1.4, 0.9, 2.0, false).map(|e| e.limit), Some(1.0));
        assert_eq!(e_value(1.4, 1.5, 2.0, false), None);
        assert_eq!(e_value(f64::NAN, 1.5, 2.0, false), None);
    }
}
