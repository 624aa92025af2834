//! Generalised least squares by Levenberg and Marquardt, for observations in blocks whose covariance has several causes.
//!
//! **Takes** a problem that gives, for any parameters, blocks of (residual, Jacobian, one covariance per cause), and a
//! Gaussian prior. **Gives** the estimate, its covariance split by cause, and what data snooping needs.
//! **How**: Levenberg-Marquardt (Nocedal and Wright, "Numerical Optimization", 2nd ed. 2006, chapter 10; from memory) on
//! whitened blocks; weights are renewed in an outer loop because a block's covariance depends on the parameters. The
//! estimate is linear in the observations near the solution, x = Σ Aᵢ·yᵢ with A = C·Jᵀ·W and C = (Jᵀ·W·J + Λ)⁻¹, so the
//! share of a cause with covariance Σ is A·Σ·Aᵀ and the prior's share is C·Λ·C; the shares add up to C exactly.
//! **Fails when** the observations and the prior leave a parameter open, or a number is not finite (`None`).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Causes of observation noise: placement of the marks on the wall, and the image.
pub const CAUSES: usize = 2;
/// Renewals of the weights; three are enough for marks, as weights change by parts in a thousand.
const OUTER_LIMIT: usize = 8;
/// Levenberg-Marquardt steps per renewal.
const INNER_LIMIT: usize = 60;
/// A step is small when it is below this many standard uncertainties, squared: 1e-6 of one.
const STEP_SMALL: f64 = 1e-12;
/// Weights are not renewed again after a change below this many standard uncertainties, squared: 1e-4 of one.
const RENEWAL_SMALL: f64 = 1e-8;
/// Damping at the start, as a share of the diagonal; the start is good, so Gauss-Newton steps are tried at once.
const DAMPING_START: f64 = 1e-6;
/// Damping is multiplied by this after a bad step and divided by it after a good one.
const DAMPING_FACTOR: f64 = 10.0;
/// Damping beyond which no step can help any more.
const DAMPING_LIMIT: f64 = 1e12;
/// Pivot of the scaled normal matrix below which a parameter counts as open.
const LEAST_PIVOT: f64 = 1e-9;

/// Observations that share noise, such as the corners of one tag.
#[derive(Debug, Clone)]
pub struct Block {
    /// Observed minus predicted.
    pub residual: DVector<f64>,
    /// Derivative of the prediction by the parameters.
    pub jacobian: DMatrix<f64>,
    /// Covariance of the observations, one matrix per cause; may be empty when only [`Need::Residuals`] was asked for.
    pub causes: [DMatrix<f64>; CAUSES],
}

/// What a step asks of the problem; covariances cost as much as all the rest and are renewed rarely.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Residuals and Jacobians.
    Residuals,
    /// Covariances too.
    Covariances,
}

/// Independent Gaussian priors; precision 0 leaves a parameter free.
#[derive(Debug, Clone)]
pub struct Prior {
    /// Expected values.
    pub mean: DVector<f64>,
    /// Reciprocal variances.
    pub precision: DVector<f64>,
}

/// The estimate and everything that later steps ask of it.
#[derive(Debug, Clone)]
pub struct Solution {
    /// The parameters.
    pub parameters: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Shares of the covariance: one per cause, then the prior's.
    pub shares: [DMatrix<f64>; CAUSES + 1],
    /// The blocks at the solution.
    pub blocks: Vec<Block>,
    /// Weight matrices (inverse covariances) of the blocks.
    pub weights: Vec<DMatrix<f64>>,
    /// Weighted sum of squared residuals, without the prior.
    pub chi2: f64,
    /// The prior's weighted sum of squares.
    pub prior_chi2: f64,
    /// Natural logarithm of the determinant of Jᵀ·W·J + Λ, for comparing priors by their evidence.
    pub log_det_normal: f64,
}

struct Whitened {
    rows: DMatrix<f64>,
    residual: DVector<f64>,
}

fn factor(block: &Block) -> Option<Cholesky<f64, Dyn>> {
    Cholesky::new(block.causes.iter().skip(1).fold(block.causes[0].clone(), |sum, cause| sum + cause))
}

fn whiten(block: &Block, factor: &Cholesky<f64, Dyn>) -> Option<Whitened> {
    let lower = factor.l_dirty();
    Some(Whitened {
        rows: lower.solve_lower_triangular(&block.jacobian)?,
        residual: lower.solve_lower_triangular(&block.residual)?,
    })
}

fn prior_cost(prior: &Prior, parameters: &DVector<f64>) -> f64 {
    (parameters - &prior.mean).zip_fold(&prior.precision, 0.0, |sum, gap, weight| sum + weight * gap * gap)
}

fn normal_matrix(whitened: &[Whitened], prior: &Prior) -> DMatrix<f64> {
    let mut normal = DMatrix::from_diagonal(&prior.precision);
    for block in whitened {
        normal.gemm_tr(1.0, &block.rows, &block.rows, 1.0);
    }
    normal
}

/// Cholesky factor after scaling the diagonal to 1, refused when a pivot shows an open parameter.
fn factor_normal(normal: &DMatrix<f64>) -> Option<(Cholesky<f64, Dyn>, DVector<f64>)> {
    let scale = normal.diagonal().map(|entry| 1.0 / entry.sqrt());
    if !scale.iter().all(|entry| entry.is_finite()) {
        return None;
    }
    let scaled = DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| normal[(i, j)] * scale[i] * scale[j]);
    let factor = Cholesky::new(scaled)?;
    let is_sound = factor.l_dirty().diagonal().iter().all(|pivot| *pivot > LEAST_PIVOT);
    is_sound.then_some((factor, scale))
}

/// Levenberg-Marquardt with frozen weights; `None` when a number stops being finite.
fn descend(
    start: &DVector<f64>,
    prior: &Prior,
    evaluate: &impl Fn(&DVector<f64>, Need) -> Vec<Block>,
    factors: &[Cholesky<f64, Dyn>],
) -> Option<DVector<f64>> {
    let whitened_at = |at: &DVector<f64>| -> Option<Vec<Whitened>> {
        let blocks = evaluate(at, Need::Residuals);
        // Parameters that the problem cannot evaluate give no blocks: a bad step, not a perfect one.
        let is_whole = blocks.len() == factors.len();
        is_whole.then(|| blocks.iter().zip(factors).map(|(block, factor)| whiten(block, factor)).collect())?
    };
    let cost_of = |whitened: &[Whitened], at: &DVector<f64>| {
        whitened.iter().map(|block| block.residual.norm_squared()).sum::<f64>() + prior_cost(prior, at)
    };
    let mut at = start.clone();
    let mut whitened = whitened_at(&at)?;
    let mut cost = cost_of(&whitened, &at);
    let mut damping = DAMPING_START;
    for _ in 0..INNER_LIMIT {
        let normal = normal_matrix(&whitened, prior);
        let mut slope = (&prior.mean - &at).component_mul(&prior.precision);
        for block in &whitened {
            slope.gemv_tr(1.0, &block.rows, &block.residual, 1.0);
        }
        let mut damped = normal.clone();
        for i in 0..damped.nrows() {
            damped[(i, i)] *= 1.0 + damping;
        }
        let (factor, scale) = factor_normal(&damped)?;
        let step = factor.solve(&slope.component_mul(&scale)).component_mul(&scale);
        let size = (step.transpose() * &normal * &step)[(0, 0)];
        let next = &at + &step;
        let tried = whitened_at(&next).map(|whitened| (cost_of(&whitened, &next), whitened));
        match tried {
            // Rounding lets the cost of the last, tiny step rise a little.
            Some((next_cost, next_whitened)) if next_cost <= cost || size < STEP_SMALL => {
                (at, whitened, cost) = (next, next_whitened, next_cost);
                damping /= DAMPING_FACTOR;
            }
            _ => damping *= DAMPING_FACTOR,
        }
        if size < STEP_SMALL {
            break;
        }
        if !(damping < DAMPING_LIMIT && cost.is_finite()) {
            return None;
        }
    }
    Some(at)
}

/// Finds the parameters that best explain the observations and the prior, from a start near them.
pub fn solve(
    start: &DVector<f64>,
    prior: &Prior,
    evaluate: impl Fn(&DVector<f64>, Need) -> Vec<Block>,
) -> Option<Solution> {
    let mut at = start.clone();
    for _ in 0..OUTER_LIMIT {
        let blocks = evaluate(&at, Need::Covariances);
        let factors = blocks.iter().map(factor).collect::<Option<Vec<_>>>()?;
        let next = descend(&at, prior, &evaluate, &factors)?;
        let whitened =
            blocks.iter().zip(&factors).map(|(block, factor)| whiten(block, factor)).collect::<Option<Vec<_>>>()?;
        let moved = &next - &at;
        let size = (moved.transpose() * normal_matrix(&whitened, prior) * &moved)[(0, 0)];
        at = next;
        if size < RENEWAL_SMALL {
            break;
        }
    }
    conclude(at, prior, &evaluate)
}

fn conclude(
    parameters: DVector<f64>,
    prior: &Prior,
    evaluate: &impl Fn(&DVector<f64>, Need) -> Vec<Block>,
) -> Option<Solution> {
    let blocks = evaluate(&parameters, Need::Covariances);
    let factors = blocks.iter().map(factor).collect::<Option<Vec<_>>>()?;
    let whitened =
        blocks.iter().zip(&factors).map(|(block, factor)| whiten(block, factor)).collect::<Option<Vec<_>>>()?;
    let (factor, scale) = factor_normal(&normal_matrix(&whitened, prior))?;
    let inverse = factor.inverse();
    let size = parameters.len();
    let covariance = DMatrix::from_fn(size, size, |i, j| inverse[(i, j)] * scale[i] * scale[j]);
    let weights: Vec<DMatrix<f64>> = factors.iter().map(Cholesky::inverse).collect();
    let mut shares = [DMatrix::zeros(size, size), DMatrix::zeros(size, size), DMatrix::zeros(size, size)];
    for (block, weight) in blocks.iter().zip(&weights) {
        let gain = &covariance * block.jacobian.transpose() * weight;
        for (share, cause) in shares.iter_mut().zip(&block.causes) {
            *share += &gain * cause * gain.transpose();
        }
    }
    shares[CAUSES] = &covariance * DMatrix::from_diagonal(&prior.precision) * &covariance;
    let chi2 = whitened.iter().map(|block| block.residual.norm_squared()).sum();
    let log_det_normal =
        2.0 * factor.l_dirty().diagonal().iter().zip(scale.iter()).map(|(l, s)| (l / s).ln()).sum::<f64>();
    let prior_chi2 = prior_cost(prior, &parameters);
    let is_finite = covariance.iter().chain(parameters.iter()).all(|entry| entry.is_finite()) && f64::is_finite(chi2);
    is_finite.then_some(Solution { parameters, covariance, shares, blocks, weights, chi2, prior_chi2, log_det_normal })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ordinary line fit y = a + b·x with unit variance; NIST/SEMATECH style closed form worked by hand for x = 0, 1, 2 and
    /// y = 1, 3, 5.6: b = 2.3, a = 0.9, chi2 = 0.06; covariance [[5/6, −1/2], [−1/2, 1/2]].
    #[test]
    fn a_line_agrees_with_the_closed_form() {
        let (x, y) = ([0.0, 1.0, 2.0], [1.0, 3.0, 5.6]);
        let evaluate = |p: &DVector<f64>, _: Need| {
            x.iter()
                .zip(y)
                .map(|(x, y)| Block {
                    residual: DVector::from_element(1, y - p[0] - p[1] * x),
                    jacobian: DMatrix::from_row_slice(1, 2, &[1.0, *x]),
                    causes: [DMatrix::from_element(1, 1, 0.75), DMatrix::from_element(1, 1, 0.25)],
                })
                .collect()
        };
        let free = Prior { mean: DVector::zeros(2), precision: DVector::zeros(2) };
        let found = solve(&DVector::zeros(2), &free, evaluate).expect("determined");
        assert!((found.parameters[0] - 0.9).abs() < 1e-9 && (found.parameters[1] - 2.3).abs() < 1e-9);
        assert!((found.chi2 - 0.06).abs() < 1e-9);
        assert!((found.covariance[(0, 0)] - 5.0 / 6.0).abs() < 1e-9 && (found.covariance[(0, 1)] + 0.5).abs() < 1e-9);
        assert!((&found.shares[0] - &found.covariance * 0.75).norm() < 1e-9);
        assert!((&found.shares[0] + &found.shares[1] + &found.shares[2] - &found.covariance).norm() < 1e-9);
        // det [[3, 3], [3, 5]] = 6.
        assert!((found.log_det_normal - 6.0_f64.ln()).abs() < 1e-9);
    }

    /// Observation 2 ± 1 and prior 0 ± 1 meet at 1 with variance 1/2, half from each.
    #[test]
    fn a_prior_counts_as_an_observation() {
        let evaluate = |p: &DVector<f64>, _: Need| {
            vec![Block {
                residual: DVector::from_element(1, 2.0 - p[0]),
                jacobian: DMatrix::from_element(1, 1, 1.0),
                causes: [DMatrix::from_element(1, 1, 1.0), DMatrix::zeros(1, 1)],
            }]
        };
        let prior = Prior { mean: DVector::zeros(1), precision: DVector::from_element(1, 1.0) };
        let found = solve(&DVector::zeros(1), &prior, evaluate).expect("determined");
        assert!((found.parameters[0] - 1.0).abs() < 1e-9 && (found.covariance[(0, 0)] - 0.5).abs() < 1e-9);
        assert!((found.shares[0][(0, 0)] - 0.25).abs() < 1e-9 && (found.shares[2][(0, 0)] - 0.25).abs() < 1e-9);
    }

    #[test]
    fn an_open_parameter_is_refused() {
        let evaluate = |p: &DVector<f64>, _: Need| {
            vec![Block {
                residual: DVector::from_element(1, 2.0 - p[0] - p[1]),
                jacobian: DMatrix::from_element(1, 2, 1.0),
                causes: [DMatrix::from_element(1, 1, 1.0), DMatrix::zeros(1, 1)],
            }]
        };
        let free = Prior { mean: DVector::zeros(2), precision: DVector::zeros(2) };
        assert!(solve(&DVector::zeros(2), &free, evaluate).is_none());
    }
}
