//! Joints and painted bands along the wall: reflectance that changes from row to row alike in every column.
//!
//! Along the flat cutoff such a row looks like a piece of the edge. But the wall's other columns see the same rows in smooth
//! light: on the rising side they are well below the cutoff. The change of log light from row to row, less its own course over
//! a degree, is the reflectance's; its median over all columns that do not have their cutoff near that row, summed up from the
//! bottom, is the row's gain. Rows are level on the wall: V does not depend on H there (flat-screen convention).

use super::coarse::CoarsePlace;
use super::light::LightGrid;
use super::options::BeamOptions;
use super::running::{RunningMedian, median};

/// The wall's rows: their gain against the rest, and how they lean.
#[derive(Debug, Clone)]
pub struct RowGains {
    /// Gain of every row of the grid at H = 0 (1: as bright as the rest).
    gains: Vec<f32>,
    /// For every column of the grid, by how many rows its rows are higher than at H = 0.
    raised: Vec<isize>,
}

impl RowGains {
    /// Gain of the cell in column `i` and row `j`.
    pub fn at(&self, i: usize, j: usize) -> f32 {
        let row = (j as isize - self.raised[i]).clamp(0, self.gains.len() as isize - 1);
        self.gains[row as usize]
    }

    /// Natural logarithms of the gains at H = 0.
    #[cfg(test)]
    fn logs(&self) -> Vec<f64> {
        self.gains.iter().map(|gain| f64::from(*gain).ln()).collect()
    }
}

/// Leans of the rows that are tried, degrees of V per degree of H, and their distance: marks and joints are both level only as
/// well as they were laid, and a vehicle may roll.
const LARGEST_LEAN: f64 = 0.03;
const LEAN_STEP: f64 = 0.003;

/// The gains of the wall's rows; `None` on a wall where rows do not differ.
pub fn row_gains(
    light: &LightGrid<'_>,
    looked: &[CoarsePlace],
    is_rough: bool,
    options: &BeamOptions,
) -> Option<RowGains> {
    let grid = light.grid;
    let count = (2.0 * options.rows.reach_deg / options.rows.column_step_deg) as usize;
    let mut columns = Vec::with_capacity(count + 1);
    for k in 0..=count {
        let h_deg = -options.rows.reach_deg + k as f64 * options.rows.column_step_deg;
        let cutoff = looked.iter().min_by(|a, b| (a.h_deg - h_deg).abs().total_cmp(&(b.h_deg - h_deg).abs()))?.v_deg;
        let column = light.column(h_deg, options.rows.column_half_deg, 1);
        columns.push((h_deg, changes(&column, cutoff, grid.v.first_deg, grid.v.step_deg, options)));
    }
    let mut rows = vec![Row::default(); grid.v.count];
    let mut followed = |step: i32| {
        let lean = f64::from(step) * LEAN_STEP;
        let medians = row_medians(&columns, lean, &mut rows, grid.v.step_deg, options);
        // What all columns share is greatest where the rows are followed.
        (medians.iter().flatten().map(|change| change.ln * change.ln).sum::<f64>(), step, medians)
    };
    // Every other lean, then the best one's neighbours: a lean by one step parts the outer columns by four rows at most.
    let leans = (LARGEST_LEAN / LEAN_STEP).round() as i32;
    let coarse = (-leans..=leans).step_by(2).map(&mut followed).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let beside = [coarse.1 - 1, coarse.1 + 1].map(&mut followed);
    let (_, step, medians) = beside.into_iter().chain([coarse]).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let lean = f64::from(step) * LEAN_STEP;
    let gains = summed(&medians, grid.v.step_deg, is_rough, options)?;
    let raised = (0..grid.h.count).map(|i| (lean * grid.h.at_deg(i) / grid.v.step_deg).round() as isize).collect();
    Some(RowGains { gains, raised })
}

/// What the columns say of a row.
#[derive(Debug, Clone, Copy)]
struct RowChange {
    /// Median change of log light.
    ln: f64,
    /// Whether most of the columns have their cutoff near it.
    is_near_cutoff: bool,
}

/// The changes that the columns see at a row: in smooth light, and beside their cutoff.
#[derive(Debug, Clone, Default)]
struct Row {
    clear: Vec<f64>,
    near: Vec<f64>,
}

/// Median change of every row over the columns, the rows leaning by `lean`; `rows` is room to work in.
fn row_medians(
    columns: &[(f64, Vec<Change>)],
    lean: f64,
    rows: &mut [Row],
    step_deg: f64,
    options: &BeamOptions,
) -> Vec<Option<RowChange>> {
    for row in rows.iter_mut() {
        row.clear.clear();
        row.near.clear();
    }
    for (h_deg, column) in columns {
        let raised = (lean * h_deg / step_deg).round() as isize;
        for change in column {
            if let Some(row) = usize::try_from(change.row as isize - raised).ok().and_then(|row| rows.get_mut(row)) {
                if change.is_near_cutoff { &mut row.near } else { &mut row.clear }.push(change.ln);
            }
        }
    }
    rows.iter_mut()
        .map(|Row { clear, near }| {
            // Columns that see the row in smooth light tell more than those that see it beside their cutoff, unless they are a
            // few that stand at the limit between both.
            let is_clear = clear.len() >= options.rows.least_columns && 2 * clear.len() >= near.len();
            let (values, is_near_cutoff) = if is_clear { (clear, false) } else { (near, true) };
            (values.len() >= options.rows.least_columns).then(|| RowChange { ln: median(values), is_near_cutoff })
        })
        .collect()
}

/// The great changes summed up from the bottom; `None` without any.
fn summed(medians: &[Option<RowChange>], step_deg: f64, is_rough: bool, options: &BeamOptions) -> Option<Vec<f32>> {
    let rows = medians.len();
    let least = if is_rough { options.rows.least_change } else { options.rows.least_sharp };
    // A painted edge or a joint's rim is blurred over some rows: their changes have one sign, those of noise alternate.
    let joined: Vec<Option<f64>> = (0..rows)
        .map(|row| {
            let near = &medians[row.saturating_sub(1)..(row + 2).min(rows)];
            medians[row].map(|_| near.iter().flatten().map(|change| change.ln).sum())
        })
        .collect();
    let reach = (options.rows.course_deg / step_deg) as usize;
    let is_great: Vec<bool> = (0..rows)
        .map(|row| {
            let (Some(change), Some(here)) = (joined[row], medians[row]) else { return false };
            // Dark rows are noisier than bright ones.
            let near = &joined[row.saturating_sub(reach)..(row + reach + 1).min(rows)];
            let mut sizes: Vec<f64> = near.iter().flatten().map(|change| change.abs()).collect();
            let least = if here.is_near_cutoff { options.rows.least_sharp } else { least };
            change.abs() > (options.rows.least_sigmas * 1.4826 * median(&mut sizes)).max(least)
        })
        .collect();
    if !is_great.contains(&true) {
        return None;
    }
    let is_great = |row: usize| is_great.get(row).copied().unwrap_or(false);
    let mut log_gain = 0.0f64;
    let mut gains = vec![0.0f64; rows];
    for (row, gain) in gains.iter_mut().enumerate() {
        if is_great(row) || is_great(row + 1) || (row > 0 && is_great(row - 1)) {
            log_gain += medians[row].map_or(0.0, |change| change.ln);
        }
        *gain = log_gain;
    }
    let is_told: Vec<bool> = medians.iter().map(Option::is_some).collect();
    if let Some(courses) = courses_of_bricks(&gains, &is_told, step_deg, options) {
        gains = courses;
    }
    let middle = median(&mut gains.clone());
    Some(gains.iter().map(|gain| (gain - middle).exp() as f32).collect())
}

/// Distances of joints that are looked for, degrees: courses of 60 to 250 mm at 10 m.
const PERIOD_DEG: (f64, f64) = (0.28, 1.5);

/// On a wall laid in courses the joints repeat, also where the cutoff hides them: the mean course, over all rows.
fn courses_of_bricks(gains: &[f64], is_told: &[bool], step_deg: f64, options: &BeamOptions) -> Option<Vec<f64>> {
    let told = is_told.iter().filter(|told| **told).count() as f64;
    if told < options.rows.least_told * gains.len() as f64 {
        return None;
    }
    // Only joints repeat: the slow course is the light's.
    let reach = (0.5 * PERIOD_DEG.1 / step_deg) as usize;
    let joints: Vec<Option<f64>> = (0..gains.len())
        .map(|row| {
            let near = row.saturating_sub(reach)..(row + reach + 1).min(gains.len());
            let mut values: Vec<f64> = near.filter(|&k| is_told[k]).map(|k| gains[k]).collect();
            (is_told[row] && values.len() > reach / 2).then(|| gains[row] - median(&mut values))
        })
        .collect();
    let at = |row: f64| {
        let (k, fraction) = (row as usize, row.fract());
        Some((1.0 - fraction) * joints.get(k).copied()?? + fraction * joints.get(k + 1).copied()??)
    };
    let correlation = |period: f64| {
        let pairs: Vec<(f64, f64)> =
            (0..joints.len()).filter_map(|row| Some((joints[row]?, at(row as f64 + period)?))).collect();
        if pairs.len() < joints.len() / 6 {
            return 0.0;
        }
        let n = pairs.len() as f64;
        let (mean_a, mean_b) = (pairs.iter().map(|p| p.0).sum::<f64>() / n, pairs.iter().map(|p| p.1).sum::<f64>() / n);
        let sum = |f: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(f).sum::<f64>();
        let both = sum(&|p| (p.0 - mean_a) * (p.1 - mean_b));
        let (one, other) = (sum(&|p| (p.0 - mean_a).powi(2)), sum(&|p| (p.1 - mean_b).powi(2)));
        both / (one * other).sqrt().max(1e-12)
    };
    // Two periods at once tell the length of one to half a step.
    let candidates = (2.0 * PERIOD_DEG.0 / step_deg) as usize..(2.0 * PERIOD_DEG.1 / step_deg) as usize;
    let score = |half_steps: usize| {
        let period = half_steps as f64 / 2.0;
        f64::midpoint(correlation(period), correlation(2.0 * period))
    };
    let (best, value) =
        candidates.map(|half_steps| (half_steps, score(half_steps))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    if value < options.rows.least_correlation {
        return None;
    }
    let period = best as f64 / 2.0;
    Some(
        (0..gains.len())
            .map(|row| {
                let mut same: Vec<f64> = (-8i32..=8).filter_map(|k| at(row as f64 + f64::from(k) * period)).collect();
                if same.is_empty() { 0.0 } else { median(&mut same) }
            })
            .collect(),
    )
}

/// A change from one row to the next in one column.
#[derive(Debug, Clone, Copy)]
struct Change {
    /// The upper of the two rows.
    row: usize,
    /// Change of log light, less its course.
    ln: f64,
    /// Whether the column has its cutoff so near that only a sharp change tells.
    is_near_cutoff: bool,
}

/// A column's changes of log light from row to row, less their course. Beside the cutoff the course bends within a few
/// tenths of a degree: there it is taken over a short stretch, which leaves only what is as sharp as a painted edge.
fn changes(
    column: &[(f64, f64)],
    cutoff_deg: f64,
    first_deg: f64,
    step_deg: f64,
    options: &BeamOptions,
) -> Vec<Change> {
    let steps: Vec<Option<Change>> = column
        .windows(2)
        .map(|pair| {
            let ((v0, below), (v1, above)) = (pair[0], pair[1]);
            let is_next = (v1 - v0 - step_deg).abs() < 0.1 * step_deg;
            let is_near_cutoff =
                v1 > cutoff_deg - options.rows.below_cutoff_deg && v0 < cutoff_deg + options.rows.above_cutoff_deg;
            let row = ((v1 - first_deg) / step_deg).round() as usize;
            (is_next && below > options.rows.darkest && above > options.rows.darkest).then(|| Change {
                row,
                ln: (above / below).ln(),
                is_near_cutoff,
            })
        })
        .collect();
    let (long, short) =
        ((options.rows.course_deg / step_deg) as usize, (options.rows.sharp_course_deg / step_deg).round() as usize);
    // The long course is that of the changes away from the cutoff, the short one that of all.
    let far = |k: usize| steps.get(k).copied().flatten().filter(|change| !change.is_near_cutoff);
    let mut course = RunningMedian::default();
    (0..long).filter_map(far).for_each(|change| course.enter(change.ln));
    let mut short_course = Vec::with_capacity(2 * short + 1);
    let mut changes = Vec::with_capacity(steps.len());
    for (k, step) in steps.iter().enumerate() {
        far(k + long).inspect(|change| course.enter(change.ln));
        k.checked_sub(long + 1).and_then(far).inspect(|change| course.leave(change.ln));
        let Some(change) = *step else { continue };
        let (told, median) = if change.is_near_cutoff {
            short_course.clear();
            let near = &steps[k.saturating_sub(short)..(k + short + 1).min(steps.len())];
            short_course.extend(near.iter().flatten().map(|other| other.ln));
            (short_course.len() > short / 2, median(&mut short_course))
        } else {
            (course.count() > long / 2, course.median().unwrap_or(change.ln))
        };
        if told {
            changes.push(Change { ln: change.ln - median, ..change });
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beam::light::ToneCurve;
    use crate::beam::testing::grey_wall;
    use crate::grid::{AngleGrid, Axis};

    /// A cutoff that rises at 15 degrees on the right of a wall whose rows at `dark` reflect 0.6 of the rest.
    fn wall(dark: impl Fn(f64) -> bool) -> (AngleGrid, Vec<CoarsePlace>) {
        let (h, v) = (Axis::spanning(-9.0, 9.0, 0.05), Axis::spanning(-3.0, 4.0, 0.02));
        let cutoff = |h: f64| -0.5 + 0.268 * h.max(0.0);
        let grid = grey_wall(h, v, |h, v| {
            let x = v - cutoff(h);
            (0.01 + 0.4 / (1.0 + (x / 0.12).exp())) * if dark(v) { 0.6 } else { 1.0 }
        });
        let looked = (-75..=75)
            .map(|k| {
                let h_deg = f64::from(k) / 10.0;
                CoarsePlace { h_deg, v_deg: cutoff(h_deg) + 0.2, fall: 3.0, below: 0.4, above: 0.02 }
            })
            .collect();
        (grid, looked)
    }

    #[test]
    fn joints_across_the_flat_cutoff_are_told_by_the_rising_side() {
        let is_joint = |v: f64| (v + 10.0).rem_euclid(0.56) < 0.12;
        let (grid, looked) = wall(is_joint);
        let gains = row_gains(&LightGrid::new(&grid, &ToneCurve::new(0.0)), &looked, true, &BeamOptions::default())
            .unwrap()
            .logs();
        // Inside joints and between them, away from their rims, around the flat cutoff.
        let mean = |dark: bool| {
            let inside: Vec<f64> = (0..grid.v.count)
                .filter(|&j| {
                    let v = grid.v.at_deg(j);
                    v.abs() < 1.5 && [-0.05, 0.0, 0.05].iter().all(|d| is_joint(v + d) == dark)
                })
                .map(|j| gains[j])
                .collect();
            inside.iter().sum::<f64>() / inside.len() as f64
        };
        // The edge's own fading inside the compared columns leaves about a hundredth a row.
        let ratio = (mean(true) - mean(false)).exp();
        assert!((ratio - 0.6).abs() < 0.06, "{ratio}");
    }

    /// Truth by construction: paint of 0.6 below 0.1 degrees, its edge 0.4 degrees over the flat cutoff, where every column of the
    /// flat side has its cutoff near. The steps' rims fall into three rows, which leaves some hundredths.
    #[test]
    fn a_painted_edge_beside_the_cutoff_is_told() {
        let (grid, looked) = wall(|v| v < 0.1);
        let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
        let gains = row_gains(&light, &looked, false, &BeamOptions::default()).unwrap().logs();
        let mean = |from: f64, to: f64| {
            let rows = (0..grid.v.count).filter(|&j| (from..to).contains(&grid.v.at_deg(j)));
            let inside: Vec<f64> = rows.map(|j| gains[j]).collect();
            inside.iter().sum::<f64>() / inside.len() as f64
        };
        let ratio = (mean(-0.4, 0.0) - mean(0.2, 0.6)).exp();
        assert!((ratio - 0.6).abs() < 0.04, "{ratio}");
    }

    #[test]
    fn a_plain_wall_has_no_rows() {
        let (grid, looked) = wall(|_| false);
        assert!(
            row_gains(&LightGrid::new(&grid, &ToneCurve::new(0.0)), &looked, true, &BeamOptions::default()).is_none()
        );
    }
}
