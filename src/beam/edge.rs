//! One vertical scan, and the cutoff by its definition: the middle of the 0.1 degree step with the greatest
//! `G = log10 I(V) - log10 I(V + 0.1)` (UN R112 annex on the cutoff; 49 CFR 571.108 uses the same).

use std::ops::Range;

/// The step of the gradient's definition, degrees (UN R112, 49 CFR 571.108).
pub const STEP_DEG: f64 = 0.1;

/// One vertical scan.
#[derive(Debug, Clone, Default)]
pub struct Scan {
    /// H of its centre, degrees.
    pub h_deg: f64,
    /// V of each sample, rising, degrees.
    pub v_deg: Vec<f64>,
    /// Light of each sample, relative to full scale.
    pub level: Vec<f64>,
    /// Standard deviation of each sample's light.
    pub sigma: Vec<f64>,
    /// Intensity per illuminance of each sample.
    pub factor: Vec<f64>,
    /// Room light at each sample, relative to full scale.
    pub room: Vec<f64>,
    /// Share of clipped light of each sample, 0 to 1.
    pub clipped_at: Vec<f64>,
    /// Blur of the photo, standard deviation, degrees.
    pub blur_deg: f64,
}

/// Some rows of a scan as one.
#[derive(Debug, Clone, Copy)]
pub struct JoinedRows {
    /// Mean V, degrees.
    pub v_deg: f64,
    /// Mean light.
    pub level: f64,
    /// Standard deviation of that mean.
    pub noise: f64,
    /// Mean intensity per illuminance.
    pub factor: f64,
    /// Mean room light.
    pub room: f64,
    /// Mean share of clipped light.
    pub clipped: f64,
}

impl Scan {
    /// The samples `range`, `rows` at a time; what is left at the end is left out.
    pub fn joined(&self, range: Range<usize>, rows: usize) -> impl Iterator<Item = JoinedRows> {
        let end = (range.end + 1).saturating_sub(rows);
        (range.start..end).step_by(rows).map(move |k| {
            let mean = |values: &[f64]| values[k..k + rows].iter().sum::<f64>() / rows as f64;
            JoinedRows {
                v_deg: mean(&self.v_deg),
                level: mean(&self.level),
                noise: mean(&self.sigma) / (rows as f64).sqrt(),
                factor: mean(&self.factor),
                room: mean(&self.room),
                clipped: mean(&self.clipped_at),
            }
        })
    }
}

/// Place (middle of the step) and size of the greatest fall of log10 over [`STEP_DEG`] between `from` and `to`.
pub fn steepest(intensity: impl Fn(f64) -> f64, from_deg: f64, to_deg: f64) -> Option<(f64, f64)> {
    steepest_every::<10>(intensity, from_deg, to_deg)
}

/// As [`steepest`], with `PARTS` places a step; between them a parabola tells the maximum.
pub fn steepest_every<const PARTS: usize>(
    intensity: impl Fn(f64) -> f64,
    from_deg: f64,
    to_deg: f64,
) -> Option<(f64, f64)> {
    let distance = STEP_DEG / PARTS as f64;
    let count = ((to_deg - from_deg) / distance) as usize;
    let logs: Vec<f64> = (0..=count + PARTS).map(|k| intensity(from_deg + k as f64 * distance).log10()).collect();
    let fall = |k: usize| {
        let fall = logs[k] - logs[k + PARTS];
        if fall.is_finite() { fall } else { f64::NEG_INFINITY }
    };
    let best = (1..count).max_by(|&a, &b| fall(a).total_cmp(&fall(b)))?;
    let (left, mid, right) = (fall(best - 1), fall(best), fall(best + 1));
    let curvature = left - 2.0 * mid + right;
    let offset = if curvature < -1e-12 { 0.5 * (left - right) / curvature } else { 0.0 };
    let at = from_deg + (best as f64 + offset.clamp(-1.0, 1.0)) * distance;
    mid.is_finite().then_some((at + STEP_DEG / 2.0, mid))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form (edge algebra): the log cutoff of L + (H - L)/(1 + exp((v - v0)/s)) lies at v0 + (s/2) ln(H/L), with
    /// G over the full step 0.3 to 1.6 % less than 0.1·tanh(ln(H/L)/4)/(s ln 10).
    #[test]
    fn steepest_fall_agrees_with_the_edge_algebra() {
        for (ratio, s, g) in [(20.0f64, 0.212f64, 0.13), (30.0, 0.150, 0.20), (40.0, 0.111, 0.284), (40.0, 0.079, 0.40)]
        {
            let edge = |v: f64| 1.0 + (ratio - 1.0) / (1.0 + (v / s).exp());
            let (v, found) = steepest(edge, -1.0, 1.5).unwrap();
            assert!((v - s / 2.0 * ratio.ln()).abs() < 1e-3, "place {v} for s = {s}");
            assert!((found / g - 1.0).abs() < 0.02, "G {found} against {g}");
        }
    }
}
