//! Fits the marks' pixels with one tone curve, one print and one point spread for the whole photo.
//!
//! **Takes** the windows of the marks. **Gives** the strength of the S-curve with the spread that the pixels allow.
//!
//! **How**: light of a pixel = `L·(r + (1 - r)·w) + veil`; `L` the light on white, per mark the exponential of a
//! quadratic; `r` the black's reflectance against the white and `w` the whiteness under a weighted sum of three blurs,
//! both common to all marks. Each channel goes through sRGB and the S-curve, luma is their sum, and a share `k` of what
//! a blur takes from it is added (sharpening after the tone curve). Levenberg-Marquardt (Marquardt 1963) with Cauchy
//! weights, in codes, where noise is nearly even. A code of 1 thus says as much about light as its rounding lets it.
//!
//! **Why it can tell**: edges of the print pass through every level between black and white in a known order, and the
//! same two reflectances are seen under the different lights of several marks.

use super::curvature::Curvature;
use super::light::inverse_s_curve;
use super::mark_window::{LUMA, MarkWindow};
use super::options::BeamOptions;
use super::solve::{Prior, root_sum_square, sum_of_logs};
use super::tone_model::{LumaTable, blurred};
use crate::photo::linear::srgb_to_linear;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// Parameters common to all marks: ln of white over black, veil, weights of the sharp and the wide blur, sharpening of
/// codes, strength.
const COMMON: usize = 6;
const LN_RATIO: usize = 0;
const VEIL: usize = 1;
const SHARP: usize = 2;
const WIDE: usize = 3;
const SHARPENING: usize = 4;
const STRENGTH: usize = 5;
/// Terms of the light's logarithm over a mark: constant, two slopes, three curvatures.
const LIGHT: usize = 6;
/// What is expected of them. White paper 0.8 over black print 0.03 to 0.06 is 13 to 27. The veil is a share of full
/// scale. The strength itself is left free; its prior comes after the fit.
const PRIORS: [Prior; COMMON] = [
    Prior { mean: 2.89, sigma: 0.3 },
    Prior { mean: 0.0, sigma: 0.002 },
    Prior { mean: 0.0, sigma: 1.0 },
    Prior { mean: 0.0, sigma: 1.0 },
    Prior { mean: 0.0, sigma: 0.4 },
    Prior { mean: 0.2, sigma: 3.0 },
];
/// Spread of the light's slopes and curvatures over half a mark, ln.
const LIGHT_SIGMA: [f64; LIGHT] = [3.0, 1.0, 1.0, 0.6, 0.6, 0.6];
/// Scale of the Cauchy weights in sigmas.
const CAUCHY: f64 = 2.4;
/// Range of the strength within which the curve rises everywhere.
const STRENGTHS: (f64, f64) = (-0.9, 0.98);
/// Steps of the fit before the marks' own misfit is known, and after.
const FIRST_STEPS: usize = 6;
const LAST_STEPS: usize = 10;
/// Fall of the cost that ends the fit.
const CONVERGED: f64 = 0.02;

/// What the marks say by themselves.
#[derive(Debug, Clone, Copy)]
pub(super) struct FittedTone {
    pub(super) strength: f64,
    pub(super) sigma: f64,
}

/// Fits all windows; `None` without any, or when the equations are not solvable.
pub(super) fn fit(windows: &[MarkWindow], options: &BeamOptions) -> Option<FittedTone> {
    if windows.is_empty() {
        return None;
    }
    // Most of the way a band of each mark leads as well as all of it.
    let bands: Vec<MarkWindow> = windows.iter().map(MarkWindow::band).collect();
    let bands: Vec<MarkFit<'_>> = bands.iter().map(|band| MarkFit::new(band, options)).collect();
    let start =
        State { common: PRIORS.map(|prior| prior.mean), light: bands.iter().map(MarkFit::first_light).collect() };
    let (state, _) = descend(&bands, start, FIRST_STEPS, options)?;
    let mut marks: Vec<MarkFit<'_>> = windows.iter().map(|window| MarkFit::new(window, options)).collect();
    let spreads = pass(&marks, &state, options).spreads;
    for (mark, spread) in marks.iter_mut().zip(spreads) {
        mark.scale = spread.max(1.0);
    }
    let (state, pass) = descend(&marks, state, LAST_STEPS, options)?;
    let covariance = pass.normal.try_inverse()?;
    let sigma = covariance[(STRENGTH, STRENGTH)].max(0.0).sqrt();
    let strength = state.common[STRENGTH];
    (strength.is_finite() && sigma.is_finite()).then_some(FittedTone { strength, sigma })
}

#[derive(Debug, Clone)]
struct State {
    common: [f64; COMMON],
    light: Vec<[f64; LIGHT]>,
}

/// Cost, normal equations and right side at a state, and each mark's robust residual in sigmas.
struct Pass {
    cost: f64,
    normal: DMatrix<f64>,
    right: DVector<f64>,
    spreads: Vec<f64>,
}

fn descend(marks: &[MarkFit<'_>], mut state: State, steps: usize, options: &BeamOptions) -> Option<(State, Pass)> {
    let mut damping = 1e-3;
    let mut pass = pass(marks, &state, options);
    for _ in 0..steps {
        let mut damped = pass.normal.clone();
        for k in 0..damped.nrows() {
            damped[(k, k)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(&pass.right);
        let trial = state.moved(&step);
        let there = self::pass(marks, &trial, options);
        if there.cost.is_finite() && there.cost < pass.cost {
            let is_done = pass.cost - there.cost < CONVERGED;
            (state, pass) = (trial, there);
            damping = (damping * 0.2_f64).max(1e-7);
            if is_done {
                break;
            }
        } else {
            damping *= 8.0;
        }
    }
    pass.cost.is_finite().then_some((state, pass))
}

impl State {
    fn moved(&self, step: &DVector<f64>) -> Self {
        let mut next = self.clone();
        for (value, change) in next.common.iter_mut().chain(next.light.iter_mut().flatten()).zip(step.iter()) {
            *value += change;
        }
        next.common[STRENGTH] = next.common[STRENGTH].clamp(STRENGTHS.0, STRENGTHS.1);
        next
    }
}

fn pass(marks: &[MarkFit<'_>], state: &State, options: &BeamOptions) -> Pass {
    let size = COMMON + LIGHT * marks.len();
    let parts: Vec<Part> =
        marks.par_iter().zip(&state.light).map(|(mark, light)| mark.part(&state.common, light, options)).collect();
    let mut normal = DMatrix::zeros(size, size);
    let mut right = DVector::zeros(size);
    let mut cost = 0.0;
    for (k, part) in parts.iter().enumerate() {
        let place = |i: usize| if i < COMMON { i } else { i + LIGHT * k };
        cost += part.cost;
        for a in 0..PER_MARK {
            right[place(a)] += part.right[a];
            for b in 0..=a {
                normal[(place(a), place(b))] += part.normal[a][b];
                if a != b {
                    normal[(place(b), place(a))] += part.normal[a][b];
                }
            }
        }
        for (j, (value, sigma)) in state.light[k].iter().zip(LIGHT_SIGMA).enumerate().skip(1) {
            let weight = sigma.powi(-2);
            let at = place(COMMON + j);
            cost += value * value * weight;
            normal[(at, at)] += weight;
            right[at] -= value * weight;
        }
    }
    for (j, (value, prior)) in state.common.iter().zip(PRIORS).enumerate() {
        let weight = prior.sigma.powi(-2);
        cost += (value - prior.mean).powi(2) * weight;
        normal[(j, j)] += weight;
        right[j] -= (value - prior.mean) * weight;
    }
    Pass { cost, normal, right, spreads: parts.iter().map(|part| part.spread).collect() }
}

/// Parameters that one mark's pixels depend on.
const PER_MARK: usize = COMMON + LIGHT;

struct Part {
    cost: f64,
    normal: [[f64; PER_MARK]; PER_MARK],
    right: [f64; PER_MARK],
    spread: f64,
}

struct MarkFit<'a> {
    window: &'a MarkWindow,
    light_terms: Vec<[f64; LIGHT]>,
    /// Stated noise of each used pixel.
    noise: Vec<f64>,
    /// Factor on the stated noise.
    scale: f64,
}

impl<'a> MarkFit<'a> {
    fn new(window: &'a MarkWindow, options: &BeamOptions) -> Self {
        // Beyond the sheet only the sharpening mask looks; the light must not run away there.
        const FARTHEST: f64 = 1.3;
        let light_terms = window
            .place
            .iter()
            .map(|&(x, y)| {
                let (x, y) = (x.clamp(-FARTHEST, FARTHEST), y.clamp(-FARTHEST, FARTHEST));
                [1.0, x, y, x * x, x * y, y * y]
            })
            .collect();
        let noise =
            |&k: &usize| root_sum_square(options.tone.noise_codes / 255.0, options.tone.noise_share * window.luma[k]);
        Self { window, light_terms, noise: window.used.iter().map(noise).collect(), scale: 1.0 }
    }

    fn first_light(&self) -> [f64; LIGHT] {
        let luma: f64 = (0..3).map(|c| LUMA[c] * self.window.white_rgb[c]).sum();
        let mut out = [0.0; LIGHT];
        out[0] = light_of(luma, PRIORS[STRENGTH].mean).max(LEAST_LIGHT).ln();
        out
    }

    /// Light of each channel on white against that of the luma.
    fn tint(&self, strength: f64) -> [f64; 3] {
        /// Bounds of a tint that is still the lamp's.
        const BOUNDS: (f64, f64) = (0.2, 4.0);
        let rgb = self.window.white_rgb;
        let luma = light_of((0..3).map(|c| LUMA[c] * rgb[c]).sum(), strength).max(LEAST_LIGHT);
        rgb.map(|encoded| (light_of(encoded, strength) / luma).clamp(BOUNDS.0, BOUNDS.1))
    }

    fn part(&self, common: &[f64; COMMON], light: &[f64; LIGHT], options: &BeamOptions) -> Part {
        let window = self.window;
        let table = LumaTable::new(common[STRENGTH], &self.tint(common[STRENGTH]));
        let black = (-common[LN_RATIO]).exp();
        let looks: Vec<Pixel> = window
            .white
            .iter()
            .zip(&self.light_terms)
            .map(|(white, terms)| {
                let [a, b, c, d, e, f] = light;
                let ln = a + b * terms[1] + c * terms[2] + d * terms[3] + e * terms[4] + f * terms[5];
                let white_light = ln.clamp(-14.0, 3.0).exp();
                let whiteness = white[1] + common[SHARP] * (white[0] - white[1]) + common[WIDE] * (white[2] - white[1]);
                let own = white_light * (black + (1.0 - black) * whiteness);
                Pixel { white_light, whiteness, own, luma: table.at(own + common[VEIL]) }
            })
            .collect();
        let values: Vec<f32> = looks.iter().map(|look| look.luma[0] as f32).collect();
        let soft = blurred(&values, window.width);
        let mut part = Part { cost: 0.0, normal: [[0.0; PER_MARK]; PER_MARK], right: [0.0; PER_MARK], spread: 0.0 };
        let mut magnitudes = Vec::with_capacity(window.used.len());
        let mut losses = Vec::with_capacity(window.used.len());
        let mut normal = Curvature::<PER_MARK>::new();
        for (&k, noise) in window.used.iter().zip(&self.noise) {
            let (look, white, terms) = (&looks[k], &window.white[k], &self.light_terms[k]);
            let edge = look.luma[0] - f64::from(soft[k]);
            let sigma = self.scale * noise;
            let residual = (window.luma[k] - look.luma[0] - common[SHARPENING] * edge) / sigma;
            let slope = look.luma[1];
            let by_white = slope * look.white_light * (1.0 - black);
            let mut change = [0.0; PER_MARK];
            change[LN_RATIO] = -slope * look.white_light * black * (1.0 - look.whiteness);
            change[VEIL] = slope;
            change[SHARP] = by_white * (white[0] - white[1]);
            change[WIDE] = by_white * (white[2] - white[1]);
            change[SHARPENING] = edge;
            change[STRENGTH] = look.luma[2];
            let by_light = slope * look.own;
            for (entry, term) in change[COMMON..].iter_mut().zip(terms.iter()) {
                *entry = by_light * term;
            }
            let loss = 1.0 + (residual / CAUCHY).powi(2);
            losses.push(loss);
            let weight = 1.0 / (loss * options.tone.shared * sigma * sigma);
            let pull = weight * residual * sigma;
            for (right, change) in part.right.iter_mut().zip(change.iter()) {
                *right += pull * change;
            }
            normal.add(&change, weight);
            magnitudes.push(residual.abs());
        }
        part.normal = normal.whole();
        part.cost = CAUCHY * CAUCHY * sum_of_logs(losses.into_iter()) / options.tone.shared;
        let middle = magnitudes.len() / 2;
        if middle > 0 {
            let (_, median, _) = magnitudes.select_nth_unstable_by(middle, f64::total_cmp);
            part.spread = 1.4826 * *median;
        }
        part
    }
}

/// Least light on white, as a share of full scale.
const LEAST_LIGHT: f64 = 1e-4;

/// Light of an encoded value under an S-curve.
fn light_of(encoded: f64, strength: f64) -> f64 {
    f64::from(srgb_to_linear((255.0 * inverse_s_curve(encoded.clamp(0.0, 1.0), strength)) as f32))
}

/// One pixel of the model.
struct Pixel {
    white_light: f64,
    whiteness: f64,
    own: f64,
    /// Luma, its change by light and by strength.
    luma: [f64; 3],
}
