//! Bands that a pulsed lamp and a rolling shutter put across the picture.
//!
//! **Takes** the photo as light. **Gives** the [`Bands`] that run along the upright picture's columns, or none.
//! **How**: the sensor is read row by row while a lamp on pulse-width modulation goes on and off, so the lamp's light is
//! multiplied by a wave that depends on the read-out coordinate alone. Where EXIF turned the picture by a quarter, that
//! coordinate runs across the wall, along which a lamp's and a room's light change slowly. The log light of short
//! stretches of many rows of the shrunk picture is freed of a cubic course, and one wave, of one phase all over the
//! picture, is fitted to what is left of all of them.
//! **Weak when** room light outshines the lamp: the depth is that of the whole light.
//! **Does not tell** in a picture that was not turned: there bands lie level, as the cutoff and the beam's own course do
//! (see `level_banding`).

use super::image::Photo;
use super::linear::LinearImage;
use super::options::PhotoOptions;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Bands of a pulsed lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bands {
    /// Light lost from the crest to the trough, 0 to 1.
    pub depth: f64,
    /// Bands over the whole read-out.
    pub count: f64,
    /// Amplitudes of the log light's cosine and sine over the read-out.
    pub wave: [f64; 2],
    /// Whether they lie level in the upright picture: the read-out runs along its height, else along its width.
    pub is_level: bool,
}

impl Bands {
    /// Cosine and sine of the bands' phase at a place of the upright picture, x and y as shares of its width and height.
    pub fn phase(&self, x_share: f64, y_share: f64) -> [f64; 2] {
        let (sin, cos) = (TAU * self.count * if self.is_level { y_share } else { x_share }).sin_cos();
        [cos, sin]
    }
}

/// Cells of the shrunk picture along the read-out and across it.
pub(super) const ALONG: usize = 120;
pub(super) const ACROSS: usize = 50;
/// Pixels that are read in a cell, along the read-out and across it: noise of dark wall sinks to one or two percent.
const READ: (usize, usize) = (5, 16);
/// Cells of a stretch, and the distance between stretches: shorter than half of the widest band would show nothing.
const STRETCH: usize = 36;
const STEP: usize = 12;
/// Bands over the read-out that are tried, and their step.
const COUNTS: (f64, f64) = (1.5, 8.0);
const COUNT_STEP: f64 = 0.25;
/// Groups of neighbouring rows (columns where the bands lie level) that are left out in turn, and the fewest of them.
pub(super) const GROUPS: usize = 10;
/// Courses that are taken off: constant to cubic.
const COURSES: usize = 4;

type Stretch = Vec<f64>;

/// What is left of a stretch, the cell where it starts, and the group of its row.
struct Rest {
    group: usize,
    start: usize,
    values: Stretch,
}

/// Bands along the upright picture's columns; none where the picture was not turned by a quarter.
pub fn bands(image: &LinearImage<'_>, options: &PhotoOptions) -> Option<Bands> {
    let photo = image.photo();
    if !is_turned(photo) || photo.width() < READ.0 * ALONG || photo.height() < READ.1 * ACROSS {
        return None;
    }
    let courses = courses(STRETCH);
    let stretches: Vec<Rest> =
        (0..ACROSS).into_par_iter().flat_map_iter(|row| stretches(image, row, &courses, options)).collect();
    if stretches.len() < options.bands.least_stretches {
        return None;
    }
    let counts = (0..).map(|i| COUNTS.0 + COUNT_STEP * f64::from(i)).take_while(|count| *count <= COUNTS.1);
    let told = counts.filter_map(|count| {
        let sums = total(&groups(&stretches, &courses, count));
        let wave = sums.wave()?;
        Some((count, sums.share(wave), wave))
    });
    let (count, share, wave) = told.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let amplitude = wave[0].hypot(wave[1]);
    let is_seen = share > options.bands.least_share && amplitude > options.bands.least_amplitude;
    is_seen.then(|| Bands { depth: 1.0 - (-2.0 * amplitude).exp(), count, wave, is_level: false })
}

/// The stretches of a row of cells that show a smooth wall, their courses taken off, and where each starts.
fn stretches(image: &LinearImage<'_>, row: usize, courses: &[Stretch], options: &PhotoOptions) -> Vec<Rest> {
    let levels: Vec<f64> = (0..ALONG).map(|column| cell(image, column, row)).collect();
    let starts = (0..=ALONG - STRETCH).step_by(STEP);
    let stretch = |start: usize| {
        let levels = &levels[start..start + STRETCH];
        if levels.iter().any(|level| !(options.bands.darkest..options.bands.brightest).contains(level)) {
            return None;
        }
        let mut rest: Stretch = levels.iter().map(|level| level.ln()).collect();
        take_off(&mut rest, courses);
        (dot(&rest, &rest) < options.bands.smooth * options.bands.smooth * STRETCH as f64).then_some(Rest {
            group: row * GROUPS / ACROSS,
            start,
            values: rest,
        })
    };
    starts.filter_map(stretch).collect()
}

/// Mean light of a cell.
fn cell(image: &LinearImage<'_>, column: usize, row: usize) -> f64 {
    let (width, height) = (image.photo().width(), image.photo().height());
    let place = |step: usize, steps: usize, length: usize| (2 * step + 1) * length / (2 * steps);
    let mut sum = 0.0;
    for y in 0..READ.1 {
        let y = place(READ.1 * row + y, READ.1 * ACROSS, height);
        for x in 0..READ.0 {
            sum += image.luminance(place(READ.0 * column + x, READ.0 * ALONG, width), y);
        }
    }
    f64::from(sum) / (READ.0 * READ.1) as f64
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Polynomials over a stretch of so many cells, made orthonormal one after the other.
pub(super) fn courses(cells: usize) -> Vec<Stretch> {
    let mut courses: Vec<Stretch> = Vec::with_capacity(COURSES);
    for power in 0..COURSES {
        let mut course: Stretch =
            (0..cells).map(|i| (2.0 * i as f64 / (cells - 1) as f64 - 1.0).powi(power as i32)).collect();
        take_off(&mut course, &courses);
        let length = dot(&course, &course).sqrt();
        for value in &mut course {
            *value /= length;
        }
        courses.push(course);
    }
    courses
}

pub(super) fn take_off(values: &mut [f64], courses: &[Stretch]) {
    for course in courses {
        let share = dot(values, course);
        values.iter_mut().zip(course).for_each(|(value, course)| *value -= share * course);
    }
}

/// Cosine and sine over a stretch that starts at a cell, the courses taken off.
pub(super) fn shapes(start: usize, courses: &[Stretch], count: f64) -> [Stretch; 2] {
    let cells = courses.first().map_or(0, Vec::len);
    let angle = |i: usize| TAU * count * ((start + i) as f64 + 0.5) / ALONG as f64;
    let mut shapes: [Stretch; 2] =
        [(0..cells).map(|i| angle(i).cos()).collect(), (0..cells).map(|i| angle(i).sin()).collect()];
    for shape in &mut shapes {
        take_off(shape, courses);
    }
    shapes
}

/// The sums of each group of rows; a group without a stretch has none.
fn groups(stretches: &[Rest], courses: &[Stretch], count: f64) -> Vec<WaveSums> {
    let at: Vec<[Stretch; 2]> =
        (0..=ALONG - STRETCH).step_by(STEP).map(|start| shapes(start, courses, count)).collect();
    let mut groups: Vec<Option<WaveSums>> = vec![None; GROUPS];
    for stretch in stretches {
        groups[stretch.group].get_or_insert_default().add(&stretch.values, &at[stretch.start / STEP]);
    }
    groups.into_iter().flatten().collect()
}

/// Sums of the least squares of one wave.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct WaveSums {
    normal: [f64; 3],
    right: [f64; 2],
    whole: f64,
}

impl WaveSums {
    /// Adds what is left of a stretch, with the cosine and sine over it.
    pub(super) fn add(&mut self, rest: &[f64], [cos, sin]: &[Stretch; 2]) {
        self.normal[0] += dot(cos, cos);
        self.normal[1] += dot(cos, sin);
        self.normal[2] += dot(sin, sin);
        self.right[0] += dot(cos, rest);
        self.right[1] += dot(sin, rest);
        self.whole += dot(rest, rest);
    }

    /// These and (`sign` 1) or without (-1) others.
    pub(super) fn with(&self, other: &Self, sign: f64) -> Self {
        Self {
            normal: std::array::from_fn(|k| self.normal[k] + sign * other.normal[k]),
            right: std::array::from_fn(|k| self.right[k] + sign * other.right[k]),
            whole: self.whole + sign * other.whole,
        }
    }

    /// The wave's amplitudes; `None` where the courses leave nothing of it.
    pub(super) fn wave(&self) -> Option<[f64; 2]> {
        let [cc, cs, ss] = self.normal;
        let determinant = cc * ss - cs * cs;
        if determinant <= f64::MIN_POSITIVE || self.whole <= f64::MIN_POSITIVE {
            return None;
        }
        let [c, s] = self.right;
        Some([(ss * c - cs * s) / determinant, (cc * s - cs * c) / determinant])
    }

    /// Share of the scatter that the wave explains.
    pub(super) fn share(&self, wave: [f64; 2]) -> f64 {
        (wave[0] * self.right[0] + wave[1] * self.right[1]) / self.whole
    }
}

pub(super) fn total(groups: &[WaveSums]) -> WaveSums {
    groups.iter().fold(WaveSums::default(), |sum, group| sum.with(group, 1.0))
}

/// By how many of its own spreads the wave differs from none: the delete-one jackknife over the groups.
pub(super) fn sigmas(groups: &[WaveSums], wave: [f64; 2], options: &PhotoOptions) -> Option<f64> {
    let n = groups.len();
    if n < options.bands.least_groups {
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

/// Whether EXIF turned the picture by a quarter, so that the read-out runs along its width.
pub(super) fn is_turned(photo: &Photo) -> bool {
    /// EXIF orientations from here on exchange rows and columns.
    const TURNED_BY_A_QUARTER: u8 = 5;
    photo.orientation >= TURNED_BY_A_QUARTER
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::{Noise, rgb_photo};

    const STORED: (usize, usize) = (1000, 900);

    /// A wall in the light of a lamp that is brightest in the middle, with bands along the stored picture's rows.
    fn shot(orientation: u8, depth: f64, count: f64, stains: f64) -> crate::photo::Photo {
        rgb_photo(STORED.0, STORED.1, orientation, |x, y| {
            let (u, v) = (x as f64 / STORED.0 as f64, y as f64 / STORED.1 as f64);
            let lamp = 0.3 * (-((v - 0.55) / 0.4).powi(2) - ((u - 0.3) / 0.5).powi(2)).exp();
            // Stains whose places differ from row to row.
            let stained = 1.0 + stains * (TAU * (5.0 * v + 9.0 * u * u)).sin();
            let level = (0.02 + lamp * (1.0 - depth * (0.5 + 0.5 * (TAU * (count * v + 0.2)).sin()))) * stained;
            let mut noise = Noise((x * STORED.1 + y) as u64 ^ 0x9E37_79B9);
            noise.uniform();
            let code = f64::from(super::super::linear::linear_to_srgb(level as f32)) + 1.5 * noise.gauss();
            [code.round().clamp(0.0, 255.0) as u8; 3]
        })
    }

    /// Truth: the bands are made. Room light makes them shallower, and the cubic course takes some of wide ones: half to
    /// one and a fifth of the depth. One step of the counts to either side.
    #[test]
    fn bands_of_a_pulsed_lamp_are_seen() {
        for (orientation, depth, count) in [(6, 0.1, 6.0), (8, 0.1, 4.0), (6, 0.3, 3.0)] {
            let photo = shot(orientation, depth, count, 0.0);
            let seen = bands(&LinearImage::new(&photo), &PhotoOptions::default())
                .unwrap_or_else(|| panic!("{orientation} {depth} {count}"));
            assert!((0.5 * depth..1.2 * depth).contains(&seen.depth), "{depth}: {seen:?}");
            assert!((seen.count - count).abs() <= 0.5, "{count}: {seen:?}");
        }
    }

    #[test]
    fn a_steady_lamp_has_none() {
        for stains in [0.0, 0.05] {
            let photo = shot(6, 0.0, 4.0, stains);
            assert_eq!(bands(&LinearImage::new(&photo), &PhotoOptions::default()), None, "{stains}");
        }
    }

    /// Level bands are not told from the beam's own course; nor anything in a picture of a few pixels.
    #[test]
    fn what_cannot_be_told_is_not_claimed() {
        assert_eq!(bands(&LinearImage::new(&shot(1, 0.2, 6.0, 0.0)), &PhotoOptions::default()), None);
        let tiny = rgb_photo(20, 10, 6, |x, _| [x as u8; 3]);
        assert_eq!(bands(&LinearImage::new(&tiny), &PhotoOptions::default()), None);
    }
}
