//! The hot spot: the direction of the lamp's greatest intensity, as a mean over a disc of 0.2 degrees.
//!
//! The spot is flat on top, so its place comes from a quadratic surface through the log intensity of the whole top (all
//! cells above a share of the greatest disc mean), not from one brightest cell.

use super::light::LightGrid;
use super::room::RoomLight;
use nalgebra::{DMatrix, DVector};

/// Half size of the disc, degrees.
const DISC_DEG: f64 = 0.1;
/// Cells above this share of the greatest disc mean carry the surface.
const TOP_SHARE: f64 = 0.86;
/// Lower share when the top is clipped.
const CLIPPED_TOP_SHARE: f64 = 0.45;
/// Length over which the wall's texture is correlated, degrees (own judgement).
const CORRELATION_DEG: f64 = 0.12;
/// Share of the top's extent by which its quadratic may miss the true place (own judgement, checked on rendered scenes).
const SHAPE_SHARE: f64 = 0.12;

/// The hot spot with its uncertainty.
#[derive(Debug, Clone, Copy)]
pub struct Spot {
    /// Horizontal place, degrees.
    pub h_deg: f64,
    /// Vertical place, degrees.
    pub v_deg: f64,
    /// Standard uncertainties from texture and shape, degrees.
    pub sigma_h_deg: f64,
    /// Vertical.
    pub sigma_v_deg: f64,
    /// Whether the photo is clipped there.
    pub is_clipped: bool,
    /// Relative intensity there, full scale at the foot point's distance.
    pub level: f64,
}

struct Cells {
    width: usize,
    height: usize,
    first_i: usize,
    first_j: usize,
    value: Vec<Option<(f64, f64)>>,
}

/// Disc means on a lattice of 0.1 by 0.06 degrees, with the share of clipped light.
fn disc_means(light: &LightGrid<'_>, room: &RoomLight, fall_off: &impl Fn(f64, f64) -> f64) -> Cells {
    const STEP_I: usize = 2;
    const STEP_J: usize = 3;
    let grid = light.grid;
    let (di, dj) = ((DISC_DEG / grid.h.step_deg).round() as usize, (DISC_DEG / grid.v.step_deg).round() as usize);
    let width = (grid.h.count - 2 * di) / STEP_I;
    let height = (grid.v.count - 2 * dj) / STEP_J;
    let mut value = Vec::with_capacity(width * height);
    for b in 0..height {
        for a in 0..width {
            let (i, j) = (di + a * STEP_I, dj + b * STEP_J);
            let (mut sum, mut clipped, mut count) = (0.0, 0.0, 0usize);
            for y in j - dj..=j + dj {
                for x in i - di..=i + di {
                    let k = grid.index(x, y);
                    let r2 = ((x as f64 - i as f64) / di as f64).powi(2) + ((y as f64 - j as f64) / dj as f64).powi(2);
                    if grid.is_valid[k] && r2 <= 1.0 {
                        sum += f64::from(light.level(k));
                        clipped += f64::from(grid.clipped[k]);
                        count += 1;
                    }
                }
            }
            value.push((count * 3 > (2 * di + 1) * (2 * dj + 1)).then(|| {
                let (h, v) = (grid.h.at_deg(i), grid.v.at_deg(j));
                let lamp = sum / count as f64 - room.at(h, v);
                let factor = f64::from(grid.intensity_factor[grid.index(i, j)]);
                (lamp * factor / fall_off(h, v), clipped / count as f64)
            }));
        }
    }
    Cells { width, height, first_i: di, first_j: dj, value }
}

/// Finds the hot spot; `fall_off` is the lens's relative illumination in a direction.
pub fn find(light: &LightGrid<'_>, room: &RoomLight, fall_off: &impl Fn(f64, f64) -> f64) -> Option<Spot> {
    let grid = light.grid;
    let cells = disc_means(light, room, fall_off);
    let at = |k: usize| {
        let (a, b) = (k % cells.width, k / cells.width);
        (grid.h.at_deg(cells.first_i + a * 2), grid.v.at_deg(cells.first_j + b * 3))
    };
    let (top, (greatest, _)) =
        cells.value.iter().enumerate().filter_map(|(k, c)| c.map(|c| (k, c))).max_by(|x, y| x.1.0.total_cmp(&y.1.0))?;
    let clipped_near =
        cells.value.iter().flatten().filter(|(level, clipped)| *level > 0.9 * greatest && *clipped > 0.02).count();
    let is_clipped = clipped_near > 0;
    let share = if is_clipped { CLIPPED_TOP_SHARE } else { TOP_SHARE };
    let members = connected(&cells, top, share * greatest);
    let unclipped: Vec<usize> =
        members.iter().copied().filter(|&k| cells.value[k].is_some_and(|(_, clipped)| clipped < 0.02)).collect();
    let (centre_h, centre_v) = middle(&members, &at);
    let (extent_h, extent_v) = extent(&members, &at);
    let surface = quadratic(&unclipped, &at, (centre_h, centre_v), |k| {
        cells.value[k].map_or(0.0, |(level, _)| level.max(1e-9).ln())
    });
    let inside = |h: f64, v: f64| (h - centre_h).abs() < extent_h && (v - centre_v).abs() < extent_v;
    let level = greatest;
    let shape = if is_clipped { 2.0 * SHAPE_SHARE } else { SHAPE_SHARE };
    let n_effective = |step_h: f64, step_v: f64| (step_h * step_v / (CORRELATION_DEG * CORRELATION_DEG)).min(1.0);
    let thinning = n_effective(0.1, 0.06);
    match surface {
        Some((h, v, sh, sv)) if inside(h, v) => Some(Spot {
            h_deg: h,
            v_deg: v,
            sigma_h_deg: (sh / thinning.sqrt()).min(extent_h).hypot(shape * extent_h),
            sigma_v_deg: (sv / thinning.sqrt()).min(extent_v).hypot(shape * extent_v),
            is_clipped,
            level,
        }),
        _ => Some(Spot {
            h_deg: centre_h,
            v_deg: centre_v,
            sigma_h_deg: 0.4 * extent_h,
            sigma_v_deg: 0.4 * extent_v,
            is_clipped,
            level,
        }),
    }
}

/// Members of the bright region around `seed` above `least`.
fn connected(cells: &Cells, seed: usize, least: f64) -> Vec<usize> {
    let mut seen = vec![false; cells.value.len()];
    let mut queue = vec![seed];
    let mut members = Vec::new();
    seen[seed] = true;
    while let Some(k) = queue.pop() {
        members.push(k);
        let (a, b) = (k % cells.width, k / cells.width);
        let neighbours = [
            (a > 0).then(|| k - 1),
            (a + 1 < cells.width).then(|| k + 1),
            (b > 0).then(|| k - cells.width),
            (b + 1 < cells.height).then(|| k + cells.width),
        ];
        for next in neighbours.into_iter().flatten() {
            if !seen[next] && cells.value[next].is_some_and(|(level, _)| level > least) {
                seen[next] = true;
                queue.push(next);
            }
        }
    }
    members
}

fn middle(members: &[usize], at: &impl Fn(usize) -> (f64, f64)) -> (f64, f64) {
    let n = members.len().max(1) as f64;
    let sum = members.iter().map(|&k| at(k)).fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
    (sum.0 / n, sum.1 / n)
}

/// Half extents of the region, degrees (at least a disc).
fn extent(members: &[usize], at: &impl Fn(usize) -> (f64, f64)) -> (f64, f64) {
    let spread = |values: Vec<f64>| {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        ((high - low) / 2.0).max(DISC_DEG)
    };
    (spread(members.iter().map(|&k| at(k).0).collect()), spread(members.iter().map(|&k| at(k).1).collect()))
}

/// Peak of a quadratic surface and its standard uncertainties (independent cells).
fn quadratic(
    members: &[usize],
    at: &impl Fn(usize) -> (f64, f64),
    centre: (f64, f64),
    value: impl Fn(usize) -> f64,
) -> Option<(f64, f64, f64, f64)> {
    const TERMS: usize = 6;
    if members.len() < 4 * TERMS {
        return None;
    }
    let mut rows = DMatrix::zeros(members.len(), TERMS);
    let mut target = DVector::zeros(members.len());
    for (r, &k) in members.iter().enumerate() {
        let (h, v) = at(k);
        let (x, y) = (h - centre.0, v - centre.1);
        for (c, term) in [1.0, x, y, x * x, x * y, y * y].into_iter().enumerate() {
            rows[(r, c)] = term;
        }
        target[r] = value(k);
    }
    let normal = (rows.transpose() * &rows).try_inverse()?;
    let p = &normal * rows.transpose() * &target;
    let peak = |p: &DVector<f64>| {
        let det = 4.0 * p[3] * p[5] - p[4] * p[4];
        (det > 0.0 && p[3] < 0.0)
            .then(|| ((-2.0 * p[5] * p[1] + p[4] * p[2]) / det, (-2.0 * p[3] * p[2] + p[4] * p[1]) / det))
    };
    let (x, y) = peak(&p)?;
    let residual = (&rows * &p - &target).norm() / (members.len() as f64).sqrt();
    let (mut variance_h, mut variance_v) = (0.0, 0.0);
    let gradient: Vec<(f64, f64)> = (0..TERMS)
        .map(|k| {
            let mut moved = p.clone();
            let step = 1e-4 * p[k].abs().max(1e-3);
            moved[k] += step;
            peak(&moved).map_or((0.0, 0.0), |(a, b)| ((a - x) / step, (b - y) / step))
        })
        .collect();
    for a in 0..TERMS {
        for b in 0..TERMS {
            variance_h += gradient[a].0 * gradient[b].0 * normal[(a, b)];
            variance_v += gradient[a].1 * gradient[b].1 * normal[(a, b)];
        }
    }
    Some((centre.0 + x, centre.1 + y, residual * variance_h.max(0.0).sqrt(), residual * variance_v.max(0.0).sqrt()))
}
