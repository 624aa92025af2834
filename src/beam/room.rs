//! Light that is not the lamp's: how much of the dark side's light is the room's.
//!
//! An edge fit cannot tell room light from the lamp's own stray light. What can is how the light fades: the lamp's stray
//! light falls upward and sideways from the cutoff and obeys inverse square and cosine, room light varies slowly. A closed-form
//! beam fitted to one published lamp has stray light `(c1·exp(-dv/1.157) + c0)·exp(-(h/24.69)²)` with c0/c1 = 0.18; that
//! ratio and the fading are taken as prior knowledge with wide spreads, everything else from the photo.

use super::light::LightGrid;
use super::solve::{Prior, fit};

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
const ABOVE_DEG: (f64, f64) = (0.7, 5.0);
/// Half width of the sampled region, degrees.
const HALF_WIDTH_DEG: f64 = 8.0;
/// Half size of a patch, cells: 0.3 degrees wide, 0.2 degrees high.
const PATCH: (usize, usize) = (3, 5);
/// Relative spread of a patch's light from paint, plaster and shading (own judgement).
const PATCH_SIGMA: f64 = 0.04;
/// Absolute spread of a patch, relative to full scale.
const PATCH_FLOOR: f64 = 1.5e-4;
/// Stray light that does not fade upward, relative to what fades, and how much lamps differ in it.
const CONSTANT_SHARE: f64 = 0.18;
const CONSTANT_SHARE_SIGMA: f64 = 0.12;
/// Upward fading of the lamp's stray light, degrees, and the relative spread between lamps.
const FADING_DEG: f64 = 1.157;
const FADING_LN_SIGMA: f64 = 0.35;
/// Sideways fading of the lamp's stray light, degrees.
const SIDEWAYS_DEG: f64 = 24.69;
/// Gradient of room light across the wall, per degree.
const GRADIENT_SIGMA: f64 = 0.02;

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
}

/// Estimates the room's light from the wall above the cutoff; `cutoff` gives the cutoff's V at an H.
pub fn estimate(light: &LightGrid<'_>, centre_deg: (f64, f64), cutoff: &impl Fn(f64) -> f64) -> Option<RoomLight> {
    let patches = collect(light, centre_deg.0, cutoff);
    if patches.len() < 20 {
        return None;
    }
    let mut levels: Vec<f64> = patches.iter().map(|p| p.level).collect();
    levels.sort_by(f64::total_cmp);
    let darkest = levels[levels.len() / 20].max(1e-5);
    let near: f64 = levels[levels.len() * 9 / 10].max(darkest * 1.02);
    // Parameters: ln room, gradients, ln c1, share c0/c1, ln fading.
    let start = [(darkest * 0.8).ln(), 0.0, 0.0, ((near - darkest * 0.8) * 1.5).ln(), CONSTANT_SHARE, FADING_DEG.ln()];
    let priors = [
        Prior { mean: (darkest * 0.7).ln(), sigma: 1.5 },
        Prior { mean: 0.0, sigma: GRADIENT_SIGMA },
        Prior { mean: 0.0, sigma: GRADIENT_SIGMA },
        Prior { mean: start[3], sigma: 1.5 },
        Prior { mean: CONSTANT_SHARE, sigma: CONSTANT_SHARE_SIGMA },
        Prior { mean: FADING_DEG.ln(), sigma: FADING_LN_SIGMA },
    ];
    let model = |p: &[f64], patch: &Patch| {
        let room = p[0].exp() * (1.0 + p[1] * (patch.h - centre_deg.0) + p[2] * (patch.v - centre_deg.1)).max(0.1);
        let stray = p[3].exp()
            * ((-patch.above / p[5].exp()).exp() + p[4].max(0.0))
            * (-(patch.h / SIDEWAYS_DEG).powi(2)).exp();
        room + stray / patch.factor
    };
    let fitted = fit(&start, &priors, |p| {
        patches
            .iter()
            .map(|patch| {
                let value = model(p, patch);
                (patch.level - value) / (PATCH_SIGMA * value).hypot(PATCH_FLOOR)
            })
            .collect()
    })?;
    let base = fitted.parameters[0].exp();
    // Neighbouring patches share the wall's shading: about one in four counts as independent (own judgement).
    let relative = fitted.covariance[(0, 0)].max(0.0).sqrt() * fitted.spread.max(0.5) * 2.0;
    Some(RoomLight {
        base,
        sigma: base * relative.clamp(0.02, 1.5),
        gradient_h: fitted.parameters[1],
        gradient_v: fitted.parameters[2],
        centre_h: centre_deg.0,
        centre_v: centre_deg.1,
    })
}

fn collect(light: &LightGrid<'_>, centre_h: f64, cutoff: &impl Fn(f64) -> f64) -> Vec<Patch> {
    let grid = light.grid;
    let mut patches = Vec::new();
    let mut values = Vec::new();
    let mut h = centre_h - HALF_WIDTH_DEG;
    while h <= centre_h + HALF_WIDTH_DEG {
        let edge = cutoff(h);
        let mut above = ABOVE_DEG.0;
        while above <= ABOVE_DEG.1 {
            let (i, j) = (grid.h.nearest(h), grid.v.nearest(edge + above));
            values.clear();
            if i > PATCH.0 && j > PATCH.1 && i + PATCH.0 < grid.h.count && j + PATCH.1 < grid.v.count {
                for b in (j - PATCH.1..=j + PATCH.1).step_by(2) {
                    for a in i - PATCH.0..=i + PATCH.0 {
                        let k = grid.index(a, b);
                        if grid.is_valid[k] {
                            values.push(light.level[k]);
                        }
                    }
                }
            }
            if values.len() > 20 {
                let middle = values.len() / 2;
                let (_, median, _) = values.select_nth_unstable_by(middle, f32::total_cmp);
                let factor = f64::from(grid.intensity_factor[grid.index(i, j)]);
                patches.push(Patch { h, v: edge + above, above, level: f64::from(*median), factor });
            }
            above += 0.35;
        }
        h += 0.5;
    }
    patches
}
