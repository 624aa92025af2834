//! Pictures of marks with known places, made by plain supersampling: a ray per sample meets the wall's plane, the print
//! gives black or white, the light multiplies it, a Gaussian blurs it, the sRGB curve encodes it, noise is added.

use lampwright::bay::{Mark, MarkKind};
use lampwright::marks::tag_family::{code_of, is_white};
use lampwright::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};
use lampwright::units::{Mm, PxPoint, WallPoint};

/// Reflectance of paint, of paper and of ink.
const WALL: f64 = 0.55;
const PAPER: f64 = 0.85;
const INK: f64 = 0.05;
/// Samples along each side of a pixel.
const SUPERSAMPLES: usize = 4;

/// A small generator (xorshift64*, Vigna 2016): the same picture for the same seed everywhere.
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// Even in 0..1.
    pub(crate) fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal (Box and Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// A pinhole camera before the wall's plane z = 0.
#[derive(Clone, Copy)]
pub(crate) struct Camera {
    /// Rows of the 3 x 3 map from (x mm, y mm, 1) to homogeneous pixels.
    rows: [[f64; 3]; 3],
}

impl Camera {
    /// A camera whose picture shows the wall point (0, 0) in the middle at `px_per_mm`, seen from `yaw`, `pitch`
    /// degrees aside and below, and rolled; `distance_mm` sets how strong perspective is.
    pub(crate) fn new(middle: (f64, f64), px_per_mm: f64, distance_mm: f64, [yaw, pitch, roll]: [f64; 3]) -> Self {
        let ((sy, cy), (sp, cp), (sr, cr)) =
            (yaw.to_radians().sin_cos(), pitch.to_radians().sin_cos(), roll.to_radians().sin_cos());
        // Wall axes seen by the camera (x right, y down, z away): yaw about the vertical, then pitch, then roll.
        let turn = |[x, y, z]: [f64; 3]| {
            let (x, z) = (x * cy + z * sy, z * cy - x * sy);
            let (y, z) = (y * cp - z * sp, y * sp + z * cp);
            [x * cr - y * sr, x * sr + y * cr, z]
        };
        let (right, up) = (turn([1.0, 0.0, 0.0]), turn([0.0, -1.0, 0.0]));
        let focal = px_per_mm * distance_mm;
        let row = |k: usize, shift: f64| {
            [focal * right[k] + shift * right[2], focal * up[k] + shift * up[2], shift * distance_mm]
        };
        Self { rows: [row(0, middle.0), row(1, middle.1), [right[2], up[2], distance_mm]] }
    }

    pub(crate) fn see(&self, x_mm: f64, y_mm: f64) -> PxPoint {
        let [x, y, w] = self.rows.map(|row| row[0] * x_mm + row[1] * y_mm + row[2]);
        PxPoint::new(x / w, y / w)
    }

    /// The wall point behind a pixel place (Cramer's rule on the two rows of x and y).
    fn wall(&self, place: PxPoint) -> (f64, f64) {
        let [rx, ry, rw] = self.rows;
        let line = |row: [f64; 3], at: f64| [row[0] - at * rw[0], row[1] - at * rw[1], at * rw[2] - row[2]];
        let (a, b) = (line(rx, place.x), line(ry, place.y));
        let det = a[0] * b[1] - a[1] * b[0];
        ((a[2] * b[1] - a[1] * b[2]) / det, (a[0] * b[2] - a[2] * b[0]) / det)
    }
}

/// A mark as it hangs on the wall.
#[derive(Clone, Copy)]
pub(crate) struct Printed {
    pub(crate) mark: Mark,
    /// Quarter turns by which a tag's code is turned clockwise (its sheet hangs upright).
    pub(crate) quarter_turns: usize,
    /// White paper around the square or disc, as a part of the mark's size.
    pub(crate) paper: f64,
    pub(crate) is_covered: bool,
}

pub(crate) fn tag(id: u32, size_mm: f64, x_mm: f64, y_mm: f64) -> Printed {
    let centre = WallPoint::new(x_mm, y_mm);
    let mark = Mark { kind: MarkKind::Tag36h11, id, size: Mm::new(size_mm), centre };
    Printed { mark, quarter_turns: 0, paper: 0.2, is_covered: false }
}

pub(crate) fn quadrant(id: u32, size_mm: f64, x_mm: f64, y_mm: f64) -> Printed {
    let mut printed = tag(id, size_mm, x_mm, y_mm);
    printed.mark.kind = MarkKind::Quadrant;
    printed
}

impl Printed {
    /// Reflectance at a wall point, where the sheet covers it.
    fn reflectance(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let size = self.mark.size.get();
        let (x, y) = ((x_mm - self.mark.centre.x_mm) / size, (self.mark.centre.y_mm - y_mm) / size);
        if self.is_covered || x.abs().max(y.abs()) > 0.5 + self.paper {
            return None;
        }
        let is_black = match self.mark.kind {
            MarkKind::Quadrant => x.hypot(y) <= 0.5 && (x < 0.0) == (y < 0.0),
            MarkKind::Tag36h11 => {
                let (x, y) = (0..self.quarter_turns).fold((x, y), |(x, y), _| (y, -x));
                let module = |t: f64| ((t + 0.5) * 8.0).floor();
                let (column, row) = (module(x), module(y));
                let is_code = |k: f64| (1.0..7.0).contains(&k);
                let is_square = |k: f64| (0.0..8.0).contains(&k);
                let code = code_of(self.mark.id).unwrap_or(0);
                is_square(column)
                    && is_square(row)
                    && !(is_code(column) && is_code(row) && is_white(code, row as usize - 1, column as usize - 1))
            }
        };
        Some(if is_black { INK } else { PAPER })
    }

    pub(crate) fn centre(&self, camera: &Camera) -> PxPoint {
        camera.see(self.mark.centre.x_mm, self.mark.centre.y_mm)
    }

    /// Upper left, upper right, lower right, lower left on the wall.
    pub(crate) fn corners(&self, camera: &Camera) -> [PxPoint; 4] {
        let half = 0.5 * self.mark.size.get();
        [(-half, half), (half, half), (half, -half), (-half, -half)]
            .map(|(x, y)| camera.see(self.mark.centre.x_mm + x, self.mark.centre.y_mm + y))
    }
}

/// How a picture is taken.
pub(crate) struct Shot<'a> {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) camera: Camera,
    /// Light that a perfectly white wall would send, as a share of full scale, by wall place (mm).
    pub(crate) light: &'a dyn Fn(f64, f64) -> f64,
    pub(crate) blur_px: f64,
    pub(crate) noise_codes: f64,
    pub(crate) seed: u64,
}

impl Shot<'_> {
    /// Encoded grey codes, rows from the top.
    pub(crate) fn codes(&self, marks: &[Printed]) -> Vec<u8> {
        let mut linear = vec![0.0; self.width * self.height];
        let near: Vec<(PxPoint, f64)> = marks.iter().map(|mark| self.reach(mark)).collect();
        for y in 0..self.height {
            for x in 0..self.width {
                let pixel = PxPoint::new(x as f64 + 0.5, y as f64 + 0.5);
                let own = (0..marks.len())
                    .filter(|&k| near[k].0.distance(pixel) < near[k].1)
                    .min_by(|&a, &b| near[a].0.distance(pixel).total_cmp(&near[b].0.distance(pixel)));
                linear[y * self.width + x] = self.pixel(pixel, own.map(|own| &marks[own]));
            }
        }
        let blurred = blur(&linear, self.width, self.height, self.blur_px);
        let mut random = Random::new(self.seed);
        blurred.iter().map(|&level| (srgb(level) + self.noise_codes * random.normal()).round() as u8).collect()
    }

    pub(crate) fn photo(&self, marks: &[Printed]) -> Photo {
        gray(self.codes(marks), self.width, self.height, 1)
    }

    /// Centre and radius of the circle in the picture that holds a mark's sheet.
    fn reach(&self, printed: &Printed) -> (PxPoint, f64) {
        let (centre, part) = (printed.centre(&self.camera), 1.0 + 2.0 * printed.paper);
        let far = printed.corners(&self.camera).iter().map(|corner| corner.distance(centre)).fold(0.0, f64::max);
        (centre, 1.3 * part * far + 2.0)
    }

    fn pixel(&self, pixel: PxPoint, mark: Option<&Printed>) -> f64 {
        let Some(mark) = mark else {
            let (x_mm, y_mm) = self.camera.wall(pixel);
            return WALL * (self.light)(x_mm, y_mm);
        };
        let step = |k: usize| (k as f64 + 0.5) / SUPERSAMPLES as f64 - 0.5;
        let mut sum = 0.0;
        for row in 0..SUPERSAMPLES {
            for column in 0..SUPERSAMPLES {
                let (x_mm, y_mm) = self.camera.wall(PxPoint::new(pixel.x + step(column), pixel.y + step(row)));
                sum += mark.reflectance(x_mm, y_mm).unwrap_or(WALL) * (self.light)(x_mm, y_mm);
            }
        }
        sum / (SUPERSAMPLES * SUPERSAMPLES) as f64
    }
}

/// A photo from grey codes of the *stored* picture.
pub(crate) fn gray(codes: Vec<u8>, width: usize, height: usize, orientation: u8) -> Photo {
    Photo {
        file: "rendered".into(),
        sha256: String::new(),
        format: Format::Png,
        pixels: Pixels::Gray8(codes),
        stored_width: width,
        stored_height: height,
        orientation,
        upright: UprightMap::new(width, height, orientation),
        shot: ShotFacts::default(),
        flags: Vec::new(),
        merged: Vec::new(),
    }
}

/// Gaussian blur along rows, then columns; the picture's edge is continued.
fn blur(picture: &[f64], width: usize, height: usize, sigma: f64) -> Vec<f64> {
    let reach = (4.0 * sigma).ceil() as isize;
    let kernel: Vec<f64> = (-reach..=reach).map(|k| (-0.5 * (k as f64 / sigma).powi(2)).exp()).collect();
    let total: f64 = kernel.iter().sum();
    let along = |from: &[f64], step: usize, at: usize, count: usize, place: usize| -> f64 {
        let inside = |k: isize| (place as isize + k).clamp(0, count as isize - 1) as usize;
        (-reach..=reach).zip(&kernel).map(|(k, weight)| weight * from[at + inside(k) * step]).sum::<f64>() / total
    };
    let mut rows = vec![0.0; picture.len()];
    let mut out = vec![0.0; picture.len()];
    for y in 0..height {
        for x in 0..width {
            rows[y * width + x] = along(picture, 1, y * width, width, x);
        }
    }
    for y in 0..height {
        for x in 0..width {
            out[y * width + x] = along(&rows, width, x, height, y);
        }
    }
    out
}

/// The sRGB curve (IEC 61966-2-1) in codes, clipped.
fn srgb(level: f64) -> f64 {
    let level = level.clamp(0.0, 1.0);
    255.0 * if level <= 0.003_130_8 { 12.92 * level } else { 1.055 * level.powf(1.0 / 2.4) - 0.055 }
}
