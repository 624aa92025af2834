//! Level bands of a pulsed lamp, told by the floor.
//!
//! **Takes** the photo as light and where it shows floor. **Gives** the [`Bands`] that lie level in a photo that was not turned
//! by a quarter, or none. **How**: on the wall a level band looks like the beam's own course, which is much the same in
//! every column. Below the wall the lamp's light runs out over the floor, smoothly and for many rows: what is left of each
//! column's log light after a cubic course is fitted with one wave of one phase. The floor's own texture differs from column to
//! column: the wave must explain much of what is left, and stand out when groups of columns are left out one by one.
//! **Weak when** little floor is seen, room light outshines the lamp on it, or there are fewer than three bands.

use super::banding::{ACROSS, ALONG, Bands, WaveSums, courses, dot, is_turned, shapes, take_off};
use super::linear::LinearImage;
use crate::units::PxPoint;
use rayon::prelude::*;

/// Pixels that are read in a cell, along the read-out and across it: a floor is darker than a wall, and noisier.
const READ: (usize, usize) = (10, 40);
/// Light that is used, relative to full scale: noise below, clipping above.
const USED_LIGHT: (f64, f64) = (1e-3, 0.8);
/// Fewest cells of a stretch: half of a wide band.
const LEAST_CELLS: usize = 18;
/// Change of log light from cell to cell that ends a stretch (a car, a line on the floor), and the spread about its cubic
/// course beyond which it is not used.
const LARGEST_CHANGE: f64 = 0.12;
const SMOOTH: f64 = 0.15;
/// Bands over the read-out that are tried, and their step: fewer than three are a cubic's own course.
const COUNTS: (f64, f64) = (3.0, 8.0);
const COUNT_STEP: f64 = 0.25;
/// Share of what is left that the wave must explain: floors under a steady low beam stay under 0.3, bands that move the hot
/// spot reach 0.55 and more (own judgement, from photos with known truth).
const LEAST_SHARE: f64 = 0.40;
/// Counts whose share is this near to the best explain it as well: the largest of them, with the least amplitude, is meant.
const AS_GOOD: f64 = 0.97;
/// Groups of neighbouring columns that are left out in turn, the fewest, and the spreads that the wave must stand out by.
const GROUPS: usize = 10;
const LEAST_GROUPS: usize = 6;
const LEAST_SIGMAS: f64 = 4.0;
/// Least amplitude of the log light that is worth a word: bands of four percent.
const LEAST_AMPLITUDE: f64 = 0.02;

/// What is left of a column's stretch of floor.
struct Stretch {
    column: usize,
    start: usize,
    rest: Vec<f64>,
    courses: Vec<Vec<f64>>,
}

/// Level bands, told where `is_floor` (of a place in the upright picture); none in a photo that was turned by a quarter.
pub fn level_bands(image: &LinearImage<'_>, is_floor: &(dyn Fn(PxPoint) -> bool + Sync)) -> Option<Bands> {
    let photo = image.photo();
    if is_turned(photo) || photo.width() < READ.1 * ACROSS || photo.height() < READ.0 * ALONG {
        return None;
    }
    let stretches: Vec<Stretch> =
        (0..ACROSS).into_par_iter().flat_map_iter(|column| stretches(image, column, is_floor)).collect();
    let counts = (0..).map(|i| COUNTS.0 + COUNT_STEP * f64::from(i)).take_while(|count| *count <= COUNTS.1);
    let told: Vec<(f64, f64)> = counts
        .filter_map(|count| {
            let sums = total(&groups(&stretches, count));
            Some((count, sums.share(sums.wave()?)))
        })
        .collect();
    let best = told.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    let (count, share) = *told.iter().rfind(|(_, share)| *share >= AS_GOOD * best)?;
    let groups = groups(&stretches, count);
    let wave = total(&groups).wave()?;
    let amplitude = wave[0].hypot(wave[1]);
    eprintln!("DBG {} {share:.3} {amplitude:.3} {count} {:?} {}", stretches.len(), sigmas(&groups, wave), groups.len());
    let is_seen = share > LEAST_SHARE && amplitude > LEAST_AMPLITUDE && sigmas(&groups, wave)? > LEAST_SIGMAS;
    is_seen.then(|| Bands { depth: 1.0 - (-2.0 * amplitude).exp(), count, wave, is_level: true })
}

/// A column's stretches of smooth floor, their courses taken off.
fn stretches(image: &LinearImage<'_>, column: usize, is_floor: &dyn Fn(PxPoint) -> bool) -> Vec<Stretch> {
    let size = (image.photo().width() as f64, image.photo().height() as f64);
    let place = |row: usize| {
        PxPoint::new((column as f64 + 0.5) / ACROSS as f64 * size.0, (row as f64 + 0.5) / ALONG as f64 * size.1)
    };
    let cells: Vec<Option<f64>> = (0..ALONG)
        .map(|row| {
            let level = is_floor(place(row)).then(|| cell(image, column, row))?;
            (USED_LIGHT.0..USED_LIGHT.1).contains(&level).then(|| level.ln())
        })
        .collect();
    let mut found = Vec::new();
    let mut start = 0;
    for row in 1..=ALONG {
        let goes_on = row < ALONG
            && cells[row].zip(cells[row - 1]).is_some_and(|(here, before)| (here - before).abs() < LARGEST_CHANGE);
        if !goes_on {
            // The cells at a change show some of both sides.
            let end = if row < ALONG { row.saturating_sub(1) } else { row };
            found.extend(stretch(&cells, column, start + 1, end));
            start = row;
        }
    }
    found
}

fn stretch(cells: &[Option<f64>], column: usize, start: usize, end: usize) -> Option<Stretch> {
    let mut rest: Vec<f64> = cells.get(start..end)?.iter().copied().collect::<Option<_>>()?;
    if rest.len() < LEAST_CELLS {
        return None;
    }
    let courses = courses(rest.len());
    take_off(&mut rest, &courses);
    let is_smooth = dot(&rest, &rest) < SMOOTH * SMOOTH * rest.len() as f64;
    is_smooth.then_some(Stretch { column, start, rest, courses })
}

/// Mean light of a cell.
fn cell(image: &LinearImage<'_>, column: usize, row: usize) -> f64 {
    let (width, height) = (image.photo().width(), image.photo().height());
    let place = |step: usize, steps: usize, length: usize| (2 * step + 1) * length / (2 * steps);
    let mut sum = 0.0;
    for y in 0..READ.0 {
        let y = place(READ.0 * row + y, READ.0 * ALONG, height);
        for x in 0..READ.1 {
            sum += image.luminance(place(READ.1 * column + x, READ.1 * ACROSS, width), y);
        }
    }
    f64::from(sum) / (READ.0 * READ.1) as f64
}

/// The sums of each group of columns; a group without floor has none.
fn groups(stretches: &[Stretch], count: f64) -> Vec<WaveSums> {
    let mut groups: Vec<Option<WaveSums>> = vec![None; GROUPS];
    for stretch in stretches {
        let shapes = shapes(stretch.start, &stretch.courses, count);
        groups[stretch.column * GROUPS / ACROSS].get_or_insert_default().add(&stretch.rest, &shapes);
    }
    groups.into_iter().flatten().collect()
}

fn total(groups: &[WaveSums]) -> WaveSums {
    groups.iter().fold(WaveSums::default(), |sum, group| sum.with(group, 1.0))
}

/// By how many of its own spreads the wave differs from none: the delete-one jackknife over the groups.
fn sigmas(groups: &[WaveSums], wave: [f64; 2]) -> Option<f64> {
    let n = groups.len();
    if n < LEAST_GROUPS {
        return None;
    }
    let whole = total(groups);
    let without: Vec<[f64; 2]> = groups.iter().map(|group| whole.with(group, -1.0).wave()).collect::<Option<_>>()?;
    let mean = [0, 1].map(|k| without.iter().map(|w| w[k]).sum::<f64>() / n as f64);
    let moment = |a: usize, b: usize| {
        without.iter().map(|w| (w[a] - mean[a]) * (w[b] - mean[b])).sum::<f64>() * (n - 1) as f64 / n as f64
    };
    let (xx, xy, yy) = (moment(0, 0), moment(0, 1), moment(1, 1));
    let determinant = xx * yy - xy * xy;
    let square = (yy * wave[0] * wave[0] - 2.0 * xy * wave[0] * wave[1] + xx * wave[1] * wave[1]) / determinant;
    // Two amplitudes: the mean square of two.
    (determinant > 0.0).then(|| (square / 2.0).max(0.0).sqrt())
}
