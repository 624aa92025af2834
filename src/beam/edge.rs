//! The cutoff of one vertical scan: a model of the edge fitted to it, and the steepest log fall of that model.
//!
//! Model (our own closed form): with x = V - v0 and T = 1 / (1 + exp(x/s)),
//! `I = H·exp(kb·x)·T + L·exp(-ka·max(x, 0))·(1 - T)`: place v0, softness s, level H below with its slope, the lamp's own
//! stray light L above, fading upward. The photo shows `E = I / factor + room`. The cutoff is the middle of the 0.1 degree
//! step with the greatest `G = log10 I(V) - log10 I(V + 0.1)` (UN R112 annex on the cutoff; 49 CFR 571.108 uses the same).

use super::solve::{Prior, fit};

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
}

/// The edge of one scan.
#[derive(Debug, Clone, Copy)]
pub struct Edge {
    /// H of the scan, degrees.
    pub h_deg: f64,
    /// Cutoff: middle of the step with the greatest G, degrees.
    pub v_deg: f64,
    /// Standard uncertainty from the scan's own noise, degrees.
    pub sigma_deg: f64,
    /// Greatest G.
    pub g: f64,
    /// Softness s, degrees.
    pub softness_deg: f64,
    /// Light just below the edge, relative to full scale.
    pub high: f64,
    /// The lamp's own stray light just above it.
    pub low: f64,
    /// Residual spread relative to the stated noise.
    pub spread: f64,
    /// Share of clipped light within 0.25 degrees of the cutoff.
    pub clipped: f64,
}

/// Half height of the window around the coarse place, degrees: below and above.
const BELOW_DEG: f64 = 0.9;
const ABOVE_DEG: f64 = 1.4;
/// Fewest samples on either side of the edge.
const MIN_SIDE_SAMPLES: usize = 8;
/// Relative floor of a sample's noise: paint and plaster vary by about 2 % at this scale (own judgement).
const TEXTURE: f64 = 0.02;

/// Samples with more clipped light than this are left out.
const CLIPPED_SHARE: f64 = 0.02;

fn intensity(p: &[f64], v_deg: f64) -> f64 {
    let x = v_deg - p[0];
    let s = p[1].exp();
    let t = 1.0 / (1.0 + (x / s).clamp(-60.0, 60.0).exp());
    (p[2] + p[3] * x + p[6] * x.min(0.0).powi(2)).exp() * t + (p[4] - p[5] * x.max(0.0)).exp() * (1.0 - t)
}

/// What the flat stretch has told of the lamp's edge.
#[derive(Debug, Clone, Copy)]
pub struct KnownEdge {
    /// Softness s, degrees.
    pub softness_deg: f64,
    /// The lamp's own stray light above the edge, relative to full scale.
    pub low: f64,
}

/// Fits the edge near `coarse_deg`; `None` when the scan does not reach far enough on both sides.
pub fn fit_edge(scan: &Scan, coarse_deg: f64, known: &KnownEdge) -> Option<Edge> {
    let window: Vec<usize> = (0..scan.v_deg.len())
        .filter(|&k| scan.v_deg[k] > coarse_deg - BELOW_DEG && scan.v_deg[k] < coarse_deg + ABOVE_DEG)
        .filter(|&k| scan.clipped_at[k] < CLIPPED_SHARE)
        .collect();
    let below = window.iter().filter(|&&k| scan.v_deg[k] < coarse_deg - 0.15).count();
    let above = window.iter().filter(|&&k| scan.v_deg[k] > coarse_deg + 0.15).count();
    if below < MIN_SIDE_SAMPLES || above < MIN_SIDE_SAMPLES {
        return None;
    }
    let mut high: Vec<f64> =
        window.iter().filter(|&&k| scan.v_deg[k] < coarse_deg - 0.2).map(|&k| scan.level[k]).collect();
    high.sort_by(f64::total_cmp);
    let high = high.get(high.len() * 3 / 4).copied()?.max(1e-5);
    let ln_high = high.ln();
    let ln_low = known.low.max(1e-7).ln();
    let start = [coarse_deg - 0.15, known.softness_deg.ln(), ln_high, -0.3, ln_low, 0.3, 0.0];
    let priors = [
        Prior { mean: coarse_deg - 0.15, sigma: 0.6 },
        Prior { mean: known.softness_deg.ln(), sigma: 0.2 },
        Prior { mean: ln_high, sigma: 1.0 },
        Prior { mean: -0.2, sigma: 0.8 },
        Prior { mean: ln_low, sigma: 0.3 },
        Prior { mean: 0.3, sigma: 0.3 },
        Prior { mean: 0.0, sigma: 0.5 },
    ];
    let fitted = fit(&start, &priors, |p| {
        window
            .iter()
            .map(|&k| {
                let model = (intensity(p, scan.v_deg[k]) / scan.factor[k] + scan.room[k]).max(1e-7);
                let relative = (scan.sigma[k] / model).hypot(TEXTURE);
                // In logs the texture of the wall is additive; for noise-dominated samples log and linear agree.
                ((scan.level[k].max(model * 0.05) / model).ln()) / relative
            })
            .collect()
    })?;
    let p = &fitted.parameters;
    let (v_deg, g) = steepest(|v| intensity(p, v), p[0] - 0.5, p[0] + 1.2)?;
    let mut variance = 0.0;
    let gradient: Vec<f64> = (0..p.len())
        .map(|k| {
            let mut moved = p.clone();
            let step = 1e-3 * priors[k].sigma;
            moved[k] += step;
            steepest(|v| intensity(&moved, v), p[0] - 0.5, p[0] + 1.2).map_or(0.0, |(v, _)| (v - v_deg) / step)
        })
        .collect();
    for a in 0..p.len() {
        for b in 0..p.len() {
            variance += gradient[a] * gradient[b] * fitted.covariance[(a, b)];
        }
    }
    let sigma_deg = variance.max(0.0).sqrt() * fitted.spread.max(0.3);
    Some(Edge {
        h_deg: scan.h_deg,
        v_deg,
        sigma_deg: sigma_deg.max(1e-4),
        g,
        softness_deg: p[1].exp(),
        high: p[2].exp(),
        low: p[4].exp(),
        spread: fitted.spread,
        clipped: clipped_near(scan, v_deg),
    })
}

fn clipped_near(scan: &Scan, v_deg: f64) -> f64 {
    let near: Vec<f64> =
        (0..scan.v_deg.len()).filter(|&k| (scan.v_deg[k] - v_deg).abs() < 0.25).map(|k| scan.clipped_at[k]).collect();
    near.iter().sum::<f64>() / near.len().max(1) as f64
}

/// Place (middle of the step) and size of the greatest fall of log10 over [`STEP_DEG`] between `from` and `to`.
pub fn steepest(intensity: impl Fn(f64) -> f64, from_deg: f64, to_deg: f64) -> Option<(f64, f64)> {
    const SCAN_STEP_DEG: f64 = 0.01;
    let fall = |v: f64| {
        let (below, above) = (intensity(v), intensity(v + STEP_DEG));
        if below > 0.0 && above > 0.0 { (below / above).log10() } else { f64::NEG_INFINITY }
    };
    let count = ((to_deg - from_deg) / SCAN_STEP_DEG) as usize;
    let falls: Vec<f64> = (0..=count).map(|k| fall(from_deg + k as f64 * SCAN_STEP_DEG)).collect();
    let best = (1..count).max_by(|&a, &b| falls[a].total_cmp(&falls[b]))?;
    let (left, mid, right) = (falls[best - 1], falls[best], falls[best + 1]);
    let curvature = left - 2.0 * mid + right;
    let offset = if curvature < -1e-12 { 0.5 * (left - right) / curvature } else { 0.0 };
    let at = from_deg + (best as f64 + offset.clamp(-1.0, 1.0)) * SCAN_STEP_DEG;
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
