//! The samples of a stretch of the cutoff, and how they are held against the edge's model.

use super::edge::{STEP_DEG, Scan};
use super::edge_line::Expected;
use super::edge_model::{N, at, intensity, intensity_slopes, parts};
use super::solve::{CAUCHY_SCALE, Equations};

/// Half height of the window around the expected edge, degrees.
const BELOW_DEG: f64 = 0.9;
const ABOVE_DEG: f64 = 1.4;
/// Rows of a scan that are joined into one sample: 0.04 degrees, under the 0.05 that UN R112 asks of a scan.
const JOINED_ROWS: usize = 2;
/// Samples with more clipped light than this only say "at least this much".
const CLIPPED_SHARE: f64 = 0.02;

/// Lowest and highest V that a scan must hold around an edge, degrees; with the gradient's own step.
pub(super) const WINDOW_DEG: (f64, f64) = (BELOW_DEG, ABOVE_DEG + STEP_DEG);

/// Some joined rows of one scan.
pub(super) struct Sample {
    pub(super) d: f64,
    pub(super) v: f64,
    pub(super) level: f64,
    pub(super) noise: f64,
    pub(super) factor: f64,
    pub(super) room: f64,
    pub(super) is_clipped: bool,
    pub(super) scan: usize,
    pub(super) row: i32,
}

/// The samples around the expected edge.
pub(super) fn collect(scans: &[Scan], expected: &Expected) -> Vec<Sample> {
    let mut samples = Vec::new();
    for (number, scan) in scans.iter().enumerate() {
        let d = scan.h_deg - expected.h0_deg;
        let edge = expected.v0_deg + expected.slope * d;
        let from = scan.v_deg.partition_point(|&v| v < edge - BELOW_DEG);
        let to = scan.v_deg.partition_point(|&v| v < edge + ABOVE_DEG);
        samples.extend(scan.joined(from..to, JOINED_ROWS).map(|rows| Sample {
            d,
            v: rows.v_deg,
            level: rows.level,
            noise: rows.noise,
            factor: rows.factor,
            room: rows.room,
            is_clipped: rows.clipped > CLIPPED_SHARE,
            scan: number,
            row: ((rows.v_deg - edge) / 0.04).round() as i32,
        }));
    }
    samples
}

/// The light that the photo should show, and the model's relative uncertainty.
fn expected_light(light: f64, p: &[f64], sample: &Sample, texture: f64) -> (f64, f64) {
    let model = (light / sample.factor + sample.room * p[at::R].exp()).max(1e-7);
    (model, (sample.noise / model).hypot(texture))
}

/// How far a sample lies from the model, in its sigmas; a clipped one only says "at least this much".
pub(super) fn residual(p: &[f64], sample: &Sample, texture: f64) -> f64 {
    let (model, relative) = expected_light(intensity(p, sample.d, sample.v), p, sample, texture);
    let r = (sample.level.max(model * 0.05) / model).ln() / relative;
    if sample.is_clipped { r.max(0.0) } else { r }
}

/// The normal equations of all samples. The relative uncertainty counts as fixed within a step.
pub(super) fn equations(p: &[f64], samples: &[Sample], texture: f64, current: &[f64], weights: &[f64]) -> Equations {
    let mut normal = [[0.0; N]; N];
    let mut gradient = [0.0; N];
    for ((sample, &r), &weight) in samples.iter().zip(current).zip(weights) {
        if sample.is_clipped && r <= 0.0 {
            continue;
        }
        let parts = parts(p, sample.d, sample.v);
        let light = parts.below * parts.t + parts.above * (1.0 - parts.t);
        let (model, relative) = expected_light(light, p, sample, texture);
        let mut row = intensity_slopes(p, sample.d, &parts);
        let scale = -1.0 / (sample.factor * model * relative);
        for value in &mut row {
            *value *= scale;
        }
        row[at::R] = -sample.room * p[at::R].exp() / (model * relative);
        for a in 0..N {
            let weighted = weight * row[a];
            gradient[a] += weighted * r;
            for (sum, other) in normal[a][..=a].iter_mut().zip(&row) {
                *sum += weighted * other;
            }
        }
    }
    let mut sums = Equations::zeros(N);
    for (a, (slope, row)) in gradient.iter().zip(&normal).enumerate() {
        sums.gradient[a] = *slope;
        for (b, value) in row[..=a].iter().enumerate() {
            sums.normal[(a, b)] = *value;
        }
    }
    sums
}

/// Derivative of a sample's log light by the edge's place, per degree.
fn place_slope(p: &[f64], sample: &Sample) -> f64 {
    const PROBE_DEG: f64 = 0.005;
    let light = |v: f64| (intensity(p, sample.d, v) / sample.factor + sample.room * p[at::R].exp()).max(1e-7).ln();
    (light(sample.v - PROBE_DEG) - light(sample.v + PROBE_DEG)) / (2.0 * PROBE_DEG)
}

/// A sample as the robust fit weighs it.
pub(super) struct Weighed {
    /// Natural log of its light over the model's.
    pub(super) ln_residual: f64,
    /// Weight of that log.
    pub(super) weight: f64,
    /// Derivative of the log light by the edge's place, per degree.
    pub(super) slope: f64,
}

/// The sample's residual, weight and slope under the fitted parameters.
pub(super) fn weigh(p: &[f64], sample: &Sample, texture: f64) -> Weighed {
    let r = residual(p, sample, texture);
    let (_, relative) = expected_light(intensity(p, sample.d, sample.v), p, sample, texture);
    Weighed {
        ln_residual: r * relative,
        weight: 1.0 / (1.0 + (r / CAUCHY_SCALE).powi(2)) / (relative * relative),
        slope: place_slope(p, sample),
    }
}
