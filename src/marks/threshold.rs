//! Which blocks of a grey picture are dark against their surroundings.
//!
//! **Takes** a [`Grey`] picture. **Gives** runs of dark blocks along its rows. **How**: per tile, the darkest and the
//! brightest part of it and its neighbours set a local threshold (the scheme of Wang and Olson 2016, section III-A);
//! where they hardly differ, or no more than noise does, nothing is dark. Codes are compared as encoded, which evens out noise.

use super::grain::Grain;
use super::options::FindOptions;
use super::shrink::{Grey, UNITS_PER_CODE};

/// Side of a tile in blocks: the neighbourhood of three tiles then spans a module of white beside one of black at every
/// size that the search picture leaves.
const TILE: usize = 4;

/// What counts as dark.
#[derive(Debug, Clone, Copy)]
pub(super) struct Contrast {
    /// Where the threshold stands between darkest (0) and brightest (1).
    pub(super) split: f32,
    /// Least difference in codes; smaller ones are noise.
    pub(super) least_codes: f32,
    /// Least difference as a share of the brightest code; smaller ones are texture.
    pub(super) least_share: f32,
}

impl Contrast {
    fn is_met(self, low: u16, high: u16, grain: &Grain, options: &FindOptions) -> bool {
        let range = f32::from(high.saturating_sub(low));
        range >= self.least_codes * f32::from(UNITS_PER_CODE)
            && range >= self.least_share * f32::from(high)
            && range >= options.search.noise_sigmas * grain.at(low.midpoint(high))
    }
}

/// Dark blocks from `start` up to but without `end` on one row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) row: u32,
    pub(super) start: u32,
    pub(super) end: u32,
}

/// All runs of dark blocks, row by row from the top, left to right.
pub(super) fn dark_runs(grey: &Grey, contrast: Contrast, options: &FindOptions) -> Vec<Run> {
    let tiles = Tiles::of(grey);
    let thresholds = tiles.thresholds(contrast, &Grain::of(grey), options);
    let mut runs = Vec::new();
    let mut active = Vec::new();
    for (tile_row, limits) in thresholds.chunks(tiles.columns.max(1)).enumerate() {
        active.clear();
        active.extend(limits.iter().enumerate().filter(|(_, limit)| **limit > 0).map(|(tile, &limit)| (tile, limit)));
        for row in tile_row * TILE..((tile_row + 1) * TILE).min(grey.height) {
            let levels = &grey.levels[row * grey.width..(row + 1) * grey.width];
            add_runs(levels, row as u32, &active, &mut runs);
        }
    }
    runs
}

/// Adds one row's runs; `active` holds the tiles that have a threshold, with it.
fn add_runs(levels: &[u16], row: u32, active: &[(usize, u16)], runs: &mut Vec<Run>) {
    let first = runs.len();
    for &(tile, limit) in active {
        let start = tile * TILE;
        for (k, &level) in levels[start..(start + TILE).min(levels.len())].iter().enumerate() {
            if level < limit {
                let column = (start + k) as u32;
                match runs[first..].last_mut() {
                    Some(last) if last.end == column => last.end += 1,
                    _ => runs.push(Run { row, start: column, end: column + 1 }),
                }
            }
        }
    }
}

/// A tile in which light and dark differ.
#[derive(Debug, Clone, Copy)]
pub(super) struct ContrastTile {
    /// Its blocks: columns from `left` and rows from `top`, without `right` and `bottom`.
    pub(super) left: usize,
    pub(super) right: usize,
    pub(super) top: usize,
    pub(super) bottom: usize,
    /// Brightest less darkest in it and its neighbours, units.
    pub(super) range: u16,
}

/// The tiles with contrast.
pub(super) fn contrast_tiles(grey: &Grey, contrast: Contrast, options: &FindOptions) -> Vec<ContrastTile> {
    let tiles = Tiles::of(grey);
    let grain = Grain::of(grey);
    let (low, high) = (tiles.spread(&tiles.low, u16::min), tiles.spread(&tiles.high, u16::max));
    let ranges = low
        .iter()
        .zip(&high)
        .map(|(&low, &high)| (high.saturating_sub(low), contrast.is_met(low, high, &grain, options)));
    ranges
        .enumerate()
        .filter(|(_, (_, is_met))| *is_met)
        .map(|(tile, (range, _))| {
            let (left, top) = (tile % tiles.columns * TILE, tile / tiles.columns * TILE);
            ContrastTile {
                left,
                right: (left + TILE).min(grey.width),
                top,
                bottom: (top + TILE).min(grey.height),
                range,
            }
        })
        .collect()
}

/// Darkest and brightest level per tile.
struct Tiles {
    columns: usize,
    rows: usize,
    low: Vec<u16>,
    high: Vec<u16>,
}

impl Tiles {
    fn of(grey: &Grey) -> Self {
        let (columns, rows) = (grey.width.div_ceil(TILE), grey.height.div_ceil(TILE));
        let mut low = vec![u16::MAX; columns * rows];
        let mut high = vec![0; columns * rows];
        for y in (0..grey.height.saturating_sub(1)).step_by(2) {
            let upper = &grey.levels[y * grey.width..(y + 1) * grey.width];
            let lower = &grey.levels[(y + 1) * grey.width..(y + 2) * grey.width];
            let at = y / TILE * columns;
            // Means of 2 x 2 blocks, so that single noisy blocks do not set the extremes.
            let mean = |a: &[u16], b: &[u16]| (a[0] + a[1] + b[0] + b[1]) / 4;
            let ((upper_tiles, upper_rest), (lower_tiles, lower_rest)) =
                (upper.as_chunks::<TILE>(), lower.as_chunks::<TILE>());
            let extremes = low[at..at + columns].iter_mut().zip(&mut high[at..at + columns]);
            for ((a, b), (low, high)) in upper_tiles.iter().zip(lower_tiles).zip(extremes) {
                let (first, second) = (mean(&a[..2], &b[..2]), mean(&a[2..], &b[2..]));
                *low = first.min(second).min(*low);
                *high = first.max(second).max(*high);
            }
            for (a, b) in upper_rest.chunks_exact(2).zip(lower_rest.chunks_exact(2)) {
                let last = at + columns - 1;
                low[last] = mean(a, b).min(low[last]);
                high[last] = mean(a, b).max(high[last]);
            }
        }
        Self { columns, rows, low, high }
    }

    /// Threshold per tile in units; 0 where the contrast is too low.
    fn thresholds(&self, contrast: Contrast, grain: &Grain, options: &FindOptions) -> Vec<u16> {
        let low = self.spread(&self.low, u16::min);
        let high = self.spread(&self.high, u16::max);
        low.iter()
            .zip(&high)
            .map(|(&low, &high)| {
                let range = f32::from(high.saturating_sub(low));
                if contrast.is_met(low, high, grain, options) {
                    (f32::from(low) + contrast.split * range) as u16
                } else {
                    0
                }
            })
            .collect()
    }

    /// The extreme over each tile and its eight neighbours.
    fn spread(&self, values: &[u16], pick: fn(u16, u16) -> u16) -> Vec<u16> {
        let (w, h) = (self.columns, self.rows);
        let mut across = values.to_vec();
        for y in 0..h {
            for x in 0..w {
                let row = &values[y * w..(y + 1) * w];
                let left = row[x.saturating_sub(1)];
                let right = row[(x + 1).min(w - 1)];
                across[y * w + x] = pick(pick(left, row[x]), right);
            }
        }
        let mut out = across.clone();
        for y in 0..h {
            let (above, below) = (y.saturating_sub(1), (y + 1).min(h - 1));
            for x in 0..w {
                out[y * w + x] = pick(pick(across[above * w + x], across[y * w + x]), across[below * w + x]);
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::testing::{gray_photo, hash_normal};

    const CONTRAST: Contrast = Contrast { split: 0.4, least_codes: 5.0, least_share: 0.25 };

    #[test]
    fn a_dark_bar_gives_its_runs_and_a_flat_wall_none() {
        let photo =
            gray_photo(40, 24, 1, |x, y| if (10..20).contains(&x) && (8..12).contains(&y) { 20.0 } else { 90.0 });
        let runs = dark_runs(&Grey::of(&photo, 1), CONTRAST, &FindOptions::default());
        assert_eq!(runs.len(), 4);
        assert!(runs.iter().all(|run| (run.start, run.end) == (10, 20)));
        let noise = gray_photo(400, 300, 1, |x, y| 60.0 + 15.0 * hash_normal(x, y));
        let runs = dark_runs(&Grey::of(&noise, 1), CONTRAST, &FindOptions::default());
        assert!(runs.iter().map(|run| run.end - run.start).sum::<u32>() < 400 * 300 / 20);
        let flat = gray_photo(40, 24, 1, |x, _| 90.0 + (x % 3) as f32);
        assert!(dark_runs(&Grey::of(&flat, 1), CONTRAST, &FindOptions::default()).is_empty());
    }

    #[test]
    fn tiny_pictures_give_no_runs() {
        for (w, h) in [(0, 0), (1, 1), (1, 9), (9, 1), (2, 2)] {
            assert!(
                dark_runs(&Grey::of(&gray_photo(w, h, 1, |x, _| x as f32), 1), CONTRAST, &FindOptions::default())
                    .is_empty()
            );
        }
    }
}
