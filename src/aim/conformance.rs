//! How probable it is that the true value conforms, given the measured one (JCGM 106:2012, clause 7).

use super::applied::AxisLimits;
use crate::units::Deg;

/// Terms and fractions end when they no longer change a double.
const MAX_TERMS: u32 = 200;
/// From here on the continued fraction of erfc converges faster than the series of erf.
const SERIES_UP_TO: f64 = 2.5;

/// Probability (0..=1) that the true value lies inside the limits, for a normal distribution about `value` with the
/// standard uncertainty `sigma` (k = 1): Φ((upper − y)/u) − Φ((lower − y)/u), a missing limit taken as infinitely far.
/// With `sigma` = 0 it is 1 or 0. `None` when there is no limit, or a number is not finite or negative.
pub fn conformance_probability(value: Deg, sigma: Deg, limits: &AxisLimits) -> Option<f64> {
    let (y, u) = (value.get(), sigma.get());
    if !limits.is_judged() || !y.is_finite() || !u.is_finite() || u < 0.0 {
        return None;
    }
    if u <= 0.0 {
        return Some(if limits.hold(value) { 1.0 } else { 0.0 });
    }
    let above = limits.upper.map_or(0.0, |upper| upper_tail((upper.get() - y) / u));
    let below = limits.lower.map_or(0.0, |lower| upper_tail((y - lower.get()) / u));
    Some((1.0 - above - below).clamp(0.0, 1.0))
}

/// 1 − Φ(z).
fn upper_tail(z: f64) -> f64 {
    0.5 * erfc(z * std::f64::consts::FRAC_1_SQRT_2)
}

/// Complementary error function: series 7.6.2 of the NIST Digital Library of Mathematical Functions for small
/// arguments, continued fraction 7.9.3 (even part) for large ones.
fn erfc(x: f64) -> f64 {
    if x < 0.0 {
        return 2.0 - erfc(-x);
    }
    let scale = (-x * x).exp() / std::f64::consts::PI.sqrt();
    if x < SERIES_UP_TO {
        // erf x = 2/√π · e^(−x²) · Σ 2ⁿ x^(2n+1) / (1·3·5…(2n+1))
        let (mut term, mut sum) = (x, x);
        for n in 1..MAX_TERMS {
            term *= 2.0 * x * x / f64::from(2 * n + 1);
            sum += term;
        }
        1.0 - 2.0 * scale * sum
    } else {
        // √π e^(x²) erfc x = 1/(x + (1/2)/(x + 1/(x + (3/2)/(x + …))))
        let fraction = (1..MAX_TERMS).rev().fold(x, |tail, n| x + 0.5 * f64::from(n) / tail);
        scale / fraction
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Known values of erfc, Python 3 `math.erfc`.
    #[test]
    fn erfc_agrees_with_another_implementation() {
        let known = [
            (0.0, 1.0),
            (0.5, 0.479_500_122_186_953_5),
            (1.0, 0.157_299_207_050_285_13),
            (2.0, 0.004_677_734_981_047_265),
            (3.0, 2.209_049_699_858_544e-5),
            (-1.0, 1.842_700_792_949_715),
        ];
        for (x, expected) in known {
            assert!((erfc(x) - expected).abs() < 1e-14, "{x}: {} {expected}", erfc(x));
        }
    }

    #[test]
    fn without_uncertainty_it_is_simple_acceptance() {
        let limits = AxisLimits { nominal: None, lower: Some(Deg::new(-1.0)), upper: Some(Deg::new(1.0)) };
        let p = |y: f64, u: f64| conformance_probability(Deg::new(y), Deg::new(u), &limits);
        assert_eq!([p(0.5, 0.0), p(1.0, 0.0), p(1.1, 0.0)], [Some(1.0), Some(1.0), Some(0.0)]);
        assert_eq!([p(f64::NAN, 0.1), p(0.0, f64::NAN), p(0.0, -1.0)], [None; 3]);
        assert_eq!(conformance_probability(Deg::new(0.0), Deg::new(0.1), &AxisLimits::default()), None);
    }
}
