//! The closed-form edge that is fitted to a stretch of the cutoff: light at a direction, its derivatives, its steepest fall.
//!
//! At direction (h, v), with d = h - h0 and x = v - v0 - tilt·d:
//! `I = exp(H + H1·d + H2·d² + (kb + kb1·d)·x + (c + c1·d)·min(x, 0)²)·T + exp(L + L1·d - ka·max(x, 0))·(1 - T)`,
//! `T = 1/(1 + exp(u·(1 + q·tanh(u/2))))`, `u = x/(s·exp(s1·d))`: q makes the edge softer on one side than on the other, c
//! bends the light below it (the hot spot lies close under a cutoff). The photo shows `E = I / factor + room·exp(r)`.

use super::edge::steepest;

/// Places of the parameters, named as in the formula.
pub(super) mod at {
    /// V of half the light below, at the anchor.
    pub(crate) const V0: usize = 0;
    /// Its tilt, degrees per degree.
    pub(crate) const TILT: usize = 1;
    /// ln of the softness s, degrees.
    pub(crate) const LN_S: usize = 2;
    /// ln of the light below at the anchor.
    pub(crate) const H: usize = 3;
    /// Its slope along the edge.
    pub(crate) const H1: usize = 4;
    /// Its bend along the edge.
    pub(crate) const H2: usize = 5;
    /// Its slope up and down.
    pub(crate) const KB: usize = 6;
    /// ln of the stray light above.
    pub(crate) const L: usize = 7;
    /// Its slope along the edge.
    pub(crate) const L1: usize = 8;
    /// Its fading upward.
    pub(crate) const KA: usize = 9;
    /// Asymmetry of the edge.
    pub(crate) const Q: usize = 10;
    /// ln of the room's light against what the whole wall says.
    pub(crate) const R: usize = 11;
    /// Change of ln s along the edge.
    pub(crate) const S1: usize = 12;
    /// Change of `KB` along the edge.
    pub(crate) const KB1: usize = 13;
    /// Bend of the light below, up and down.
    pub(crate) const C: usize = 14;
    /// Change of `C` along the edge.
    pub(crate) const C1: usize = 15;
}

/// Number of parameters.
pub(super) const N: usize = 16;
/// Largest asymmetry that the formula stands.
pub(super) const LARGEST_SKEW: f64 = 0.8;
/// Range of x over which the light below is extrapolated, degrees.
const BENT_DEG: f64 = 2.0;

/// The parts of the model at one place.
pub(super) struct Parts {
    pub(super) x: f64,
    pub(super) u: f64,
    pub(super) tanh: f64,
    pub(super) t: f64,
    pub(super) below: f64,
    pub(super) above: f64,
}

/// The model at one distance from the anchor along the edge: what is the same at every height there.
pub(super) struct Upright {
    /// V of half the light below.
    centre_deg: f64,
    softness_deg: f64,
    skew: f64,
    /// ln of the light below, its slope and its bend.
    ln_below: [f64; 3],
    /// Stray light above at the edge, and its fading upward.
    above: f64,
    fading: f64,
}

impl Upright {
    pub(super) fn new(p: &[f64], d: f64) -> Self {
        Self {
            centre_deg: p[at::V0] + p[at::TILT] * d,
            softness_deg: (p[at::LN_S] + p[at::S1] * d).exp(),
            skew: p[at::Q].clamp(-LARGEST_SKEW, LARGEST_SKEW),
            ln_below: [
                p[at::H] + p[at::H1] * d + p[at::H2] * d * d,
                p[at::KB] + p[at::KB1] * d,
                p[at::C] + p[at::C1] * d,
            ],
            above: (p[at::L] + p[at::L1] * d).exp(),
            fading: p[at::KA],
        }
    }

    /// The parts of the model at a height.
    pub(super) fn parts(&self, v: f64) -> Parts {
        let x = v - self.centre_deg;
        let u = (x / self.softness_deg).clamp(-60.0, 60.0);
        // tanh(u/2) by one exponential that cannot overflow.
        let small = (-u.abs()).exp();
        let tanh = ((1.0 - small) / (1.0 + small)).copysign(u);
        let t = 1.0 / (1.0 + (u * (1.0 + self.skew * tanh)).exp());
        let near = x.clamp(-BENT_DEG, BENT_DEG);
        let [level, slope, bend] = self.ln_below;
        let below = (level + slope * near + bend * near.min(0.0).powi(2)).exp();
        let above = if x > 0.0 { self.above * (-self.fading * x).exp() } else { self.above };
        Parts { x, u, tanh, t, below, above }
    }

    /// The lamp's intensity at a height, relative to full scale at the foot point.
    pub(super) fn intensity(&self, v: f64) -> f64 {
        self.parts(v).intensity()
    }
}

impl Parts {
    pub(super) fn intensity(&self) -> f64 {
        self.below * self.t + self.above * (1.0 - self.t)
    }
}

/// Derivatives of the intensity by every parameter but r (which is not part of it).
pub(super) fn intensity_slopes(p: &[f64], d: f64, parts: &Parts) -> [f64; N] {
    let Parts { x, u, tanh, t, below, above } = *parts;
    let near = x.clamp(-BENT_DEG, BENT_DEG);
    let dark = near.min(0.0);
    let softness = (p[at::LN_S] + p[at::S1] * d).exp();
    let q = p[at::Q].clamp(-LARGEST_SKEW, LARGEST_SKEW);
    let by_w = (below - above) * -t * (1.0 - t);
    let w_by_u = 1.0 + q * tanh + q * u / 2.0 * (1.0 - tanh * tanh);
    let lit = below * t;
    let stray = above * (1.0 - t);
    let bend_slope = p[at::KB] + p[at::KB1] * d + 2.0 * (p[at::C] + p[at::C1] * d) * dark;
    let by_x = by_w * w_by_u / softness + lit * bend_slope - if x > 0.0 { stray * p[at::KA] } else { 0.0 };
    let by_ln_s = -by_w * w_by_u * u;
    [
        -by_x,
        -by_x * d,
        by_ln_s,
        lit,
        lit * d,
        lit * d * d,
        lit * near,
        stray,
        stray * d,
        -stray * x.max(0.0),
        by_w * u * tanh,
        0.0,
        by_ln_s * d,
        lit * near * d,
        lit * dark * dark,
        lit * dark * dark * d,
    ]
}

/// Cutoff at a distance from the anchor along the edge, as the photo shows it: V and G.
pub(super) fn cutoff_of(p: &[f64], d: f64) -> Option<(f64, f64)> {
    let centre = p[at::V0] + p[at::TILT] * d;
    let upright = Upright::new(p, d);
    steepest(|v| upright.intensity(v), centre - 0.4, centre + 1.2)
}

/// How far a photo's blur moved the fitted edge's steepest fall up, degrees, and by what share it lowered G; `blur_deg` is its
/// standard deviation.
///
/// The fitted edge falls as a logistic curve, whose variance is `(π·s)²/3`, and variances add under convolution: without the blur
/// it is less soft. Light below it that grows as `exp(k·x)` puts the blurred edge where x is less by `k·blur²`. The far tail of a
/// blurred edge moves more than that, but the fit follows the edge's middle.
pub(super) fn blurred_by(p: &[f64], blur_deg: f64) -> Option<(f64, f64)> {
    /// Least share of the softness that is left: of a blur that makes most of it the difference is noise.
    const LEAST: f64 = 0.5;
    let variance = (blur_deg * 1.0f64.hypot(p[at::TILT])).powi(2);
    let softness = p[at::LN_S].exp();
    let taken = 3.0 * variance / std::f64::consts::PI.powi(2);
    let mut sharp = p.to_vec();
    sharp[at::LN_S] = (softness * softness - taken).max((LEAST * softness).powi(2)).sqrt().ln();
    sharp[at::V0] += p[at::KB] * variance;
    let ((seen, g_seen), (place, g)) = (cutoff_of(p, 0.0)?, cutoff_of(&sharp, 0.0)?);
    Some((seen - place, 1.0 - g_seen / g))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_agree_with_differences() {
        let p = [-0.6, 0.02, -2.0, -1.0, 0.1, 0.02, -0.3, -4.0, 0.05, 0.3, 0.15, 0.01, 0.03, 0.1, -0.2, 0.05];
        for (d, v) in [(0.4, -1.2), (-0.7, -0.65), (0.9, -0.4), (0.2, 0.5)] {
            let slopes = intensity_slopes(&p, d, &Upright::new(&p, d).parts(v));
            for k in 0..N {
                let moved = |step: f64| {
                    let mut q = p;
                    q[k] += step;
                    Upright::new(&q, d).intensity(v)
                };
                let difference = (moved(1e-6) - moved(-1e-6)) / 2e-6;
                // Central differences of a function of order 1 with this step err by about 1e-9.
                assert!((slopes[k] - difference).abs() < 1e-6, "parameter {k}: {} against {difference}", slopes[k]);
            }
        }
    }

    /// Truth by numerical convolution: a blurred edge has its steepest fall higher and less steep, and what is taken off is of
    /// that sign and no more than that; G comes back to a few percent.
    #[test]
    fn a_blur_is_taken_off() {
        let sharp = [-0.6, 0.0, 0.12f64.ln(), -1.0, 0.0, 0.0, -0.6, -4.5, 0.0, 0.3, 0.1, 0.0, 0.0, 0.0, 0.0, 0.0];
        let before = Upright::new(&sharp, 0.0);
        let (place, g) = steepest(|v| before.intensity(v), -1.0, 0.6).unwrap();
        for blur in [0.02, 0.04] {
            let seen = |v: f64| {
                let (sum, weights) = (-50..=50).fold((0.0, 0.0), |(sum, weights), k| {
                    let z = 0.1 * f64::from(k);
                    let weight = (-0.5 * z * z).exp();
                    (sum + weight * before.intensity(v - z * blur), weights + weight)
                });
                sum / weights
            };
            let (as_seen, g_as_seen) = steepest(seen, -1.0, 0.6).unwrap();
            let mut soft = sharp;
            soft[at::LN_S] = 0.12f64.hypot(3.0f64.sqrt() * blur / std::f64::consts::PI).ln();
            soft[at::V0] -= sharp[at::KB] * blur * blur;
            let (shift, lowered) = blurred_by(&soft, blur).unwrap();
            assert!(shift > 0.2 * (as_seen - place) && shift < as_seen - place, "{shift} of {}", as_seen - place);
            assert!(((1.0 - lowered) * g / g_as_seen - 1.0).abs() < 0.05, "{lowered}, G {g_as_seen} of {g}");
        }
    }
}
