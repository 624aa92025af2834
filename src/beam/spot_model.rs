//! The lamp's light around its hot spot in closed form, and how it changes with each parameter.
//!
//! `I = (W·B + G)·T`: a wide part that fades to the sides (`W`) and downwards (`B`), a hot part on top of it (`G`), and the
//! cutoff (`T`) along a known line. It is the closed form that was fitted to one published projector low beam, with a
//! Gaussian hot part as halogen and high beams have it (own work; no outside source for the latter). Angles in degrees.

/// Number of parameters.
pub const COUNT: usize = 20;

/// What each parameter is.
pub mod index {
    /// Natural log of the wide part's greatest intensity.
    pub const SCALE: usize = 0;
    /// H of the wide part's middle.
    pub const WIDE_H: usize = 1;
    /// ln of its half width.
    pub const WIDE_SPREAD: usize = 2;
    /// Exponent of its fading to the sides.
    pub const WIDE_POWER: usize = 3;
    /// How far under the line the downward fading begins; without a cutoff: V of the wide part's middle.
    pub const BELOW_START: usize = 4;
    /// ln of the downward fading's length.
    pub const BELOW_DEPTH: usize = 5;
    /// Exponent of the downward fading; without a cutoff: ln of the upward fading's length.
    pub const BELOW_POWER: usize = 6;
    /// ln of the hot part against the wide part.
    pub const HOT_RATIO: usize = 7;
    /// H of the hot part.
    pub const HOT_H: usize = 8;
    /// V of the hot part over the flat line; without a cutoff: V.
    pub const HOT_V: usize = 9;
    /// ln of the hot part's half width.
    pub const HOT_WIDTH: usize = 10;
    /// ln of its half height.
    pub const HOT_HEIGHT: usize = 11;
    /// How far the half-light line lies under the cutoff.
    pub const EDGE_DROP: usize = 12;
    /// ln of the edge's softness.
    pub const EDGE_SOFTNESS: usize = 13;
    /// Share of the lens's fall-off that is in the photo.
    pub const FALL_OFF: usize = 14;
    /// Change of the wall's log reflectance per degree to the right.
    pub const WALL_H: usize = 15;
    /// Change of the wall's log reflectance per degree upwards.
    pub const WALL_V: usize = 16;
    /// Tone curve, in its own standard uncertainties.
    pub const TONE: usize = 17;
    /// Cosine and sine of a pulsed lamp's bands, in log light.
    pub const BANDS: [usize; 2] = [18, 19];
}
use index::{
    BELOW_DEPTH, BELOW_POWER, BELOW_START, EDGE_DROP, EDGE_SOFTNESS, HOT_H, HOT_HEIGHT, HOT_RATIO, HOT_V, HOT_WIDTH,
    SCALE, WIDE_H, WIDE_POWER, WIDE_SPREAD,
};

/// Bend at which the downward fading begins, 1/deg (the published lamp's fit).
const BEND_PER_DEG: f64 = 6.0;
/// Exponent of the fading up and down without a cutoff: between a cone and a Gaussian (own judgement).
const FREE_POWER: f64 = 1.4;
/// Rounding of that fading's tip, degrees.
const FREE_ROUNDING_DEG: f64 = 0.1;

/// A direction as the model needs it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Place {
    /// H.
    pub h_deg: f64,
    /// V.
    pub v_deg: f64,
    /// V over the flat part of the cutoff (V itself without one).
    pub over_flat_deg: f64,
    /// V over the cutoff itself; `None` without one.
    pub over_line_deg: Option<f64>,
}

/// The lamp at given parameters, with their exponentials, which are the same in every direction.
#[derive(Debug, Clone)]
pub struct Lamp {
    p: [f64; COUNT],
    spread: f64,
    depth: f64,
    /// Length of the upward fading, without a cutoff.
    rise: f64,
    width: f64,
    height: f64,
    softness: f64,
}

impl Lamp {
    /// The lamp at these parameters.
    pub fn new(p: &[f64; COUNT]) -> Self {
        Self {
            p: *p,
            spread: p[WIDE_SPREAD].exp(),
            depth: p[BELOW_DEPTH].exp(),
            rise: p[BELOW_POWER].exp(),
            width: p[HOT_WIDTH].exp(),
            height: p[HOT_HEIGHT].exp(),
            softness: p[EDGE_SOFTNESS].exp(),
        }
    }

    /// ln of the lamp's intensity; fills `slopes` with its derivatives to the first fourteen parameters when given.
    pub fn ln_intensity(&self, place: &Place, slopes: Option<&mut [f64; COUNT]>) -> f64 {
        let Self { p, spread, depth, rise: rise_length, width, height, softness } = *self;
        let x = (place.h_deg - p[WIDE_H]) / spread;
        let side = x.abs().max(1e-6);
        let power = side.powf(p[WIDE_POWER]);
        let mut d = [0.0; COUNT];
        let (wide_h, wide_spread, wide_power) =
            (p[WIDE_POWER] * power / side * x.signum() / spread, p[WIDE_POWER] * power, -power * side.ln());
        let over = place.over_flat_deg;
        let hot_v = over + if place.over_line_deg.is_some() { p[EDGE_DROP] } else { 0.0 };
        let ln_below;
        if place.over_line_deg.is_some() {
            let k = -BEND_PER_DEG * (hot_v + p[BELOW_START]);
            let ramp = (k.max(0.0) + (-k.abs()).exp().ln_1p()) / BEND_PER_DEG;
            let rise = 1.0 / (1.0 + (-k).exp());
            let y = (ramp / depth).max(1e-6);
            let fade = y.powf(p[BELOW_POWER]);
            ln_below = -fade;
            d[BELOW_START] = p[BELOW_POWER] * fade / y * rise / depth;
            d[EDGE_DROP] = d[BELOW_START];
            d[BELOW_DEPTH] = p[BELOW_POWER] * fade;
            d[BELOW_POWER] = -fade * y.ln();
        } else {
            let off = over - p[BELOW_START];
            let index = if off > 0.0 { BELOW_POWER } else { BELOW_DEPTH };
            let depth = if off > 0.0 { rise_length } else { depth };
            let y = (off / depth).hypot(FREE_ROUNDING_DEG / depth);
            let fade = y.powf(FREE_POWER);
            ln_below = -fade;
            d[index] = FREE_POWER * fade;
            d[BELOW_START] = FREE_POWER * fade / (y * y) * off / (depth * depth);
        }
        let (u, z) = ((place.h_deg - p[HOT_H]) / width, (hot_v - p[HOT_V]) / height);
        let (wide, hot) = ((ln_below - power).exp(), (p[HOT_RATIO] - u * u - z * z).exp());
        let sum = wide + hot + 1e-12;
        let (of_wide, of_hot) = (wide / sum, hot / sum);
        let mut value = p[SCALE] + sum.ln();
        let mut edge = [0.0; 2];
        if let Some(over_line) = place.over_line_deg {
            let e = (over_line + p[EDGE_DROP]) / softness;
            let soft_plus = e.max(0.0) + (-e.abs()).exp().ln_1p();
            value -= soft_plus;
            let dark = 1.0 / (1.0 + (-e).exp());
            edge = [-dark / softness, dark * e];
        }
        if let Some(slopes) = slopes {
            for k in [BELOW_START, BELOW_DEPTH, BELOW_POWER, EDGE_DROP] {
                d[k] *= of_wide;
            }
            d[SCALE] = 1.0;
            d[WIDE_H] = of_wide * wide_h;
            d[WIDE_SPREAD] = of_wide * wide_spread;
            d[WIDE_POWER] = of_wide * wide_power;
            d[HOT_RATIO] = of_hot;
            d[HOT_H] = of_hot * 2.0 * u / width;
            d[HOT_V] = of_hot * 2.0 * z / height;
            d[HOT_WIDTH] = of_hot * 2.0 * u * u;
            d[HOT_HEIGHT] = of_hot * 2.0 * z * z;
            if place.over_line_deg.is_some() {
                d[EDGE_DROP] += edge[0] - d[HOT_V];
                d[EDGE_SOFTNESS] = edge[1];
            }
            *slopes = d;
        }
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The slopes are those of the value itself (central differences; 1e-5 of a parameter leaves 1e-6 of error).
    #[test]
    fn slopes_are_the_derivatives() {
        let p: [f64; COUNT] =
            [0.2, 0.4, 1.8, 1.5, 0.3, 1.2, 0.9, -0.3, 1.1, -0.8, 0.6, -0.4, 0.25, -2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
        let mut free = p;
        free[BELOW_START] = 0.1;
        free[BELOW_POWER] = 0.7;
        for (h, v) in [(0.5, -0.6), (2.0, -1.4), (-3.0, -2.5), (1.0, 0.4)] {
            let under = Place { h_deg: h, v_deg: v, over_flat_deg: v + 0.1, over_line_deg: Some(v - 0.05) };
            let open = Place { h_deg: h, v_deg: v, over_flat_deg: v, over_line_deg: None };
            for (p, place) in [(p, under), (free, open)] {
                let mut slopes = [0.0; COUNT];
                Lamp::new(&p).ln_intensity(&place, Some(&mut slopes));
                for k in 0..COUNT {
                    let moved = |by: f64| {
                        let mut q = p;
                        q[k] += by;
                        Lamp::new(&q).ln_intensity(&place, None)
                    };
                    let expected = (moved(1e-5) - moved(-1e-5)) / 2e-5;
                    assert!((slopes[k] - expected).abs() < 1e-6, "parameter {k} at {h}, {v}: {} {expected}", slopes[k]);
                }
            }
        }
    }
}
