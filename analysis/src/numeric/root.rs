//! Where a continuous function crosses zero.

/// The root of `f` between `low` and `high` by Brent's method (Brent 1973, *Algorithms for Minimization without
/// Derivatives*, chapter 4), to within `tolerance` or the last digits of the root, whichever is wider.
///
/// `None` if `f` has the same sign at both ends, if it is not a number somewhere on the way, or after 300 steps.
pub fn brent(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Option<f64> {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 {
        return Some(a);
    }
    if fb == 0.0 {
        return Some(b);
    }
    if fa.is_nan() || fb.is_nan() || fa.signum() == fb.signum() {
        return None;
    }
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut previous = step;
    for _ in 0..300 {
        if fb.signum() == fc.signum() {
            (c, fc) = (a, fa);
            step = b - a;
            previous = step;
        }
        if fc.abs() < fb.abs() {
            (a, fa) = (b, fb);
            (b, fb) = (c, fc);
            (c, fc) = (a, fa);
        }
        let limit = 2.0 * f64::EPSILON * b.abs() + 0.5 * tolerance;
        let half = 0.5 * (c - b);
        if half.abs() <= limit || fb == 0.0 {
            return Some(b);
        }
        if previous.abs() >= limit && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * half * q - (limit * q).abs()).min((previous * q).abs()) {
                previous = step;
                step = p / q;
            } else {
                step = half;
                previous = half;
            }
        } else {
            step = half;
            previous = half;
        }
        (a, fa) = (b, fb);
        b += if step.abs() > limit { step } else { limit.copysign(half) };
        fb = f(b);
        if fb.is_nan() {
            return None;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_square_root_of_two_to_the_last_digits() {
        let root = brent(|x| x * x - 2.0, 0.0, 2.0, 0.0).unwrap_or_default();
        assert!((root - std::f64::consts::SQRT_2).abs() < 4.0 * f64::EPSILON);
    }

    #[test]
    fn says_none_where_the_sign_does_not_change_or_is_not_a_number() {
        assert_eq!(brent(|x| x * x + 1.0, -1.0, 1.0, 0.0), None);
        assert_eq!(brent(|x: f64| x.sqrt(), -1.0, 1.0, 0.0), None);
    }
}
