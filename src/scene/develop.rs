//! From light to 8 bits: exposure, noise, clipping, tone curve, sharpening.
//!
//! **Takes** a [`Canvas`] of luminance and the exposure. **Gives** sRGB bytes, upright. **How**: photon and read noise
//! with variance S/full well + read² (photometry notes, section 7), sRGB of IEC 61966-2-1, one of several tone curves on
//! top of it, unsharp masking of the encoded luma.

use super::light::LUMA;
use super::optics::Canvas;
use super::rng::{Stream, normal_table, seed_of};
use super::spec_camera::{SensorSpec, ToneKind};
use rayon::prelude::*;

/// Entries of the encoding table: finer than a 14-bit sensor.
const TABLE: usize = 1 << 14;
/// Blur of the unsharp mask, pixels.
const SHARPEN_SIGMA_PX: f64 = 1.3;
/// Steepness of the full-strength sigmoid in its middle (1: straight).
const SIGMOID_GAIN: f64 = 7.0;
/// Exponent that the full-strength film curve adds to the toe.
const FILM_TOE: f64 = 0.55;
/// Exponent that the full-strength film curve adds to the shoulder.
const FILM_SHOULDER: f64 = 0.5;

/// sRGB encoding of a level 0..1.
fn srgb(level: f64) -> f64 {
    if level <= 0.003_130_8 { 12.92 * level } else { 1.055 * level.powf(1.0 / 2.4) - 0.055 }
}

/// The camera's tone curve, on encoded values; straight at strength 0; 0 and 1 stay.
pub(super) fn tone(kind: ToneKind, strength: f64, centre: f64, x: f64) -> f64 {
    match kind {
        ToneKind::Srgb => x,
        ToneKind::Sigmoid => {
            let gain = (SIGMOID_GAIN * strength).max(1e-3);
            let logistic = |t: f64| 1.0 / (1.0 + (-gain * (t - centre)).exp());
            (logistic(x) - logistic(0.0)) / (logistic(1.0) - logistic(0.0))
        }
        ToneKind::Smooth => x + strength * (x * x * (3.0 - 2.0 * x) - x),
        ToneKind::Film => 1.0 - (1.0 - x.powf(1.0 + FILM_TOE * strength)).powf(1.0 + FILM_SHOULDER * strength),
    }
}

/// Encoded value, 0..255, for each level of the table.
fn encoding(sensor: &SensorSpec) -> Vec<f32> {
    (0..=TABLE)
        .map(|i| {
            (255.0 * tone(sensor.tone, sensor.tone_strength, sensor.tone_centre, srgb(i as f64 / TABLE as f64))) as f32
        })
        .collect()
}

/// Develops a picture; `gain` turns its values into levels (1: full scale); `seed` is the noise's own.
pub(super) fn develop(mut canvas: Canvas, sensor: &SensorSpec, gain: f64, seed: u64) -> Vec<u8> {
    let table = encoding(sensor);
    let (photon, read) = (1.0 / sensor.full_well_e, (sensor.read_noise_e / sensor.full_well_e).powi(2));
    let balance = [sensor.balance_red, 1.0, sensor.balance_blue].map(|gain| gain as f32);
    let (gains, photon, read) = (balance.map(|balance| gain as f32 / balance), photon as f32, read as f32);
    let normal = normal_table();
    let noise_seed = seed_of(seed, "noise");
    let stride = canvas.width * 3;
    canvas.data.par_chunks_mut(stride).enumerate().for_each(|(y, row)| {
        let mut stream = Stream::new(noise_seed ^ y as u64);
        for pixel in row.chunks_exact_mut(3) {
            for (value, (gain, balance)) in pixel.iter_mut().zip(gains.into_iter().zip(balance)) {
                let light = *value * gain;
                let raw = light + (light * photon + read).sqrt() * stream.normal(normal);
                // The sensor clips before its white balance is laid on.
                let noisy = raw.min(1.0) * balance;
                let place = noisy.clamp(0.0, 1.0) * TABLE as f32;
                let low = (place as usize).min(TABLE - 1);
                *value = table[low] + (table[low + 1] - table[low]) * (place - low as f32);
            }
        }
    });
    if sensor.sharpening > 0.0 {
        sharpen(&mut canvas, sensor.sharpening as f32);
    }
    let mut bytes = vec![0_u8; canvas.data.len()];
    // Half up; the cast stays within 0..255, and is far quicker than rounding by the library.
    bytes.par_chunks_mut(stride).zip(canvas.data.par_chunks(stride)).for_each(|(bytes, values)| {
        bytes.iter_mut().zip(values).for_each(|(byte, value)| *byte = (value + 0.5) as u8);
    });
    bytes
}

fn sharpen(canvas: &mut Canvas, strength: f32) {
    let weight = LUMA.map(|w| w as f32);
    let luma: Vec<f32> =
        canvas.data.par_chunks_exact(3).map(|p| weight[0] * p[0] + weight[1] * p[1] + weight[2] * p[2]).collect();
    let mut soft = Canvas { width: canvas.width, height: canvas.height, channels: 1, data: luma.clone() };
    soft.blur(SHARPEN_SIGMA_PX);
    canvas.data.par_chunks_exact_mut(3).zip(luma.par_iter().zip(&soft.data)).for_each(|(pixel, (sharp, soft))| {
        for value in pixel {
            *value += strength * (sharp - soft);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    fn sensor() -> SensorSpec {
        SensorSpec {
            tone: ToneKind::Srgb,
            tone_strength: 0.0,
            sharpening: 0.0,
            full_well_e: 5_000.0,
            read_noise_e: 3.0,
            ..family::sample("clean", 1, None).unwrap().sensor
        }
    }

    /// Source: IEC 61966-2-1: level 0.2140 encodes to 0.5 (127.5 of 255).
    #[test]
    fn encoding_is_srgb() {
        let table = encoding(&sensor());
        assert!((table[(0.2140 * TABLE as f64).round() as usize] - 127.5).abs() < 0.05);
        assert!((table[TABLE] - 255.0).abs() < 1e-4);
    }

    /// Source: IEC 61966-2-1: linear = ((encoded + 0.055) / 1.055)^2.4 above 0.04045, encoded / 12.92 below: the standard's
    /// other direction, undone here. The table is finer than a 14-bit sensor: half a step near black is 0.0004 encoded.
    #[test]
    fn encoding_is_the_inverse_of_the_standards_decoding() {
        let table = encoding(&sensor());
        for code in 0..=255_u32 {
            let encoded = f64::from(code) / 255.0;
            let linear = if encoded <= 0.04045 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) };
            let found = f64::from(table[(linear * TABLE as f64).round() as usize]);
            assert!((found - f64::from(code)).abs() < 0.11, "code {code}: {found}");
        }
    }

    /// Source: photon transfer: variance over mean is a straight line, slope 1 / full well, ordinate the read noise squared
    /// (EMVA 1288's linear model, from memory). 120,000 samples: 0.4 % of a variance, and 1/12 code² of rounding.
    #[test]
    fn noise_follows_the_photon_transfer_line() {
        let sensor = SensorSpec { full_well_e: 400.0, read_noise_e: 4.0, ..sensor() };
        let inverse = |code: f64| ((code / 255.0 + 0.055) / 1.055).powf(2.4);
        let measured = |level: f32| {
            let canvas = Canvas { width: 200, height: 200, channels: 3, data: vec![level; 200 * 200 * 3] };
            let levels: Vec<f64> = develop(canvas, &sensor, 1.0, 5).iter().map(|b| inverse(f64::from(*b))).collect();
            let mean = levels.iter().sum::<f64>() / levels.len() as f64;
            (mean, levels.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / levels.len() as f64)
        };
        let (low, high) = (measured(0.2), measured(0.6));
        assert!((low.0 - 0.2).abs() < 5e-4 && (high.0 - 0.6).abs() < 5e-4, "means {} and {}", low.0, high.0);
        let slope = (high.1 - low.1) / (high.0 - low.0);
        assert!((slope * 400.0 - 1.0).abs() < 0.03, "slope {slope}, expected {}", 1.0 / 400.0);
        let ordinate = low.1 - slope * low.0;
        assert!((ordinate - 1e-4).abs() < 3e-5, "read noise squared {ordinate}, expected 1e-4");
    }

    /// Hand-worked: a gain of 0.5 on red, 2 on blue, light of 0.8 in the balanced picture.
    #[test]
    fn white_balance_acts_behind_the_sensors_clipping() {
        let sensor =
            SensorSpec { balance_red: 0.5, balance_blue: 2.0, full_well_e: 1e9, read_noise_e: 0.0, ..sensor() };
        let bytes = develop(Canvas { width: 1, height: 1, channels: 3, data: vec![0.8; 3] }, &sensor, 1.0, 1);
        // Red would need 1.6 of the sensor: it stops at 1, which the balance makes 0.5, code 188. The others stay at 0.8.
        assert_eq!((bytes[0], bytes[1], bytes[2]), (188, 231, 231));
    }

    #[test]
    fn tone_curves_keep_their_ends_and_rise() {
        for kind in [ToneKind::Srgb, ToneKind::Sigmoid, ToneKind::Smooth, ToneKind::Film] {
            for strength in [0.1, 0.5, 1.0] {
                assert!(
                    tone(kind, strength, 0.4, 0.0).abs() < 1e-9 && (tone(kind, strength, 0.4, 1.0) - 1.0).abs() < 1e-9
                );
                let values: Vec<f64> = (0..=100).map(|i| tone(kind, strength, 0.4, f64::from(i) / 100.0)).collect();
                assert!(values.windows(2).all(|w| w[1] > w[0]), "{kind:?} {strength}");
            }
        }
    }

    /// Source: variance S/full well + read² of the photometry notes.
    #[test]
    fn noise_has_its_variance() {
        let level = 0.5_f32;
        let canvas = Canvas { width: 300, height: 200, channels: 3, data: vec![level; 300 * 200 * 3] };
        let bytes = develop(canvas, &sensor(), 1.0, 8);
        let inverse = |code: f64| ((code / 255.0 + 0.055) / 1.055).powf(2.4);
        let levels: Vec<f64> = bytes.iter().map(|b| inverse(f64::from(*b))).collect();
        let mean = levels.iter().sum::<f64>() / levels.len() as f64;
        let variance = levels.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / levels.len() as f64;
        let expected = 0.5 / 5_000.0 + (3.0_f64 / 5_000.0).powi(2);
        assert!((mean - 0.5).abs() < 0.001, "mean {mean}");
        assert!((variance / expected - 1.0).abs() < 0.1, "variance {variance}, expected {expected}");
    }
}
