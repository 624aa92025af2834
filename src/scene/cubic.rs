//! The cubic through four evenly spaced neighbours.
//!
//! **Takes** values at -1, 0, 1, 2 and a place 0..1. **Gives** the value there. **How**: Lagrange's form; what is left out
//! is at most 3/128 of the spacing to the fourth power times the fourth derivative.

/// Weights of the four neighbours for a place `t` (0..1) between the middle two.
#[inline]
pub(super) fn weights(t: f64) -> [f64; 4] {
    let (before, after, far) = (t + 1.0, t - 1.0, t - 2.0);
    [-t * after * far / 6.0, before * after * far * 0.5, -before * t * far * 0.5, before * t * after / 6.0]
}

/// One part of four neighbours, weighted.
#[inline]
pub(super) fn blend<T>(of: &[T; 4], weights: [f64; 4], part: impl Fn(&T) -> f64) -> f64 {
    weights[0] * part(&of[0]) + weights[1] * part(&of[1]) + weights[2] * part(&of[2]) + weights[3] * part(&of[3])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: a cubic is its own interpolation.
    #[test]
    fn weights_hold_a_cubic() {
        let cubic = |x: f64| 2.0 - x + 0.5 * x * x - 0.3 * x * x * x;
        for t in [0.0, 0.2, 0.5, 0.9] {
            let found = blend(&[-1.0, 0.0, 1.0, 2.0], weights(t), |x| cubic(*x));
            assert!((found - cubic(t)).abs() < 1e-12);
        }
    }
}
