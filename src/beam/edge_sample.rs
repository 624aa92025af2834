//! The samples of a stretch of the cutoff, and how they are held against the edge's model.

use super::curvature::Curvature;
use super::edge::{STEP_DEG, Scan};
use super::edge_line::Expected;
use super::edge_model::{N, Upright, at, intensity_slopes};
use super::options::BeamOptions;
use super::solve::{CAUCHY_SCALE, Equations, root_sum_square};
use super::wall_rows::RowPull;
use std::collections::BTreeMap;

/// Lowest and highest V that a scan must hold around an edge, degrees; with the gradient's own step.
pub(super) fn window_deg(options: &BeamOptions) -> (f64, f64) {
    (options.cutoff.below_deg, options.cutoff.above_deg + STEP_DEG)
}

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
pub(super) fn collect(scans: &[Scan], expected: &Expected, options: &BeamOptions) -> Vec<Sample> {
    let mut samples = Vec::new();
    for (number, scan) in scans.iter().enumerate() {
        let d = scan.h_deg - expected.h0_deg;
        let edge = expected.v0_deg + expected.slope * d;
        let from = scan.v_deg.partition_point(|&v| v < edge - options.cutoff.below_deg);
        let to = scan.v_deg.partition_point(|&v| v < edge + options.cutoff.above_deg);
        samples.extend(scan.joined(from..to, options.cutoff.joined_rows).map(|rows| Sample {
            d,
            v: rows.v_deg,
            level: rows.level,
            noise: rows.noise,
            factor: rows.factor,
            room: rows.room,
            is_clipped: rows.clipped > options.cutoff.clipped_share,
            scan: number,
            row: ((rows.v_deg - edge) / 0.04).round() as i32,
        }));
    }
    samples
}

/// The model as one scan sees it.
struct ScanModel {
    upright: Upright,
    /// Factor on the room's light.
    room: f64,
    texture: f64,
}

impl ScanModel {
    fn new(p: &[f64], d: f64, texture: f64) -> Self {
        Self { upright: Upright::new(p, d), room: p[at::R].exp(), texture }
    }

    /// The light that the photo should show of a lamp's intensity.
    fn light(&self, intensity: f64, sample: &Sample) -> f64 {
        (intensity / sample.factor + sample.room * self.room).max(1e-7)
    }

    /// The model's relative uncertainty.
    fn relative(&self, light: f64, sample: &Sample) -> f64 {
        root_sum_square(sample.noise / light, self.texture)
    }

    /// How far a sample lies from the model's light, in its sigmas; a clipped one only says "at least this much". Texture
    /// multiplies the light, noise adds to it: the residual is that of the logarithms in so far as the one rules and of the light
    /// itself in so far as the other does (the mean of noisy logarithms is not the logarithm of the mean).
    fn residual(light: f64, relative: f64, sample: &Sample) -> f64 {
        let ratio = sample.level / light;
        let noise = (sample.noise / (light * relative)).powi(2);
        let r = (noise * (ratio - 1.0) + (1.0 - noise) * ratio.max(0.05).ln()) / relative;
        if sample.is_clipped { r.max(0.0) } else { r }
    }

    /// Derivatives of a sample's residual by every parameter, and the model's relative uncertainty there.
    fn slopes(&self, p: &[f64], sample: &Sample) -> ([f64; N], f64) {
        let parts = self.upright.parts(sample.v);
        let light = self.light(parts.intensity(), sample);
        let relative = self.relative(light, sample);
        let mut row = intensity_slopes(p, sample.d, &parts);
        let scale = -1.0 / (sample.factor * light * relative);
        for value in &mut row {
            *value *= scale;
        }
        row[at::R] = -sample.room * self.room / (light * relative);
        (row, relative)
    }

    /// Derivative of a sample's log light by the edge's place, per degree.
    fn place_slope(&self, sample: &Sample) -> f64 {
        const PROBE_DEG: f64 = 0.005;
        let ln_light = |v: f64| self.light(self.upright.intensity(v), sample).ln();
        (ln_light(sample.v - PROBE_DEG) - ln_light(sample.v + PROBE_DEG)) / (2.0 * PROBE_DEG)
    }
}

/// How far the samples lie from the model, in their sigmas.
pub(super) fn residuals(p: &[f64], samples: &[Sample], texture: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(samples.len());
    for scan in samples.chunk_by(|a, b| a.scan == b.scan) {
        let model = ScanModel::new(p, scan[0].d, texture);
        out.extend(scan.iter().map(|sample| {
            let light = model.light(model.upright.intensity(sample.v), sample);
            ScanModel::residual(light, model.relative(light, sample), sample)
        }));
    }
    out
}

/// The normal equations of all samples. The relative uncertainty counts as fixed within a step.
pub(super) fn equations(p: &[f64], samples: &[Sample], texture: f64, current: &[f64], weights: &[f64]) -> Equations {
    let mut normal = Curvature::<N>::new();
    let mut gradient = [0.0; N];
    let mut model = ScanModel::new(p, 0.0, texture);
    let mut scan = None;
    for ((sample, &r), &weight) in samples.iter().zip(current).zip(weights) {
        if sample.is_clipped && r <= 0.0 {
            continue;
        }
        if scan != Some(sample.scan) {
            (model, scan) = (ScanModel::new(p, sample.d, texture), Some(sample.scan));
        }
        let (row, _) = model.slopes(p, sample);
        for (sum, slope) in gradient.iter_mut().zip(row.iter()) {
            *sum += weight * r * slope;
        }
        normal.add(&row, weight);
    }
    Equations::of(&normal.whole(), &gradient)
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
    let model = ScanModel::new(p, sample.d, texture);
    let light = model.light(model.upright.intensity(sample.v), sample);
    let relative = model.relative(light, sample);
    let r = ScanModel::residual(light, relative, sample);
    Weighed {
        ln_residual: r * relative,
        weight: 1.0 / (1.0 + (r / CAUCHY_SCALE).powi(2)) / (relative * relative),
        slope: model.place_slope(sample),
    }
}

/// How each joined row's log light moves a quantity of the fit: `by_parameter` is the fit's covariance times the quantity's
/// derivatives by the parameters.
pub(super) fn row_pulls(p: &[f64], samples: &[Sample], texture: f64, by_parameter: &[f64]) -> Vec<RowPull> {
    let mut rows: BTreeMap<i32, f64> = BTreeMap::new();
    for scan in samples.chunk_by(|a, b| a.scan == b.scan) {
        let model = ScanModel::new(p, scan[0].d, texture);
        for sample in scan {
            let light = model.light(model.upright.intensity(sample.v), sample);
            let (slopes, relative) = model.slopes(p, sample);
            let r = ScanModel::residual(light, relative, sample);
            if sample.is_clipped && r <= 0.0 {
                continue;
            }
            let weight = 1.0 / (1.0 + (r / CAUCHY_SCALE).powi(2));
            let moved: f64 = by_parameter.iter().zip(&slopes).map(|(a, slope)| a * slope).sum();
            // A Newton step from a residual that the row's light adds.
            *rows.entry(sample.row).or_default() -= moved * weight / relative;
        }
    }
    rows.into_iter().map(|(row, deg_per_ln)| RowPull { row, deg_per_ln }).collect()
}
