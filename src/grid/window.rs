//! Means of light over small footprints in the photo.
//!
//! **Takes** the linear photo, then box after box of it. **Gives** the mean light and the share of clipped light of any
//! footprint inside the box. **How**: neighbouring footprints share pixels, so a box is turned into light once, as sums
//! along its rows; the light of a piece of a row is then the difference of two of them. A footprint is the rows that it
//! crosses, each by the part of it that is covered, moved along as the footprint leans; one whose rows of cells run aslant
//! through the photo is cut into pieces first, each nearly level.

use crate::photo::LinearImage;
use crate::photo::row_light::SUM_UNITS;
use crate::units::PxPoint;

/// Pixels along the photo's edge that are left out.
const PHOTO_MARGIN_PX: f64 = 2.0;
/// Pixels that are turned into light at once at most (4 MiB); a larger box is read pixel by pixel.
const LARGEST_BOX: usize = 1 << 18;
/// Pixels of height that a piece of a footprint may rise from one end to the other: a quarter of what a pixel's own side
/// adds to the footprint's variance.
const LEVEL_PX: f64 = 0.5;

/// A parallelogram in the photo, cut into level pieces; all lengths in pixels, places from its middle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Footprint {
    pieces: usize,
    /// Middle of the first piece, and from each to the next.
    first: PxPoint,
    step: PxPoint,
    half_width: f64,
    half_height: f64,
    /// Pixels that a piece leans to the right, per pixel down.
    lean: f64,
    /// Whether it leans so little that it counts as upright.
    is_upright: bool,
    /// How far the whole reaches.
    reach: PxPoint,
}

impl Footprint {
    /// The parallelogram with two sides. Sides of less than a pixel count as one: the mean over a pixel's width of pixels
    /// that are even in themselves is the linear interpolation between them.
    pub(super) fn of(along_h: PxPoint, along_v: PxPoint) -> Self {
        let is_level = (along_h.x * along_v.y).abs() >= (along_h.y * along_v.x).abs();
        let (across, down) = if is_level { (along_h, along_v) } else { (along_v, along_h) };
        let count = (across.y.abs() / LEVEL_PX).ceil().max(1.0);
        let height = down.y.abs().max(1.0);
        let lean = down.x / height.copysign(down.y);
        // What a level cut through the whole has of width.
        let width = (across.x - across.y * lean).abs().max(1.0);
        let step = PxPoint::new(across.x / count, across.y / count);
        let before = 0.5 * (count - 1.0);
        let (half_width, half_height) = (0.5 * width / count, 0.5 * height);
        let reach = PxPoint::new(
            before * step.x.abs() + half_width + lean.abs() * half_height,
            before * step.y.abs() + half_height,
        );
        let first = PxPoint::new(-before * step.x, -before * step.y);
        let is_upright = lean.abs() * half_height < LEVEL_PX / 2.0;
        Self { pieces: count as usize, first, step, half_width, half_height, lean, is_upright, reach }
    }

    /// How far it reaches from its middle.
    pub(super) fn reach(&self) -> PxPoint {
        self.reach
    }

    /// Mean over the footprint around `place`; `read` gives [`RowSums`] of a row from a column up to another.
    #[inline]
    fn mean(&self, place: PxPoint, read: impl Fn(usize, usize, usize) -> RowSums) -> [f32; 4] {
        let mut sum = [0.0; 4];
        let (mut x, mut y) = (place.x + self.first.x, place.y + self.first.y);
        for _ in 0..self.pieces {
            let rows = Rows::between(y - self.half_height, y + self.half_height);
            if self.is_upright {
                let span = Span::around(x, self.half_width);
                let mut sums = RowSums::default();
                for row in rows.first..=rows.last {
                    sums.add(&read(row as usize, span.first, span.last), rows.weight(row) as f32);
                }
                span.add_to(&mut sum, &sums, 1.0);
            } else {
                for row in rows.first..=rows.last {
                    let span = Span::around(x + (rows.middle(row) - y) * self.lean, self.half_width);
                    span.add_to(&mut sum, &read(row as usize, span.first, span.last), rows.weight(row) as f32);
                }
            }
            (x, y) = (x + self.step.x, y + self.step.y);
        }
        let whole = 4.0 * self.half_width * self.half_height * self.pieces as f64;
        let share = (1.0 / whole) as f32;
        sum.map(|sum| sum * share)
    }
}

/// Light along a row: of the pixels from one up to but without another, and of these two pixels by themselves.
#[derive(Debug, Clone, Copy, Default)]
struct RowSums {
    between: [f32; 4],
    at_first: [f32; 4],
    at_last: [f32; 4],
}

impl RowSums {
    #[inline]
    fn add(&mut self, other: &Self, weight: f32) {
        let pairs = [
            (&mut self.between, &other.between),
            (&mut self.at_first, &other.at_first),
            (&mut self.at_last, &other.at_last),
        ];
        for (sums, others) in pairs {
            for (sum, other) in sums.iter_mut().zip(others.iter()) {
                *sum += weight * other;
            }
        }
    }
}

/// A stretch of a row: the pixels in which it begins and ends, and what of each lies before the place.
#[derive(Debug, Clone, Copy)]
struct Span {
    first: usize,
    last: usize,
    cut_first: f32,
    cut_last: f32,
}

impl Span {
    #[inline]
    fn around(x: f64, half_width: f64) -> Self {
        let (from, to) = (x - half_width, x + half_width);
        // Truncation is the floor: places inside the photo are positive. Signed 32-bit numbers convert fastest.
        let (first, last) = (from as i32, to as i32);
        Self {
            first: first as usize,
            last: last as usize,
            cut_first: (from - f64::from(first)) as f32,
            cut_last: (to - f64::from(last)) as f32,
        }
    }

    /// Adds the stretch's light, or that of several rows that have the same stretch.
    #[inline]
    fn add_to(&self, sum: &mut [f32; 4], sums: &RowSums, weight: f32) {
        for (channel, sum) in sum.iter_mut().enumerate() {
            let ends = self.cut_last * sums.at_last[channel] - self.cut_first * sums.at_first[channel];
            *sum += weight * (sums.between[channel] + ends);
        }
    }
}

/// The rows of pixels between two heights.
struct Rows {
    top: f64,
    bottom: f64,
    first: i32,
    last: i32,
    /// What the first row gains and the last one loses in weight: rows count as even in themselves, and so their mean would lie
    /// off the middle by up to an eighth of a pixel over the height.
    moved: f64,
}

impl Rows {
    fn between(top: f64, bottom: f64) -> Self {
        let (first, whole) = (top as i32, bottom as i32);
        let last = if f64::from(whole) < bottom { whole } else { whole - 1 };
        if first >= last {
            return Self { top, bottom, first, last: first, moved: 0.0 };
        }
        let (upper, lower) = (f64::from(first + 1) - top, bottom - f64::from(last));
        let moved = 0.5 * (lower * (1.0 - lower) - upper * (1.0 - upper)) / f64::from(last - first);
        Self { top, bottom, first, last, moved }
    }

    /// A row's weight.
    #[inline]
    fn weight(&self, row: i32) -> f64 {
        if self.first < row && row < self.last {
            return 1.0;
        }
        let whole = self.bottom.min(f64::from(row + 1)) - self.top.max(f64::from(row));
        match (row == self.first, row == self.last) {
            (true, false) => whole + self.moved,
            (false, true) => whole - self.moved,
            _ => whole,
        }
    }

    /// The middle of what of a row lies between the heights.
    fn middle(&self, row: i32) -> f64 {
        0.5 * (self.top.max(f64::from(row)) + self.bottom.min(f64::from(row + 1)))
    }
}

/// A part of the photo as light.
pub(super) struct LightWindow<'a> {
    image: &'a LinearImage<'a>,
    left: usize,
    top: usize,
    width: usize,
    height: usize,
    /// Per row, one more than pixels: the sum of all pixels before, as [`LinearImage::append_sums`] gives it.
    sums: Vec<[i32; 4]>,
    /// Least and greatest places that the box holds and the photo's margin leaves.
    held: (PxPoint, PxPoint),
}

impl<'a> LightWindow<'a> {
    pub(super) fn new(image: &'a LinearImage<'a>) -> Self {
        let nowhere = (PxPoint::new(f64::INFINITY, f64::INFINITY), PxPoint::new(f64::NEG_INFINITY, f64::NEG_INFINITY));
        Self { image, left: 0, top: 0, width: 0, height: 0, sums: Vec::new(), held: nowhere }
    }

    /// Moves to another box, given by two corners and how far footprints reach beyond them.
    pub(super) fn load(&mut self, corners: Option<(PxPoint, PxPoint)>, reach: PxPoint) {
        *self = Self { sums: std::mem::take(&mut self.sums), ..Self::new(self.image) };
        self.sums.clear();
        let Some((low, high)) = corners else { return };
        let (whole_width, whole_height) = (self.image.photo().width(), self.image.photo().height());
        let begin = |place: f64| place.max(0.0) as usize;
        let end = |place: f64, size: usize| (place.max(0.0) as usize).saturating_add(2).min(size);
        (self.left, self.top) = (begin(low.x - reach.x), begin(low.y - reach.y));
        let (right, bottom) = (end(high.x + reach.x, whole_width), end(high.y + reach.y, whole_height));
        let (width, height) = (right.saturating_sub(self.left), bottom.saturating_sub(self.top));
        if width == 0 || height == 0 || width * height > LARGEST_BOX {
            return;
        }
        (self.width, self.height) = (width, height);
        self.sums.reserve((width + 1) * height);
        for y in self.top..bottom {
            self.image.append_sums(self.left..right, y, &mut self.sums);
        }
        let least = |begin: usize| (begin as f64).max(PHOTO_MARGIN_PX);
        // A piece's end in the last pixel asks for that pixel's own sum, which is there; its right rim does not count.
        let most = |end: usize, size: usize| (end as f64 - 1.0).min(size as f64 - PHOTO_MARGIN_PX);
        self.held = (
            PxPoint::new(least(self.left), least(self.top)),
            PxPoint::new(most(right, whole_width), most(bottom, whole_height)),
        );
    }

    /// Mean light over a footprint around a place and the share of clipped light; `None` outside the photo.
    pub(super) fn mean(&self, footprint: &Footprint, place: PxPoint) -> Option<([f32; 3], f32)> {
        let reach = footprint.reach;
        let is_between = |(low, high): (PxPoint, PxPoint)| {
            place.x - reach.x > low.x
                && place.y - reach.y > low.y
                && place.x + reach.x < high.x
                && place.y + reach.y < high.y
        };
        if is_between(self.held) {
            let place = PxPoint::new(place.x - self.left as f64, place.y - self.top as f64);
            let [red, green, blue, clipped] = footprint.mean(place, |row, first, last| self.read(row, first, last));
            let unit = 1.0 / SUM_UNITS;
            return Some(([red * unit, green * unit, blue * unit], clipped));
        }
        let (width, height) = (self.image.photo().width() as f64, self.image.photo().height() as f64);
        let margin = (
            PxPoint::new(PHOTO_MARGIN_PX, PHOTO_MARGIN_PX),
            PxPoint::new(width - PHOTO_MARGIN_PX, height - PHOTO_MARGIN_PX),
        );
        is_between(margin).then(|| {
            let [red, green, blue, clipped] =
                footprint.mean(place, |row, first, last| self.read_unloaded(row, first, last));
            ([red, green, blue], clipped)
        })
    }

    /// Sums along a row of the box, counted from its corner, in the units of the running sums.
    #[inline]
    fn read(&self, row: usize, first: usize, last: usize) -> RowSums {
        let line = row * (self.width + 1);
        let pair = |at: usize| self.sums[line + at..].first_chunk::<2>();
        let (Some([a, after_a]), Some([b, after_b])) = (pair(first), pair(last)) else { return RowSums::default() };
        RowSums { between: between(a, b), at_first: between(a, after_a), at_last: between(b, after_b) }
    }

    /// Sums along a row of the photo, read pixel by pixel.
    fn read_unloaded(&self, row: usize, first: usize, last: usize) -> RowSums {
        let light = |column: usize| self.image.light_and_clipping(column, row);
        let mut between = [0.0; 4];
        for column in first..last {
            for (sum, light) in between.iter_mut().zip(light(column)) {
                *sum += light;
            }
        }
        RowSums { between, at_first: light(first), at_last: light(last) }
    }
}

/// The difference of two running sums, which may have wrapped.
#[inline]
fn between(from: &[i32; 4], to: &[i32; 4]) -> [f32; 4] {
    let mut out = [0.0; 4];
    for ((out, from), to) in out.iter_mut().zip(from.iter()).zip(to.iter()) {
        *out = to.wrapping_sub(*from) as f32;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};

    const SIZE: (usize, usize) = (120, 90);

    /// A photo of light that is given pixel by pixel.
    fn photo_of(light: impl Fn(usize, usize) -> f32) -> Photo {
        let (width, height) = SIZE;
        let samples = (0..width * height).flat_map(|k| [light(k % width, k / width); 3]).collect();
        Photo {
            file: "test".into(),
            sha256: String::new(),
            format: Format::Dng,
            pixels: Pixels::Light(samples),
            stored_width: width,
            stored_height: height,
            orientation: 1,
            upright: UprightMap::new(width, height, 1),
            shot: ShotFacts::default(),
            flags: Vec::new(),
            merged: Vec::new(),
        }
    }

    fn window<'a>(image: &'a LinearImage<'a>, corners: Option<(PxPoint, PxPoint)>) -> LightWindow<'a> {
        let mut window = LightWindow::new(image);
        window.load(corners, PxPoint::new(20.0, 20.0));
        window
    }

    /// Truth: the mean of a plane over any parallelogram is its value in the middle. Along rows a pixel is even in itself,
    /// which puts the mean off by up to an eighth of a pixel over the width.
    #[test]
    fn the_mean_of_a_plane_is_its_value_in_the_middle() {
        let photo = photo_of(|x, y| 0.2 + 0.001 * x as f32 + 0.005 * y as f32);
        let image = LinearImage::new(&photo);
        let window = window(&image, Some((PxPoint::new(30.0, 30.0), PxPoint::new(90.0, 60.0))));
        for turn in (0..360).step_by(15) {
            let (sin, cos) = f64::from(turn).to_radians().sin_cos();
            let footprint = Footprint::of(PxPoint::new(9.0 * cos, 9.0 * sin), PxPoint::new(-5.0 * sin, 5.0 * cos));
            let place = PxPoint::new(57.3, 41.8);
            let ([_, green, _], clipped) = window.mean(&footprint, place).unwrap();
            let expected = 0.2 + 0.001 * (place.x - 0.5) + 0.005 * (place.y - 0.5);
            assert!((f64::from(green) - expected).abs() < 0.125 * 0.001, "{turn}: {green} for {expected}");
            assert!(clipped.abs() < 1e-6);
        }
    }

    /// Truth: the mean of a bright pixel over a footprint that holds it whole is its share of the area.
    #[test]
    fn light_inside_a_footprint_counts_once() {
        let photo = photo_of(|x, y| if (x, y) == (50, 40) { 0.9 } else { 0.0 });
        let image = LinearImage::new(&photo);
        let window = window(&image, Some((PxPoint::new(30.0, 30.0), PxPoint::new(90.0, 60.0))));
        for (h, v) in [((8.0, 0.1), (0.3, -6.0)), ((8.0, 3.0), (-2.0, -6.0)), ((0.4, 9.0), (7.0, 0.2))] {
            let footprint = Footprint::of(PxPoint::new(h.0, h.1), PxPoint::new(v.0, v.1));
            let area = f64::abs(h.0 * v.1 - h.1 * v.0);
            let ([red, _, _], _) = window.mean(&footprint, PxPoint::new(50.4, 40.7)).unwrap();
            assert!((f64::from(red) * area / 0.9 - 1.0).abs() < 1e-4, "{h:?} {v:?}: {red} over {area}");
        }
    }

    /// Both ways of reading are one sum.
    #[test]
    fn a_box_reads_as_the_photo_does() {
        let photo = photo_of(|x, y| ((7 * x + 13 * y) % 23) as f32 / 22.0);
        let image = LinearImage::new(&photo);
        let held = window(&image, Some((PxPoint::new(30.0, 30.0), PxPoint::new(90.0, 60.0))));
        let unheld = window(&image, None);
        for (k, lean) in [-2.0, -0.4, 0.0, 0.3, 3.0].into_iter().enumerate() {
            let footprint = Footprint::of(PxPoint::new(6.3, 0.2 * lean), PxPoint::new(lean, -2.4));
            let place = PxPoint::new(50.0 + 1.37 * k as f64, 44.2 - 0.61 * k as f64);
            let (a, b) = (held.mean(&footprint, place).unwrap(), unheld.mean(&footprint, place).unwrap());
            for (a, b) in a.0.iter().zip(b.0) {
                assert!((a - b).abs() < 1e-5, "{lean}: {a} {b}");
            }
            assert!((a.1 - b.1).abs() < 1e-5);
        }
    }

    #[test]
    fn beyond_the_photo_there_is_no_light() {
        let photo = photo_of(|_, _| 0.5);
        let image = LinearImage::new(&photo);
        let window = window(&image, Some((PxPoint::new(0.0, 0.0), PxPoint::new(40.0, 40.0))));
        let footprint = Footprint::of(PxPoint::new(6.0, 0.0), PxPoint::new(0.0, -2.0));
        assert!(window.mean(&footprint, PxPoint::new(4.0, 20.0)).is_none());
        assert!(window.mean(&footprint, PxPoint::new(6.0, 20.0)).is_some());
        assert!(window.mean(&footprint, PxPoint::new(20.0, 2.5)).is_none());
    }
}
