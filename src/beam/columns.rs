//! Door frames, panels and pipes: reflectance that changes along the wall alike at every height.
//!
//! The counterpart of `rows` for upright things. An upright edge on the wall stands at one H whatever the height (flat-screen
//! convention, straight vehicle), a lamp's own changes along H are slow or run along its cutoff. So the change of log light from
//! column to column, less its own course over a degree, is the reflectance's; its median over all heights away from the cutoff,
//! summed up from the left where it is great, is the column's gain. Without it a darker door in the middle of the beam moves the
//! hot spot by degrees: the brightest light then stands beside the door.
//! **Weak when** little of the wall beside the cutoff is lit: then nothing is told and nothing evened out.

use super::coarse::CoarsePlace;
use super::light::LightGrid;
use super::options::BeamOptions;
use super::running::{RunningMedian, median};

/// A change from one column to the next at one height.
type Changes = Vec<Option<f64>>;

/// Gain of every column of the grid against the rest; `None` on a wall where columns do not differ.
pub fn column_gains(light: &LightGrid<'_>, looked: &[CoarsePlace], options: &BeamOptions) -> Option<Vec<f32>> {
    let cutoffs = cutoffs(light, looked)?;
    let rows: Vec<Changes> =
        bands(light, options).map(|(j, height)| changes(light, (j, height), &cutoffs, options)).collect();
    let columns = light.grid.h.count;
    let mut values = Vec::with_capacity(rows.len());
    let medians: Vec<Option<f64>> = (0..columns)
        .map(|i| {
            values.clear();
            values.extend(rows.iter().filter_map(|row| row[i]));
            (values.len() >= options.columns.least_rows).then(|| median(&mut values))
        })
        .collect();
    summed(&medians, light.grid.h.step_deg, options)
}

/// V of the cutoff at every column of the grid, from the nearest place of the first look.
fn cutoffs(light: &LightGrid<'_>, looked: &[CoarsePlace]) -> Option<Vec<f64>> {
    let nearest = |h_deg: f64| {
        let (near, other) = looked.split_at(looked.partition_point(|place| place.h_deg < h_deg));
        let beside = near.last().into_iter().chain(other.first());
        beside.min_by(|a, b| (a.h_deg - h_deg).abs().total_cmp(&(b.h_deg - h_deg).abs())).map(|place| place.v_deg)
    };
    (0..light.grid.h.count).map(|i| nearest(light.grid.h.at_deg(i))).collect()
}

/// First row and number of rows of every band that is looked at.
fn bands(light: &LightGrid<'_>, options: &BeamOptions) -> impl Iterator<Item = (usize, usize)> {
    let height = (options.columns.row_step_deg / light.grid.v.step_deg).round().max(1.0) as usize;
    let count = light.grid.v.count;
    (0..count).step_by(height).filter(move |j| j + height <= count).map(move |j| (j, height))
}

/// Changes of log light along a band of rows, less their course; place `i` is the change up to column `i`.
fn changes(light: &LightGrid<'_>, (first, height): (usize, usize), cutoffs: &[f64], options: &BeamOptions) -> Changes {
    let grid = light.grid;
    let middle_deg = grid.v.at_deg(first) + 0.5 * (height - 1) as f64 * grid.v.step_deg;
    let logs: Vec<Option<f64>> = (0..grid.h.count)
        .map(|i| {
            if (middle_deg - cutoffs[i]).abs() < options.columns.clear_deg {
                return None;
            }
            let mut sum = 0.0;
            for j in first..first + height {
                let cell = grid.index(i, j);
                if !grid.is_valid[cell] || grid.clipped[cell] > 0.0 {
                    return None;
                }
                sum += f64::from(light.level(cell));
            }
            let level = sum / height as f64;
            (level > options.columns.darkest).then(|| level.ln())
        })
        .collect();
    let steps: Changes =
        (0..logs.len()).map(|i| i.checked_sub(1).and_then(|before| Some(logs[i]? - logs[before]?))).collect();
    let reach = (options.columns.course_deg / grid.h.step_deg) as usize;
    let mut course = RunningMedian::default();
    let at = |i: usize| steps.get(i).copied().flatten();
    (0..reach).filter_map(at).for_each(|change| course.enter(change));
    (0..steps.len())
        .map(|i| {
            at(i + reach).inspect(|change| course.enter(*change));
            i.checked_sub(reach + 1).and_then(at).inspect(|change| course.leave(*change));
            steps[i].filter(|_| course.count() > reach).zip(course.median()).map(|(change, course)| change - course)
        })
        .collect()
}

/// The great changes summed up from the left; `None` without any.
fn summed(medians: &[Option<f64>], step_deg: f64, options: &BeamOptions) -> Option<Vec<f32>> {
    let columns = medians.len();
    // A door's edge is blurred over some columns: their changes have one sign, those of noise alternate.
    let joined: Vec<Option<f64>> = (0..columns)
        .map(|i| medians[i].map(|_| medians[i.saturating_sub(1)..(i + 2).min(columns)].iter().flatten().sum()))
        .collect();
    let reach = (2.0 * options.columns.course_deg / step_deg) as usize;
    let mut sizes = Vec::new();
    let is_great: Vec<bool> = (0..columns)
        .map(|i| {
            let Some(change) = joined[i] else { return false };
            sizes.clear();
            sizes.extend(
                joined[i.saturating_sub(reach)..(i + reach + 1).min(columns)].iter().flatten().map(|c| c.abs()),
            );
            change.abs()
                > (options.columns.least_sigmas * 1.4826 * median(&mut sizes)).max(options.columns.least_change)
        })
        .collect();
    if !is_great.contains(&true) {
        return None;
    }
    let mut log_gain = 0.0f64;
    let gains: Vec<f64> = (0..columns)
        .map(|i| {
            if is_great[i.saturating_sub(1)..(i + 2).min(columns)].contains(&true) {
                log_gain += medians[i].unwrap_or(0.0);
            }
            log_gain
        })
        .collect();
    let middle = median(&mut gains.clone());
    Some(gains.iter().map(|gain| (gain - middle).exp() as f32).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beam::light::ToneCurve;
    use crate::beam::testing::grey_wall;
    use crate::grid::{AngleGrid, Axis};

    /// A lamp with a hot spot at 1 degree and a cutoff that rises at 15 degrees, on a wall that reflects 0.7 where `is_dark`.
    fn wall(is_dark: impl Fn(f64) -> bool) -> (AngleGrid, Vec<CoarsePlace>) {
        let (h, v) = (Axis::spanning(-9.0, 9.0, 0.05), Axis::spanning(-4.0, 4.0, 0.02));
        let cutoff = |h: f64| -0.5 + 0.268 * h.max(0.0);
        let grid = grey_wall(h, v, |h, v| {
            let hot = (-0.5 * ((h - 1.0) / 2.0).powi(2)).exp() + 0.2;
            let edge = 1.0 / (1.0 + ((v - cutoff(h)) / 0.12).exp());
            (0.008 + 0.5 * hot * edge) * if is_dark(h) { 0.7 } else { 1.0 }
        });
        let looked = (-75..=75)
            .map(|k| {
                let h_deg = f64::from(k) / 10.0;
                CoarsePlace { h_deg, v_deg: cutoff(h_deg) + 0.2, fall: 3.0, below: 0.4, above: 0.02 }
            })
            .collect();
        (grid, looked)
    }

    /// Truth by construction: a door of 0.7 of the wall's light. Its edges fall into two columns, less their course: hundredths.
    #[test]
    fn a_door_s_gain_is_told() {
        for (left, right) in [(-0.2, 5.0), (0.5, 20.0), (-3.0, -1.0)] {
            let is_dark = |h: f64| (left..right).contains(&h);
            let (grid, looked) = wall(is_dark);
            let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
            let gains = column_gains(&light, &looked, &BeamOptions::default()).unwrap();
            let mean = |dark: bool| {
                let inside = |i: &usize| {
                    let h = grid.h.at_deg(*i);
                    h.abs() < 7.0 && [-0.15, 0.0, 0.15].iter().all(|d| is_dark(h + d) == dark)
                };
                let chosen: Vec<f64> = (0..grid.h.count).filter(inside).map(|i| f64::from(gains[i])).collect();
                chosen.iter().sum::<f64>() / chosen.len() as f64
            };
            let ratio = mean(true) / mean(false);
            assert!((ratio - 0.7).abs() < 0.02, "{ratio} for a door from {left} to {right}");
        }
    }

    #[test]
    fn a_plain_wall_has_no_columns() {
        let (grid, looked) = wall(|_| false);
        assert!(column_gains(&LightGrid::new(&grid, &ToneCurve::new(0.0)), &looked, &BeamOptions::default()).is_none());
    }
}
