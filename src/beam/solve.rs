//! A small robust Levenberg-Marquardt solver for the beam's curve fits (at most some twenty parameters).
//!
//! Minimises the sum of Cauchy losses of the residuals (so that brick joints and pipes weigh little) plus Gaussian priors.
//! Source of the damping scheme: Marquardt 1963; of the reweighting: Huber, Robust Statistics, ch. 7 (from memory).

use nalgebra::{DMatrix, DVector};

/// Scale of the Cauchy loss in sigmas: 95 % efficiency on Gaussian noise (Holland and Welsch 1977, from memory).
pub const CAUCHY_SCALE: f64 = 2.385;
/// Relative fall of the cost that ends the iteration: with some 600 residuals a tenth of what one sigma changes.
const CONVERGED: f64 = 1e-4;
/// Step of the numeric derivative, in units of each prior's sigma.
const DERIVATIVE_STEP: f64 = 1e-4;

/// A Gaussian prior on one parameter.
#[derive(Debug, Clone, Copy)]
pub struct Prior {
    /// Expected value.
    pub mean: f64,
    /// Standard deviation.
    pub sigma: f64,
}

/// The fitted parameters.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// Parameter values.
    pub parameters: Vec<f64>,
    /// Covariance for residuals of unit sigma (priors included).
    pub covariance: DMatrix<f64>,
    /// Robust residual spread in units of the stated sigma (1.4826 times the median magnitude).
    pub spread: f64,
    /// The robust cost that was reached.
    pub cost: f64,
}

/// Step of the derivative of a quantity, in standard deviations of each parameter.
const PROBE_SIGMAS: f64 = 0.2;

impl Fitted {
    /// Derivatives of a quantity by the parameters; it is `here` at the fitted ones. Where it cannot be told beside them, 0.
    pub fn gradient_of<const M: usize>(
        &self,
        here: [f64; M],
        quantities: impl Fn(&[f64]) -> Option<[f64; M]>,
    ) -> Vec<[f64; M]> {
        (0..self.parameters.len())
            .map(|k| {
                let step = self.covariance[(k, k)].max(1e-12).sqrt() * PROBE_SIGMAS;
                let mut moved = self.parameters.clone();
                moved[k] += step;
                quantities(&moved).map_or([0.0; M], |there| std::array::from_fn(|m| (there[m] - here[m]) / step))
            })
            .collect()
    }

    /// Variances of quantities that follow from the parameters and are `here` at the fitted ones, by first-order propagation
    /// (GUM 5.2.2) of the covariance. A quantity that cannot be told beside the fitted parameters counts as not moved.
    pub fn variances_of<const M: usize>(
        &self,
        here: [f64; M],
        quantities: impl Fn(&[f64]) -> Option<[f64; M]>,
    ) -> [f64; M] {
        let gradient = self.gradient_of(here, quantities);
        std::array::from_fn(|m| {
            let mut variance = 0.0;
            for (a, ga) in gradient.iter().enumerate() {
                for (b, gb) in gradient.iter().enumerate() {
                    variance += ga[m] * gb[m] * self.covariance[(a, b)];
                }
            }
            variance.max(0.0)
        })
    }
}

/// Natural log of the product of terms of at least 1: one logarithm for several terms, as many as keep the product finite
/// while a term stays under 1e38, which is a residual of 1e19 sigmas. Where a product does overflow the sum is infinite.
pub(super) fn sum_of_logs(terms: impl Iterator<Item = f64>) -> f64 {
    const TOGETHER: usize = 8;
    let (mut sum, mut product, mut count) = (0.0, 1.0, 0);
    for term in terms {
        product *= term;
        count += 1;
        if count == TOGETHER {
            sum += f64::ln(product);
            (product, count) = (1.0, 0);
        }
    }
    sum + f64::ln(product)
}

/// Root of the sum of two squares of moderate size; the library's `hypot` also guards against overflow, at ten times the
/// cost.
#[inline]
pub(super) fn root_sum_square(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

fn cost(residuals: &[f64], parameters: &[f64], priors: &[Prior]) -> f64 {
    let c2 = CAUCHY_SCALE * CAUCHY_SCALE;
    let data = c2 * sum_of_logs(residuals.iter().map(|r| 1.0 + r * r / c2));
    let prior: f64 = parameters.iter().zip(priors).map(|(p, prior)| ((p - prior.mean) / prior.sigma).powi(2)).sum();
    data + prior
}

/// How hard a fit tries.
#[derive(Debug, Clone, Copy)]
pub struct Effort {
    /// Most iterations: from a start that is nearly right a few are enough.
    pub iterations: usize,
    /// Marquardt's damping of the first step: larger where the start may be poor.
    pub damping: f64,
}

impl Default for Effort {
    fn default() -> Self {
        Self { iterations: 30, damping: 1e-3 }
    }
}

/// Fits `parameters` so that `residuals(parameters)` (in sigmas) are small; derivatives are taken numerically.
pub fn fit(effort: Effort, start: &[f64], priors: &[Prior], residuals: impl Fn(&[f64]) -> Vec<f64>) -> Option<Fitted> {
    let n = start.len();
    let equations = |parameters: &[f64], current: &[f64], weights: &[f64]| {
        let columns: Vec<Vec<f64>> = (0..n)
            .map(|k| {
                let step = DERIVATIVE_STEP * priors[k].sigma;
                let mut moved = parameters.to_vec();
                moved[k] += step;
                residuals(&moved).iter().zip(current).map(|(t, c)| (t - c) / step).collect()
            })
            .collect();
        let mut equations = Equations::zeros(n);
        for a in 0..n {
            for b in a..n {
                let sum: f64 = weights.iter().zip(&columns[a]).zip(&columns[b]).map(|((w, x), y)| w * x * y).sum();
                equations.normal[(b, a)] = sum;
            }
            equations.gradient[a] = weights.iter().zip(&columns[a]).zip(current).map(|((w, x), r)| w * x * r).sum();
        }
        equations
    };
    solve(effort, start, priors, &residuals, equations)
}

/// The weighted normal equations: `JᵀWJ` (lower triangle) and `JᵀWr`, priors not included.
#[derive(Debug)]
pub struct Equations {
    /// `JᵀWJ`, lower triangle.
    pub normal: DMatrix<f64>,
    /// `JᵀWr`.
    pub gradient: DVector<f64>,
}

impl Equations {
    /// For `n` parameters.
    pub fn zeros(n: usize) -> Self {
        Self { normal: DMatrix::zeros(n, n), gradient: DVector::zeros(n) }
    }

    /// Of sums over `N` parameters.
    pub fn of<const N: usize>(normal: &[[f64; N]; N], gradient: &[f64; N]) -> Self {
        let mut sums = Self::zeros(N);
        for (a, (slope, row)) in gradient.iter().zip(normal).enumerate() {
            sums.gradient[a] = *slope;
            for (b, value) in row[..=a].iter().enumerate() {
                sums.normal[(a, b)] = *value;
            }
        }
        sums
    }
}

/// Fits with the caller's own normal equations, given the parameters, their residuals and the residuals' robust weights.
pub fn solve(
    effort: Effort,
    start: &[f64],
    priors: &[Prior],
    residuals: &impl Fn(&[f64]) -> Vec<f64>,
    equations: impl Fn(&[f64], &[f64], &[f64]) -> Equations,
) -> Option<Fitted> {
    let n = start.len();
    let mut parameters = start.to_vec();
    let mut current = residuals(&parameters);
    let mut best = cost(&current, &parameters, priors);
    let mut damping = effort.damping;
    let mut normal = DMatrix::zeros(n, n);
    for _ in 0..effort.iterations {
        let weights: Vec<f64> = current.iter().map(|r| 1.0 / (1.0 + (r / CAUCHY_SCALE).powi(2))).collect();
        let Equations { normal: lower, mut gradient } = equations(&parameters, &current, &weights);
        normal = lower;
        normal.fill_upper_triangle_with_lower_triangle();
        for a in 0..n {
            normal[(a, a)] += priors[a].sigma.powi(-2);
            gradient[a] += (parameters[a] - priors[a].mean) * priors[a].sigma.powi(-2);
        }
        let mut improved = false;
        for _ in 0..8 {
            let mut damped = normal.clone();
            for a in 0..n {
                damped[(a, a)] *= 1.0 + damping;
            }
            let Some(step) = damped.cholesky().map(|factor| factor.solve(&gradient)) else {
                damping *= 10.0;
                continue;
            };
            let trial: Vec<f64> = parameters.iter().zip(step.iter()).map(|(p, s)| p - s).collect();
            let there = residuals(&trial);
            let value = cost(&there, &trial, priors);
            if value.is_finite() && value < best {
                improved = (best - value) > CONVERGED * best;
                parameters = trial;
                current = there;
                best = value;
                damping = (damping * 0.2).max(1e-9);
                break;
            }
            damping *= 6.0;
        }
        if !improved {
            break;
        }
    }
    let mut magnitudes: Vec<f64> = current.iter().map(|r| r.abs()).collect();
    magnitudes.sort_by(f64::total_cmp);
    let spread = 1.4826 * magnitudes.get(magnitudes.len() / 2).copied().unwrap_or(0.0);
    let covariance = normal.try_inverse()?;
    parameters.iter().all(|p| p.is_finite()).then_some(Fitted { parameters, covariance, spread, cost: best })
}
