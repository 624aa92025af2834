//! The edges of the bright zone: the steepest log fall above and to the left of the hot spot.
//!
//! **Takes** the light and the hot spot of a lamp without a cutoff. **Gives** the two places, or nothing. **How**: the same
//! definition as the cutoff, `G = log10 I(x) - log10 I(x + 0.1)`, taken at the step's middle, on the spot's own vertical and
//! level line. A high beam's fall is so gentle that one step of 0.1 degrees is mostly texture; a cubic through a window of the
//! log profile is the lamp's light there, and G is taken on it. Neighbouring lines, another window and other room light
//! tell the uncertainty. **Fails when** the fall still steepens where the wall, or the light that can be told from the
//! room's, ends.

use super::light::LightGrid;
use super::options::BeamOptions;
use super::room::RoomLight;
use crate::grid::Axis;
use nalgebra::{Matrix4, Vector4};

/// The step over which the fall is taken, degrees.
const STEP_DEG: f64 = 0.1;
/// Lines on either side of the spot's own that are read as well, degrees apart, and the half width of each.
const LINES: [f64; 5] = [-0.4, -0.2, 0.0, 0.2, 0.4];

/// One edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZoneEdge {
    /// Its place, degrees.
    pub at_deg: f64,
    /// From the wall's texture, k = 1.
    pub texture_sigma_deg: f64,
    /// From the cubic's window, k = 1.
    pub fit_sigma_deg: f64,
    /// From the room's light, k = 1.
    pub room_sigma_deg: f64,
}

/// Along which line an edge lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Above the hot spot, on its vertical.
    Up,
    /// Left of the hot spot, on its level line.
    Left,
}

/// The steepest fall on the way from the hot spot at (`h_deg`, `v_deg`).
pub fn edge(
    light: &LightGrid<'_>,
    room: &RoomLight,
    (h_deg, v_deg): (f64, f64),
    way: Way,
    ln_fall_off: &dyn Fn(f64, f64) -> f64,
    options: &BeamOptions,
) -> Option<ZoneEdge> {
    let read = |aside: f64, room: &RoomLight, window: f64| {
        let from = if way == Way::Up { (h_deg + aside, v_deg) } else { (h_deg, v_deg + 0.5 * aside) };
        steepest(&profile(light, room, from, way, ln_fall_off, options), window)
    };
    let main = read(0.0, room, options.zone.window_deg)?;
    let lines: Vec<f64> = LINES.iter().filter_map(|aside| read(*aside, room, options.zone.window_deg)).collect();
    let others =
        [read(0.0, room, options.zone.other_window_deg)?, read(0.0, &room.moved(-1.0), options.zone.window_deg)?];
    if lines.len() < LINES.len() || lines.iter().chain(&others).any(|x| (x - main).abs() > options.zone.same_edge_deg) {
        return None;
    }
    let mean = lines.iter().sum::<f64>() / lines.len() as f64;
    let variance = lines.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (lines.len() - 1) as f64;
    let sign = if way == Way::Up { 1.0 } else { -1.0 };
    let start = if way == Way::Up { v_deg } else { h_deg };
    Some(ZoneEdge {
        at_deg: start + sign * main,
        texture_sigma_deg: (variance / options.zone.independent).sqrt(),
        fit_sigma_deg: (others[0] - main).abs(),
        room_sigma_deg: (others[1] - main).abs(),
    })
}

/// log10 of the lamp's intensity against the distance from the spot, as far as it is seen.
fn profile(
    light: &LightGrid<'_>,
    room: &RoomLight,
    (h_deg, v_deg): (f64, f64),
    way: Way,
    ln_fall_off: &dyn Fn(f64, f64) -> f64,
    options: &BeamOptions,
) -> Vec<(f64, f64)> {
    let grid = light.grid;
    let (along, across) = if way == Way::Up { (&grid.v, &grid.h) } else { (&grid.h, &grid.v) };
    let (start, middle) = if way == Way::Up { (v_deg, h_deg) } else { (h_deg, v_deg) };
    let half = (options.zone.half_width_deg / across.step_deg).round() as usize;
    let centre = across.nearest(middle);
    let strip = centre.saturating_sub(half)..=(centre + half).min(across.count - 1);
    let mut out: Vec<(f64, f64)> = Vec::new();
    let mut top = 0.0;
    for step in 0..along.count {
        let Some(place) = walked(along, start, step, way) else { break };
        let (mut values, mut factor, mut clipped) = (Vec::new(), 0.0, 0.0);
        for other in strip.clone() {
            let (i, j) = if way == Way::Up { (other, place) } else { (place, other) };
            let k = grid.index(i, j);
            if grid.is_valid[k] {
                values.push(f64::from(light.level(k)));
                factor += f64::from(grid.intensity_factor[k]);
                clipped += f64::from(grid.clipped[k]);
            }
        }
        let n = values.len() as f64;
        if values.len() * 2 < strip.clone().count() {
            break;
        }
        if clipped > 0.02 * n {
            out.clear();
            continue;
        }
        values.sort_by(f64::total_cmp);
        let kept = &values[values.len() / 4..values.len() - values.len() / 4];
        let at = along.at_deg(place);
        let (h, v) = if way == Way::Up { (middle, at) } else { (at, middle) };
        let level = kept.iter().sum::<f64>() / kept.len() as f64 - room.at(h, v);
        top = f64::max(top, level);
        if level < (options.zone.least_share * top).max(options.zone.above_room_sigmas * room.sigma) {
            break;
        }
        out.push((
            (at - start).abs(),
            (level * factor / n).log10() - 0.3 * ln_fall_off(h, v) / std::f64::consts::LN_10,
        ));
    }
    out
}

/// The cell `step` cells on the way from `start`.
fn walked(axis: &Axis, start: f64, step: usize, way: Way) -> Option<usize> {
    let first = axis.nearest(start);
    match way {
        Way::Up => Some(first + step).filter(|i| *i < axis.count),
        Way::Left => first.checked_sub(step),
    }
}

/// Distance at which the fall over a step is greatest; `None` when that is at the profile's end.
fn steepest(profile: &[(f64, f64)], window_deg: f64) -> Option<f64> {
    const TRY_STEP_DEG: f64 = 0.02;
    let (first, last) = (profile.first()?.0, profile.last()?.0);
    let count = ((last - first - 2.0 * window_deg) / TRY_STEP_DEG).floor();
    if count < 3.0 {
        return None;
    }
    // The window may reach over its place to one side only at the ends; there is no maximum that could be trusted there.
    let falls: Vec<(f64, f64)> = (0..=count as usize)
        .filter_map(|i| {
            let middle = first + window_deg + i as f64 * TRY_STEP_DEG;
            let c = cubic(profile, middle, window_deg)?;
            // G of the cubic over one step about the middle: odd terms only.
            let half = STEP_DEG / 2.0;
            Some((middle, -2.0 * (c[1] * half + c[3] * half.powi(3))))
        })
        .collect();
    let best = (0..falls.len()).max_by(|&a, &b| falls[a].1.total_cmp(&falls[b].1))?;
    if best == 0 || best + 1 >= falls.len() || falls[best].1 <= 0.0 {
        return None;
    }
    let (left, top, right) = (falls[best - 1].1, falls[best].1, falls[best + 1].1);
    let bend = left - 2.0 * top + right;
    let shift = if bend < 0.0 { 0.5 * (left - right) / bend } else { 0.0 };
    Some(falls[best].0 + shift.clamp(-1.0, 1.0) * TRY_STEP_DEG)
}

/// Least-squares cubic about `middle`.
fn cubic(profile: &[(f64, f64)], middle: f64, window_deg: f64) -> Option<Vector4<f64>> {
    let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
    let from = profile.partition_point(|point| point.0 < middle - window_deg);
    for (x, y) in profile[from..].iter().take_while(|point| point.0 <= middle + window_deg) {
        let t = x - middle;
        let row = Vector4::new(1.0, t, t * t, t * t * t);
        normal += row * row.transpose();
        right += row * *y;
    }
    normal.cholesky().map(|factor| factor.solve(&right))
}

#[cfg(test)]
mod tests {
    use super::super::light::ToneCurve;
    use super::*;
    use crate::beam::testing::grey_wall;
    use crate::grid::AngleGrid;

    /// A lamp with a logistic shoulder 1.2 degrees above and 3 degrees left of its spot, on its stray light.
    fn grid(shoulder_v: f64) -> AngleGrid {
        let (h, v) = (Axis::spanning(-8.0, 8.0, 0.05), Axis::spanning(-4.0, 5.0, 0.02));
        let shoulder = |x: f64| 0.03 + 1.0 / (1.0 + (x / 0.3).exp());
        grey_wall(h, v, |x, y| 0.5 * shoulder(y - shoulder_v) * shoulder(-x - 3.0))
    }

    /// Truth: for a logistic edge of softness s and levels H, L the steepest log fall lies (s/2)·ln(H/L) beyond the middle.
    /// The cubic's window blunts a maximum that is 1.2 degrees wide by up to 0.03.
    #[test]
    fn edges_of_a_closed_form() {
        let grid = grid(1.2);
        let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
        let beyond = 0.15 * (1.03f64 / 0.03).ln();
        let none = RoomLight::default();
        let up = edge(&light, &none, (0.0, 0.0), Way::Up, &|_, _| 0.0, &BeamOptions::default()).unwrap();
        let left = edge(&light, &none, (0.0, 0.0), Way::Left, &|_, _| 0.0, &BeamOptions::default()).unwrap();
        assert!((up.at_deg - 1.2 - beyond).abs() < 0.03, "{up:?}, expected {}", 1.2 + beyond);
        assert!((left.at_deg + 3.0 + beyond).abs() < 0.03, "{left:?}, expected {}", -3.0 - beyond);
    }

    #[test]
    fn no_edge_where_the_wall_ends_before_it() {
        let mut grid = grid(1.2);
        for k in 0..grid.is_valid.len() {
            grid.is_valid[k] = grid.v.at_deg(k / grid.h.count) < 1.6;
        }
        let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
        assert_eq!(
            edge(&light, &RoomLight::default(), (0.0, 0.0), Way::Up, &|_, _| 0.0, &BeamOptions::default()),
            None
        );
    }
}
