//! Level bands of a pulsed lamp, told by the floor.
//!
//! **Takes** the photo as light and where it shows floor. **Gives** the [`Bands`] that lie level in a photo that was not turned
//! by a quarter, or none. **How**: on the wall a level band looks like the beam's own course, which is much the same in
//! every column. Below the wall the lamp's light runs out over the floor, smoothly and for many rows: what is left of each
//! column's log light after a cubic course is fitted with one wave of one phase. The floor's own texture differs from column to
//! column: the wave must explain much of what is left, and stand out when groups of columns are left out one by one.
//! **Weak when** little floor is seen, room light outshines the lamp on it, or there are fewer than three bands.

use super::banding::{
    ACROSS, ALONG, Bands, GROUPS, WaveSums, courses, dot, is_turned, shapes, sigmas, take_off, total,
};
use super::linear::LinearImage;
use super::options::PhotoOptions;
use crate::units::PxPoint;
use rayon::prelude::*;

/// Rows that are read in a cell: a floor is darker than a wall, and noisier.
const READ_ROWS: usize = 10;
/// Pixels along a side of a cell under which a picture is too small to tell.
const LEAST_PX: usize = 4;
/// Bands over the read-out that are tried, and their step: fewer than three are a cubic's own course.
const COUNTS: (f64, f64) = (3.0, 8.0);
const COUNT_STEP: f64 = 0.25;

/// What is left of a column's stretch of floor.
struct Stretch {
    column: usize,
    start: usize,
    rest: Vec<f64>,
    courses: Vec<Vec<f64>>,
}

/// Level bands, told where `is_floor` (of a place in the upright picture); none in a photo that was turned by a quarter.
pub fn level_bands(
    image: &LinearImage<'_>,
    is_floor: &(dyn Fn(PxPoint) -> bool + Sync),
    options: &PhotoOptions,
) -> Option<Bands> {
    let photo = image.photo();
    if is_turned(photo) || photo.width() < LEAST_PX * ACROSS || photo.height() < LEAST_PX * ALONG {
        return None;
    }
    let stretches: Vec<Stretch> =
        (0..ACROSS).into_par_iter().flat_map_iter(|column| stretches(image, column, is_floor, options)).collect();
    let counts = (0..).map(|i| COUNTS.0 + COUNT_STEP * f64::from(i)).take_while(|count| *count <= COUNTS.1);
    let told: Vec<(f64, f64)> = counts
        .filter_map(|count| {
            let sums = total(&groups(&stretches, count));
            Some((count, sums.share(sums.wave()?)))
        })
        .collect();
    let best = told.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    let (count, share) = *told.iter().rfind(|(_, share)| *share >= options.level_bands.as_good * best)?;
    let groups = groups(&stretches, count);
    let wave = total(&groups).wave()?;
    let amplitude = wave[0].hypot(wave[1]);
    let is_seen = share > options.level_bands.least_share
        && amplitude > options.level_bands.least_amplitude
        && sigmas(&groups, wave, options)? > options.level_bands.least_sigmas;
    is_seen.then(|| Bands { depth: 1.0 - (-2.0 * amplitude).exp(), count, wave, is_level: true })
}

/// A column's stretches of smooth floor, their courses taken off.
fn stretches(
    image: &LinearImage<'_>,
    column: usize,
    is_floor: &dyn Fn(PxPoint) -> bool,
    options: &PhotoOptions,
) -> Vec<Stretch> {
    let size = (image.photo().width() as f64, image.photo().height() as f64);
    let place = |row: usize| {
        PxPoint::new((column as f64 + 0.5) / ACROSS as f64 * size.0, (row as f64 + 0.5) / ALONG as f64 * size.1)
    };
    let cells: Vec<Option<f64>> = (0..ALONG)
        .map(|row| {
            let level = is_floor(place(row)).then(|| cell(image, column, row))?;
            (options.level_bands.darkest..options.level_bands.brightest).contains(&level).then(|| level.ln())
        })
        .collect();
    let mut found = Vec::new();
    let mut start = 0;
    for row in 1..=ALONG {
        let goes_on = row < ALONG
            && cells[row]
                .zip(cells[row - 1])
                .is_some_and(|(here, before)| (here - before).abs() < options.level_bands.largest_change);
        if !goes_on {
            // The cells at a change show some of both sides.
            let end = if row < ALONG { row.saturating_sub(1) } else { row };
            found.extend(stretch(&cells, column, start + 1, end, options));
            start = row;
        }
    }
    found
}

fn stretch(cells: &[Option<f64>], column: usize, start: usize, end: usize, options: &PhotoOptions) -> Option<Stretch> {
    let mut rest: Vec<f64> = cells.get(start..end)?.iter().copied().collect::<Option<_>>()?;
    if rest.len() < options.level_bands.least_cells {
        return None;
    }
    let courses = courses(rest.len());
    take_off(&mut rest, &courses);
    let is_smooth = dot(&rest, &rest) < options.level_bands.smooth * options.level_bands.smooth * rest.len() as f64;
    is_smooth.then_some(Stretch { column, start, rest, courses })
}

/// Mean light of a cell: some rows of it, all of their pixels.
fn cell(image: &LinearImage<'_>, column: usize, row: usize) -> f64 {
    let (width, height) = (image.photo().width(), image.photo().height());
    let columns = column * width / ACROSS..(column + 1) * width / ACROSS;
    let row_at = |y: usize| (2 * (READ_ROWS * row + y) + 1) * height / (2 * READ_ROWS * ALONG);
    let sum: f64 = (0..READ_ROWS).map(|y| image.row_luminance(columns.clone(), row_at(y))).sum();
    sum / (READ_ROWS * columns.len()) as f64
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::Photo;
    use crate::photo::testing::{Noise, rgb_photo};
    use std::f64::consts::TAU;

    const SIZE: (usize, usize) = (1000, 900);
    /// Share of the height at which the floor begins.
    const FLOOR: f64 = 0.55;

    /// A lamp's light that runs out over a floor whose stains lie elsewhere in each column; the wall above it is bright.
    fn shot(depth: f64, count: f64) -> Photo {
        rgb_photo(SIZE.0, SIZE.1, 1, |x, y| {
            let (u, v) = (x as f64 / SIZE.0 as f64, y as f64 / SIZE.1 as f64);
            let lamp = if v < FLOOR { 0.4 } else { 0.05 * (-(v - FLOOR) / 0.5 - ((u - 0.5) / 0.4).powi(2)).exp() };
            let stains = 1.0 + 0.04 * (TAU * (6.0 * v + 9.0 * u * u)).sin();
            let bands = 1.0 - depth * (0.5 + 0.5 * (TAU * (count * v + 0.2)).sin());
            let mut noise = Noise((x * SIZE.1 + y) as u64 ^ 0x9E37_79B9);
            noise.uniform();
            let light = (0.002 + lamp * bands) * stains;
            let code = f64::from(crate::photo::linear::linear_to_srgb(light as f32)) + 1.5 * noise.gauss();
            [code.round().clamp(0.0, 255.0) as u8; 3]
        })
    }

    fn seen(photo: &Photo) -> Option<Bands> {
        level_bands(
            &LinearImage::new(photo),
            &|place: PxPoint| place.y > FLOOR * SIZE.1 as f64,
            &PhotoOptions::default(),
        )
    }

    /// Truth: the bands are made. Room light makes them shallower and the cubic course takes some of wide ones.
    #[test]
    fn level_bands_are_seen_on_the_floor() {
        for (depth, count) in [(0.3, 5.0), (0.25, 6.0)] {
            let photo = shot(depth, count);
            let seen = seen(&photo).unwrap_or_else(|| panic!("{depth} {count}"));
            assert!(seen.is_level && (0.4 * depth..1.5 * depth).contains(&seen.depth), "{depth}: {seen:?}");
            assert!((seen.count - count).abs() <= 0.75, "{count}: {seen:?}");
        }
    }

    #[test]
    fn a_steady_lamp_has_none_on_the_floor() {
        assert_eq!(seen(&shot(0.0, 5.0)), None);
    }

    /// Without floor in the picture nothing is claimed, whatever the wall shows.
    #[test]
    fn no_floor_tells_nothing() {
        let photo = shot(0.3, 5.0);
        assert_eq!(level_bands(&LinearImage::new(&photo), &|_| false, &PhotoOptions::default()), None);
    }
}
