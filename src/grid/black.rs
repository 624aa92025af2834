//! Takes off the grid what clipping at black added to the dark parts of a noisy photo (see [`BlackClip`]).
//!
//! What is added depends on the mean light, not on the single cell, which is the mean of few pixels and mostly noise: it is
//! told from the cells around, so that single cells keep their noise (negative light included) and no new bias comes from
//! the curve's bend.

use super::resample::{AngleGrid, Axis};
use crate::photo::BlackClip;
use crate::photo::linear::LUMINANCE_WEIGHTS;

/// Half the height and width of the cells around, degrees: some hundred pixels, and the width of an edge at most.
const AROUND_DEG: (f64, f64) = (0.4, 0.08);
/// Cells between those of a second difference: their footprints do not touch, nor do the JPEG's halved colours.
const LAG: usize = 2;
/// Mean magnitude of a second difference of independent normal cells over their standard deviation: sqrt(6)·sqrt(2/π).
const DIFFERENCE_MAGNITUDE: f64 = 1.954_410;
/// Entries of the table from mean to light, which runs over the square root of the mean.
const TABLE: usize = 512;

/// What noise does to the grid's dark cells.
#[derive(Debug, Clone)]
pub struct DarkNoise {
    /// Luminance that clipping added to each cell, already taken off.
    pub added: Vec<f32>,
    /// Standard deviation of each cell's luminance.
    pub sigma: Vec<f32>,
}

impl DarkNoise {
    /// Luminance that was added where the wall is darkest: nine tenths of the cells had less.
    pub fn most_added(&self) -> f64 {
        let mut added: Vec<f32> = self.added.iter().copied().filter(|&more| more > 0.0).collect();
        if added.is_empty() {
            return 0.0;
        }
        let place = (added.len() - 1) * 9 / 10;
        f64::from(*added.select_nth_unstable_by(place, f32::total_cmp).1)
    }
}

/// Takes off what clipping added and notes how noisy the cells are.
pub fn take_off_black(grid: &mut AngleGrid, clip: &BlackClip) {
    let table: Vec<f64> = (0..=TABLE).map(|k| clip.light_of((k as f64 / TABLE as f64).powi(2))).collect();
    let added_to = |mean: f64| {
        let at = mean.clamp(0.0, 1.0).sqrt() * TABLE as f64;
        let below = (at as usize).min(TABLE - 1);
        mean - (table[below] + (at - below as f64) * (table[below + 1] - table[below]))
    };
    let cells = grid.rgb.len();
    let mut added = vec![0.0f32; cells];
    for (channel, weight) in LUMINANCE_WEIGHTS.into_iter().enumerate() {
        let around = Sums::of(grid, |k| Some(f64::from(grid.rgb[k][channel])));
        for (k, added) in added.iter_mut().enumerate() {
            let more = around.mean(k).map_or(0.0, |mean| added_to(mean).max(0.0)) as f32;
            grid.rgb[k][channel] -= more;
            *added += weight * more;
        }
    }
    let luminance = |k: usize| (0..3).map(|c| f64::from(LUMINANCE_WEIGHTS[c] * grid.rgb[k][c])).sum::<f64>();
    let differences = Sums::of(grid, |k| {
        let column = k % grid.h.count;
        let is_inside = column >= LAG && column + LAG < grid.h.count;
        let (left, right) = is_inside.then_some((k.wrapping_sub(LAG), k + LAG))?;
        (grid.is_valid[left] && grid.is_valid[right])
            .then(|| (luminance(left) - 2.0 * luminance(k) + luminance(right)).abs())
    });
    let sigma = (0..cells).map(|k| (differences.mean(k).unwrap_or(0.0) / DIFFERENCE_MAGNITUDE) as f32).collect();
    grid.dark = Some(DarkNoise { added, sigma });
}

/// Means over the cells around any cell, by a summed-area table.
struct Sums {
    h: Axis,
    v: Axis,
    /// Sum and number of the values left of and below each corner of the cells.
    corners: Vec<(f64, u32)>,
    reach: (usize, usize),
}

impl Sums {
    /// Of a value of each valid cell.
    fn of(grid: &AngleGrid, value: impl Fn(usize) -> Option<f64>) -> Self {
        let (columns, rows) = (grid.h.count, grid.v.count);
        let mut sums = vec![(0.0, 0); (columns + 1) * (rows + 1)];
        for j in 0..rows {
            let mut row = (0.0, 0);
            for i in 0..columns {
                let k = grid.index(i, j);
                if let Some(value) = grid.is_valid[k].then(|| value(k)).flatten() {
                    row = (row.0 + value, row.1 + 1);
                }
                let below = sums[j * (columns + 1) + i + 1];
                sums[(j + 1) * (columns + 1) + i + 1] = (below.0 + row.0, below.1 + row.1);
            }
        }
        let reach = ((AROUND_DEG.0 / grid.h.step_deg) as usize, (AROUND_DEG.1 / grid.v.step_deg) as usize);
        Self { h: grid.h, v: grid.v, corners: sums, reach }
    }

    fn mean(&self, cell: usize) -> Option<f64> {
        let (i, j) = (cell % self.h.count, cell / self.h.count);
        let (left, right) = (i.saturating_sub(self.reach.0), (i + self.reach.0 + 1).min(self.h.count));
        let (bottom, top) = (j.saturating_sub(self.reach.1), (j + self.reach.1 + 1).min(self.v.count));
        let at = |i: usize, j: usize| self.corners[j * (self.h.count + 1) + i];
        let (a, b, c, d) = (at(left, bottom), at(right, bottom), at(left, top), at(right, top));
        let count = d.1 + a.1 - b.1 - c.1;
        (count > 0).then(|| (d.0 - b.0 - c.0 + a.0) / f64::from(count))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Truth: cells that are means of four clipped pixels of known light and noise. Each cell's mean light comes back within a
    /// tenth of what clipping added, and its noise within a tenth.
    #[test]
    fn the_light_under_clipped_noise_comes_back() {
        let (h, v) = (Axis::spanning(-3.0, 3.0, 0.05), Axis::spanning(-2.0, 2.0, 0.02));
        let cells = h.count * v.count;
        let clip = BlackClip::with_noise(0.01, 0.0);
        let (light, mut state) = (0.004, 0x9e37_79b9_7f4a_7c15_u64);
        let mut gauss = || {
            // Sum of twelve uniform numbers (xorshift), less six.
            (0..12)
                .map(|_| {
                    state ^= state << 13;
                    state ^= state >> 7;
                    state ^= state << 17;
                    (state >> 11) as f64 / (1u64 << 53) as f64
                })
                .sum::<f64>()
                - 6.0
        };
        let mut cell = || (0..4).map(|_| (light + 0.01 * gauss()).max(0.0)).sum::<f64>() / 4.0;
        let rgb: Vec<[f32; 3]> = (0..cells).map(|_| [(); 3].map(|()| cell() as f32)).collect();
        let mut grid = AngleGrid {
            h,
            v,
            rgb,
            clipped: vec![0.0; cells],
            is_valid: vec![true; cells],
            intensity_factor: vec![1.0; cells],
            dark: None,
        };
        take_off_black(&mut grid, &clip);
        let mean = grid.rgb.iter().map(|rgb| f64::from(rgb[1])).sum::<f64>() / cells as f64;
        let added = clip.mean_of(light) - light;
        assert!((mean - light).abs() < 0.1 * added, "{mean}");
        let dark = grid.dark.unwrap();
        let noted = f64::from(dark.added.iter().sum::<f32>()) / cells as f64;
        assert!((noted / added - 1.0).abs() < 0.1, "{noted} {added}");
        // Three channels, weighed: 0.75 of one; four pixels: half; clipped at z = 0.4: 0.72 of the noise (closed form).
        // Over the whole grid: a single cell's neighbours tell it to a tenth only.
        let sigma = f64::from(dark.sigma.iter().sum::<f32>()) / cells as f64;
        assert!((sigma / (0.01 * 0.75 * 0.5 * 0.72) - 1.0).abs() < 0.05, "{sigma}");
    }
}
