//! The inner corners of a printed checkerboard in a photo, each to a fraction of a pixel, in the board's order.
//!
//! **Takes** a [`GreyPicture`] (as stored, any brightness scale) and the board's counts. **Gives** the corners row by row:
//! columns to the right and rows downwards on the board, up to a half turn of it (a board looks the same then).
//! **How**: the picture reduced; candidates by the `ChESS` response (S. Bennett and J. Lasenby, "`ChESS` - quick and robust
//! detection of chess-board features", Computer Vision and Image Understanding 118, 2014; ring of 16 samples, from memory);
//! the grid grown from neighbour to neighbour (`board_grid`); at full size, a saddle z = a + bx + cy + dx² + exy + fy² fitted
//! by weighted least squares and its stationary point followed until it stands.
//! **Fails when** the whole grid is not seen (a sentence that says how much of it was, and whether it runs out of the picture).

use super::board_grid::{Corner, Grid, grow};
use crate::units::PxPoint;
use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

/// The longer side of the picture in which candidates are sought, pixels: squares of 1/80 of it are still seen.
const WORK_SIDE: usize = 1600;
/// Radius of the response's ring, pixels, and its sixteen places.
const RING: [(isize, isize); 16] = [
    (0, -5),
    (2, -5),
    (3, -3),
    (5, -2),
    (5, 0),
    (5, 2),
    (3, 3),
    (2, 5),
    (0, 5),
    (-2, 5),
    (-3, 3),
    (-5, 2),
    (-5, 0),
    (-5, -2),
    (-3, -3),
    (-2, -5),
];
/// The ring's reach with room for a saddle fit, pixels.
const MARGIN: usize = 8;
/// A candidate is the largest response within this many pixels.
const APART: usize = 4;
/// Candidates have at least this share of the strongest response: light may fall to a fifth over a board.
const LEAST_SHARE: f64 = 0.06;
/// Most candidates that are looked at, per corner of the board.
const CANDIDATES_PER_CORNER: usize = 6;
/// Seeds that are tried for the grid.
const SEEDS: usize = 60;
/// Spread of the saddle fit's weights: share of the distance to the next corner, and bounds in pixels.
const SPREAD_SHARE: f64 = 0.10;
const SPREAD_PX: (f64, f64) = (1.5, 6.0);
/// Spread of the fit in the reduced picture.
const WORK_SPREAD: f64 = 2.0;
/// The fit reaches to this many spreads.
const REACH: f64 = 2.5;
/// The saddle's place stands when it moves less, pixels; steps at most.
const STANDS_PX: f64 = 1e-4;
const FIT_STEPS: usize = 40;

/// A grey picture as it is stored: rows from the top.
#[derive(Debug, Clone)]
pub struct GreyPicture {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Brightness by pixel, encoded or linear; any scale.
    pub samples: Vec<f32>,
}

/// A board as it is printed: squares, not corners.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoardShape {
    /// Squares in a row.
    pub columns: usize,
    /// Rows of squares.
    pub rows: usize,
    /// Edge of a square, mm.
    pub square_mm: f64,
}

impl BoardShape {
    /// Inner corners, columns and rows.
    pub const fn corners(&self) -> (usize, usize) {
        (self.columns - 1, self.rows - 1)
    }

    /// The inner corners on the board, mm, row by row; x right, y down, from the first of them.
    pub fn points(&self) -> Vec<Vector2<f64>> {
        let (columns, rows) = self.corners();
        let at = |index: usize| Vector2::new((index % columns) as f64, (index / columns) as f64) * self.square_mm;
        (0..columns * rows).map(at).collect()
    }
}

impl GreyPicture {
    fn at(&self, x: isize, y: isize) -> f64 {
        let x = x.clamp(0, self.width as isize - 1) as usize;
        let y = y.clamp(0, self.height as isize - 1) as usize;
        f64::from(self.samples[y * self.width + x])
    }

    /// Means of `factor` x `factor` pixels.
    fn reduced(&self, factor: usize) -> Self {
        let (width, height) = (self.width / factor, self.height / factor);
        let mut samples = vec![0.0; width * height];
        for y in 0..height * factor {
            let row = &self.samples[y * self.width..][..width * factor];
            for (sum, part) in samples[y / factor * width..][..width].iter_mut().zip(row.chunks_exact(factor)) {
                *sum += part.iter().sum::<f32>();
            }
        }
        let share = 1.0 / (factor * factor) as f32;
        for sum in &mut samples {
            *sum *= share;
        }
        Self { width, height, samples }
    }

    /// The picture after a 1-2-1 blur both ways: single pixels of noise and coding are no corners.
    fn softened(&self) -> Self {
        let mut across = self.clone();
        for y in 0..self.height as isize {
            for x in 0..self.width as isize {
                let sum = self.at(x - 1, y) + 2.0 * self.at(x, y) + self.at(x + 1, y);
                across.samples[y as usize * self.width + x as usize] = (sum / 4.0) as f32;
            }
        }
        let mut soft = across.clone();
        for y in 0..self.height as isize {
            for x in 0..self.width as isize {
                let sum = across.at(x, y - 1) + 2.0 * across.at(x, y) + across.at(x, y + 1);
                soft.samples[y as usize * self.width + x as usize] = (sum / 4.0) as f32;
            }
        }
        soft
    }

    /// Bennett and Lasenby's response: sum response, less difference and mean response.
    fn response(&self) -> Vec<f32> {
        let mut found = vec![0.0; self.samples.len()];
        for y in MARGIN..self.height.saturating_sub(MARGIN) {
            for x in MARGIN..self.width.saturating_sub(MARGIN) {
                let at = |dx: isize, dy: isize| {
                    self.samples[(y as isize + dy) as usize * self.width + (x as isize + dx) as usize]
                };
                let ring = RING.map(|(dx, dy)| at(dx, dy));
                let sum: f32 = (0..4).map(|n| (ring[n] + ring[n + 8] - ring[n + 4] - ring[n + 12]).abs()).sum();
                let difference: f32 = (0..8).map(|n| (ring[n] - ring[n + 8]).abs()).sum();
                let local = (at(0, 0) + at(1, 0) + at(-1, 0) + at(0, 1) + at(0, -1)) / 5.0;
                let mean = (ring.iter().sum::<f32>() / 16.0 - local).abs();
                found[y * self.width + x] = (sum - difference - 16.0 * mean).max(0.0);
            }
        }
        found
    }
}

/// A saddle at a place: where its stationary point is, and its matrix of second derivatives.
fn saddle(picture: &GreyPicture, from: Vector2<f64>, spread: f64) -> Option<(Vector2<f64>, Matrix2<f64>)> {
    let mut place = from;
    for _ in 0..FIT_STEPS {
        let (offset, curvature) = saddle_step(picture, place, spread)?;
        place += offset.cap_magnitude(spread);
        if (place - from).norm() > REACH * spread {
            return None;
        }
        if offset.norm() < STANDS_PX {
            return Some((place, curvature));
        }
    }
    None
}

/// One fit about `place`: the stationary point from there, and the second derivatives; `None` for what is no saddle.
fn saddle_step(picture: &GreyPicture, place: Vector2<f64>, spread: f64) -> Option<(Vector2<f64>, Matrix2<f64>)> {
    const UNKNOWNS: usize = 6;
    // One more, because the place lies anywhere in its pixel.
    let reach = (REACH * spread).ceil() as isize + 1;
    let (column, row) = (place.x.floor() as isize, place.y.floor() as isize);
    if column < reach
        || row < reach
        || column + reach >= picture.width as isize
        || row + reach >= picture.height as isize
    {
        return None;
    }
    let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
    let mut right = SVector::<f64, UNKNOWNS>::zeros();
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            // Pixel centres at n + 0.5; in spreads, so that the equations are well scaled.
            let x = ((column + dx) as f64 + 0.5 - place.x) / spread;
            let y = ((row + dy) as f64 + 0.5 - place.y) / spread;
            let r2 = x * x + y * y;
            if r2 > REACH * REACH {
                continue;
            }
            // Down to nothing at the reach: pixels that come and go as the place moves would keep it from standing still.
            let weight = (-0.5 * r2).exp() - (-0.5 * REACH * REACH).exp();
            let terms = SVector::<f64, UNKNOWNS>::from([1.0, x, y, x * x, x * y, y * y]);
            normal += weight * terms * terms.transpose();
            right += weight * picture.at(column + dx, row + dy) * terms;
        }
    }
    let fitted = normal.cholesky()?.solve(&right);
    let curvature = Matrix2::new(2.0 * fitted[3], fitted[4], fitted[4], 2.0 * fitted[5]);
    if curvature.determinant() >= 0.0 {
        return None;
    }
    let offset = -(curvature.try_inverse()? * Vector2::new(fitted[1], fitted[2])) * spread;
    Some((offset, curvature))
}

/// The largest responses, strongest first, as saddles of the reduced picture.
fn candidates(picture: &GreyPicture, most: usize) -> Vec<Corner> {
    let response = picture.response();
    let strongest = f64::from(response.iter().copied().fold(0.0, f32::max));
    let mut peaks: Vec<(f32, usize, usize)> = Vec::new();
    for y in MARGIN..picture.height.saturating_sub(MARGIN) {
        for x in MARGIN..picture.width.saturating_sub(MARGIN) {
            let own = response[y * picture.width + x];
            if f64::from(own) <= LEAST_SHARE * strongest || own <= 0.0 {
                continue;
            }
            let is_peak = (y - APART..=y + APART).all(|row| {
                (x - APART..=x + APART).all(|column| {
                    let other = response[row * picture.width + column];
                    other < own || (other <= own && (row, column) >= (y, x))
                })
            });
            if is_peak {
                peaks.push((own, x, y));
            }
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    let as_corner = |(_, x, y): (f32, usize, usize)| {
        let (place, curvature) = saddle(picture, Vector2::new(x as f64 + 0.5, y as f64 + 0.5), WORK_SPREAD)?;
        Some(Corner { place, curvature })
    };
    peaks.into_iter().take(most).filter_map(as_corner).collect()
}

/// The board's inner corners, pixels of the picture as stored (pixel centres at n + 0.5), or why there are none.
pub fn find_board(picture: &GreyPicture, shape: &BoardShape) -> Result<Vec<PxPoint>, String> {
    let factor = picture.width.max(picture.height).div_ceil(WORK_SIDE).max(1);
    let reduced = picture.reduced(factor);
    let soft = reduced.softened();
    let (columns, rows) = shape.corners();
    let wanted = columns * rows;
    let corners = candidates(&soft, CANDIDATES_PER_CORNER * wanted + SEEDS);
    let mut best: Option<Grid> = None;
    for seed in 0..corners.len().min(SEEDS) {
        let grid = grow(&corners, seed);
        if grid.len() > best.as_ref().map_or(0, Grid::len) {
            best = Some(grid);
        }
        if best.as_ref().is_some_and(|grid| grid.len() >= wanted) {
            break;
        }
    }
    let Some(grid) = best.filter(|grid| grid.len() > 1) else {
        return Err(format!("no checkerboard was found; need one of {} x {} squares", shape.columns, shape.rows));
    };
    let ordered = grid.ordered(columns, rows).ok_or_else(|| {
        let size = (soft.width as f64, soft.height as f64);
        let (found, (wide, high)) = (grid.len(), grid.extent());
        if wide > columns.max(rows) || high > columns.max(rows) || found > wanted {
            return format!("the board has more than {columns} x {rows} inner corners: {wide} x {high} were found");
        }
        let why = if grid.runs_out(&corners, size) {
            "the board lies partly outside the picture"
        } else {
            "the rest is hidden, blurred or too small"
        };
        format!("{found} of the board's {wanted} inner corners were found: {why}")
    })?;
    let full: Vec<Vector2<f64>> = ordered.iter().map(|index| corners[*index].place * factor as f64).collect();
    let place = |index: usize| {
        let spread = (SPREAD_SHARE * spacing(&full, index, columns)).clamp(SPREAD_PX.0, SPREAD_PX.1);
        // A reduced picture's place is known to a fraction of its pixel: a wide window first, then the final one.
        let wide = spread.max(factor as f64);
        let near = if factor > 1 { saddle(picture, full[index], wide)?.0 } else { full[index] };
        saddle(picture, near, spread).map(|(place, _)| PxPoint::new(place.x, place.y))
    };
    let places: Vec<PxPoint> = (0..wanted).filter_map(place).collect();
    if places.len() < wanted {
        return Err(format!("{} of the board's {wanted} inner corners are sharp enough to be placed", places.len()));
    }
    Ok(places)
}

/// Distance to the nearest neighbour in the grid.
fn spacing(places: &[Vector2<f64>], index: usize, columns: usize) -> f64 {
    let (column, row) = (index % columns, index / columns);
    let mut least = f64::INFINITY;
    for (step, is_there) in [
        (index.wrapping_sub(1), column > 0),
        (index + 1, column + 1 < columns),
        (index.wrapping_sub(columns), row > 0),
        (index + columns, index + columns < places.len()),
    ] {
        if is_there {
            least = least.min((places[step] - places[index]).norm());
        }
    }
    least
}
