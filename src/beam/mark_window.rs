//! A mark's pixels with what is known of each: how white the print there is under blurs of several widths.
//!
//! **Takes** the photo, a found mark and its corners. **Gives** a [`MarkWindow`]: luma of each pixel, its whiteness, and
//! its place on the mark. **How**: the print is known (a code of the tag family, or two crossing edges), its place comes
//! from the mark stage; an edge under a Gaussian blur is the normal distribution function.

use super::options::BeamOptions;
use crate::marks::{BlurredEdge, CODE_SIDE, FoundMark, SQUARE_SIDE, TagCode};
use crate::photo::{LinearImage, linear::CLIPPED_FROM_CODE};
use crate::units::PxPoint;
use nalgebra::{Matrix3, Vector3};

/// Blurs whose weighted sum is the photo's point spread, as shares of the blur that the marks' own fits found: a sharp, a
/// usual and a wide one. A negative weight of the wide one is sharpening of the light.
const BLUR_SHARES: [f64; 3] = [0.55, 1.0, 2.0];
/// What the blur is taken for where no tag told it, and bounds of what is believed, pixels.
const USUAL_BLUR_PX: f64 = 1.1;
const BLUR_BOUNDS_PX: (f64, f64) = (0.5, 3.0);
/// Which of them sorts pixels into white and black.
const SORTING_BLUR: usize = 1;
/// Widest window, pixels: more pixels of a large mark cost time and tell little more.
const WIDEST_PX: usize = 56;
/// Pixels around the used ones that only a mask of sharpening sees.
pub(super) const RIM_PX: usize = 4;
/// Part of a tag that is used, in half sides of its black square: the square and 0.7 modules of white around it.
const TAG_REACH: f64 = 1.175;
/// Part of a quadrant disc that is used, in radii.
const DISC_REACH: f64 = 0.8;
/// Fewest pixels, and fewest white ones, that make a window.
const LEAST_PIXELS: usize = 200;
const LEAST_WHITE: usize = 12;
/// Weights of the encoded channels in luma (ITU-R BT.601, as JPEG has it): luma keeps every pixel, colour is coarser.
pub(super) const LUMA: [f64; 3] = [0.299, 0.587, 0.114];

/// One mark's pixels.
#[derive(Debug)]
pub(super) struct MarkWindow {
    /// Pixels in a row.
    pub(super) width: usize,
    /// Encoded luma of each pixel, 0..1.
    pub(super) luma: Vec<f64>,
    /// Whiteness under each blur, 0 black to 1 white.
    pub(super) white: Vec<[f64; 3]>,
    /// Place on the mark, -1..1 between its edges.
    pub(super) place: Vec<(f64, f64)>,
    /// Places in the lists above of the pixels that count.
    pub(super) used: Vec<usize>,
    /// Mean encoded red, green and blue of the white pixels, 0..1.
    pub(super) white_rgb: [f64; 3],
}

/// What is printed.
#[derive(Debug, Clone, Copy)]
enum Print {
    Tag(TagCode),
    Quadrant,
}

/// The photo's point spread: widths of the blurs whose weighted sum it is, pixels.
#[derive(Debug, Clone, Copy)]
pub(super) struct PointSpread([f64; 3]);

impl PointSpread {
    /// About the blur of the marks' own fits.
    pub(super) fn about(blur_px: Option<f64>) -> Self {
        let blur = blur_px.unwrap_or(USUAL_BLUR_PX).clamp(BLUR_BOUNDS_PX.0, BLUR_BOUNDS_PX.1);
        Self(BLUR_SHARES.map(|share| share * blur))
    }

    /// The blur that sorts pixels into white and black.
    fn sorting(self) -> f64 {
        self.0[SORTING_BLUR]
    }
}

impl MarkWindow {
    /// Cuts the window of a found mark; `corners` run from the upper left clockwise as the mark hangs.
    pub(super) fn cut(
        image: &LinearImage<'_>,
        mark: &FoundMark,
        corners: &[PxPoint; 4],
        spread: PointSpread,
        options: &BeamOptions,
    ) -> Option<Self> {
        if mark.corners.is_none() {
            return Self::of_print(image, corners, Print::Quadrant, spread, options).map(|(window, _)| window);
        }
        // Two common sources print the same code half a turn apart.
        let (code, half_turned) = (TagCode::of(mark.id)?, TagCode::of(mark.id)?.half_turned());
        let [likeness, turned_likeness] =
            [code, half_turned].map(|code| likeness(image, corners, Print::Tag(code), spread));
        let code = if turned_likeness? > likeness? { half_turned } else { code };
        Self::of_print(image, corners, Print::Tag(code), spread, options).map(|(window, _)| window)
    }

    fn of_print(
        image: &LinearImage<'_>,
        corners: &[PxPoint; 4],
        print: Print,
        spread: PointSpread,
        options: &BeamOptions,
    ) -> Option<(Self, f64)> {
        let photo = image.photo();
        let back = unit_square_map(corners)?.try_inverse()?;
        let (columns, rows) = (span(corners, |p| p.x, photo.width())?, span(corners, |p| p.y, photo.height())?);
        let (width, height) = (columns.len(), rows.len());
        let side_px = sides(corners);
        let count = width * height;
        let mut window = Self {
            width,
            luma: Vec::with_capacity(count),
            white: Vec::with_capacity(count),
            place: Vec::with_capacity(count),
            used: Vec::new(),
            white_rgb: [0.0; 3],
        };
        let (mut sums, mut whites) = ([0.0; 3], 0usize);
        let mut pairs = Vec::new();
        for (row, y) in rows.enumerate() {
            for (column, x) in columns.clone().enumerate() {
                let at = back * Vector3::new(x as f64 + 0.5, y as f64 + 0.5, 1.0);
                let place = (2.0 * at.x / at.z - 1.0, 2.0 * at.y / at.z - 1.0);
                let code = photo.rgb_code(x, y);
                let rgb = code.map(|c| f64::from(c) / 255.0);
                let luma = (0..3).map(|c| LUMA[c] * rgb[c]).sum();
                let index = window.luma.len();
                window.luma.push(luma);
                window.white.push(spread.0.map(|blur| print.whiteness(place, blur, side_px)));
                window.place.push(place);
                let is_rim = row.min(height - 1 - row).min(column).min(width - 1 - column) < RIM_PX;
                if is_rim || !print.is_on(place) || code.iter().any(|&c| c >= CLIPPED_FROM_CODE) {
                    continue;
                }
                window.used.push(index);
                let white = window.white[index][SORTING_BLUR];
                pairs.push((white, luma));
                if white > options.tone.white_from {
                    whites += 1;
                    sums = [0, 1, 2].map(|c| sums[c] + rgb[c]);
                }
            }
        }
        window.white_rgb = sums.map(|sum| sum / whites.max(1) as f64);
        let correlation = correlation(&pairs);
        let is_sound =
            window.used.len() >= LEAST_PIXELS && whites >= LEAST_WHITE && correlation >= options.tone.least_correlation;
        is_sound.then_some((window, correlation))
    }
}

impl MarkWindow {
    /// A band of rows through its middle; itself where it is not much higher.
    pub(super) fn band(&self) -> Self {
        /// Rows of the band: its rims, and as many between them as cross two modules of a large tag.
        const ROWS: usize = 20;
        let height = self.place.len() / self.width.max(1);
        let first = (height.saturating_sub(ROWS) / 2) * self.width;
        let end = (first + ROWS * self.width).min(self.place.len());
        let (from, to) =
            if first > 0 { (first + RIM_PX * self.width, end - RIM_PX * self.width) } else { (first, end) };
        let used = self.used.iter().filter(|&&at| (from..to).contains(&at)).map(|at| at - first).collect();
        Self {
            width: self.width,
            luma: self.luma[first..end].to_vec(),
            white: self.white[first..end].to_vec(),
            place: self.place[first..end].to_vec(),
            used,
            white_rgb: self.white_rgb,
        }
    }
}

/// Correlation of whiteness and luma over every few pixels of a window: enough to tell two prints apart.
fn likeness(image: &LinearImage<'_>, corners: &[PxPoint; 4], print: Print, spread: PointSpread) -> Option<f64> {
    /// Odd, so that the pixels do not fall in step with blocks of eight.
    const STRIDE_PX: usize = 3;
    let photo = image.photo();
    let back = unit_square_map(corners)?.try_inverse()?;
    let (columns, rows) = (span(corners, |p| p.x, photo.width())?, span(corners, |p| p.y, photo.height())?);
    let side_px = sides(corners);
    let mut pairs = Vec::new();
    for y in rows.step_by(STRIDE_PX) {
        for x in columns.clone().step_by(STRIDE_PX) {
            let at = back * Vector3::new(x as f64 + 0.5, y as f64 + 0.5, 1.0);
            let place = (2.0 * at.x / at.z - 1.0, 2.0 * at.y / at.z - 1.0);
            if print.is_on(place) {
                let code = photo.rgb_code(x, y);
                let luma = (0..3).map(|c| LUMA[c] * f64::from(code[c])).sum();
                pairs.push((print.whiteness(place, spread.sorting(), side_px), luma));
            }
        }
    }
    Some(correlation(&pairs))
}

impl Print {
    fn is_on(self, (s, t): (f64, f64)) -> bool {
        match self {
            Self::Tag(_) => s.abs().max(t.abs()) < TAG_REACH,
            Self::Quadrant => s.hypot(t) < DISC_REACH,
        }
    }

    /// Whiteness at a place (x right, y down, -1..1) under a blur in pixels, the mark's sides being so many pixels.
    fn whiteness(self, (s, t): (f64, f64), blur_px: f64, side_px: [f64; 2]) -> f64 {
        match self {
            Self::Quadrant => {
                let edge = BlurredEdge { blur: blur_px };
                let right = edge.share(0.5 * s * side_px[0]);
                let up = edge.share(-0.5 * t * side_px[1]);
                right * up + (1.0 - right) * (1.0 - up)
            }
            Self::Tag(code) => {
                let side = SQUARE_SIDE as f64;
                let across = Shares::of(0.5 * (s + 1.0) * side, blur_px * side / side_px[0]);
                let down = Shares::of(0.5 * (t + 1.0) * side, blur_px * side / side_px[1]);
                let inner = |k: usize| (1..=CODE_SIDE).contains(&k);
                let mut dark = 0.0;
                for (row, of_row) in down.each() {
                    for (column, of_column) in across.each() {
                        let is_white = inner(row) && inner(column) && code.is_white(row - 1, column - 1);
                        dark += if is_white { 0.0 } else { of_row * of_column };
                    }
                }
                1.0 - dark
            }
        }
    }
}

/// Share of each module along one axis in what a blurred point sees.
struct Shares {
    first: usize,
    end: usize,
    of_module: [f64; SQUARE_SIDE],
}

impl Shares {
    /// For a place and a blur in modules.
    fn of(place: f64, blur: f64) -> Self {
        /// Sigmas beyond which the blur sees nothing.
        const REACH: f64 = 4.25;
        // Within the square truncation is the floor, and faster.
        let within = |edge: f64| edge.clamp(0.0, SQUARE_SIDE as f64);
        let (from, to) = (within(place - REACH * blur), within(place + REACH * blur));
        let (first, whole) = (from as i32 as usize, to as i32);
        let end = (whole as usize + usize::from(f64::from(whole) < to)).min(SQUARE_SIDE);
        let mut of_module = [0.0; SQUARE_SIDE];
        let edge = BlurredEdge { blur };
        let mut low = edge.share(first as f64 - place);
        for (k, share) in of_module.iter_mut().enumerate().take(end).skip(first) {
            let high = edge.share((k + 1) as f64 - place);
            *share = high - low;
            low = high;
        }
        Self { first, end, of_module }
    }

    /// The modules that are seen, with their shares.
    fn each(&self) -> impl Iterator<Item = (usize, f64)> {
        (self.first..self.end).map(|k| (k, self.of_module[k]))
    }
}

/// Mean width and height, pixels.
fn sides(corners: &[PxPoint; 4]) -> [f64; 2] {
    [side(corners, 0, 1) + side(corners, 2, 3), side(corners, 1, 2) + side(corners, 3, 0)].map(|sum| 0.5 * sum)
}

fn side(corners: &[PxPoint; 4], from: usize, to: usize) -> f64 {
    corners[from].distance(corners[to])
}

/// Columns (or rows) of the window: the used part and its rim, or the middle of it when that is too wide.
fn span(corners: &[PxPoint; 4], of: impl Fn(&PxPoint) -> f64, size: usize) -> Option<std::ops::Range<usize>> {
    let low = corners.iter().map(&of).fold(f64::INFINITY, f64::min);
    let high = corners.iter().map(&of).fold(f64::NEG_INFINITY, f64::max);
    let middle = 0.5 * (low + high);
    let half = (0.5 * (high - low) * TAG_REACH + RIM_PX as f64 + 1.0).min(0.5 * WIDEST_PX as f64);
    if !(middle.is_finite() && half.is_finite()) {
        return None;
    }
    let from = (middle - half).max(0.0) as usize;
    let to = ((middle + half).max(0.0) as usize).min(size);
    (to > from + 2 * RIM_PX).then_some(from..to)
}

/// The projective map from the unit square (y down) to four corners from the upper left clockwise (Heckbert 1989,
/// Fundamentals of Texture Mapping, section 2.2.3, from memory).
fn unit_square_map(corners: &[PxPoint; 4]) -> Option<Matrix3<f64>> {
    let [p0, p1, p2, p3] = corners;
    let (dx1, dy1) = (p1.x - p2.x, p1.y - p2.y);
    let (dx2, dy2) = (p3.x - p2.x, p3.y - p2.y);
    let (sx, sy) = (p0.x - p1.x + p2.x - p3.x, p0.y - p1.y + p2.y - p3.y);
    let area = dx1 * dy2 - dx2 * dy1;
    let (g, h) = ((sx * dy2 - dx2 * sy) / area, (dx1 * sy - sx * dy1) / area);
    let map = Matrix3::new(
        p1.x - p0.x + g * p1.x,
        p3.x - p0.x + h * p3.x,
        p0.x,
        p1.y - p0.y + g * p1.y,
        p3.y - p0.y + h * p3.y,
        p0.y,
        g,
        h,
        1.0,
    );
    map.iter().all(|entry| entry.is_finite()).then_some(map)
}

fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let n = pairs.len().max(1) as f64;
    let mean = pairs.iter().fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0 / n, sum.1 + pair.1 / n));
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for (x, y) in pairs {
        let (dx, dy) = (x - mean.0, y - mean.1);
        xx += dx * dx;
        yy += dy * dy;
        xy += dx * dy;
    }
    if xx > 0.0 && yy > 0.0 { xy / (xx * yy).sqrt() } else { 0.0 }
}
