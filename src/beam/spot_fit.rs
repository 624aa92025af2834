//! Fits the lamp's closed form to the blocks of wall, and says how well the data pin it.
//!
//! Marquardt's damping with analytic slopes, Cauchy weights against joints and stains, Gaussian priors on every parameter.
//! The wall's mottling is correlated from block to block; how much is taken from the residuals themselves: blocks of blocks
//! scatter more than independent ones would, and the covariance grows by that factor.

use super::curvature::Curvature;
use super::options::BeamOptions;
use super::solve::{Effort, Equations, Prior, solve};
use super::spot_model::{COUNT, Lamp, Place, index};
use nalgebra::SMatrix;

/// The first look at a wide flat top may be poor: careful first steps.
const EFFORT: Effort = Effort { iterations: 25, damping: 1e-2 };

/// One block as the fit sees it.
#[derive(Debug, Clone, Copy)]
pub struct Datum {
    /// Where.
    pub place: Place,
    /// Natural log of the relative intensity that was seen.
    pub ln_level: f64,
    /// ln of the lens's whole fall-off there.
    pub ln_fall_off: f64,
    /// Change of `ln_level` by one sigma of the tone curve.
    pub ln_tone: f64,
    /// Cosine and sine of the phase of a pulsed lamp's bands; zeros where none are seen.
    pub bands: [f64; 2],
    /// H and V from the middle of the data, for the wall's gradient.
    pub from_middle: (f64, f64),
    /// Standard deviation of the log from texture and from what the form may be off.
    pub sigma: f64,
    /// Column and row of the block.
    pub block: (usize, usize),
}

pub(super) type Matrix = SMatrix<f64, COUNT, COUNT>;

/// The fitted form.
#[derive(Debug, Clone)]
pub struct SpotFit {
    /// Parameters.
    pub parameters: [f64; COUNT],
    /// Their covariance.
    pub covariance: Matrix,
    /// Robust cost that was reached.
    pub cost: f64,
    /// Factor by which the residuals and their correlation raise the variance of what the data say.
    pub scale: f64,
}

/// What a pulsed lamp's bands add to a block's log light.
pub(super) fn ln_bands(p: &[f64; COUNT], datum: &Datum) -> f64 {
    p[index::BANDS[0]] * datum.bands[0] + p[index::BANDS[1]] * datum.bands[1]
}

fn residual(p: &[f64; COUNT], lamp: &Lamp, datum: &Datum, slopes: Option<&mut [f64; COUNT]>) -> f64 {
    let nuisance = p[index::FALL_OFF] * datum.ln_fall_off
        + p[index::WALL_H] * datum.from_middle.0
        + p[index::WALL_V] * datum.from_middle.1
        + p[index::TONE] * datum.ln_tone
        + ln_bands(p, datum);
    let model = match slopes {
        None => lamp.ln_intensity(&datum.place, None),
        Some(slopes) => {
            let value = lamp.ln_intensity(&datum.place, Some(slopes));
            slopes[index::FALL_OFF] = datum.ln_fall_off;
            slopes[index::WALL_H] = datum.from_middle.0;
            slopes[index::WALL_V] = datum.from_middle.1;
            slopes[index::TONE] = datum.ln_tone;
            for (k, phase) in index::BANDS.into_iter().zip(datum.bands) {
                slopes[k] = phase;
            }
            value
        }
    };
    (model + nuisance - datum.ln_level) / datum.sigma
}

/// Fits from `start`; `None` when nothing finite comes of it.
pub fn fit(start: &[f64; COUNT], data: &[Datum], priors: &[Prior; COUNT], options: &BeamOptions) -> Option<SpotFit> {
    let residuals = |p: &[f64]| {
        let p: [f64; COUNT] = std::array::from_fn(|k| p[k]);
        let lamp = Lamp::new(&p);
        data.iter().map(|datum| residual(&p, &lamp, datum, None)).collect::<Vec<f64>>()
    };
    let fitted = solve(EFFORT, start, priors, &residuals, |p, current, weights| equations(p, data, current, weights))?;
    let parameters: [f64; COUNT] = std::array::from_fn(|k| fitted.parameters[k]);
    let scale = scale(data, &residuals(&parameters), options);
    // What the data say counts for less by `scale`; what is known beforehand keeps its weight.
    let mut information = fitted.covariance.try_inverse()?;
    for (a, prior) in priors.iter().enumerate() {
        information[(a, a)] -= prior.sigma.powi(-2);
    }
    information /= scale;
    for (a, prior) in priors.iter().enumerate() {
        information[(a, a)] += prior.sigma.powi(-2);
    }
    let covariance = information.cholesky()?.inverse();
    let covariance = Matrix::from_fn(|a, b| covariance[(a, b)]);
    Some(SpotFit { parameters, covariance, cost: fitted.cost, scale })
}

/// The normal equations of all blocks.
fn equations(p: &[f64], data: &[Datum], current: &[f64], weights: &[f64]) -> Equations {
    let p: [f64; COUNT] = std::array::from_fn(|k| p[k]);
    let lamp = Lamp::new(&p);
    let mut normal = Curvature::<COUNT>::new();
    let mut gradient = [0.0; COUNT];
    for ((datum, r), weight) in data.iter().zip(current).zip(weights) {
        let mut slopes = [0.0; COUNT];
        residual(&p, &lamp, datum, Some(&mut slopes));
        let weight = weight / datum.sigma;
        for (sum, slope) in gradient.iter_mut().zip(slopes.iter()) {
            *sum += weight * r * slope;
        }
        normal.add(&slopes, weight / datum.sigma);
    }
    Equations::of(&normal.whole(), &gradient)
}

/// Variance of the data's weighted sums over tiles of blocks, against that of independent blocks of their stated sigmas: the
/// largest over the tiles' sizes. Weighted as the fit weighs, so that it is the texture around the top that counts.
fn scale(data: &[Datum], residuals: &[f64], options: &BeamOptions) -> f64 {
    /// Sizes of the tiles in blocks along H and V.
    const TILES: [(usize, usize); 5] = [(1, 1), (1, 2), (2, 4), (3, 8), (5, 12)];
    /// Residuals beyond this many spreads are joints and stains; the fit hardly weighs them either.
    const LIMIT: f64 = 3.0;
    let mut magnitudes: Vec<(f64, f64)> =
        data.iter().zip(residuals).map(|(datum, r)| (r.abs(), datum.sigma.powi(-2))).collect();
    magnitudes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * magnitudes.iter().map(|m| m.1).sum::<f64>();
    let mut weight = 0.0;
    let median = magnitudes.iter().find(|m| {
        weight += m.1;
        weight >= half
    });
    let limit = LIMIT * 1.4826 * median.map_or(1.0, |m| m.0);
    let mut factor: f64 = f64::MIN_POSITIVE;
    for (wide, high) in TILES {
        let columns = data.iter().map(|datum| datum.block.0 / wide).max().unwrap_or(0) + 1;
        let rows = data.iter().map(|datum| datum.block.1 / high).max().unwrap_or(0) + 1;
        let mut tiles = vec![0.0; columns * rows];
        let mut total = 0.0;
        for (datum, r) in data.iter().zip(residuals) {
            tiles[datum.block.1 / high * columns + datum.block.0 / wide] += r.clamp(-limit, limit) / datum.sigma;
            total += datum.sigma.powi(-2);
        }
        factor = factor.max(tiles.iter().map(|sum| sum * sum).sum::<f64>() / total);
    }
    options.spot.long_mottling * factor
}
