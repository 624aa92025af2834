//! A steep rise: a step from the flat part to a shelf, fitted as one surface.
//!
//! Across a step two edges mix, so that no model of one straight edge fits. The surface is an edge whose place follows the
//! step: with t towards the rising side from the step's foot and `r` its rounding, the course is
//! `vc(t) = flat + sp(m·t) - sp(m·t - height)`, `sp(x) = ln(1 + exp(k·x))/k`, `k = r/m`. The contract's line is then taken from
//! the model's own steepest log fall between a quarter and three quarters of the step's height.

use super::coarse::Hinge;
use super::edge::{JoinedRows, Scan, steepest_every};
use super::edge_line::EdgeLine;
use super::light::LightGrid;
use super::lines::{Line, ScanPlan, scans_between};
use super::options::BeamOptions;
use super::room::RoomLight;
use super::solve::{Effort, Fitted, Prior, fit};
use libm::erfc;
use std::f64::consts::SQRT_2;

/// A fitted step.
#[derive(Debug, Clone)]
pub struct StepFit {
    /// The line between a quarter and three quarters of the step's height.
    pub line: Line,
    /// Where it meets the flat line, degrees.
    pub elbow_h_deg: f64,
    /// Its standard uncertainty from the fit.
    pub elbow_sigma_deg: f64,
    /// Cutoff positions of the model on that line (h, v), degrees.
    pub points: Vec<(f64, f64)>,
    parameters: Vec<f64>,
    frame: Frame,
    /// Whether the step was taken for an upright one, whose line has one H.
    is_upright: bool,
}

/// Effort of a first fit, and of one that starts from a fit in other light.
const FIRST: Effort = Effort { iterations: 25, damping: 1e-3 };
const AGAIN: Effort = Effort { iterations: 6, damping: 1e-3 };
/// Largest slope of a line that is stated, degrees per degree (89 degrees).
const STEEPEST: f64 = 57.0;

/// Places of the parameters.
mod at {
    /// H of the step's foot.
    pub(super) const FOOT: usize = 0;
    /// ln of its slope, degrees per degree.
    pub(super) const LN_SLOPE: usize = 1;
    /// Height of the shelf over the flat part.
    pub(super) const HEIGHT: usize = 2;
    /// Tilt of the shelf.
    pub(super) const SHELF_TILT: usize = 3;
    /// Offset of the flat part's line of half the light.
    pub(super) const OFFSET: usize = 4;
    /// ln of the softness s.
    pub(super) const LN_S: usize = 5;
    /// ln of the light below at the foot.
    pub(super) const H: usize = 6;
    /// Its slope along H.
    pub(super) const H1: usize = 7;
    /// Its slope up and down.
    pub(super) const KB: usize = 8;
    /// ln of the stray light above.
    pub(super) const L: usize = 9;
    /// Its fading upward.
    pub(super) const KA: usize = 10;
    /// ln of the corners' rounding, per degree.
    pub(super) const LN_R: usize = 11;
}

fn softplus(x: f64, k: f64) -> f64 {
    let kx = k * x;
    if kx > 30.0 { x } else { kx.exp().ln_1p() / k }
}

/// The model's fixed surroundings: the flat stretch's 50 % line and asymmetry.
struct Ground {
    v0_deg: f64,
    slope: f64,
    h0_deg: f64,
    skew: f64,
    side: f64,
    blur_shift_deg: f64,
}

impl Ground {
    fn new(flat: &EdgeLine, side: f64) -> Self {
        let (v0_deg, slope, skew) = flat.half_line();
        Self { v0_deg, slope, h0_deg: flat.h0_deg, skew, side, blur_shift_deg: flat.blur_shift_deg }
    }

    /// Intensity of the step's surface.
    fn light(&self, p: &[f64], h: f64, v: f64) -> f64 {
        let t = (p[at::FOOT] - h) * self.side;
        let slope = p[at::LN_SLOPE].exp();
        let k = p[at::LN_R].exp() / slope;
        let height = p[at::HEIGHT] + p[at::SHELF_TILT] * t.max(0.0);
        let course = softplus(slope * t, k) - softplus(slope * t - height, k);
        let x = v - self.v0_deg - self.slope * (h - self.h0_deg) - p[at::OFFSET] - course;
        let u = (x / p[at::LN_S].exp()).clamp(-60.0, 60.0);
        let lit = 1.0 / (1.0 + (u * (1.0 + self.skew * (u / 2.0).tanh())).exp());
        let d = h - p[at::FOOT];
        (p[at::H] + p[at::H1] * d + p[at::KB] * x.clamp(-1.5, 1.5)).exp() * lit
            + (p[at::L] - p[at::KA] * x.max(0.0)).exp() * (1.0 - lit)
    }

    /// Cutoff of the surface, less what the photo's blur moved the flat part by.
    fn cutoff(&self, p: &[f64], h: f64, from: f64, to: f64) -> Option<f64> {
        steepest_every::<4>(|v| self.light(p, h, v), from, to).map(|(v, _)| v - self.blur_shift_deg)
    }
}

/// Fits the step near the first look's hinge.
pub fn fit_step(
    light: &LightGrid<'_>,
    room: &RoomLight,
    hinge: &Hinge,
    side: f64,
    flat: &EdgeLine,
    options: &BeamOptions,
) -> Option<StepFit> {
    let height = hinge.cap_deg.min(2.5);
    let run = height / hinge.slope;
    let plan = ScanPlan {
        from_deg: hinge.h_deg + side * options.step.beside_deg,
        to_deg: hinge.h_deg - side * (run + options.step.beside_deg),
        step_deg: options.step.column_step_deg,
        half_width_deg: options.step.column_step_deg / 2.0,
    };
    let starting = |slope: f64| {
        vec![
            hinge.h_deg,
            slope.ln(),
            height,
            0.0,
            0.0,
            flat.softness_deg.ln(),
            flat.level_at(hinge.h_deg).ln(),
            0.0,
            -0.2,
            flat.low.max(1e-6).ln(),
            0.3,
            options.step.rounding.ln(),
        ]
    };
    let frame = Frame { plan, side, top_deg: height };
    // A first look at noisy light does not tell a slope from an upright step, and neither start finds the other's fit.
    let fit_from = |slope: f64| {
        let fitted = run_fit(light, room, flat, &frame, &starting(slope), FIRST, options)?;
        let step = describe(&fitted, &Ground::new(flat, side), flat, &frame, options)?;
        Some((fitted, step))
    };
    let slanting = hinge.slope.min(options.step.upright_from);
    let (slanting, upright) = rayon::join(|| fit_from(slanting), || fit_from(options.step.upright_slope));
    let (first, second) =
        if hinge.slope > options.step.upright_from { (upright, slanting) } else { (slanting, upright) };
    match (first, second) {
        (Some(first), Some(second)) => Some(likelier(first, second, options)),
        (first, second) => first.or(second).map(|(_, step)| step),
    }
}

/// Of two fits the one that the first look saw, unless the other is clearly better; its elbow is as uncertain as a mixture of both
/// by their likelihoods.
fn likelier(first: (Fitted, StepFit), second: (Fitted, StepFit), options: &BeamOptions) -> StepFit {
    /// Difference of the costs, in units of 2 ln likelihood, that is clear.
    const CLEAR: f64 = 4.0;
    let unit = options.step.shared_samples * first.0.spread.min(second.0.spread).max(0.5).powi(2);
    let worse = (first.0.cost - second.0.cost) / unit;
    let (mut step, other, over) = if worse > CLEAR { (second.1, first.1, worse) } else { (first.1, second.1, -worse) };
    let share = 1.0 / (1.0 + (0.5 * over).exp());
    // A mixture's spread about the one that is stated, not about its mean.
    let mixed = share.sqrt() * (other.elbow_h_deg - step.elbow_h_deg);
    let steepness = step.line.sigma_deg / step.elbow_sigma_deg.max(1e-9);
    step.elbow_sigma_deg = step.elbow_sigma_deg.hypot(mixed);
    step.line.sigma_deg = step.elbow_sigma_deg * steepness;
    step
}

impl StepFit {
    /// Light that the fitted step shows in a direction, as [`EdgeLine::light_at`].
    pub fn light_at(
        &self,
        flat: &EdgeLine,
        (h, v): (f64, f64),
        factor: f64,
        room: f64,
        options: &BeamOptions,
    ) -> Option<f64> {
        let over = v - flat.at(h);
        let lit = || Ground::new(flat, self.frame.side).light(&self.parameters, h, v);
        (-options.step.below_deg..=self.frame.top_deg + options.step.above_deg)
            .contains(&over)
            .then(|| lit() / factor + room)
    }

    /// The same step in other light, from where it was found.
    pub fn again(
        &self,
        light: &LightGrid<'_>,
        room: &RoomLight,
        flat: &EdgeLine,
        options: &BeamOptions,
    ) -> Option<Self> {
        let mut start = self.parameters.clone();
        start[at::L] = flat.low.max(1e-6).ln();
        let ground = Ground::new(flat, self.frame.side);
        let fitted = run_fit(light, room, flat, &self.frame, &start, AGAIN, options)?;
        // Of the same kind as it was found: what the kind leaves open is in the fit's own uncertainty.
        let (line, elbow_h_deg, points) = line_of(&fitted.parameters, self.is_upright, &ground, flat, options)?;
        Some(Self { line, elbow_h_deg, points, parameters: fitted.parameters, ..self.clone() })
    }
}

/// Where the step is looked at.
#[derive(Debug, Clone, Copy)]
struct Frame {
    plan: ScanPlan,
    side: f64,
    top_deg: f64,
}

fn run_fit(
    light: &LightGrid<'_>,
    room: &RoomLight,
    flat: &EdgeLine,
    frame: &Frame,
    start: &[f64],
    effort: Effort,
    options: &BeamOptions,
) -> Option<Fitted> {
    let ground = Ground::new(flat, frame.side);
    let window = |h: f64| (flat.at(h) - options.step.below_deg, flat.at(h) + frame.top_deg + options.step.above_deg);
    let samples = collect(&scans_between(light, room, &frame.plan, 0.0, &window, options), options);
    let spreads = [0.5, 0.5, 0.25, 0.06, 0.03, 0.2, 0.5, 0.3, 0.6, 0.4, 0.3, options.step.rounding_ln_sigma];
    let priors: Vec<Prior> = start.iter().zip(spreads).map(|(&mean, sigma)| Prior { mean, sigma }).collect();
    fit(effort, start, &priors, |p| {
        samples
            .iter()
            .map(|(h, s)| {
                let model = (ground.light(p, *h, s.v_deg) / s.factor + s.room).max(1e-7);
                (s.level.max(0.05 * model) / model).ln() / (s.noise / model).hypot(flat.texture)
            })
            .collect()
    })
}

/// H and the light of the rows that are not clipped.
fn collect(scans: &[Scan], options: &BeamOptions) -> Vec<(f64, JoinedRows)> {
    scans
        .iter()
        .flat_map(|scan| scan.joined(0..scan.v_deg.len(), options.step.joined_rows).map(|rows| (scan.h_deg, rows)))
        .filter(|(_, rows)| rows.clipped < options.step.clipped_share)
        .collect()
}

/// The step's line, the elbow's h, and the points behind the line.
type StepLine = (Line, f64, Vec<(f64, f64)>);

/// The contract's line and elbow of a set of parameters: slope, h and v of its middle, elbow's h, and the points.
fn line_of(p: &[f64], is_upright: bool, ground: &Ground, flat: &EdgeLine, options: &BeamOptions) -> Option<StepLine> {
    let side = ground.side;
    let run = p[at::HEIGHT] / p[at::LN_SLOPE].exp();
    let (low, high) = (flat.at(p[at::FOOT]) - 0.3, flat.at(p[at::FOOT]) + p[at::HEIGHT] + 0.4);
    let cutoff = |t: f64| ground.cutoff(p, p[at::FOOT] - side * t, low, high);
    let shelf = cutoff(run + options.step.beside_deg)? - flat.at(p[at::FOOT] - side * (run + options.step.beside_deg));
    let count = ((run + 0.6) / options.step.read_step_deg) as usize;
    let course: Vec<(f64, f64)> = (0..=count)
        .filter_map(|k| {
            let t = -0.3 + k as f64 * options.step.read_step_deg;
            let h = p[at::FOOT] - side * t;
            cutoff(t).map(|v| (t, (v - flat.at(h)) / shelf))
        })
        .collect();
    let crossing = |level: f64| {
        course.windows(2).find_map(|pair| {
            let (a, b) = (pair[0].1, pair[1].1);
            (a <= level && b > level).then(|| pair[0].0 + (level - a) / (b - a) * options.step.read_step_deg)
        })
    };
    let (first, last) = (crossing(options.step.line_from_share)?, crossing(options.step.line_to_share)?);
    // Least squares of t over share: the step may stand upright.
    let inside: Vec<(f64, f64)> = course
        .iter()
        .copied()
        .filter(|&(t, share)| {
            t >= first && t <= last && share >= options.step.line_from_share && share <= options.step.line_to_share
        })
        .chain([(first, options.step.line_from_share), (last, options.step.line_to_share)])
        .collect();
    let n = inside.len() as f64;
    let (mean_t, mean_s) = (inside.iter().map(|p| p.0).sum::<f64>() / n, inside.iter().map(|p| p.1).sum::<f64>() / n);
    let covariance: f64 = inside.iter().map(|(t, s)| (t - mean_t) * (s - mean_s)).sum();
    let variance: f64 = inside.iter().map(|(_, s)| (s - mean_s).powi(2)).sum();
    // An upright step has one H; what slant its positions show is the rounding's.
    let t_by_share = if is_upright { shelf / STEEPEST } else { (covariance / variance).max(shelf / STEEPEST) };
    let foot_t = mean_t - t_by_share * mean_s;
    let slope = -side * shelf / t_by_share + flat.slope;
    let h_of = |t: f64| p[at::FOOT] - side * t;
    let middle = h_of(mean_t);
    let line =
        Line { h0_deg: middle, v0_deg: flat.at(middle) + mean_s * shelf, slope, sigma_deg: 0.0, slope_sigma: 0.0 };
    let points = inside.iter().map(|&(t, s)| (h_of(t), flat.at(h_of(t)) + s * shelf)).collect();
    Some((line, h_of(foot_t), points))
}

fn describe(
    fitted: &Fitted,
    ground: &Ground,
    flat: &EdgeLine,
    frame: &Frame,
    options: &BeamOptions,
) -> Option<StepFit> {
    let p = &fitted.parameters;
    let ln_over = p[at::LN_SLOPE] - options.step.upright_fitted.ln();
    let is_upright = ln_over > 0.0;
    let (mut line, elbow_h_deg, points) = line_of(p, is_upright, ground, flat, options)?;
    let scale = options.step.shared_samples.sqrt() * fitted.spread.max(0.5);
    let [variance, slope_variance] = fitted.variances_of([elbow_h_deg, line.slope], |p| {
        line_of(p, is_upright, ground, flat, options).map(|(line, elbow_h_deg, _)| [elbow_h_deg, line.slope])
    });
    // Where the slope hardly tells the kind, the step may be of the other: the spread of a mixture of the two.
    let ln_sigma = (scale * fitted.covariance[(at::LN_SLOPE, at::LN_SLOPE)].max(0.0).sqrt()).max(1e-3);
    let other_share = 0.5 * erfc(ln_over.abs() / ln_sigma / SQRT_2);
    let other = line_of(p, !is_upright, ground, flat, options).map_or(0.0, |(_, h, _)| h - elbow_h_deg);
    let kind_sigma = (other_share * (1.0 - other_share)).sqrt() * other;
    let elbow_sigma_deg = (scale * variance.sqrt()).hypot(kind_sigma);
    // Seen along the flat line, the elbow's place is the line's place over its steepness.
    line.sigma_deg = elbow_sigma_deg * (line.slope - flat.slope).abs();
    line.slope_sigma = scale * slope_variance.sqrt();
    Some(StepFit { line, elbow_h_deg, elbow_sigma_deg, points, parameters: p.clone(), frame: *frame, is_upright })
}
