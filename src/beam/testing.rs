//! Walls of closed-form light, for the beam's unit tests.

use crate::grid::{AngleGrid, Axis};

/// A wall whose light (relative to full scale, no room light, no perspective) is given for each direction in degrees.
pub(super) fn grey_wall(h: Axis, v: Axis, light: impl Fn(f64, f64) -> f64) -> AngleGrid {
    let cells = h.count * v.count;
    let rgb = (0..cells).map(|k| [light(h.at_deg(k % h.count), v.at_deg(k / h.count)) as f32; 3]).collect();
    AngleGrid {
        h,
        v,
        rgb,
        clipped: vec![0.0; cells],
        is_valid: vec![true; cells],
        intensity_factor: vec![1.0; cells],
        dark: None,
    }
}

/// Light of a logistic edge at `x` degrees above its 50 % line: 0.4 below, a fortieth of it above, softness 0.12 degrees. By the edge
/// algebra its cutoff lies [`LOG_SHIFT_DEG`] above that line.
pub(super) fn edge(x: f64) -> f64 {
    0.4 * (1.0 / 40.0 + (1.0 - 1.0 / 40.0) / (1.0 + (x / 0.12).exp()))
}

/// s/2 · ln(H/L) of [`edge`].
pub(super) const LOG_SHIFT_DEG: f64 = 0.06 * 3.688_879;
