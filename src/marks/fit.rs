//! Fits a black-and-white pattern to the pixels: place, blur, light and black level at once.
//!
//! **Takes** a patch of the photo, a [`Pattern`] near its true place, and a first guess of the light. **Gives** the
//! pattern at its best place and the covariance of its parameters, px².
//!
//! **How**: Gauss-Newton with Levenberg's damping on `code = encode(min(1, L·(r + (1 − r)·w)))`. `w` is the pattern's
//! whiteness after a Gaussian blur *in linear light*, `r` the black's reflectance against the white, `L` the light on
//! white: the exponential of a bilinear grid, so a shadow or a cutoff that crosses the mark is followed. Blur acts on
//! light times print; where the light's logarithm has the gradient g, that shows the print's blurred edges shifted by
//! g·sigma², which is exact for exponential light. A term `4·k·w·(1 − w)` lets all edges grow or shrink alike (spread
//! ink, flare, an unknown tone curve). Residuals are taken in encoded codes, where noise is nearly even, and weighted
//! after Huber (1964). Where a pixel is clipped, only a model that is too dark counts. The covariance is scaled by the
//! residuals and by their correlation between neighbours.
//!
//! **Weak when** the light changes faster than the grid can follow; the residuals, and with them sigma, then grow.

use super::fit_pass::{Pass, State, correlation};
use super::patch::Patch;
use crate::units::PxPoint;
use nalgebra::SMatrix;

/// Nodes of the light's grid along each side.
pub(super) const LIGHT_SIDE: usize = 6;
/// All nodes of the light's grid.
pub(super) const LIGHT_NODES: usize = LIGHT_SIDE * LIGHT_SIDE;
/// Iterations at most with half the samples (a good start needs four), and with all (two).
const COARSE_ITERATIONS: usize = 12;
const FINE_ITERATIONS: usize = 8;
/// Samples of a large mark: a sixteenth of them leads near, and then a quarter.
const MANY_SAMPLES: usize = 3000;
/// A step worth less than this in chi-square ends the work with half the samples.
const NEAR: f64 = 1.0;
/// A step worth less than this is the last one: it moves no parameter by more than 0.22 sigma, and what is left after
/// it is far less.
const SETTLED: f64 = 0.05;
/// So is one that is worth less than this and moves no edge by more than so many pixels, a fifth of the sharpest blur. From a quarter
/// of the samples a step is worth three a parameter by their noise alone; what is left after it is of second order.
const NEARLY_SETTLED: f64 = 150.0;
const NEARLY_SETTLED_PX: f64 = 0.04;
/// Noise before any residual is known, codes.
const FIRST_NOISE: f64 = 4.0;
/// Levenberg's damping at the start, and its factors after a bad and a good step.
const FIRST_DAMPING: f64 = 1e-3;
const DAMPING_UP: f64 = 10.0;
const DAMPING_DOWN: f64 = 0.2;
/// Bounds of the correlation's factor on the variance.
const CORRELATION_BOUNDS: (f64, f64) = (1.0, 30.0);

/// What a pattern shows at one place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look<const N: usize> {
    /// Blurred whiteness, 0 black to 1 white.
    pub(super) white: f64,
    /// Its change per unit of each parameter.
    pub(super) change: [f64; N],
}

/// A pattern with `N` parameters; the last one is the logarithm of its blur in pixels.
pub(super) trait Pattern<const N: usize>: Sized + Clone {
    /// What it shows at a place (pixels from the patch's own reference).
    fn look(&self, x: f64, y: f64) -> Look<N>;
    /// The pattern with its parameters moved; `None` when it degenerates.
    fn moved(&self, step: &[f64; N]) -> Option<Self>;
    /// The logarithm of its blur.
    fn blur_ln(&self) -> f64;
    /// By how much a step moves its edges at most, pixels; infinite where it cannot tell.
    fn moved_px(&self, _step: &[f64]) -> f64 {
        f64::INFINITY
    }
}

/// One pixel of the fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    /// Place, pixels from the reference.
    pub(super) x: f64,
    pub(super) y: f64,
    /// Encoded luma.
    pub(super) code: f64,
    pub(super) is_clipped: bool,
    /// The upper left of the four nodes of the light's grid around it, and the weights of the four.
    pub(super) first_node: usize,
    pub(super) node_weights: [f64; 4],
    /// Place between those nodes, 0..1 each way.
    pub(super) between: (f64, f64),
    /// Column and row in the patch.
    pub(super) column: u32,
    pub(super) row: u32,
}

/// The samples of a patch for which `grid_place` gives a place on the light's grid (0 to `LIGHT_SIDE` - 1 each way);
/// places are counted from the reference.
pub(super) fn samples_of(
    patch: &Patch,
    reference: PxPoint,
    grid_place: impl Fn(f64, f64) -> Option<(f64, f64)>,
) -> Vec<Sample> {
    let last = (LIGHT_SIDE - 2) as f64;
    let mut samples = Vec::with_capacity(patch.codes.len());
    for row in 0..patch.height {
        for column in 0..patch.width {
            let centre = patch.centre_of(column, row);
            let (x, y) = (centre.x - reference.x, centre.y - reference.y);
            let Some((grid_x, grid_y)) = grid_place(x, y) else { continue };
            let (node_x, node_y) = (grid_x.floor().clamp(0.0, last), grid_y.floor().clamp(0.0, last));
            let (fx, fy) = (grid_x - node_x, grid_y - node_y);
            let at = row * patch.width + column;
            samples.push(Sample {
                x,
                y,
                code: f64::from(patch.codes[at]),
                is_clipped: patch.clipped[at],
                first_node: node_y as usize * LIGHT_SIDE + node_x as usize,
                node_weights: [(1.0 - fx) * (1.0 - fy), fx * (1.0 - fy), (1.0 - fx) * fy, fx * fy],
                between: (fx, fy),
                column: column as u32,
                row: row as u32,
            });
        }
    }
    samples
}

/// The light on white.
#[derive(Debug, Clone)]
pub(super) struct Light {
    /// Natural logarithm of the light on white at the grid's nodes, row by row.
    pub(super) ln: [f64; LIGHT_NODES],
    /// Steps on the grid per pixel of the photo: columns per x and y, rows per x and y.
    pub(super) grid_steps: [[f64; 2]; 2],
}

/// The outcome of a fit.
#[derive(Debug, Clone)]
pub(super) struct Fitted<P, const N: usize> {
    /// The pattern at its best place.
    pub(super) pattern: P,
    /// Covariance of its parameters.
    pub(super) covariance: SMatrix<f64, N, N>,
    /// Noise plus misfit as a share of the contrast of white and black.
    pub(super) misfit: f64,
}

/// Fits the pattern, from a first guess of it and of the light.
pub(super) fn fit<P: Pattern<N>, const N: usize>(
    samples: &[Sample],
    pattern: P,
    light: &Light,
) -> Option<Fitted<P, N>> {
    // Every other sample, as on a chessboard, leads near the end at half the cost; of a large mark first every sixteenth, then
    // every fourth, by a knight's move.
    let shares: &[(u32, u32)] = if samples.len() > MANY_SAMPLES { &[(16, 6), (4, 2)] } else { &[(2, 1)] };
    let mut state = State::new(pattern, light);
    let mut noise = FIRST_NOISE;
    for (turn, &(every, step)) in shares.iter().enumerate() {
        let is_taken = |sample: &&Sample| (sample.column + step * sample.row).is_multiple_of(every);
        let some: Vec<Sample> = samples.iter().filter(is_taken).copied().collect();
        let effort = Effort { enough: NEAR, iterations: COARSE_ITERATIONS, is_light_first: turn == 0 };
        let (near, pass) = settle(state, &some, noise, effort)?;
        (state, noise) = (near, pass.noise());
    }
    let fine = Effort { enough: SETTLED, iterations: FINE_ITERATIONS, is_light_first: false };
    let (end, pass) = settle(state, samples, noise, fine)?;
    finish(end, &pass, samples)
}

/// How far the iterations go.
#[derive(Debug, Clone, Copy)]
struct Effort {
    /// A step worth less than this in chi-square is the last one.
    enough: f64,
    iterations: usize,
    /// Whether the first step holds blur, growth and black, which a poor guess of the light would mislead.
    is_light_first: bool,
}

/// Iterates; gives the end and the last run over the samples, which is one small step before it.
fn settle<P: Pattern<N>, const N: usize>(
    mut state: State<P>,
    samples: &[Sample],
    first_noise: f64,
    effort: Effort,
) -> Option<(State<P>, Pass)> {
    let mut pass = Pass::of(&state, samples, first_noise);
    let mut damping = FIRST_DAMPING;
    for iteration in 0..effort.iterations {
        let noise = pass.noise();
        let is_light_only = iteration == 0 && effort.is_light_first;
        let step = pass.step(damping, if is_light_only { N - 1..N + 2 } else { 0..0 })?;
        let Some(next) = state.moved(&step) else {
            damping *= DAMPING_UP;
            continue;
        };
        let worth = pass.worth(&step);
        let is_small = || state.pattern.moved_px(&step.as_slice()[..N]) < NEARLY_SETTLED_PX;
        if worth < effort.enough || (worth < NEARLY_SETTLED && !is_light_only && is_small()) {
            state = next;
            break;
        }
        let next_pass = Pass::of(&next, samples, noise);
        if next_pass.cost(noise) > pass.cost(noise) {
            damping *= DAMPING_UP;
            continue;
        }
        (state, pass) = (next, next_pass);
        damping *= DAMPING_DOWN;
    }
    Some((state, pass))
}

fn finish<P: Pattern<N>, const N: usize>(state: State<P>, pass: &Pass, samples: &[Sample]) -> Option<Fitted<P, N>> {
    let noise = pass.noise().max(pass.edge_noise());
    let rescale = (noise / pass.weighted_for).powi(2);
    let inverse = pass.curvature().cholesky()?.inverse();
    let factor = correlation(samples, pass).clamp(CORRELATION_BOUNDS.0, CORRELATION_BOUNDS.1) * rescale;
    let covariance = SMatrix::<f64, N, N>::from_fn(|row, column| inverse[(row, column)] * factor);
    let contrast = state.contrast(samples);
    let is_sound = covariance.iter().all(|entry| entry.is_finite()) && contrast.is_finite() && contrast > 0.0;
    is_sound.then(|| Fitted { pattern: state.pattern, covariance, misfit: noise / contrast })
}
