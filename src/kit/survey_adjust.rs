//! Weighted least squares of a survey's readings, and the search for one that was mistyped.
//!
//! **Takes** readings with standard uncertainties and a function that predicts each from the parameters. **Gives**
//! parameters, their covariance, and for each reading its residual and its redundancy number.
//!
//! **How**: Gauss-Newton steps, halved while they do not help; each step by a QR decomposition of the weighted design matrix,
//! columns scaled to unit length. The covariance is (AᵀPA)⁻¹ with the stated uncertainties (GUM 5.1.2, F.1.2.4), not scaled
//! by the residuals. A gross error is sought by data snooping (Baarda, A testing procedure for use in geodetic networks,
//! 1968; from memory): `w = v / (σ √r)` is a standard normal number when the reading is sound, r = (I − A(AᵀPA)⁻¹AᵀP)ᵢᵢ is
//! the share of a gross error that shows in its own residual, so v / r is that error.
//!
//! **Weak when** r is near 0: nothing checks the reading. **Fails when** the readings leave a parameter open.

use nalgebra::{DMatrix, DVector};

/// |w| beyond which a reading is suspected: a sound one exceeds it once in 16,000, so that one of forty sound surveys of
/// forty readings each is no false alarm in 400.
pub const SUSPECT_SIGMAS: f64 = 4.0;
/// Readings with at least this share of the largest |w| are tried as its cause.
const CANDIDATE_SHARE: f64 = 0.7;
/// Least advantage in chi-square of one explanation over another: odds of e^(6/2) = 20 to 1.
const LEAST_ADVANTAGE: f64 = 6.0;
/// Redundancy below which a gross error can hide.
pub const LEAST_REDUNDANCY: f64 = 0.02;
/// Most readings that are left out before the whole survey is doubted.
const MOST_LEFT_OUT: usize = 3;
/// Diagonal entry of R, columns scaled to 1, below which a parameter counts as open.
const LEAST_PIVOT: f64 = 1e-10;
/// Steps at most; surveys that can be solved need under ten.
const STEP_LIMIT: usize = 60;
/// Halvings of one step.
const HALVING_LIMIT: usize = 30;
/// A step this small against the parameters' own uncertainty ends the search.
const STEP_SMALL: f64 = 1e-6;

/// A reading as the fit sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighted {
    /// What was read.
    pub value: f64,
    /// Its standard uncertainty, same unit.
    pub sigma: f64,
    /// An assumption in place of a reading: it is never suspected.
    pub is_assumed: bool,
}

/// The result of a fit.
#[derive(Debug, Clone)]
pub struct Adjustment {
    /// The parameters.
    pub parameters: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Reading minus prediction, in the reading's unit.
    pub residuals: Vec<f64>,
    /// Redundancy numbers, 0 (nothing checks it) to 1.
    pub redundancy: Vec<f64>,
    /// Sum of (residual / sigma)².
    pub chi2: f64,
    /// Readings beyond those needed.
    pub freedom: usize,
}

/// A reading that does not fit the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspect {
    /// Its place in the list.
    pub index: usize,
    /// Its studentised residual w.
    pub w: f64,
    /// The value that would fit the other readings.
    pub fits: f64,
}

/// A fit after data snooping.
#[derive(Debug, Clone)]
pub struct Snooped {
    /// The fit without what was left out; residuals and redundancy stand for all readings, 0 where left out.
    pub adjustment: Adjustment,
    /// Readings that were left out, in the order in which they were found.
    pub left_out: Vec<Suspect>,
    /// Readings any of which may be wrong: the others cannot decide.
    pub undecided: Vec<Suspect>,
}

/// Fits the parameters. `predict(place of the reading, parameters)`; the error is the place of a parameter that stays open.
pub fn adjust(
    readings: &[Weighted],
    start: &DVector<f64>,
    predict: &dyn Fn(usize, &DVector<f64>) -> f64,
) -> Result<Adjustment, usize> {
    let used: Vec<usize> = (0..readings.len()).collect();
    adjust_used(readings, &used, start, predict)
}

fn adjust_used(
    readings: &[Weighted],
    used: &[usize],
    start: &DVector<f64>,
    predict: &dyn Fn(usize, &DVector<f64>) -> f64,
) -> Result<Adjustment, usize> {
    let residual = |at: &DVector<f64>| {
        DVector::from_iterator(
            used.len(),
            used.iter().map(|i| (readings[*i].value - predict(*i, at)) / readings[*i].sigma),
        )
    };
    let mut at = start.clone();
    let mut gap = residual(&at);
    for _ in 0..STEP_LIMIT {
        let (q, r, scale) = decompose(&design(readings, used, &at, predict))?;
        let turned = q.transpose() * &gap;
        let step = r.solve_upper_triangular(&turned).ok_or(0_usize)?.component_mul(&scale);
        let mut share = 1.0;
        let mut next = &at + &step;
        let mut next_gap = residual(&next);
        for _ in 0..HALVING_LIMIT {
            if next_gap.norm_squared() <= gap.norm_squared() * (1.0 + STEP_SMALL) {
                break;
            }
            share *= 0.5;
            next = &at + &step * share;
            next_gap = residual(&next);
        }
        (at, gap) = (next, next_gap);
        // |Qᵀ·gap| is the step in units of the parameters' uncertainty.
        if turned.norm() < STEP_SMALL {
            break;
        }
    }
    conclude(readings, used, at, &gap, predict)
}

fn conclude(
    readings: &[Weighted],
    used: &[usize],
    parameters: DVector<f64>,
    gap: &DVector<f64>,
    predict: &dyn Fn(usize, &DVector<f64>) -> f64,
) -> Result<Adjustment, usize> {
    let (q, r, scale) = decompose(&design(readings, used, &parameters, predict))?;
    let count = parameters.len();
    let inverse = r.solve_upper_triangular(&DMatrix::identity(count, count)).ok_or(0_usize)?;
    let inverse = DMatrix::from_diagonal(&scale) * inverse;
    let mut residuals = vec![0.0; readings.len()];
    let mut redundancy = vec![0.0; readings.len()];
    for (row, i) in used.iter().enumerate() {
        residuals[*i] = gap[row] * readings[*i].sigma;
        redundancy[*i] = (1.0 - q.row(row).norm_squared()).clamp(0.0, 1.0);
    }
    Ok(Adjustment {
        covariance: &inverse * inverse.transpose(),
        parameters,
        residuals,
        redundancy,
        chi2: gap.norm_squared(),
        freedom: used.len().saturating_sub(count),
    })
}

/// Derivatives of the predictions by the parameters over sigma, by central differences.
fn design(
    readings: &[Weighted],
    used: &[usize],
    at: &DVector<f64>,
    predict: &dyn Fn(usize, &DVector<f64>) -> f64,
) -> DMatrix<f64> {
    /// Step of a parameter: its own size times this, or this where it is small; a mm, a degree and a percent are all of a
    /// size at which predictions are straight over a hundredth.
    const PROBE: f64 = 1e-2;
    let mut matrix = DMatrix::zeros(used.len(), at.len());
    for column in 0..at.len() {
        let (mut above, mut below) = (at.clone(), at.clone());
        above[column] += PROBE;
        below[column] -= PROBE;
        let width = above[column] - below[column];
        for (row, i) in used.iter().enumerate() {
            matrix[(row, column)] = (predict(*i, &above) - predict(*i, &below)) / width / readings[*i].sigma;
        }
    }
    matrix
}

/// Q, R and the columns' scale.
type Factors = (DMatrix<f64>, DMatrix<f64>, DVector<f64>);

/// Factors of the design matrix; the error is the column that the ones before it leave nothing of.
fn decompose(matrix: &DMatrix<f64>) -> Result<Factors, usize> {
    let count = matrix.ncols();
    if matrix.nrows() < count {
        let empty = (0..count).find(|column| matrix.column(*column).norm() <= 0.0);
        return Err(empty.unwrap_or(count.saturating_sub(1)));
    }
    let scale = DVector::from_iterator(count, matrix.column_iter().map(|column| 1.0 / column.norm()));
    if let Some(open) = scale.iter().position(|entry| !entry.is_finite()) {
        return Err(open);
    }
    let qr = (matrix * DMatrix::from_diagonal(&scale)).qr();
    let r = qr.r();
    match (0..count).find(|place| r[(*place, *place)].abs() < LEAST_PIVOT) {
        Some(open) => Err(open),
        None => Ok((qr.q(), r, scale)),
    }
}

/// Fits, and leaves out readings that do not fit the others as long as it is plain which.
pub fn snoop(
    readings: &[Weighted],
    start: &DVector<f64>,
    predict: &dyn Fn(usize, &DVector<f64>) -> f64,
) -> Result<Snooped, usize> {
    let mut used: Vec<usize> = (0..readings.len()).collect();
    let mut left_out = Vec::new();
    loop {
        let adjustment = adjust_used(readings, &used, start, predict)?;
        let suspects = suspects(readings, &used, &adjustment, start, predict);
        let [worst, ..] = &suspects[..] else {
            return Ok(Snooped { adjustment, left_out, undecided: Vec::new() });
        };
        if suspects.len() > 1 || left_out.len() == MOST_LEFT_OUT {
            return Ok(Snooped { adjustment, left_out, undecided: suspects });
        }
        left_out.push(*worst);
        used.retain(|i| *i != worst.index);
    }
}

/// The readings any of which explains the worst residual nearly as well as the best, the best first; empty when all fit.
///
/// Large errors bend the problem, and readings that check one another have nearly the same w: each candidate is left out in
/// turn and the others are fitted anew.
fn suspects(
    readings: &[Weighted],
    used: &[usize],
    adjustment: &Adjustment,
    start: &DVector<f64>,
    predict: &dyn Fn(usize, &DVector<f64>) -> f64,
) -> Vec<Suspect> {
    let studentised = |i: usize| adjustment.residuals[i] / (readings[i].sigma * adjustment.redundancy[i].sqrt());
    let mut all: Vec<(usize, f64)> = used
        .iter()
        .copied()
        .filter(|i| !readings[*i].is_assumed && adjustment.redundancy[*i] > LEAST_REDUNDANCY)
        .map(|i| (i, studentised(i)))
        .collect();
    all.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    let Some(worst) = all.first().map(|(_, w)| w.abs()).filter(|w| *w > SUSPECT_SIGMAS) else { return Vec::new() };
    let mut tried: Vec<(f64, Suspect)> = all
        .into_iter()
        .filter(|(_, w)| w.abs() >= CANDIDATE_SHARE * worst)
        .filter_map(|(index, w)| {
            let rest: Vec<usize> = used.iter().copied().filter(|i| *i != index).collect();
            let without = adjust_used(readings, &rest, start, predict).ok()?;
            Some((without.chi2, Suspect { index, w, fits: predict(index, &without.parameters) }))
        })
        .collect();
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    let best = tried.first().map_or(0.0, |(chi2, _)| *chi2);
    tried.into_iter().filter(|(chi2, _)| *chi2 <= best + LEAST_ADVANTAGE).map(|(_, suspect)| suspect).collect()
}
