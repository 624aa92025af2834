//! How sure a share of few cases is, and what share a normal error would have.

/// Two-sided 95 % of the normal distribution.
const Z95: f64 = 1.959_964;

/// Interval of 95 % of a share, `hits` of `n`; 0 to 1 of none.
///
/// Wilson's score interval (Wilson 1927, J. Am. Stat. Assoc. 22, 209): unlike share ± z·s it stays inside 0 to 1 and has a
/// width when all or none hit.
pub(super) fn wilson(hits: usize, n: usize) -> (f64, f64) {
    if n == 0 {
        return (0.0, 1.0);
    }
    let (p, n) = (hits as f64 / n as f64, n as f64);
    let z2 = Z95 * Z95;
    let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = Z95 / (1.0 + z2 / n) * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

/// Share of a normal error within ± `k` standard deviations.
pub(super) fn normal_inside(k: f64) -> f64 {
    libm::erf(k / std::f64::consts::SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand from the formula: 81 of 263 gives 0.2553 to 0.3662 (R. G. Newcombe, Stat. Med. 17, 857 (1998),
    /// table I, method 3; from memory).
    #[test]
    fn the_interval_is_the_published_one() {
        let (low, high) = wilson(81, 263);
        assert!((low - 0.2553).abs() < 5e-5 && (high - 0.3662).abs() < 5e-5, "{low} {high}");
        assert!(wilson(0, 10).0 < 1e-12 && wilson(10, 10).1 > 1.0 - 1e-12 && wilson(10, 10).0 < 0.8);
        assert_eq!(wilson(0, 0), (0.0, 1.0));
    }

    #[test]
    fn two_sigma_hold_95_percent() {
        assert!((normal_inside(2.0) - 0.954_500).abs() < 1e-6 && normal_inside(0.0).abs() < 1e-12);
    }
}
