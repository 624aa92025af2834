//! What the wall's own rows may have done to the place of an edge, told by the wall away from that edge.
//!
//! **Takes** how the fit answers to light that changes from row to row (its [`RowPull`]s) and the light of the same columns
//! below the edge. **Gives** the standard uncertainty of the edge's place from joints, courses and bands. **How**: courses of
//! brick under the edge look like a piece of the edge, and the edge's model bends until they do, so its own residuals say
//! little. But the same wall goes on below: its rows' light, less the smooth course of the beam, is drawn along the fit's
//! answer, and the spread of the places that come out is what this wall does to an edge somewhere on it. First-order
//! propagation (GUM 5.1.2) of a profile instead of a number. **Weak when** the wall below the edge is another one than at it.

use super::light::LightGrid;
use super::lines::ScanPlan;
use super::options::BeamOptions;

/// How one joined row's light moves the fitted place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowPull {
    /// Row, in joined rows above the edge.
    pub row: i32,
    /// Degrees that the place moves for a rise of the row's log light by 1.
    pub deg_per_ln: f64,
}

/// Standard uncertainty of an edge's place from the wall's rows, degrees; 0 where the wall cannot be seen beside the edge.
pub(super) fn wall_sigma(
    light: &LightGrid<'_>,
    plan: &ScanPlan,
    (h0_deg, v0_deg, slope): (f64, f64, f64),
    pulls: &[RowPull],
    options: &BeamOptions,
) -> f64 {
    let profile = profile(light, plan, (h0_deg, v0_deg, slope), options);
    let texture = less_its_course(&profile, options);
    let count = texture.iter().flatten().count();
    if count < options.wall_rows.least_rows {
        return 0.0;
    }
    let moved = |at: usize| {
        let mut sum = 0.0;
        for pull in pulls {
            let row = usize::try_from(at as i64 + i64::from(pull.row)).ok().and_then(|row| *texture.get(row)?);
            sum += pull.deg_per_ln * row.unwrap_or(0.0);
        }
        sum
    };
    // Where the answer is drawn from: rows that are seen themselves.
    let places: Vec<f64> = (0..texture.len()).filter(|&at| texture[at].is_some()).map(moved).collect();
    let variance = places.iter().map(|d| d * d).sum::<f64>() / places.len() as f64;
    // What differs from row to row like noise does so at the edge too: the scatter of the scans tells of it.
    let as_noise = row_noise(&texture).powi(2) * pulls.iter().map(|pull| pull.deg_per_ln.powi(2)).sum::<f64>();
    (variance - as_noise).max(0.0).sqrt()
}

/// Standard deviation of what differs from row to row, from second differences: a smooth course and most of a joint leave none.
fn row_noise(texture: &[Option<f64>]) -> f64 {
    let mut sizes: Vec<f64> =
        texture.windows(3).filter_map(|three| Some((three[0]? - 2.0 * three[1]? + three[2]?).abs())).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    sizes.sort_by(f64::total_cmp);
    // A second difference of independent values has six times their variance.
    1.4826 * sizes[sizes.len() / 2] / 6.0f64.sqrt()
}

/// Log light of the joined rows below the edge, upward, along lines parallel to it; `None` where it is dark or white.
fn profile(
    light: &LightGrid<'_>,
    plan: &ScanPlan,
    (h0_deg, v0_deg, slope): (f64, f64, f64),
    options: &BeamOptions,
) -> Vec<Option<f64>> {
    let grid = light.grid;
    let (from, to) = (plan.from_deg.min(plan.to_deg), plan.from_deg.max(plan.to_deg));
    let (left, right) = (grid.h.nearest(from - plan.half_width_deg), grid.h.nearest(to + plan.half_width_deg));
    let joined = options.cutoff.joined_rows;
    let row_deg = grid.v.step_deg * joined as f64;
    let top = v0_deg - options.wall_rows.clear_deg;
    let rows = ((top - grid.v.first_deg) / row_deg).max(0.0) as usize;
    (0..rows)
        .map(|row| {
            let v = top - (rows - row) as f64 * row_deg;
            let (mut sum, mut count, mut clipped) = (0.0, 0usize, 0.0f64);
            for i in left..=right {
                let along = v + slope * (grid.h.at_deg(i) - h0_deg);
                for k in 0..joined {
                    let at = along + k as f64 * grid.v.step_deg;
                    let cell = grid.index(i, grid.v.nearest(at));
                    if at > grid.v.first_deg && grid.is_valid[cell] {
                        sum += f64::from(light.level(cell));
                        clipped += f64::from(grid.clipped[cell]);
                        count += 1;
                    }
                }
            }
            let n = count as f64;
            let is_seen = 2 * count > joined * (right - left + 1)
                && sum / n > options.wall_rows.darkest
                && clipped / n < options.cutoff.clipped_share;
            is_seen.then(|| (sum / n).ln())
        })
        .collect()
}

/// The profile less its smooth course: a local parabola.
fn less_its_course(profile: &[Option<f64>], options: &BeamOptions) -> Vec<Option<f64>> {
    let reach = options.wall_rows.course_rows;
    let least = 3 * reach / 2;
    (0..profile.len())
        .map(|row| {
            let here = profile[row]?;
            // At an end of what is seen the course is a guess.
            let from = row.checked_sub(reach)?;
            let near: Vec<(f64, f64)> = profile
                .get(from..=row + reach)?
                .iter()
                .enumerate()
                .filter_map(|(k, value)| Some(((from + k) as f64 - row as f64, (*value)?)))
                .collect();
            (near.len() > least).then(|| parabola_at_zero(&near)).flatten().map(|course| here - course)
        })
        .collect()
}

/// Value at 0 of the parabola through points by least squares.
fn parabola_at_zero(points: &[(f64, f64)]) -> Option<f64> {
    let mut normal = nalgebra::Matrix3::zeros();
    let mut right = nalgebra::Vector3::zeros();
    for &(x, y) in points {
        let basis = nalgebra::Vector3::new(1.0, x, x * x);
        normal += basis * basis.transpose();
        right += basis * y;
    }
    normal.cholesky().map(|factor| factor.solve(&right)[0])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beam::light::ToneCurve;
    use crate::beam::testing::grey_wall;
    use crate::grid::Axis;

    /// Truth by construction: log light that swings by `a` from row to row has an effective value of `a / sqrt 2`, and a fit
    /// whose place follows one row by 0.1 degrees per unit of it errs by a tenth of that. The parabola takes off a few percent.
    #[test]
    fn rows_below_the_edge_move_it_as_the_fit_answers() {
        let sigma = |a: f64| {
            let (h, v) = (Axis::spanning(-4.0, 4.0, 0.05), Axis::spanning(-5.0, 3.0, 0.02));
            let grid = grey_wall(h, v, |_, v| 0.3 * (a * (std::f64::consts::TAU * v / 0.4).sin()).exp());
            let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
            let plan = ScanPlan { from_deg: -1.0, to_deg: -3.0, step_deg: 0.2, half_width_deg: 0.1 };
            let pulls = [RowPull { row: 0, deg_per_ln: 0.1 }];
            wall_sigma(&light, &plan, (-2.0, -0.5, 0.0), &pulls, &BeamOptions::default())
        };
        let expected = 0.1 * 0.2 / f64::sqrt(2.0);
        assert!((sigma(0.2) / expected - 1.0).abs() < 0.1, "{} against {expected}", sigma(0.2));
        assert!(sigma(0.0) < 1e-4, "{}", sigma(0.0));
    }

    #[test]
    fn a_wall_that_is_not_seen_says_nothing() {
        let (h, v) = (Axis::spanning(-4.0, 4.0, 0.05), Axis::spanning(-5.0, 3.0, 0.02));
        let grid = grey_wall(h, v, |_, _| 0.001);
        let light = LightGrid::new(&grid, &ToneCurve::new(0.0));
        let plan = ScanPlan { from_deg: -1.0, to_deg: -3.0, step_deg: 0.2, half_width_deg: 0.1 };
        let pulls = [RowPull { row: 0, deg_per_ln: 0.1 }];
        let sigma = wall_sigma(&light, &plan, (-2.0, -0.5, 0.0), &pulls, &BeamOptions::default());
        assert!(sigma.abs() < f64::EPSILON, "{sigma}");
    }
}
