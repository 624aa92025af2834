//! A value with its uncertainty budget, and the rules that combine its parts.
//!
//! Inside the library every uncertainty is a standard uncertainty (k = 1). The expanded uncertainty U = 2·u is formed
//! only where a reading or a verdict is made. Combination follows JCGM 100:2008 (GUM) 5.1.2 for independent parts.
//!
//! ```
//! use lampwright::measured::{Budget, Measured};
//! use lampwright::units::Deg;
//!
//! let mut budget = Budget::new();
//! budget.add("height", 0.03);
//! budget.add("edge fit", 0.04);
//! let cutoff = Measured { value: Deg::new(-0.57), budget };
//! // Root of the sum of squares is 0.05; U has k = 2.
//! assert!((cutoff.expanded().get() - 0.10).abs() < 1e-12);
//! ```

use crate::units::Deg;

/// Coverage factor of every expanded uncertainty that the program prints.
pub const COVERAGE_FACTOR: f64 = 2.0;

/// One named part of an uncertainty budget, as a standard uncertainty (k = 1) of the value, in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// What it comes from, in a technician's words: `marks`, `room light`, `height` and so on.
    pub name: &'static str,
    /// Its standard uncertainty in degrees, never negative.
    pub sigma_deg: f64,
}

/// The named parts of one value's uncertainty; parts are independent of each other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    parts: Vec<Part>,
}

impl Budget {
    /// An empty budget.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a part; a part whose size is zero is kept, so that a reader sees that it was considered.
    pub fn add(&mut self, name: &'static str, sigma_deg: f64) {
        self.parts.push(Part { name, sigma_deg: sigma_deg.abs() });
    }

    /// The parts in the order in which they were added.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Combined standard uncertainty (k = 1), degrees: root of the sum of squares (GUM 5.1.2, independent inputs).
    pub fn sigma_deg(&self) -> f64 {
        self.parts.iter().map(|part| part.sigma_deg * part.sigma_deg).sum::<f64>().sqrt()
    }

    /// Combined standard uncertainty of the parts whose names are listed.
    pub fn sigma_of_deg(&self, names: &[&str]) -> f64 {
        self.parts
            .iter()
            .filter(|part| names.contains(&part.name))
            .map(|part| part.sigma_deg * part.sigma_deg)
            .sum::<f64>()
            .sqrt()
    }
}

/// An angle with the budget of its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The best estimate.
    pub value: Deg,
    /// Named parts of its standard uncertainty.
    pub budget: Budget,
}

impl Measured {
    /// Combined standard uncertainty (k = 1).
    pub fn sigma(&self) -> Deg {
        Deg::new(self.budget.sigma_deg())
    }

    /// Expanded uncertainty (k = 2), about 95 % coverage.
    pub fn expanded(&self) -> Deg {
        Deg::new(COVERAGE_FACTOR * self.budget.sigma_deg())
    }
}

/// Covariance of two results that depend linearly on the same inputs: Σᵢⱼ aᵢ bⱼ uᵢ uⱼ rᵢⱼ (GUM 5.2.2 and F.1.2.3).
///
/// `first` and `second` are the sensitivities of the two results, `sigmas` the standard uncertainties of the inputs,
/// `correlation(i, j)` their correlation (asked for i ≠ j only). With `first` equal to `second` it is the variance of
/// one result. `None` when the lengths differ.
pub fn covariance(
    first: &[f64],
    second: &[f64],
    sigmas: &[f64],
    correlation: impl Fn(usize, usize) -> f64,
) -> Option<f64> {
    if first.len() != sigmas.len() || second.len() != sigmas.len() {
        return None;
    }
    let mut sum = 0.0;
    for (i, a) in first.iter().enumerate() {
        for (j, b) in second.iter().enumerate() {
            let r = if i == j { 1.0 } else { correlation(i, j) };
            sum += a * b * sigmas[i] * sigmas[j] * r;
        }
    }
    Some(sum)
}

/// Effective degrees of freedom of a combined uncertainty (Welch-Satterthwaite, GUM G.4.1), rounded down.
///
/// Each part is its share of the result's standard uncertainty and its degrees of freedom, `None` where the share is
/// known exactly. The parts must be independent. `None` when no part limits the freedom.
pub fn effective_freedom(parts: &[(f64, Option<f64>)]) -> Option<u64> {
    let variance: f64 = parts.iter().map(|(sigma, _)| sigma * sigma).sum();
    let weight: f64 = parts.iter().filter_map(|(sigma, freedom)| freedom.map(|nu| sigma.powi(4) / nu)).sum();
    let freedom = variance * variance / weight;
    freedom.is_finite().then(|| freedom.floor() as u64)
}

/// Mean and scatter of repeated observations (type A evaluation, GUM 4.2).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Series {
    /// Arithmetic mean.
    pub mean: f64,
    /// Experimental standard deviation of one observation.
    pub sd: f64,
    /// Standard uncertainty of the mean: sd / √n.
    pub sigma_of_mean: f64,
}

impl Series {
    /// Of at least two observations; `None` for fewer.
    pub fn of(observations: &[f64]) -> Option<Self> {
        if observations.len() < 2 {
            return None;
        }
        let n = observations.len() as f64;
        let mean = observations.iter().sum::<f64>() / n;
        let squares: f64 = observations.iter().map(|x| (x - mean) * (x - mean)).sum();
        let sd = (squares / (n - 1.0)).sqrt();
        Some(Self { mean, sd, sigma_of_mean: sd / n.sqrt() })
    }
}

/// Correlation of two series of simultaneous observations (GUM 5.2.3); `None` when their lengths differ, when there
/// are fewer than two, or when one of them does not vary.
pub fn correlation(first: &[f64], second: &[f64]) -> Option<f64> {
    if first.len() != second.len() {
        return None;
    }
    let (a, b) = (Series::of(first)?, Series::of(second)?);
    let products: f64 = first.iter().zip(second).map(|(x, y)| (x - a.mean) * (y - b.mean)).sum();
    let r = products / ((first.len() as f64 - 1.0) * a.sd * b.sd);
    r.is_finite().then_some(r)
}

/// A straight line fitted by least squares, with the covariance of its two numbers (GUM H.3.2).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineFit {
    /// Value at x = 0.
    pub intercept: f64,
    /// Rise per unit of x.
    pub slope: f64,
    /// Standard uncertainty of the intercept.
    pub intercept_sigma: f64,
    /// Standard uncertainty of the slope.
    pub slope_sigma: f64,
    /// Correlation of intercept and slope.
    pub correlation: f64,
    /// Standard deviation of one observation about the line.
    pub residual_sd: f64,
}

impl LineFit {
    /// Through at least three points of equal weight; `None` for fewer, or when all x are the same.
    pub fn of(x: &[f64], y: &[f64]) -> Option<Self> {
        const PARAMETERS: usize = 2;
        if x.len() != y.len() || x.len() <= PARAMETERS {
            return None;
        }
        let n = x.len() as f64;
        let (sum_x, sum_y) = (x.iter().sum::<f64>(), y.iter().sum::<f64>());
        let sum_xx: f64 = x.iter().map(|x| x * x).sum();
        let sum_xy: f64 = x.iter().zip(y).map(|(x, y)| x * y).sum();
        let determinant = n * sum_xx - sum_x * sum_x;
        let intercept = (sum_y * sum_xx - sum_xy * sum_x) / determinant;
        let slope = (n * sum_xy - sum_x * sum_y) / determinant;
        let squares: f64 = x.iter().zip(y).map(|(x, y)| (y - intercept - slope * x).powi(2)).sum();
        let residual_sd = (squares / (x.len() - PARAMETERS) as f64).sqrt();
        let fit = Self {
            intercept,
            slope,
            intercept_sigma: residual_sd * (sum_xx / determinant).sqrt(),
            slope_sigma: residual_sd * (n / determinant).sqrt(),
            correlation: -sum_x / (n * sum_xx).sqrt(),
            residual_sd,
        };
        let numbers = [fit.intercept, fit.slope, fit.intercept_sigma, fit.slope_sigma, fit.correlation];
        numbers.iter().all(|number| number.is_finite()).then_some(fit)
    }

    /// The line's value at `x` and its standard uncertainty, correlation included.
    pub fn at(&self, x: f64) -> (f64, f64) {
        let (a, b) = (self.intercept_sigma, x * self.slope_sigma);
        let variance = a * a + b * b + 2.0 * a * b * self.correlation;
        (self.intercept + x * self.slope, variance.max(0.0).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked: 3-4-5, and only the two listed parts.
    #[test]
    fn budget_adds_squares_by_name() {
        let mut budget = Budget::new();
        for (name, sigma) in [("marks", 3.0), ("height", -4.0), ("light", 12.0)] {
            budget.add(name, sigma);
        }
        assert!((budget.sigma_deg() - 13.0).abs() < 1e-12);
        assert!((budget.sigma_of_deg(&["marks", "height"]) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn too_little_data_has_no_answer() {
        assert_eq!(Series::of(&[1.0]), None);
        assert_eq!(correlation(&[1.0, 2.0], &[1.0]), None);
        assert_eq!(correlation(&[1.0, 1.0], &[1.0, 2.0]), None);
        assert_eq!(LineFit::of(&[1.0, 2.0], &[1.0, 2.0]), None);
        assert_eq!(LineFit::of(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]), None);
        assert_eq!(effective_freedom(&[(1.0, None)]), None);
        assert_eq!(covariance(&[1.0], &[1.0, 2.0], &[1.0], |_, _| 0.0), None);
    }
}
