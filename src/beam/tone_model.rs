//! What a camera makes of light, for the tone curve's fit: luma under a tint and an S-curve, and the blur of its sharpening.

use super::light::{s_bend, s_bend_slope, s_curve};
use super::mark_window::LUMA;
use crate::photo::linear::linear_to_srgb;

/// Blur of the sharpening mask, pixels (common: 1 to 2; own judgement).
const MASK_PX: f32 = 1.3;
/// Entries of the table from light to luma, which runs over the square root of light.
const TABLE: usize = 512;

/// Luma of light under a tint: value, change by light, change by strength.
pub(super) struct LumaTable(Vec<[f64; 3]>);

/// Light at the table's end.
const TABLE_LIGHT: f64 = 2.0;

impl LumaTable {
    /// The table for a strength of the S-curve and each channel's light against that of the luma.
    pub(super) fn new(strength: f64, tint: &[f64; 3]) -> Self {
        let entries = (0..=TABLE).map(|k| {
            let root = k as f64 / TABLE as f64;
            let light = TABLE_LIGHT * root * root;
            let mut out = [0.0; 3];
            for (weight, tint) in LUMA.iter().zip(tint) {
                let level = tint * light;
                let encoded = if level < 1.0 { f64::from(linear_to_srgb(level as f32)) / 255.0 } else { 1.0 };
                out[0] += weight * s_curve(encoded, strength);
                out[1] += weight * (1.0 + strength * s_bend_slope(encoded)) * srgb_slope(level, encoded) * tint;
                out[2] += weight * s_bend(encoded);
            }
            out
        });
        Self(entries.collect())
    }

    /// At some light.
    pub(super) fn at(&self, light: f64) -> [f64; 3] {
        if light <= 0.0 {
            return [0.0; 3];
        }
        let place = (light / TABLE_LIGHT).sqrt().min(1.0) * TABLE as f64;
        let below = (place as usize).min(TABLE - 1);
        let fraction = place - below as f64;
        let (low, high) = (&self.0[below], &self.0[below + 1]);
        [0, 1, 2].map(|k| low[k] + fraction * (high[k] - low[k]))
    }
}

/// Slope of the sRGB encoding (IEC 61966-2-1) at a level and its encoded value, which holds the power already; 0 where it
/// clips.
fn srgb_slope(level: f64, encoded: f64) -> f64 {
    if level <= 0.003_130_8 {
        12.92
    } else if level < 1.0 {
        (encoded + 0.055) / (2.4 * level)
    } else {
        0.0
    }
}

/// A window blurred by the sharpening mask, edges repeated.
pub(super) fn blurred(values: &[f32], width: usize) -> Vec<f32> {
    const REACH: usize = 4;
    let mut taps: Vec<f32> =
        (0..=2 * REACH).map(|k| (-0.5 * ((k as f32 - REACH as f32) / MASK_PX).powi(2)).exp()).collect();
    let whole: f32 = taps.iter().sum();
    for tap in &mut taps {
        *tap /= whole;
    }
    let height = values.len() / width.max(1);
    let clamped = |k: usize, shift: usize, size: usize| (k + shift).saturating_sub(REACH).min(size - 1);
    let mut across = vec![0.0; values.len()];
    let mut padded = vec![0.0; width + 2 * REACH];
    for row in 0..height {
        let line = &values[row * width..(row + 1) * width];
        for (shift, value) in padded.iter_mut().enumerate() {
            *value = line[clamped(0, shift, width)];
        }
        for (shift, tap) in taps.iter().enumerate() {
            for (out, value) in across[row * width..(row + 1) * width].iter_mut().zip(&padded[shift..]) {
                *out += tap * value;
            }
        }
    }
    let mut out = vec![0.0; values.len()];
    for row in 0..height {
        for (shift, tap) in taps.iter().enumerate() {
            let from = clamped(row, shift, height) * width;
            for (out, value) in out[row * width..(row + 1) * width].iter_mut().zip(&across[from..]) {
                *out += tap * value;
            }
        }
    }
    out
}
