//! Light that is not the lamp's: how much of the dark side's light is the room's.
//!
//! An edge fit cannot tell room light from the lamp's own stray light. Two things can. How the light fades: the lamp's stray
//! light falls upward and sideways from the cutoff and obeys inverse square and cosine, room light varies slowly. And its
//! colour: the lamp's is known from the bright part of the beam, and where the room's differs the mixture tells the share. The
//! fading is taken as prior knowledge with wide spreads (a closed-form beam fitted to one published lamp has stray light
//! `(c1·exp(-dv/1.157) + c0)·exp(-(h/24.69)²)` up to 3 degrees above the cutoff), everything else from the photo.

use super::light::ToneCurve;
use super::options::BeamOptions;
use super::solve::{Effort, Prior, fit, root_sum_square};
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
    /// The fit's parameters, from which one under another tone curve starts.
    fitted: Option<[f64; COUNT]>,
}

/// Sideways fading of the lamp's stray light, degrees.
const SIDEWAYS_DEG: f64 = 24.69;

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

    /// The same light, less some of it.
    #[must_use]
    pub fn less(&self, light: f64) -> Self {
        Self { base: (self.base - light).max(0.0), ..*self }
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

/// Parameters of the fit.
const COUNT: usize = 12;
/// Effort of a fit that starts from one under another tone curve.
const AGAIN: Effort = Effort { iterations: 4, damping: 1e-3 };

struct Patch {
    h: f64,
    v: f64,
    above: f64,
    level: f64,
    /// Logarithms of red and blue over green, relative to the lamp's, and their spreads.
    colour: [f64; 2],
    colour_sigma: [f64; 2],
    /// How the lamp's stray light fades sideways, per intensity.
    sideways: f64,
    /// Natural log of the lens's fall-off per half share of it.
    ln_off_axis: f64,
}

/// Logarithms of red over green and blue over green.
fn log_colour(rgb: [f64; 3]) -> [f64; 2] {
    let green = rgb[1].max(1e-6).ln();
    [rgb[0].max(1e-6).ln() - green, rgb[2].max(1e-6).ln() - green]
}

fn colour_sigma(rgb: [f64; 3], options: &BeamOptions) -> [f64; 2] {
    let floor = |c: usize| options.room.colour_floor / rgb[c].max(1e-6);
    [0, 2].map(|c| options.room.colour_sigma.hypot(floor(c)).hypot(floor(1)))
}

/// Luminance of light of a log colour whose green is 1.
fn luminance_of(colour: [f64; 2]) -> f64 {
    let [red, green, blue] = LUMINANCE_WEIGHTS.map(f64::from);
    red * colour[0].exp() + green + blue * colour[1].exp()
}

/// Brightest light that counts as not clipped, in any channel.
const UNCLIPPED: f64 = 0.8;
/// Fewest patches that tell the beam's colour.
const BEAM_PATCHES: usize = 4;

/// The beam's colour: the median over bright patches below the cutoff, the dark wall's light taken off.
fn beam_colour(
    far: &[FarSample],
    tone: &ToneCurve,
    cutoff: &impl Fn(f64) -> f64,
    options: &BeamOptions,
) -> Option<[f64; 2]> {
    let light = |sample: &FarSample| sample.rgb.map(|c| f64::from(tone.level(c)));
    let mut dark: Vec<[f64; 3]> =
        far.iter().filter(|s| s.v_deg > cutoff(s.h_deg) + options.room.above_from_deg).map(light).collect();
    dark.sort_by(|a, b| a[1].total_cmp(&b[1]));
    let dark = *dark.get(dark.len() / 2)?;
    let colours: Vec<[f64; 2]> = far
        .iter()
        .filter(|s| s.v_deg < cutoff(s.h_deg) - 0.2)
        .map(light)
        .filter(|rgb| rgb.iter().all(|&c| c < UNCLIPPED) && rgb[1] > options.room.beam_contrast * dark[1])
        .map(|rgb| log_colour([0, 1, 2].map(|c| rgb[c] - dark[c])))
        .collect();
    if colours.len() < BEAM_PATCHES {
        return None;
    }
    Some([0, 1].map(|k| {
        let mut values: Vec<f64> = colours.iter().map(|c| c[k]).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    }))
}

/// First parameters and the priors, from the darkest and the brighter light above the cutoff.
fn start(darkest: f64, near: f64, tone_strength: f64, options: &BeamOptions) -> ([f64; COUNT], [Prior; COUNT]) {
    // Parameters: ln room, its gradients, ln fast stray, ln its fading, ln slow over fast stray, ln its fading, share of the
    // lens's fall-off, the room's log colours and the stray light's, relative to the beam's.
    let stray = (near - darkest * 0.6).max(1e-6).ln();
    let start = [
        (darkest * 0.6).ln(),
        0.0,
        0.0,
        stray - 0.7,
        options.room.fast_deg.ln(),
        options.room.slow_share_ln,
        options.room.slow_deg.ln(),
        options.room.fall_off_share,
        0.0,
        0.0,
        0.0,
        0.0,
    ];
    let stray_colour_sigma = options.room.stray_colour_sigma.hypot(options.room.tone_colour_sigma * tone_strength);
    let wide = |mean: f64, sigma: f64| Prior { mean, sigma };
    let priors = [
        wide((darkest * 0.5).ln(), 2.0),
        wide(0.0, options.room.gradient_sigma),
        wide(0.0, options.room.gradient_sigma),
        wide(start[3], 2.0),
        wide(options.room.fast_deg.ln(), options.room.fast_ln_sigma),
        // Relative to the fast part.
        wide(options.room.slow_share_ln, options.room.slow_share_ln_sigma),
        wide(options.room.slow_deg.ln(), options.room.slow_ln_sigma),
        wide(options.room.fall_off_share, options.room.fall_off_share_sigma),
        wide(0.0, options.room.room_colour_sigma),
        wide(0.0, options.room.room_colour_sigma),
        wide(0.0, stray_colour_sigma),
        wide(0.0, stray_colour_sigma),
    ];
    (start, priors)
}

/// How far the patches lie from the model, in sigmas; with the beam's colour, their colours too.
fn residuals(
    p: &[f64],
    patches: &[Patch],
    centre_deg: (f64, f64),
    beam: Option<[f64; 2]>,
    options: &BeamOptions,
) -> Vec<f64> {
    let own = beam.unwrap_or_default();
    let green_of = |a: f64, b: f64| 1.0 / luminance_of([own[0] + a, own[1] + b]);
    let (room_green, stray_green) = (green_of(p[8], p[9]), green_of(p[10], p[11]));
    let (room_colour, stray_colour) = ([p[8].exp(), p[9].exp()], [p[10].exp(), p[11].exp()]);
    let (base, fast_per_deg, slow_per_deg) = (p[0].exp(), (-p[4]).exp(), (-p[6]).exp());
    let shared = options.room.shared.sqrt();
    let mut residuals = Vec::with_capacity(3 * patches.len());
    for patch in patches {
        let shape = 1.0 + p[1] * (patch.h - centre_deg.0) + p[2] * (patch.v - centre_deg.1);
        let room = base * shape.max(0.1);
        let fading = (p[3] - patch.above * fast_per_deg).exp() + (p[3] + p[5] - patch.above * slow_per_deg).exp();
        let stray = fading * patch.sideways;
        let value = (room + stray) * (patch.ln_off_axis * p[7]).exp();
        let spread = root_sum_square(options.room.patch_sigma * value, options.room.patch_floor) * shared;
        residuals.push((patch.level - value) / spread);
        if beam.is_some() {
            let green = (room * room_green + stray * stray_green).max(1e-9);
            for k in 0..2 {
                let share = (room * room_green * room_colour[k] + stray * stray_green * stray_colour[k]) / green;
                residuals.push((patch.colour[k] - share.ln()) / (patch.colour_sigma[k] * shared));
            }
        }
    }
    residuals
}

/// Estimates the room's light from the wall above the cutoff; `cutoff` gives the cutoff's V at an H, `found` what was found under
/// another tone curve, `gain` what the wall reflects at (H, V) against the rest.
pub fn estimate(
    far: &[FarSample],
    tone: &ToneCurve,
    centre_deg: (f64, f64),
    cutoff: &impl Fn(f64) -> f64,
    found: Option<&RoomLight>,
    gain: &impl Fn(f64, f64) -> f64,
    options: &BeamOptions,
) -> Option<RoomLight> {
    let lamp = beam_colour(far, tone, cutoff, options);
    let patches: Vec<Patch> = far
        .iter()
        .map(|sample| {
            let gain = gain(sample.h_deg, sample.v_deg);
            let rgb = sample.rgb.map(|c| f64::from(tone.level(c)) / gain);
            let (seen, beam) = (log_colour(rgb), lamp.unwrap_or_default());
            Patch {
                h: sample.h_deg,
                v: sample.v_deg,
                above: sample.v_deg - cutoff(sample.h_deg),
                level: (0..3).map(|c| f64::from(LUMINANCE_WEIGHTS[c]) * rgb[c]).sum(),
                colour: [seen[0] - beam[0], seen[1] - beam[1]],
                colour_sigma: colour_sigma(rgb, options),
                sideways: (-(sample.h_deg / SIDEWAYS_DEG).powi(2)).exp() / sample.factor,
                ln_off_axis: -2.0 * sample.off_axis.ln_1p(),
            }
        })
        .filter(|patch| {
            let is_over_rise = cutoff(patch.h) > centre_deg.1 + 0.1;
            let from = if is_over_rise { options.room.above_rise_deg } else { options.room.above_from_deg };
            patch.above > from && patch.above < options.room.above_to_deg
        })
        .collect();
    if patches.len() < 40 {
        return None;
    }
    let mut levels: Vec<f64> = patches.iter().map(|p| p.level).collect();
    levels.sort_by(f64::total_cmp);
    let darkest = levels[levels.len() / 20].max(1e-5);
    let near: f64 = levels[levels.len() * 9 / 10].max(darkest * 1.02);
    let (start, priors) = start(darkest, near, tone.strength(), options);
    let beam = lamp.unwrap_or_default();
    let has_colour = lamp.is_some();
    let (effort, from) = found.and_then(|found| found.fitted).map_or((Effort::default(), start), |from| (AGAIN, from));
    let beam = has_colour.then_some(beam);
    let fitted = fit(effort, &from, &priors, |p| residuals(p, &patches, centre_deg, beam, options))?;
    let base = fitted.parameters[0].exp();
    let sigma_ln = fitted.covariance[(0, 0)].max(0.0).sqrt();
    let p = &fitted.parameters;
    let slow = (p[3] + p[5] - options.room.mistaken_at_deg / p[6].exp()).exp();
    // In logs a light near zero has a wide spread; what counts is how much light that is.
    let sigma = (base * sigma_ln)
        .min(0.5 * darkest)
        .hypot(options.room.mistaken_share * slow)
        .hypot(options.room.least_room_share * base);
    Some(RoomLight {
        base,
        sigma,
        gradient_h: fitted.parameters[1],
        gradient_v: fitted.parameters[2],
        centre_h: centre_deg.0,
        centre_v: centre_deg.1,
        fitted: fitted.parameters.try_into().ok(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: f64 = 0.01;

    /// A wall with the cutoff at -0.5 degrees: room light of a colour, and a lamp whose stray light fades otherwise than the fit
    /// expects at first (1.5 and 12 degrees, in the ratio 0.8).
    fn wall(room_colour: [f64; 3]) -> Vec<FarSample> {
        let weight: f64 = (0..3).map(|c| f64::from(LUMINANCE_WEIGHTS[c]) * room_colour[c]).sum();
        let mut samples = Vec::new();
        for row in 0..25 {
            for column in 0..22 {
                let (h_deg, v_deg) = (-16.0 + 1.5 * f64::from(column), -4.0 + 0.7 * f64::from(row));
                let above = v_deg + 0.5;
                let lamp = if above < 0.0 {
                    0.3
                } else {
                    let fading = 0.012 * (-above / 1.5).exp() + 0.0096 * (-above / 12.0).exp();
                    fading * (-(h_deg / SIDEWAYS_DEG).powi(2)).exp()
                };
                let rgb = room_colour.map(|c| (lamp + ROOM * c / weight) as f32);
                samples.push(FarSample { h_deg, v_deg, rgb, factor: 1.0, off_axis: 0.0 });
            }
        }
        samples
    }

    fn found(room_colour: [f64; 3]) -> RoomLight {
        estimate(
            &wall(room_colour),
            &ToneCurve::new(0.0),
            (-2.0, -0.5),
            &|_| -0.5,
            None,
            &|_, _| 1.0,
            &BeamOptions::default(),
        )
        .unwrap()
    }

    /// Truth by construction. Fading alone leaves the room's light open by the stray light's own slow part; it must say so.
    #[test]
    fn room_light_is_told_by_fading_within_its_uncertainty() {
        let room = found([1.0; 3]);
        assert!((room.base - ROOM).abs() < 2.0 * room.sigma, "{} ± {}", room.base, room.sigma);
        assert!(room.sigma < 0.4 * ROOM, "{}", room.sigma);
        // Over the whole field the gradient stays small: the light is the same everywhere.
        assert!((room.at(8.0, 6.0) / room.base - 1.0).abs() < 0.1);
    }

    /// Blue room light among a grey lamp's: the mixture's colour tells the share, whatever the fading.
    #[test]
    fn another_colour_tells_room_light_better() {
        let (grey, blue) = (found([1.0; 3]), found([0.6, 0.9, 1.8]));
        assert!((blue.base - ROOM).abs() < 0.1 * ROOM, "{}", blue.base);
        assert!((blue.base - ROOM).abs() < (grey.base - ROOM).abs(), "{} {}", blue.base, grey.base);
    }
}
