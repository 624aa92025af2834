//! The flat line, the rising line and their meeting, from the cutoff positions of vertical scans.

use super::coarse::{Hinge, hinge_height};
use super::edge::{Edge, KnownEdge, Scan, fit_edge};
use super::edge_line::{EdgeLine, Expected, fit_line};
use super::light::LightGrid;
use super::room::RoomLight;

/// A straight line `v = v0 + slope·(h - h0)` through cutoff positions.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    /// Where it is anchored, degrees.
    pub h0_deg: f64,
    /// V there.
    pub v0_deg: f64,
    /// Degrees per degree.
    pub slope: f64,
    /// Standard uncertainty of V at the anchor, from the scatter of the positions.
    pub sigma_deg: f64,
    /// Standard uncertainty of the slope.
    pub slope_sigma: f64,
    /// Robust scatter of the positions about the line, degrees.
    pub scatter_deg: f64,
}

impl Line {
    /// V of the line at an H.
    pub fn at(&self, h_deg: f64) -> f64 {
        self.v0_deg + self.slope * (h_deg - self.h0_deg)
    }
}

/// Scatter at which a position's weight is halved grows from this floor, degrees.
const SCATTER_FLOOR_DEG: f64 = 0.004;
/// Neighbouring scans share the wall's texture: about one in two counts as independent (own judgement).
const SHARED: f64 = 2.0;

/// Robust straight line through the edges' positions, anchored at `h0_deg`.
pub fn line_through(edges: &[(f64, f64, f64)], h0_deg: f64) -> Option<Line> {
    if edges.len() < 3 {
        return None;
    }
    let mut weights: Vec<f64> =
        edges.iter().map(|e| 1.0 / (e.2 * e.2 + SCATTER_FLOOR_DEG * SCATTER_FLOOR_DEG)).collect();
    let mut line = Line { h0_deg, v0_deg: 0.0, slope: 0.0, sigma_deg: 0.0, slope_sigma: 0.0, scatter_deg: 0.0 };
    for _ in 0..12 {
        let (mut s, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (w, (h, v, _)) in weights.iter().zip(edges) {
            let x = h - h0_deg;
            s += w;
            sx += w * x;
            sy += w * v;
            sxx += w * x * x;
            sxy += w * x * v;
        }
        let det = s * sxx - sx * sx;
        if det.abs() < 1e-12 {
            return None;
        }
        line.slope = (s * sxy - sx * sy) / det;
        line.v0_deg = (sxx * sy - sx * sxy) / det;
        let mut residuals: Vec<f64> = edges.iter().map(|(h, v, _)| (v - line.at(*h)).abs()).collect();
        let ordered = {
            let mut sorted = residuals.clone();
            sorted.sort_by(f64::total_cmp);
            sorted
        };
        line.scatter_deg = (1.4826 * ordered[ordered.len() / 2]).max(SCATTER_FLOOR_DEG / 2.0);
        let n = edges.len() as f64;
        let mean_weight = s / n;
        line.sigma_deg = line.scatter_deg * (SHARED * mean_weight * sxx / det).max(0.0).sqrt();
        line.slope_sigma = line.scatter_deg * (SHARED * mean_weight * s / det).max(0.0).sqrt();
        for ((weight, residual), edge) in weights.iter_mut().zip(&mut residuals).zip(edges) {
            let scale = 2.0 * line.scatter_deg;
            *weight =
                1.0 / (edge.2 * edge.2 + SCATTER_FLOOR_DEG * SCATTER_FLOOR_DEG) / (1.0 + (*residual / scale).powi(2));
        }
    }
    Some(line)
}

/// Everything the cutoff's geometry gives.
#[derive(Debug, Clone)]
pub struct CutoffShape {
    /// The flat stretch, anchored at the scan position.
    pub flat: EdgeLine,
    /// The rising line, when there is one.
    pub rise: Option<Line>,
    /// Where they meet (h, v), degrees.
    pub elbow: Option<(f64, f64)>,
    /// Positions on the rising side that were used (h, v, sigma), degrees.
    pub rise_points: Vec<(f64, f64, f64)>,
}

/// Where scans are taken: from, to, step and half width, degrees.
#[derive(Debug, Clone, Copy)]
pub struct ScanPlan {
    /// Centre of the first scan.
    pub from_deg: f64,
    /// Centre of the last.
    pub to_deg: f64,
    /// Distance between scans.
    pub step_deg: f64,
    /// Half width of each.
    pub half_width_deg: f64,
}

/// Fits the edge in every scan of the plan.
pub fn edges(
    light: &LightGrid<'_>,
    room: &RoomLight,
    plan: &ScanPlan,
    slope: f64,
    coarse: &impl Fn(f64) -> f64,
    known: &KnownEdge,
) -> Vec<Edge> {
    let room_at = |h: f64, v: f64| room.at(h, v);
    let count = ((plan.to_deg - plan.from_deg).abs() / plan.step_deg).round() as usize;
    let direction = (plan.to_deg - plan.from_deg).signum();
    (0..=count)
        .filter_map(|k| {
            let h_deg = plan.from_deg + direction * k as f64 * plan.step_deg;
            let scan = light.scan(h_deg, plan.half_width_deg, slope, &room_at);
            fit_edge(&scan, coarse(h_deg), known).filter(|edge| (edge.v_deg - coarse(h_deg)).abs() < 0.6)
        })
        .collect()
}

/// Slope up to which a rising part is read by the line method, degrees per degree (30 degrees).
const GENTLE_SLOPE: f64 = 0.577;
/// Range of the rising line from the elbow, degrees.
const RISE_FROM_DEG: f64 = 0.8;
const RISE_TO_DEG: f64 = 2.0;
/// Distance kept from a shelf's corner, degrees.
const CORNER_MARGIN_DEG: f64 = 0.4;

/// Softness that is expected of a low beam's edge, degrees, and its logarithmic spread: G = 0.13 to 0.40 of UN R112.
const SOFTNESS_DEG: f64 = 0.13;
const SOFTNESS_LN_SIGMA: f64 = 0.6;
/// Spread of a flat cutoff's slope, degrees per degree.
const FLAT_SLOPE_SIGMA: f64 = 0.04;
/// Spread of a rising part's slope about the first look's.
const RISE_SLOPE_SIGMA: f64 = 0.12;

/// A smaller move of the elbow changes the ranges by less than a scan's width, degrees.
const SETTLED_DEG: f64 = 0.08;

/// Scans of a plan, following the stretch's slope.
fn scans(light: &LightGrid<'_>, room: &RoomLight, plan: &ScanPlan, slope: f64) -> Vec<Scan> {
    let room_at = |h: f64, v: f64| room.at(h, v);
    let count = ((plan.to_deg - plan.from_deg).abs() / plan.step_deg).round() as usize;
    let direction = (plan.to_deg - plan.from_deg).signum();
    (0..=count)
        .map(|k| light.scan(plan.from_deg + direction * k as f64 * plan.step_deg, plan.half_width_deg, slope, &room_at))
        .collect()
}

/// Fits the flat stretch that a plan crosses.
pub fn flat_stretch(
    light: &LightGrid<'_>,
    room: &RoomLight,
    plan: &ScanPlan,
    v0_deg: f64,
    tilt: f64,
) -> Option<EdgeLine> {
    let expected = Expected {
        h0_deg: f64::midpoint(plan.from_deg, plan.to_deg),
        v0_deg,
        slope: tilt,
        slope_sigma: FLAT_SLOPE_SIGMA,
        softness_deg: SOFTNESS_DEG,
        softness_ln_sigma: SOFTNESS_LN_SIGMA,
    };
    fit_line(&scans(light, room, plan, tilt), &expected)
}

/// Measures the flat line, and for a kink the rising line and the elbow.
pub fn shape(light: &LightGrid<'_>, room: &RoomLight, hinge: &Hinge, side: f64) -> Option<CutoffShape> {
    let mut bend = hinge.h_deg;
    let mut shape = None;
    // Twice, because the ranges are told from the elbow, which the first look knows to a tenth of a degree only.
    for _ in 0..2 {
        let here = Hinge { h_deg: bend, v_deg: hinge.v_deg + hinge.tilt * (bend - hinge.h_deg), ..*hinge };
        let plan = ScanPlan { from_deg: bend + side, to_deg: bend + side * 3.0, step_deg: 0.2, half_width_deg: 0.1 };
        let v0_deg = here.v_deg + hinge.tilt * side * 2.0;
        let flat = flat_stretch(light, room, &plan, v0_deg, hinge.tilt.clamp(-0.03, 0.03))?;
        let mut next = CutoffShape { flat, rise: None, elbow: None, rise_points: Vec::new() };
        if hinge.slope <= GENTLE_SLOPE {
            gentle(light, room, &here, side, &mut next);
        } else {
            steep(light, room, &here, side, &mut next);
        }
        let moved = next.elbow.map_or(0.0, |(h, _)| h - bend);
        shape = Some(next);
        if moved.abs() < SETTLED_DEG || moved.abs() > 1.0 {
            break;
        }
        bend += moved;
    }
    shape
}

fn meet(flat: &EdgeLine, rise: &Line) -> Option<(f64, f64)> {
    let difference = rise.slope - flat.slope;
    (difference.abs() > 0.05).then(|| {
        let h = (flat.at(0.0) - rise.at(0.0)) / difference;
        (h, flat.at(h))
    })
}

fn gentle(light: &LightGrid<'_>, room: &RoomLight, hinge: &Hinge, side: f64, shape: &mut CutoffShape) {
    let corner = hinge.cap_deg / hinge.slope;
    let to = RISE_TO_DEG.min((corner - CORNER_MARGIN_DEG).max(RISE_FROM_DEG + 0.3));
    let plan = ScanPlan {
        from_deg: hinge.h_deg - side * RISE_FROM_DEG,
        to_deg: hinge.h_deg - side * to,
        step_deg: 0.1,
        half_width_deg: 0.05,
    };
    let slope = -side * hinge.slope + hinge.tilt;
    let h0_deg = f64::midpoint(plan.from_deg, plan.to_deg);
    let expected = Expected {
        h0_deg,
        v0_deg: hinge_height(hinge, h0_deg, side),
        slope,
        slope_sigma: RISE_SLOPE_SIGMA,
        softness_deg: shape.flat.softness_deg,
        softness_ln_sigma: 0.3,
    };
    let Some(found) = fit_line(&scans(light, room, &plan, slope), &expected) else { return };
    let line = Line {
        h0_deg,
        v0_deg: found.v0_deg,
        slope: found.slope,
        sigma_deg: found.sigma_deg.hypot(found.texture_sigma_deg),
        slope_sigma: found.slope_sigma,
        scatter_deg: found.sigma_deg,
    };
    shape.rise_points = found.places.iter().map(|(h, v)| (*h, *v, found.sigma_deg)).collect();
    shape.rise = Some(line);
    shape.elbow = meet(&shape.flat, &line);
}

fn steep(light: &LightGrid<'_>, room: &RoomLight, hinge: &Hinge, side: f64, shape: &mut CutoffShape) {
    let corner = hinge.cap_deg.min(3.0) / hinge.slope;
    let shelf_plan = ScanPlan {
        from_deg: hinge.h_deg - side * (corner + 0.5),
        to_deg: hinge.h_deg - side * (corner + 1.5),
        step_deg: 0.1,
        half_width_deg: 0.1,
    };
    let coarse = |h: f64| hinge_height(hinge, h, side);
    let known = KnownEdge { softness_deg: shape.flat.softness_deg, low: shape.flat.low };
    let shelf: Vec<(f64, f64, f64)> =
        edges(light, room, &shelf_plan, 0.0, &coarse, &known).iter().map(|e| (e.h_deg, e.v_deg, e.sigma_deg)).collect();
    let Some(shelf) = line_through(&shelf, hinge.h_deg - side * (corner + 0.8)) else { return };
    if hinge.slope <= STEEPEST_LINE {
        slanted_step(light, room, hinge, side, corner, shape);
        if shape.elbow.is_some() {
            return;
        }
    }
    let height = |h: f64| shelf.at(h) - shape.flat.at(h);
    let share = |(h, v): (f64, f64)| (v - shape.flat.at(h)) / height(h).max(0.05);
    let columns = step_columns(light, room, hinge, side, corner, shape, &shelf);
    let inside: Vec<(f64, f64, f64)> = columns
        .iter()
        .filter(|&&place| (0.2..=0.8).contains(&share(place)))
        .map(|&(h, v)| (h, v, STEP_SIGMA_DEG))
        .collect();
    let crossing = |level: f64| {
        columns.windows(2).find_map(|pair| {
            let (a, b) = (share(pair[0]), share(pair[1]));
            (a <= level && b > level).then(|| pair[0].0 + (level - a) / (b - a) * (pair[1].0 - pair[0].0))
        })
    };
    let through_points = line_through(&inside, hinge.h_deg).filter(|line| -side * line.slope > GENTLE_SLOPE);
    shape.rise = through_points.or_else(|| {
        // The step is narrower than three columns: the crossings of a quarter and three quarters between columns.
        let (low, high) = (crossing(0.25)?, crossing(0.75)?);
        let run = if (high - low).abs() < 0.01 { -side * 0.01 } else { high - low };
        Some(Line {
            h0_deg: low,
            v0_deg: shape.flat.at(low) + 0.25 * height(low),
            slope: 0.5 * height(low) / run,
            sigma_deg: STEP_SIGMA_DEG,
            slope_sigma: 0.0,
            scatter_deg: STEP_SIGMA_DEG,
        })
    });
    shape.rise_points = inside;
    shape.elbow = shape.rise.as_ref().and_then(|rise| meet(&shape.flat, rise));
}

/// Slope up to which a step is fitted as a slanted edge.
const STEEPEST_LINE: f64 = 1.6;

/// A step of about 45 degrees: one slanted edge between a quarter and three quarters of its height.
fn slanted_step(
    light: &LightGrid<'_>,
    room: &RoomLight,
    hinge: &Hinge,
    side: f64,
    corner: f64,
    shape: &mut CutoffShape,
) {
    let (from_deg, to_deg) = (hinge.h_deg - side * 0.25 * corner, hinge.h_deg - side * 0.75 * corner);
    let plan = ScanPlan { from_deg, to_deg, step_deg: 0.05, half_width_deg: 0.05 };
    let h0_deg = f64::midpoint(from_deg, to_deg);
    let slope = -side * hinge.slope;
    let expected = Expected {
        h0_deg,
        v0_deg: shape.flat.at(h0_deg) + 0.5 * corner * hinge.slope,
        slope,
        slope_sigma: STEP_SLOPE_SIGMA,
        softness_deg: shape.flat.softness_deg,
        softness_ln_sigma: 0.3,
    };
    let Some(found) = fit_line(&scans(light, room, &plan, slope), &expected) else { return };
    let line = Line {
        h0_deg,
        v0_deg: found.v0_deg,
        slope: found.slope,
        sigma_deg: found.sigma_deg.hypot(found.texture_sigma_deg),
        slope_sigma: found.slope_sigma,
        scatter_deg: found.sigma_deg,
    };
    if -side * line.slope > GENTLE_SLOPE / 2.0 {
        shape.rise_points = found.places.iter().map(|(h, v)| (*h, *v, found.sigma_deg)).collect();
        shape.rise = Some(line);
        shape.elbow = meet(&shape.flat, &line);
    }
}

/// Spread of a step's slope about the first look's.
const STEP_SLOPE_SIGMA: f64 = 0.3;
/// Standard uncertainty of a cutoff read in one narrow column of a step, degrees (own judgement).
const STEP_SIGMA_DEG: f64 = 0.02;
/// Smoothing of such a column, in samples of the grid (0.06 degrees): little beside the edge's own softness.
const STEP_SMOOTHING: f64 = 3.0;
/// Stray light that a column keeps at least, as a share of the flat part's, so that noise around zero has no logarithm.
const LEAST_STRAY: f64 = 0.5;

/// The steepest log fall in narrow columns across a step, from the flat side to the shelf, by the definition itself: where
/// two edges mix, no model of one edge fits.
fn step_columns(
    light: &LightGrid<'_>,
    room: &RoomLight,
    hinge: &Hinge,
    side: f64,
    corner: f64,
    shape: &CutoffShape,
    shelf: &Line,
) -> Vec<(f64, f64)> {
    let plan = ScanPlan {
        from_deg: hinge.h_deg + side * 0.6,
        to_deg: hinge.h_deg - side * (corner + 0.6),
        step_deg: 0.05,
        half_width_deg: 0.05,
    };
    let found: Vec<(f64, f64)> = scans(light, room, &plan, 0.0)
        .iter()
        .filter_map(|scan| {
            let h = scan.h_deg;
            let (from, to) = (shape.flat.at(h) - 0.35, shelf.at(h) + 0.35);
            numeric_cutoff(scan, from, to, LEAST_STRAY * shape.flat.low).map(|v| (h, v))
        })
        .collect();
    // The median of three neighbours: one column with a joint or a speck does not make a step.
    (0..found.len())
        .map(|k| {
            let mut near: Vec<f64> = found[k.saturating_sub(1)..(k + 2).min(found.len())].iter().map(|p| p.1).collect();
            near.sort_by(f64::total_cmp);
            (found[k].0, near[near.len() / 2])
        })
        .collect()
}

/// The steepest log fall of a scan's lamp light between two heights, without a model.
fn numeric_cutoff(scan: &Scan, from_deg: f64, to_deg: f64, least: f64) -> Option<f64> {
    let lamp: Vec<f64> = (0..scan.v_deg.len()).map(|k| (scan.level[k] - scan.room[k]) * scan.factor[k]).collect();
    let reach = (3.0 * STEP_SMOOTHING) as isize;
    let kernel: Vec<f64> = (-reach..=reach).map(|k| (-0.5 * (k as f64 / STEP_SMOOTHING).powi(2)).exp()).collect();
    let smooth = |at: usize| {
        let (mut sum, mut weight) = (0.0, 0.0);
        for (k, w) in kernel.iter().enumerate() {
            let index = at as isize + k as isize - reach;
            if let Some(value) = usize::try_from(index).ok().and_then(|index| lamp.get(index)) {
                sum += w * value;
                weight += w;
            }
        }
        (sum / weight).max(least).log10()
    };
    let smoothed: Vec<f64> = (0..lamp.len()).map(smooth).collect();
    let step = scan.v_deg.get(1)? - scan.v_deg.first()?;
    let span = (super::edge::STEP_DEG / step).round().max(1.0) as usize;
    let fall = |k: usize| smoothed[k] - smoothed[k + span];
    let inside: Vec<usize> = (0..lamp.len().saturating_sub(span))
        .filter(|&k| scan.v_deg[k] > from_deg && scan.v_deg[k + span] < to_deg)
        .collect();
    let best = inside.iter().copied().max_by(|&a, &b| fall(a).total_cmp(&fall(b)))?;
    Some(scan.v_deg[best] + super::edge::STEP_DEG / 2.0)
}
