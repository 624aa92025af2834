//! The flat line, the rising line and their meeting, from the cutoff positions of vertical scans.

use super::coarse::{Hinge, hinge_height};
use super::edge::Scan;
use super::edge_line::{EdgeLine, Expected, fit_line, refit};
use super::edge_sample::window_deg;
use super::light::LightGrid;
use super::options::BeamOptions;
use super::room::RoomLight;
use super::step::{StepFit, fit_step};
use super::wall_rows::wall_sigma;

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
}

impl Line {
    /// V of the line at an H.
    pub fn at(&self, h_deg: f64) -> f64 {
        self.v0_deg + self.slope * (h_deg - self.h0_deg)
    }
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
    /// Standard uncertainty of the meeting's H from the fits, degrees.
    pub elbow_sigma_deg: f64,
    /// Positions on the rising side that were used (h, v), degrees.
    pub rise_points: Vec<(f64, f64)>,
    /// How the flat stretch was scanned.
    plan: ScanPlan,
    /// How the rising part was read.
    rising: Rising,
}

/// How a rising part was read.
#[derive(Debug, Clone)]
enum Rising {
    None,
    Line(ScanPlan, Box<EdgeLine>),
    Step(StepFit),
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

/// Scans of a plan around the expected course of an edge, following its slope.
fn scans(
    light: &LightGrid<'_>,
    room: &RoomLight,
    plan: &ScanPlan,
    expected: &Expected,
    options: &BeamOptions,
) -> Vec<Scan> {
    let reach = window_deg(options);
    let window = |h: f64| {
        let edge = expected.v0_deg + expected.slope * (h - expected.h0_deg);
        (edge - reach.0 - options.cutoff.missed_deg, edge + reach.1 + options.cutoff.missed_deg)
    };
    scans_between(light, room, plan, expected.slope, &window, options)
}

/// Scans of a plan between two heights told for each H.
pub(super) fn scans_between(
    light: &LightGrid<'_>,
    room: &RoomLight,
    plan: &ScanPlan,
    slope: f64,
    window: &impl Fn(f64) -> (f64, f64),
    options: &BeamOptions,
) -> Vec<Scan> {
    let room_at = |h: f64, v: f64| room.at(h, v);
    let count = ((plan.to_deg - plan.from_deg).abs() / plan.step_deg).round() as usize;
    let direction = (plan.to_deg - plan.from_deg).signum();
    (0..=count)
        .map(|k| {
            let h = plan.from_deg + direction * k as f64 * plan.step_deg;
            light.scan((h, plan.half_width_deg), window(h), slope, &room_at, options)
        })
        .collect()
}

/// Fits the flat stretch that a plan crosses.
pub fn flat_stretch(
    light: &LightGrid<'_>,
    room: &RoomLight,
    plan: &ScanPlan,
    v0_deg: f64,
    tilt: f64,
    options: &BeamOptions,
) -> Option<CutoffShape> {
    let expected = Expected {
        h0_deg: f64::midpoint(plan.from_deg, plan.to_deg),
        v0_deg,
        slope: tilt,
        slope_sigma: options.cutoff.flat_slope_sigma,
        softness_deg: options.cutoff.softness_deg,
        softness_ln_sigma: options.cutoff.softness_ln_sigma,
    };
    let flat = fit_line(&scans(light, room, plan, &expected, options), &expected, options)?;
    Some(CutoffShape {
        flat,
        rise: None,
        elbow: None,
        elbow_sigma_deg: 0.0,
        rise_points: Vec::new(),
        plan: *plan,
        rising: Rising::None,
    })
}

/// Measures the flat line, and for a kink the rising line and the elbow; `side` is -1 when the flat part lies on the left.
pub fn shape(
    light: &LightGrid<'_>,
    room: &RoomLight,
    hinge: &Hinge,
    side: f64,
    options: &BeamOptions,
) -> Option<CutoffShape> {
    let mut bend = hinge.h_deg;
    let mut shape = None;
    // Twice, because the ranges are told from the elbow, which the first look knows to a tenth of a degree only.
    for _ in 0..2 {
        let here = Hinge { h_deg: bend, v_deg: hinge.v_deg + hinge.tilt * (bend - hinge.h_deg), ..*hinge };
        let plan = ScanPlan { from_deg: bend + side, to_deg: bend + side * 3.0, step_deg: 0.2, half_width_deg: 0.1 };
        let v0_deg = here.v_deg + hinge.tilt * side * 2.0;
        let mut next = flat_stretch(light, room, &plan, v0_deg, hinge.tilt.clamp(-0.03, 0.03), options)?;
        if hinge.slope <= options.elbow.gentle_slope {
            gentle(light, room, &here, side, &mut next, options);
        } else if let Some(fit) = fit_step(light, room, &here, side, &next.flat, options) {
            next.take_step(fit);
        }
        let moved = next.elbow.map_or(0.0, |(h, _)| h - bend);
        shape = Some(next);
        if moved.abs() < options.elbow.settled_deg || moved.abs() > 1.0 {
            break;
        }
        bend += moved;
    }
    shape
}

/// The same reading in other light (another tone curve, another room), from where it was found.
pub fn again(
    light: &LightGrid<'_>,
    room: &RoomLight,
    found: &CutoffShape,
    options: &BeamOptions,
) -> Option<CutoffShape> {
    let expected = found.flat.expected(options.cutoff.flat_slope_sigma);
    let flat = refit(&found.flat, &scans(light, room, &found.plan, &expected, options), &expected, options)?;
    let mut next = CutoffShape { flat, rise: None, elbow: None, rise_points: Vec::new(), ..found.clone() };
    match &found.rising {
        Rising::None => {}
        Rising::Line(plan, line) => {
            let expected = line.expected(options.elbow.rise_slope_sigma);
            let line = refit(line, &scans(light, room, plan, &expected, options), &expected, options)?;
            next.take_line(*plan, line, options);
        }
        Rising::Step(fit) => {
            let fit = fit.again(light, room, &next.flat, options)?;
            next.take_step(fit);
        }
    }
    Some(next)
}

impl CutoffShape {
    /// Adds what the wall's rows below the edge say about its place.
    pub fn hold_against_wall(&mut self, light: &LightGrid<'_>, options: &BeamOptions) {
        let (plan, flat) = (self.plan, &mut self.flat);
        let sigma = wall_sigma(light, &plan, (flat.h0_deg, flat.v0_deg, flat.slope), &flat.pulls, options);
        // Both tell of the same texture: from the edge's own residuals, and from the wall below.
        flat.texture_sigma_deg = flat.texture_sigma_deg.max(sigma);
        if let Rising::Line(plan, line) = &self.rising {
            let at = (line.h0_deg, line.v0_deg, line.slope);
            let sigma = wall_sigma(light, plan, at, &line.pulls, options);
            let mut line = line.clone();
            line.texture_sigma_deg = line.texture_sigma_deg.max(sigma);
            self.take_line(*plan, *line, options);
        }
    }

    /// Light that the fitted rising part shows in a direction, as [`EdgeLine::light_at`]; `None` without one.
    pub fn rise_light_at(&self, at: (f64, f64), factor: f64, room: f64, options: &BeamOptions) -> Option<f64> {
        match &self.rising {
            Rising::None => None,
            Rising::Line(_, line) => line.light_at(at, factor, room, options),
            Rising::Step(fit) => fit.light_at(&self.flat, at, factor, room, options),
        }
    }

    fn take_line(&mut self, plan: ScanPlan, found: EdgeLine, options: &BeamOptions) {
        self.rise_points.clone_from(&found.places);
        let line = Line {
            h0_deg: found.h0_deg,
            v0_deg: found.v0_deg,
            slope: found.slope,
            sigma_deg: found.sigma_deg.hypot(found.texture_sigma_deg),
            slope_sigma: found.slope_sigma,
        };
        let difference = line.slope - self.flat.slope;
        self.elbow = (difference.abs() > options.elbow.least_bend).then(|| {
            let h = (self.flat.at(0.0) - line.at(0.0)) / difference;
            (h, self.flat.at(h))
        });
        let h = self.elbow.map_or(line.h0_deg, |elbow| elbow.0);
        let rise_sigma = line.sigma_deg.hypot(line.slope_sigma * (h - line.h0_deg));
        self.elbow_sigma_deg = self.flat.sigma_at(h).hypot(rise_sigma) / difference.abs().max(options.elbow.least_bend);
        self.rise = Some(line);
        self.rising = Rising::Line(plan, Box::new(found));
    }

    fn take_step(&mut self, fit: StepFit) {
        self.rise_points.clone_from(&fit.points);
        self.rise = Some(fit.line);
        self.elbow_sigma_deg = fit.elbow_sigma_deg;
        self.elbow = Some((fit.elbow_h_deg, self.flat.at(fit.elbow_h_deg)));
        self.rising = Rising::Step(fit);
    }
}

fn gentle(
    light: &LightGrid<'_>,
    room: &RoomLight,
    hinge: &Hinge,
    side: f64,
    shape: &mut CutoffShape,
    options: &BeamOptions,
) {
    let corner = hinge.cap_deg / hinge.slope;
    let to = options
        .elbow
        .rise_to_deg
        .min((corner - options.elbow.corner_margin_deg).max(options.elbow.rise_from_deg + 0.3));
    let plan = ScanPlan {
        from_deg: hinge.h_deg - side * options.elbow.rise_from_deg,
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
        slope_sigma: options.elbow.rise_slope_sigma,
        softness_deg: shape.flat.softness_deg,
        softness_ln_sigma: 0.3,
    };
    if let Some(found) = fit_line(&scans(light, room, &plan, &expected, options), &expected, options) {
        shape.take_line(plan, found, options);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beam::light::ToneCurve;
    use crate::beam::testing::{LOG_SHIFT_DEG, edge, grey_wall};
    use crate::grid::{AngleGrid, Axis};

    /// A cutoff that is level at -0.7 on one side of `bend` and rises by `slope` on the other, up to `cap` degrees.
    fn wall(bend: f64, side: f64, slope: f64, cap: f64) -> AngleGrid {
        let (h, v) = (Axis::spanning(-9.0, 9.0, 0.05), Axis::spanning(-4.0, 4.0, 0.02));
        grey_wall(h, v, |h, v| edge(v + 0.7 - (slope * ((bend - h) * side).max(0.0)).min(cap)))
    }

    /// The first look, a tenth of a degree off.
    fn looked(bend: f64, slope: f64, cap: f64) -> Hinge {
        Hinge { h_deg: bend + 0.1, v_deg: -0.7 + LOG_SHIFT_DEG + 0.05, tilt: 0.0, slope, cap_deg: cap }
    }

    fn found(grid: &AngleGrid, hinge: &Hinge, side: f64) -> CutoffShape {
        shape(&LightGrid::new(grid, &ToneCurve::new(0.0)), &RoomLight::default(), hinge, side, &BeamOptions::default())
            .unwrap()
    }

    /// Truth by construction: levels are the same everywhere, so both lines stand above the 50 % lines alike and meet over the
    /// bend. The grid's cells (0.05 degrees) and the 0.04 degrees of a sample leave a few thousandths.
    #[test]
    fn a_gentle_rise_meets_the_flat_part_at_the_bend() {
        for (bend, side) in [(0.3, -1.0), (-0.8, -1.0), (0.5, 1.0)] {
            let shape = found(&wall(bend, side, 0.268, 9.0), &looked(bend, 0.27, 9.0), side);
            let (h, v) = shape.elbow.unwrap();
            assert!((h - bend).abs() < 0.02, "elbow at {h}, expected {bend}");
            assert!((v + 0.7 - LOG_SHIFT_DEG).abs() < 0.005, "elbow's height {v}");
            assert!((shape.rise.unwrap().slope + side * 0.268).abs() < 0.005);
        }
    }

    /// The same for a step of 45 degrees and an upright one; the fit rounds its corners, which leaves some hundredths.
    #[test]
    fn a_step_meets_the_flat_part_at_its_foot() {
        for (bend, side, slope) in [(0.3, -1.0, 1.0), (0.5, 1.0, 1.0), (-0.4, -1.0, 60.0)] {
            let shape = found(&wall(bend, side, slope, 0.8), &looked(bend, slope.min(6.0), 0.8), side);
            let (h, _) = shape.elbow.unwrap();
            assert!((h - bend).abs() < 0.05, "elbow at {h}, expected {bend}, slope {slope}");
            assert!(shape.elbow_sigma_deg < 0.05, "{}", shape.elbow_sigma_deg);
        }
    }

    /// What `again` finds in the same light is what was found.
    #[test]
    fn the_same_light_gives_the_same_lines() {
        let grid = wall(0.3, -1.0, 0.268, 9.0);
        let first = found(&grid, &looked(0.3, 0.27, 9.0), -1.0);
        let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
        let second = again(&light, &RoomLight::default(), &first, &BeamOptions::default()).unwrap();
        let difference = first.elbow.unwrap().0 - second.elbow.unwrap().0;
        // A fit ends where statistics does: a few thousandths at the elbow.
        assert!(difference.abs() < 0.01, "{difference}");
    }
}
