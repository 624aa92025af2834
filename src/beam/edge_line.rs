//! A straight stretch of the cutoff, fitted in one go to all vertical scans that cross it.
//!
//! One model for the whole stretch (a straight edge of one softness, levels that change smoothly along it) lets the wall's
//! texture average out: joints, bricks and pipes weigh little because they do not follow the model, and the loss function is
//! robust at a scale taken from the residuals themselves. The model is that of `edge_model`.

use super::edge::Scan;
use super::edge_model::{LARGEST_SKEW, N, Upright, at, blurred_by, cutoff_of};
use super::edge_sample::{Sample, Weighed, collect, equations, residuals, row_pulls, weigh, window_deg};
use super::options::BeamOptions;
use super::solve::{Effort, Fitted, Prior, solve};
use super::wall_rows::RowPull;
use std::collections::BTreeMap;

/// The fitted stretch.
#[derive(Debug, Clone)]
pub struct EdgeLine {
    /// H of the anchor, degrees.
    pub h0_deg: f64,
    /// Cutoff (steepest log fall of the lamp alone) at the anchor, degrees.
    pub v0_deg: f64,
    /// Slope of the cutoff, degrees per degree.
    pub slope: f64,
    /// Standard uncertainty of the cutoff at the anchor from noise and texture that differ from scan to scan, degrees.
    pub sigma_deg: f64,
    /// Standard uncertainty of the slope.
    pub slope_sigma: f64,
    /// Standard uncertainty of the cutoff from texture that runs along the edge (joints, bands), degrees.
    pub texture_sigma_deg: f64,
    /// Greatest G at the anchor.
    pub g: f64,
    /// The same as the photo shows it, blurred.
    pub g_as_seen: f64,
    /// How far the blur of the photo and of the rows that were joined moved the cutoff up, degrees; it is taken off.
    pub blur_shift_deg: f64,
    /// Softness s, degrees.
    pub softness_deg: f64,
    /// Light just below the edge at the anchor, relative to full scale.
    pub high: f64,
    /// The lamp's own stray light just above it.
    pub low: f64,
    /// Relative spread of the residuals (texture).
    pub texture: f64,
    /// Share of clipped light within 0.25 degrees of the edge.
    pub clipped: f64,
    /// Cutoff of each scan by itself: h, v, degrees.
    pub places: Vec<(f64, f64)>,
    /// How the light of single rows moves the place.
    pub pulls: Vec<RowPull>,
    parameters: Vec<f64>,
}

impl EdgeLine {
    /// V of the line at an H.
    pub fn at(&self, h_deg: f64) -> f64 {
        self.v0_deg + self.slope * (h_deg - self.h0_deg)
    }

    /// Standard uncertainty of V at an H, texture along the edge not included.
    pub fn sigma_at(&self, h_deg: f64) -> f64 {
        self.sigma_deg.hypot(self.slope_sigma * (h_deg - self.h0_deg))
    }

    /// What a fit of the same stretch in other light expects.
    pub fn expected(&self, slope_sigma: f64) -> Expected {
        Expected {
            h0_deg: self.h0_deg,
            v0_deg: self.v0_deg,
            slope: self.slope,
            slope_sigma,
            softness_deg: self.softness_deg,
            softness_ln_sigma: 0.3,
        }
    }

    /// The line of half the light below: V at the anchor, slope, and the edge's asymmetry.
    pub fn half_line(&self) -> (f64, f64, f64) {
        (self.parameters[at::V0], self.parameters[at::TILT], self.parameters[at::Q].clamp(-LARGEST_SKEW, LARGEST_SKEW))
    }

    /// Light that the fitted edge shows in a direction, at an intensity per illuminance and under the room's light there,
    /// relative to full scale; `None` outside the window that it was fitted to.
    pub fn light_at(&self, (h_deg, v_deg): (f64, f64), factor: f64, room: f64, options: &BeamOptions) -> Option<f64> {
        let window = window_deg(options);
        let off = v_deg - self.at(h_deg);
        let intensity = || Upright::new(&self.parameters, h_deg - self.h0_deg).intensity(v_deg);
        (-window.0..=window.1).contains(&off).then(|| intensity() / factor + room * self.parameters[at::R].exp())
    }

    /// Light just below the edge at an H, taken no farther than two degrees from the anchor.
    pub fn level_at(&self, h_deg: f64) -> f64 {
        let d = (h_deg - self.h0_deg).clamp(-2.0, 2.0);
        (self.parameters[at::H] + self.parameters[at::H1] * d + self.parameters[at::H2] * d * d).exp()
    }
}

/// What is expected of the stretch before it is fitted.
#[derive(Debug, Clone, Copy)]
pub struct Expected {
    /// Anchor, degrees.
    pub h0_deg: f64,
    /// Cutoff there, degrees.
    pub v0_deg: f64,
    /// Slope, degrees per degree.
    pub slope: f64,
    /// Standard deviation of the slope.
    pub slope_sigma: f64,
    /// Softness, degrees, and its logarithmic spread.
    pub softness_deg: f64,
    /// Logarithmic spread of the softness.
    pub softness_ln_sigma: f64,
}

/// How far other light may move an edge, degrees: a wide spread beside what the samples say of it.
const REFIT_SIGMA_DEG: f64 = 0.15;
/// Where else the fit is started on a rough wall, from the first look, degrees.
const RESTARTS_DEG: [f64; 4] = [-0.3, -0.15, 0.15, 0.3];

/// Fits the stretch; `None` when the scans do not reach far enough on both sides of it.
pub fn fit_line(scans: &[Scan], expected: &Expected, options: &BeamOptions) -> Option<EdgeLine> {
    let samples = collect(scans, expected, options);
    let (start, mut priors) = start(&samples, expected, options)?;
    let run = |from: &[f64], texture: f64, priors: &[Prior]| run(&samples, from, texture, priors);
    let mut texture = options.cutoff.start_texture;
    let mut fitted = run(&start, texture, &priors)?;
    if fitted.spread * texture > options.cutoff.rough_texture {
        // On a rough wall the first look may sit on a joint: the best of several starts counts.
        for offset in RESTARTS_DEG {
            let mut from = start.to_vec();
            from[0] += offset;
            if let Some(other) = run(&from, texture, &priors).filter(|other| other.cost < fitted.cost) {
                fitted = other;
            }
        }
    }
    for _ in 0..2 {
        let next = (fitted.spread * texture).clamp(options.cutoff.least_texture, options.cutoff.largest_texture);
        let is_settled = (next / texture - 1.0).abs() < 0.15;
        texture = next;
        if is_settled {
            break;
        }
        priors[at::R].sigma = (options.cutoff.room_share * texture).max(options.cutoff.least_room_sigma);
        fitted = run(&fitted.parameters.clone(), texture, &priors)?;
    }
    describe(&fitted, &samples, scans, expected, texture, options)
}

/// Fits the same stretch in other light, from where it was found and with the texture that was found.
pub fn refit(found: &EdgeLine, scans: &[Scan], expected: &Expected, options: &BeamOptions) -> Option<EdgeLine> {
    let samples = collect(scans, expected, options);
    let (_, mut priors) = start(&samples, expected, options)?;
    priors[at::R].sigma = (options.cutoff.room_share * found.texture).max(options.cutoff.least_room_sigma);
    // Other light moves the edge, it does not take it elsewhere: on a rough wall the fit might run to another one.
    priors[at::V0] = Prior { mean: found.parameters[at::V0], sigma: REFIT_SIGMA_DEG };
    let fitted = run(&samples, &found.parameters, found.texture, &priors)?;
    let (v0_deg, g_as_seen) = cutoff_of(&fitted.parameters, 0.0)?;
    let (right, left) = (
        cutoff_of(&fitted.parameters, options.cutoff.slope_arm_deg)?.0,
        cutoff_of(&fitted.parameters, -options.cutoff.slope_arm_deg)?.0,
    );
    let slope = (right - left) / (2.0 * options.cutoff.slope_arm_deg);
    let v0_deg = v0_deg - found.blur_shift_deg;
    Some(EdgeLine { v0_deg, g_as_seen, slope, parameters: fitted.parameters, ..found.clone() })
}

fn run(samples: &[Sample], from: &[f64], texture: f64, priors: &[Prior]) -> Option<Fitted> {
    let residuals = |p: &[f64]| residuals(p, samples, texture);
    solve(Effort::default(), from, priors, &residuals, |p, current, weights| {
        equations(p, samples, texture, current, weights)
    })
}

/// First parameters and the priors; `None` when the samples do not reach far enough on both sides.
fn start(samples: &[Sample], expected: &Expected, options: &BeamOptions) -> Option<([f64; N], [Prior; N])> {
    let side = |s: &Sample| s.v - expected.v0_deg - expected.slope * s.d;
    let below = samples.iter().filter(|s| side(s) < -0.15).count();
    let above = samples.iter().filter(|s| side(s) > 0.15).count();
    if below < options.cutoff.min_side_samples || above < options.cutoff.min_side_samples {
        return None;
    }
    let quantile = |mut levels: Vec<f64>, share: f64| {
        levels.sort_by(f64::total_cmp);
        levels[((levels.len() - 1) as f64 * share) as usize].max(1e-6)
    };
    let high = quantile(samples.iter().filter(|s| side(s) < -0.2).map(|s| s.level).collect(), 0.6).ln();
    let low = stray_light(samples.iter().filter(|s| side(s) > 0.5), high, options);
    let soft = expected.softness_deg.ln();
    let start = [
        expected.v0_deg - 0.15,
        expected.slope,
        soft,
        high,
        0.0,
        0.0,
        -0.2,
        low,
        0.0,
        0.3,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
    ];
    let priors = [
        Prior { mean: start[0], sigma: 0.5 },
        Prior { mean: expected.slope, sigma: expected.slope_sigma },
        Prior { mean: soft, sigma: expected.softness_ln_sigma },
        Prior { mean: high, sigma: 1.0 },
        Prior { mean: 0.0, sigma: 0.4 },
        Prior { mean: 0.0, sigma: 0.15 },
        Prior { mean: -0.2, sigma: 0.6 },
        Prior { mean: low, sigma: 1.0 },
        Prior { mean: 0.0, sigma: 0.15 },
        Prior { mean: 0.3, sigma: 0.3 },
        Prior { mean: 0.0, sigma: options.cutoff.skew_sigma },
        Prior { mean: 0.0, sigma: options.cutoff.room_share * options.cutoff.start_texture },
        Prior { mean: 0.0, sigma: options.cutoff.softening_sigma },
        Prior { mean: 0.0, sigma: 0.15 },
        Prior { mean: 0.0, sigma: options.cutoff.bend_sigma },
        Prior { mean: 0.0, sigma: 0.1 },
    ];
    Some((start, priors))
}

/// Natural log of the stray light above the edge, before it is fitted: what the samples show over the room's light, and as far as
/// that is lost in noise or in the room, what lamps have.
fn stray_light<'a>(dark: impl Iterator<Item = &'a Sample>, high: f64, options: &BeamOptions) -> f64 {
    let (mut stray, mut noise, mut room) = (Vec::new(), 0.0, 0.0);
    for sample in dark {
        // Of noisy samples some fall below the room's light: their middle counts, not what is left above nothing.
        stray.push(sample.level - sample.room);
        noise += sample.noise * sample.noise;
        room += sample.room;
    }
    let count = stray.len().max(1) as f64;
    stray.sort_by(f64::total_cmp);
    let middle = stray.get(stray.len() / 2).copied().unwrap_or(0.0);
    let sigma = (noise.sqrt() / count).hypot(options.cutoff.dark_room_share * room / count);
    let usual = high - options.cutoff.usual_contrast_ln;
    let seen = middle.max(0.3 * sigma).max(1e-6);
    let share = 1.0 / (1.0 + (sigma / seen / options.cutoff.contrast_ln_sigma).powi(2));
    (share * seen.ln() + (1.0 - share) * usual).clamp(high - options.cutoff.most_contrast_ln, high - 1.0)
}

/// Largest share of the softness that a blur may have moved the cutoff, and of G that it may have taken.
const LARGEST_BLUR_SHARE: f64 = 0.5;

/// Blur of the samples: the photo's, and the width of the rows that are joined.
fn blur_of(scans: &[Scan], options: &BeamOptions) -> f64 {
    let Some(scan) = scans.first() else { return 0.0 };
    let row = scan.v_deg.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
    let box_sigma = if row.is_finite() { row * options.cutoff.joined_rows as f64 / 12.0f64.sqrt() } else { 0.0 };
    // Without the photo's own blur nothing is known, and nothing is taken off.
    if scan.blur_deg > 0.0 { scan.blur_deg.hypot(box_sigma) } else { 0.0 }
}

fn describe(
    fitted: &Fitted,
    samples: &[Sample],
    scans: &[Scan],
    expected: &Expected,
    texture: f64,
    options: &BeamOptions,
) -> Option<EdgeLine> {
    let p = &fitted.parameters;
    let (v0_as_seen, g_as_seen) = cutoff_of(p, 0.0)?;
    let (shift, lowered) = blurred_by(p, blur_of(scans, options))?;
    // A blur that makes most of the softness is known too badly to be taken off whole.
    let blur_shift_deg = shift.clamp(0.0, LARGEST_BLUR_SHARE * p[at::LN_S].exp());
    let (v0, g) = (v0_as_seen - blur_shift_deg, g_as_seen / (1.0 - lowered.clamp(0.0, LARGEST_BLUR_SHARE)));
    let arm = options.cutoff.slope_arm_deg;
    let (right, left) = (cutoff_of(p, arm)?.0, cutoff_of(p, -arm)?.0);
    let places = own_places((p, blur_shift_deg), samples, scans.len(), expected.h0_deg, texture);
    // The scatter of the scans' own places is what the straight edge leaves over: noise, texture and waviness.
    let slope = (right - left) / (2.0 * options.cutoff.slope_arm_deg);
    let mut scatter: Vec<f64> = places.iter().map(|(h, v)| (v - v0 - slope * (h - expected.h0_deg)).abs()).collect();
    scatter.sort_by(f64::total_cmp);
    let scatter = 1.4826 * scatter.get(scatter.len() / 2).copied().unwrap_or(0.05);
    let n = places.len().max(2) as f64;
    let reach = places.iter().map(|(h, _)| (h - expected.h0_deg).powi(2)).sum::<f64>().max(0.05);
    let clipped: Vec<f64> = samples
        .iter()
        .filter(|s| (s.v - v0 - slope * s.d).abs() < 0.25)
        .map(|s| f64::from(u8::from(s.is_clipped)))
        .collect();
    Some(EdgeLine {
        h0_deg: expected.h0_deg,
        v0_deg: v0,
        slope,
        sigma_deg: (scatter / n.sqrt())
            .max(5e-4)
            .hypot(model_sigma(fitted, v0_as_seen, options))
            .hypot(options.cutoff.blur_share * blur_shift_deg),
        slope_sigma: scatter / reach.sqrt(),
        texture_sigma_deg: along_edge_sigma(p, samples, texture, options)
            .hypot(options.cutoff.texture_share * texture * p[at::LN_S].exp()),
        g,
        g_as_seen,
        blur_shift_deg,
        softness_deg: p[at::LN_S].exp(),
        high: p[at::H].exp(),
        low: p[at::L].exp(),
        texture,
        clipped: clipped.iter().sum::<f64>() / clipped.len().max(1) as f64,
        places,
        pulls: pulls_on_place(fitted, v0_as_seen, samples, texture),
        parameters: p.clone(),
    })
}

/// What the model's parameters leave open about the place (levels, room, asymmetry), from the fit's covariance.
fn model_sigma(fitted: &Fitted, v0_deg: f64, options: &BeamOptions) -> f64 {
    let [variance] = fitted.variances_of([v0_deg], |p| cutoff_of(p, 0.0).map(|(v, _)| [v]));
    (variance * options.cutoff.shared_samples).sqrt()
}

/// How the light of single rows moves the cutoff at the anchor.
fn pulls_on_place(fitted: &Fitted, v0_deg: f64, samples: &[Sample], texture: f64) -> Vec<RowPull> {
    let gradient = fitted.gradient_of([v0_deg], |p| cutoff_of(p, 0.0).map(|(v, _)| [v]));
    let by_parameter: Vec<f64> = (0..N)
        .map(|a| gradient.iter().enumerate().map(|(b, [slope])| fitted.covariance[(a, b)] * slope).sum())
        .collect();
    row_pulls(&fitted.parameters, samples, texture, &by_parameter)
}

/// Each scan's own cutoff: one step from the common model, in place and brightness.
fn own_places(
    (p, blur_shift_deg): (&[f64], f64),
    samples: &[Sample],
    scans: usize,
    h0_deg: f64,
    texture: f64,
) -> Vec<(f64, f64)> {
    (0..scans)
        .filter_map(|number| {
            let (mut a11, mut a12, mut a22, mut b1, mut b2) = (0.0, 0.0, 0.0, 0.0, 0.0);
            let mut d = None;
            for sample in samples.iter().filter(|s| s.scan == number && !s.is_clipped) {
                let Weighed { ln_residual, weight, slope } = weigh(p, sample, texture);
                a11 += weight * slope * slope;
                a12 += weight * slope;
                a22 += weight;
                b1 += weight * slope * ln_residual;
                b2 += weight * ln_residual;
                d = Some(sample.d);
            }
            let det = a11 * a22 - a12 * a12;
            let d = d.filter(|_| det > 1e-9 * a11 * a22)?;
            let moved = (a22 * b1 - a12 * b2) / det;
            Some((h0_deg + d, cutoff_of(p, d)?.0 - blur_shift_deg + moved.clamp(-0.5, 0.5)))
        })
        .collect()
}

/// What texture that runs along the edge does to the place: the rows' mean residuals, through the fit's own response.
fn along_edge_sigma(p: &[f64], samples: &[Sample], texture: f64, options: &BeamOptions) -> f64 {
    // Of each row: what it tells of the place, and how it pulls.
    let mut rows: BTreeMap<i32, (f64, f64)> = BTreeMap::new();
    for sample in samples.iter().filter(|s| !s.is_clipped) {
        let Weighed { ln_residual, weight, slope } = weigh(p, sample, texture);
        let row = rows.entry(sample.row).or_default();
        row.0 += weight * slope * slope;
        row.1 += weight * ln_residual * slope.abs().max(0.2);
    }
    let information: f64 = rows.values().map(|row| row.0).sum();
    if information <= 0.0 {
        return 0.05;
    }
    // Each row's pull on the place is its weighted mean residual times slope; rows within a few of each other pull alike.
    let pulls: f64 = rows.values().map(|row| row.1 * row.1).sum();
    (options.cutoff.alike_rows * pulls).sqrt() / information
}
