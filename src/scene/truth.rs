//! The truth of a beam by the contract's definitions, straight from its intensity.
//!
//! **Takes** any `Fn(h, v) -> candela` in the vehicle frame. **Gives** the cutoff's V at a given H with its G, the elbow,
//! the rise and the hot spot. **How**: cutoff = middle of the 0.1 degree step with the greatest fall of log10 (49 CFR
//! 571.108, UNECE R112 annex on cut-off); elbow = meeting of two least-squares lines (UN R112's line method).

use super::beam::Beam;
use super::beam_spec::Shape;
use rayon::prelude::*;

/// The step over which the fall of log10 is taken.
pub const STEP_DEG: f64 = 0.1;
/// The fall is searched this far above and below the 50 % line.
const SEARCH_DEG: f64 = 1.0;
/// Coarse search step; a divisor of `STEP_DEG`, narrower than half the sharpest edge.
const COARSE_DEG: f64 = 0.02;
/// Second and final search step, and how many are tried to each side: together they cover the coarse step.
const MIDDLE_DEG: f64 = 0.004;
const FINE_DEG: f64 = 0.0005;
const STEPS_PER_SIDE: i32 = 8;
/// The flat line is fitted from here to here, to the flat side of the elbow.
const FLAT_WINDOW_DEG: (f64, f64) = (1.0, 3.0);
/// The rise line is fitted from here to here, to the other side.
const RISE_WINDOW_DEG: (f64, f64) = (0.8, 2.0);
/// The rise line ends this far before a shelf's corner.
const SHELF_MARGIN_DEG: f64 = 0.4;
/// A rise steeper than this counts as a step.
const STEEPEST_RISE_DEG: f64 = 30.0;
/// Spacing of the vertical scans for the two lines.
const SCAN_STEP_DEG: f64 = 0.05;
/// Spacing of the scans across a steep step, whose window is narrow.
const STEP_SCAN_DEG: f64 = 0.01;
/// The windows depend on the elbow: this many rounds settle it to 1e-4 degree.
const ELBOW_ROUNDS: usize = 8;
/// Radius of the disc over which the hot spot is averaged.
const HOT_DISC_DEG: f64 = 0.1;
/// Rings of the hot spot's disc; each stands for the same area.
const HOT_RINGS: usize = 3;
/// Points on each ring.
const HOT_POINTS: usize = 12;
/// The hot spot is looked for within this of the aim: left and right, below, above.
const HOT_SEARCH_DEG: (f64, f64, f64) = (7.0, 5.0, 2.5);

/// A point of the cutoff.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutoffPoint {
    /// Middle of the steepest step.
    pub v_deg: f64,
    /// Fall of log10 over that step.
    pub g: f64,
}

/// Where flat part and rising part meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elbow {
    /// Horizontal place.
    pub h_deg: f64,
    /// Vertical place.
    pub v_deg: f64,
    /// The rising line's angle above level, positive on both sides of the road.
    pub rise_deg: f64,
    /// The flat line's slope, positive when its right end is higher.
    pub tilt_deg: f64,
}

/// The brightest direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HotSpot {
    /// Horizontal place.
    pub h_deg: f64,
    /// Vertical place.
    pub v_deg: f64,
    /// Mean intensity over the disc.
    pub cd: f64,
    /// Width and height of the zone of at least 97 %, through the hot spot.
    pub extent97_deg: [f64; 2],
}

/// The steepest fall of log10 at this h, searched about `near_v`.
pub fn cutoff_at(light: &impl Fn(f64, f64) -> f64, h: f64, near_v: f64) -> CutoffPoint {
    let fall = |v: f64| (light(h, v) / light(h, v + STEP_DEG)).log10();
    let count = (2.0 * SEARCH_DEG / COARSE_DEG) as usize;
    let skip = (STEP_DEG / COARSE_DEG).round() as usize;
    let place = |i: usize| near_v - SEARCH_DEG + i as f64 * COARSE_DEG;
    let logs: Vec<f64> = (0..count + skip).map(|i| light(h, place(i)).log10()).collect();
    let best = (0..count).max_by(|&a, &b| (logs[a] - logs[a + skip]).total_cmp(&(logs[b] - logs[b + skip])));
    let start = place(best.unwrap_or(0));
    let (mut top_v, mut top) = (start, fall(start));
    for step in [MIDDLE_DEG, FINE_DEG] {
        let middle = top_v;
        for i in -STEPS_PER_SIDE..=STEPS_PER_SIDE {
            let v = middle + f64::from(i) * step;
            let g = fall(v);
            if g > top {
                (top_v, top) = (v, g);
            }
        }
    }
    // The maximum is smooth: a parabola through its neighbours removes the last step's rounding.
    let (left, right) = (fall(top_v - COARSE_DEG), fall(top_v + COARSE_DEG));
    let bend = left - 2.0 * top + right;
    let shift = if bend < 0.0 { 0.5 * (left - right) / bend * COARSE_DEG } else { 0.0 };
    let settled = if shift.abs() < 2.0 * FINE_DEG { top_v + shift } else { top_v };
    CutoffPoint { v_deg: settled + 0.5 * STEP_DEG, g: top }
}

/// Least-squares line through (h, v): value at h = 0, and slope.
fn fit_line(points: &[(f64, f64)]) -> (f64, f64) {
    let n = points.len() as f64;
    let (mh, mv) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let shh: f64 = points.iter().map(|p| (p.0 - mh).powi(2)).sum();
    let shv: f64 = points.iter().map(|p| (p.0 - mh) * (p.1 - mv)).sum();
    let slope = if shh > 0.0 { shv / shh } else { 0.0 };
    (mv - slope * mh, slope)
}

/// The elbow of a beam whose light on the wall is `light`; `None` for shapes without one.
pub fn elbow(beam: &Beam, flat_side: f64, light: &(impl Fn(f64, f64) -> f64 + Sync)) -> Option<Elbow> {
    let spec = beam.spec();
    if !matches!(spec.shape, Shape::Kink15 | Shape::Z | Shape::Kink45) {
        return None;
    }
    let scan = |h: f64| {
        let (ph, _) = beam.to_pattern(h, spec.aim_v_deg);
        (h, cutoff_at(light, h, spec.aim_v_deg + beam.line_deg(ph)).v_deg)
    };
    let scans = |from: f64, to: f64, step: f64| -> Vec<(f64, f64)> {
        let count = ((to - from).abs() / step).round().max(1.0) as usize;
        (0..=count).into_par_iter().map(|i| scan(from + (to - from) * i as f64 / count as f64)).collect()
    };
    let is_steep = spec.shape == Shape::Kink45 || spec.rise_slope > STEEPEST_RISE_DEG.to_radians().tan();
    let mut meeting = spec.aim_h_deg;
    let (mut flat, mut rise) = ((0.0, 0.0), (0.0, 0.0));
    for _ in 0..ELBOW_ROUNDS {
        flat = fit_line(&scans(
            meeting + flat_side * FLAT_WINDOW_DEG.0,
            meeting + flat_side * FLAT_WINDOW_DEG.1,
            SCAN_STEP_DEG,
        ));
        let points = if is_steep {
            let step: Vec<_> = scans(meeting - flat_side * -0.5, meeting - flat_side * 1.5, STEP_SCAN_DEG);
            middle_of_step(step, flat)
        } else {
            let corner = match spec.shape {
                Shape::Z => spec.shelf_deg / spec.rise_slope - SHELF_MARGIN_DEG,
                _ => RISE_WINDOW_DEG.1,
            };
            let end = RISE_WINDOW_DEG.1.min(corner);
            scans(meeting - flat_side * RISE_WINDOW_DEG.0, meeting - flat_side * end, SCAN_STEP_DEG)
        };
        rise = fit_line(&points);
        let next = (flat.0 - rise.0) / (rise.1 - flat.1);
        let moved = (next - meeting).abs();
        meeting = next;
        if !meeting.is_finite() || (meeting - spec.aim_h_deg).abs() > 2.0 {
            return None;
        }
        if moved < FINE_DEG {
            break;
        }
    }
    Some(Elbow {
        h_deg: meeting,
        v_deg: flat.0 + flat.1 * meeting,
        rise_deg: (-flat_side * rise.1).atan().to_degrees(),
        tilt_deg: flat.1.atan().to_degrees(),
    })
}

/// Points between a quarter and three quarters of the step's height above the flat line.
fn middle_of_step(points: Vec<(f64, f64)>, flat: (f64, f64)) -> Vec<(f64, f64)> {
    let over = |p: &(f64, f64)| p.1 - flat.0 - flat.1 * p.0;
    let top = points.iter().map(over).fold(0.0, f64::max);
    points.into_iter().filter(|p| (0.25 * top..=0.75 * top).contains(&over(p))).collect()
}

/// Mean of `light` over the hot spot's disc.
fn disc_mean(light: &impl Fn(f64, f64) -> f64, h: f64, v: f64) -> f64 {
    let mut sum = 0.0;
    for ring in 0..HOT_RINGS {
        let radius = HOT_DISC_DEG * ((ring as f64 + 0.5) / HOT_RINGS as f64).sqrt();
        for point in 0..HOT_POINTS {
            let turn = std::f64::consts::TAU * (point as f64 + 0.5 * ring as f64) / HOT_POINTS as f64;
            sum += light(h + radius * turn.cos(), v + radius * turn.sin());
        }
    }
    sum / (HOT_RINGS * HOT_POINTS) as f64
}

/// The direction of the greatest intensity, as a mean over a disc of 0.2 degree diameter.
pub fn hot_spot(beam: &Beam, light: &(impl Fn(f64, f64) -> f64 + Sync)) -> HotSpot {
    let (ah, av) = (beam.spec().aim_h_deg, beam.spec().aim_v_deg);
    let (side, down, up) = HOT_SEARCH_DEG;
    let (columns, rows) = ((2.0 * side / STEP_DEG) as usize, ((down + up) / STEP_DEG) as usize);
    let (mut h, mut v, mut top) = (ah, av, 0.0);
    let place = |i: usize| (ah - side + (i % columns) as f64 * STEP_DEG, av - down + (i / columns) as f64 * STEP_DEG);
    let seen: Vec<f64> = (0..=columns * rows).into_par_iter().map(|i| light(place(i).0, place(i).1)).collect();
    for (i, here) in seen.into_iter().enumerate() {
        if here > top {
            ((h, v), top) = (place(i), here);
        }
    }
    top = disc_mean(light, h, v);
    let mut step = STEP_DEG;
    while step > FINE_DEG {
        let better = [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)]
            .iter()
            .map(|d| (h + d.0, v + d.1, disc_mean(light, h + d.0, v + d.1)))
            .max_by(|a, b| a.2.total_cmp(&b.2));
        match better {
            Some(found) if found.2 > top => (h, v, top) = found,
            _ => step *= 0.5,
        }
    }
    HotSpot { h_deg: h, v_deg: v, cd: top, extent97_deg: extent97(light, h, v, top) }
}

/// Width and height of the zone of at least 97 % of the hot spot.
fn extent97(light: &impl Fn(f64, f64) -> f64, h: f64, v: f64, top: f64) -> [f64; 2] {
    const SHARE: f64 = 0.97;
    const WALK_DEG: f64 = 0.02;
    const FARTHEST: u32 = 200;
    let walk = |dh: f64, dv: f64| {
        let reached = (1..FARTHEST).take_while(|&i| light(h + f64::from(i) * dh, v + f64::from(i) * dv) >= SHARE * top);
        reached.count() as f64 * WALK_DEG
    };
    [walk(WALK_DEG, 0.0) + walk(-WALK_DEG, 0.0), walk(0.0, WALK_DEG) + walk(0.0, -WALK_DEG)]
}

#[cfg(test)]
mod tests {
    use super::super::beam::tests::published_form;
    use super::super::beam_spec::BeamSpec;
    use super::*;

    fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
        assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected} within {tolerance}");
    }

    /// Source: closed form, computed values of the photometry notes, section 1 (cutoff given to 0.0005).
    #[test]
    fn published_form_has_its_cutoff() {
        let beam = Beam::new(&published_form(), false);
        let light = |h: f64, v: f64| beam.intensity_cd(h, v);
        let expected = [
            (-3.5, -0.368),
            (-2.5, -0.3645),
            (-1.5, -0.362),
            (0.0, -0.330),
            (0.3, -0.2395),
            (0.8, -0.0845),
            (1.3, 0.0705),
            (2.0, 0.212),
            (3.0, 0.2095),
        ];
        for (h, v) in expected {
            near(cutoff_at(&light, h, -0.3).v_deg, v, 0.0007, &format!("cutoff at h = {h}"));
        }
        near(cutoff_at(&light, -2.5, -0.3).g, 0.2841, 0.00006, "G");
    }

    /// Source: closed form, photometry notes, section 1: elbow and hot spot. The hot spot is flat on top: 1e-4 of the
    /// intensity is 0.05 degrees, and the notes' disc has another spacing.
    #[test]
    fn published_form_has_its_elbow_and_hot_spot() {
        let beam = Beam::new(&published_form(), false);
        let light = |h: f64, v: f64| beam.intensity_cd(h, v);
        let found = elbow(&beam, -1.0, &light).unwrap();
        near(found.h_deg, -0.080, 0.003, "elbow h");
        near(found.v_deg, -0.357, 0.001, "elbow v");
        near(found.rise_deg, 17.2, 0.1, "rise");
        let rounded = Beam::new(&BeamSpec { rounding_per_deg: 5.0, ..published_form() }, false);
        let found = elbow(&rounded, -1.0, &|h, v| rounded.intensity_cd(h, v)).unwrap();
        near(found.h_deg, -0.113, 0.004, "rounded elbow h");
        let hot = hot_spot(&beam, &light);
        near(hot.cd, 49_067.0, 15.0, "hot spot cd");
        near(hot.h_deg, 1.46, 0.05, "hot spot h");
        near(hot.v_deg, -0.56, 0.02, "hot spot v");
    }

    /// Source: closed form, edge algebra of the photometry notes, section 2.
    #[test]
    fn plain_logistic_edge_obeys_the_edge_algebra() {
        for (s, ratio, g) in [(0.212, 20.0, 0.13), (0.150, 30.0, 0.20), (0.111, 40.0, 0.284), (0.079, 40.0, 0.40)] {
            let light = |_: f64, v: f64| 1.0 + (ratio - 1.0) / (1.0 + ((v + 0.5) / s).exp());
            let found = cutoff_at(&light, 0.0, -0.5);
            near(found.v_deg, -0.5 + 0.5 * s * f64::ln(ratio), 0.001, "log cutoff");
            near(found.g, g, 0.016 * g + 0.003, "G");
            let raised = |h: f64, v: f64| light(h, v) + 1.0;
            let moved = cutoff_at(&raised, 0.0, -0.5).v_deg - found.v_deg;
            near(moved, -0.5 * s * (2.0 * ratio / (ratio + 1.0)).ln(), 0.001, "shift by added light");
        }
    }

    #[test]
    fn steep_step_is_read_in_its_middle() {
        let spec = BeamSpec { shape: Shape::Kink45, shelf_deg: 0.5, rounding_per_deg: 40.0, ..published_form() };
        let beam = Beam::new(&spec, false);
        let found = elbow(&beam, -1.0, &|h, v| beam.intensity_cd(h, v)).unwrap();
        near(found.rise_deg, 45.0, 3.0, "rise of the step");
        near(found.h_deg, spec.aim_h_deg, 0.05, "elbow of the step");
    }
}
