//! Light that is not the lamp's: how much of the dark side's light is the room's.
//!
//! An edge fit cannot tell room light from the lamp's own stray light. What can is how the light fades: the lamp's stray
//! light falls upward and sideways from the cutoff and obeys inverse square and cosine, room light varies slowly. A closed-form
//! beam fitted to one published lamp has stray light `(c1·exp(-dv/1.157) + c0)·exp(-(h/24.69)²)` with c0/c1 = 0.18; that
//! ratio and the fading are taken as prior knowledge with wide spreads, everything else from the photo.

use super::light::ToneCurve;
use super::solve::{Prior, fit};
use crate::grid::FarSample;
use crate::photo::linear::LUMINANCE_WEIGHTS;

/// The room's light over the wall: `base·(1 + gx·(h - h0) + gy·(v - v0))`.
#[derive(Debug, Clone, Copy, Default)]
pub struct RoomLight {
    /// Light at the reference direction, relative to full scale.
    pub base: f64,
    /// Its standard uncertainty.
    pub sigma: f64,
    gradient_h: f64,
    gradient_v: f64,
    centre_h: f64,
    centre_v: f64,
}

/// Where stray light is sampled above the cutoff, degrees.
const ABOVE_DEG: (f64, f64) = (0.8, 12.0);
/// Relative spread of a patch's light from paint, plaster and shading (own judgement).
const PATCH_SIGMA: f64 = 0.04;
/// Absolute spread of a patch, relative to full scale.
const PATCH_FLOOR: f64 = 1.5e-4;
/// The lamp's stray light fades upward in two steps: fast just above the cutoff (1.2 degrees: the fit to one published
/// lamp), then slowly (about 9 degrees; own judgement). The spreads are logarithmic.
const FAST_DEG: f64 = 1.2;
const FAST_LN_SIGMA: f64 = 0.3;
const SLOW_DEG: f64 = 9.0;
const SLOW_LN_SIGMA: f64 = 0.3;
/// Patches over the rising part keep this distance from the cutoff, degrees: its course is known worse there.
const ABOVE_RISE_DEG: f64 = 1.5;
/// Sideways fading of the lamp's stray light, degrees.
const SIDEWAYS_DEG: f64 = 24.69;
/// Gradient of room light across the wall, per degree.
const GRADIENT_SIGMA: f64 = 0.008;
/// Share of the lens's cos⁴ fall-off that the camera left in (own judgement: half, anywhere between none and all).
const FALL_OFF_SHARE: f64 = 0.4;
const FALL_OFF_SHARE_SIGMA: f64 = 0.3;
/// Neighbouring patches share the wall's shading: about one in four counts as independent (own judgement).
const SHARED: f64 = 4.0;

impl RoomLight {
    /// Room light in a direction, relative to full scale, never negative.
    pub fn at(&self, h_deg: f64, v_deg: f64) -> f64 {
        let shape = 1.0 + self.gradient_h * (h_deg - self.centre_h) + self.gradient_v * (v_deg - self.centre_v);
        (self.base * shape.clamp(0.2, 3.0)).max(0.0)
    }

    /// The same light, one standard uncertainty more (or less).
    #[must_use]
    pub fn moved(&self, sigmas: f64) -> Self {
        Self { base: (self.base + sigmas * self.sigma).max(0.0), ..*self }
    }

    /// The same light everywhere.
    pub fn uniform(base: f64, sigma: f64) -> Self {
        Self { base, sigma, ..Self::default() }
    }

    /// What an ambient photo leaves: nothing but its own error, in light relative to full scale.
    pub fn subtracted(sigma: f64) -> Self {
        Self { sigma, ..Self::default() }
    }
}

struct Patch {
    h: f64,
    v: f64,
    above: f64,
    level: f64,
    factor: f64,
    off_axis: f64,
}

/// Estimates the room's light from the wall above the cutoff; `cutoff` gives the cutoff's V at an H.
pub fn estimate(
    far: &[FarSample],
    tone: &ToneCurve,
    centre_deg: (f64, f64),
    cutoff: &impl Fn(f64) -> f64,
) -> Option<RoomLight> {
    let patches: Vec<Patch> = far
        .iter()
        .map(|sample| Patch {
            h: sample.h_deg,
            v: sample.v_deg,
            above: sample.v_deg - cutoff(sample.h_deg),
            level: f64::from((0..3).map(|c| LUMINANCE_WEIGHTS[c] * tone.level(sample.rgb[c])).sum::<f32>()),
            factor: sample.factor,
            off_axis: sample.off_axis,
        })
        .filter(|patch| {
            let is_over_rise = cutoff(patch.h) > centre_deg.1 + 0.1;
            let from = if is_over_rise { ABOVE_RISE_DEG } else { ABOVE_DEG.0 };
            patch.above > from && patch.above < ABOVE_DEG.1
        })
        .collect();
    if patches.len() < 40 {
        return None;
    }
    let mut levels: Vec<f64> = patches.iter().map(|p| p.level).collect();
    levels.sort_by(f64::total_cmp);
    let darkest = levels[levels.len() / 20].max(1e-5);
    let near: f64 = levels[levels.len() * 9 / 10].max(darkest * 1.02);
    // Parameters: ln room, its gradients, ln fast stray, ln its fading, ln slow stray, ln its fading, share of the
    // lens's fall-off.
    let stray = (near - darkest * 0.6).max(1e-6).ln();
    let start = [(darkest * 0.6).ln(), 0.0, 0.0, stray, FAST_DEG.ln(), stray - 0.7, SLOW_DEG.ln(), FALL_OFF_SHARE];
    let priors = [
        Prior { mean: (darkest * 0.5).ln(), sigma: 2.0 },
        Prior { mean: 0.0, sigma: GRADIENT_SIGMA },
        Prior { mean: 0.0, sigma: GRADIENT_SIGMA },
        Prior { mean: start[3], sigma: 2.0 },
        Prior { mean: FAST_DEG.ln(), sigma: FAST_LN_SIGMA },
        Prior { mean: start[5], sigma: 2.0 },
        Prior { mean: SLOW_DEG.ln(), sigma: SLOW_LN_SIGMA },
        Prior { mean: FALL_OFF_SHARE, sigma: FALL_OFF_SHARE_SIGMA },
    ];
    let model = |p: &[f64], patch: &Patch| {
        let shape = 1.0 + p[1] * (patch.h - centre_deg.0) + p[2] * (patch.v - centre_deg.1);
        let room = p[0].exp() * shape.max(0.1);
        let fading = (p[3] - patch.above / p[4].exp()).exp() + (p[5] - patch.above / p[6].exp()).exp();
        let stray = fading * (-(patch.h / SIDEWAYS_DEG).powi(2)).exp();
        (room + stray / patch.factor) * (1.0 + patch.off_axis).powf(-2.0 * p[7])
    };
    let fitted = fit(&start, &priors, |p| {
        patches
            .iter()
            .map(|patch| {
                let value = model(p, patch);
                (patch.level - value) / ((PATCH_SIGMA * value).hypot(PATCH_FLOOR) * SHARED.sqrt())
            })
            .collect()
    })?;
    let base = fitted.parameters[0].exp();
    let sigma_ln = fitted.covariance[(0, 0)].max(0.0).sqrt();
    // In logs a light near zero has a wide spread; what counts is how much light that is.
    let sigma = (base * sigma_ln).min(0.5 * darkest).max(0.02 * base);
    Some(RoomLight {
        base,
        sigma,
        gradient_h: fitted.parameters[1],
        gradient_v: fitted.parameters[2],
        centre_h: centre_deg.0,
        centre_v: centre_deg.1,
    })
}
