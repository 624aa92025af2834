//! The photo as light: encoded samples through the sRGB curve (IEC 61966-2-1), clipped samples known as such.
//!
//! **Takes** a [`Photo`], and where there is one, an ambient photo (lamp off) with its [`AmbientAlignment`].
//! **Gives** red, green, blue and luminance of upright pixels, proportional to light, 1 = full scale of the lamp photo.
//! With an ambient photo its light is subtracted; where there is no lamp light that leaves noise around zero, negative
//! values included, because cutting them off would leave a false mean.
//! **Weak when** the ambient photo is displaced by a fraction of a pixel: interpolation then smooths its noise.

use super::image::{Photo, Pixels};
use super::row_light::light_units;

/// Luminance weights of linear sRGB (IEC 61966-2-1 / ITU-R BT.709): red, green, blue.
pub const LUMINANCE_WEIGHTS: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Codes from here on count as clipped (8-bit): JPEG ringing moves a clipped 255 down by a code or two.
pub const CLIPPED_FROM_CODE: f32 = 253.0;
/// The same, as an 8-bit sample.
pub(super) const CLIPPED_FROM_SAMPLE: u8 = CLIPPED_FROM_CODE as u8;

/// sRGB decoding of a code 0..=255 to linear light 0..=1 (IEC 61966-2-1).
pub fn srgb_to_linear(code: f32) -> f32 {
    let encoded = code / 255.0;
    if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// The code that sRGB gives light, 0..=255.
#[inline]
pub(crate) fn light_code(light: f32) -> f32 {
    linear_to_srgb(light.clamp(0.0, 1.0))
}

/// sRGB encoding of linear light 0..=1 to a code 0..=255 (IEC 61966-2-1).
pub fn linear_to_srgb(level: f32) -> f32 {
    let encoded = if level <= 0.003_130_8 { level * 12.92 } else { 1.055 * level.powf(1.0 / 2.4) - 0.055 };
    encoded * 255.0
}

/// How an ambient photo lies on the lamp photo, and how its exposure compares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AmbientAlignment {
    /// What stands at x in the lamp photo stands at x + `dx_px` in the ambient photo; pixels, right positive.
    pub dx_px: f64,
    /// What stands at y in the lamp photo stands at y + `dy_px` in the ambient photo; pixels, down positive.
    pub dy_px: f64,
    /// Factor from the ambient photo's exposure to the lamp photo's: 2 when the lamp photo was exposed twice as long.
    pub scale: f64,
}

impl Default for AmbientAlignment {
    /// Same camera position, same exposure.
    fn default() -> Self {
        Self { dx_px: 0.0, dy_px: 0.0, scale: 1.0 }
    }
}

/// The ambient photo and where to read it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ambient<'a> {
    photo: &'a Photo,
    /// Whole pixels of the displacement.
    whole: (isize, isize),
    /// The rest of it, 0..1.
    fraction: (f32, f32),
    scale: f32,
}

/// A view of a photo whose reads are proportional to light; holds tables, no copy of the pixels.
#[derive(Debug, Clone)]
pub struct LinearImage<'a> {
    photo: &'a Photo,
    /// Light of each 8-bit code.
    pub(super) table: [f32; 256],
    /// The same in parts of [`SUM_UNITS`].
    pub(super) units: [i32; 256],
    pub(super) ambient: Option<Ambient<'a>>,
}

impl<'a> LinearImage<'a> {
    /// The view through the sRGB curve.
    pub fn new(photo: &'a Photo) -> Self {
        let mut table = [0.0; 256];
        for (code, level) in table.iter_mut().enumerate() {
            *level = srgb_to_linear(code as f32);
        }
        Self { photo, table, units: table.map(light_units), ambient: None }
    }

    /// The view of `photo` minus the light of `ambient`. Beyond the ambient photo's edge its nearest pixel counts.
    pub fn with_ambient(photo: &'a Photo, ambient: &'a Photo, alignment: &AmbientAlignment) -> Self {
        let (dx, dy) = (alignment.dx_px, alignment.dy_px);
        let ambient = Ambient {
            photo: ambient,
            whole: (dx.floor() as isize, dy.floor() as isize),
            fraction: ((dx - dx.floor()) as f32, (dy - dy.floor()) as f32),
            scale: alignment.scale as f32,
        };
        Self { ambient: Some(ambient), ..Self::new(photo) }
    }

    /// The same view through a camera's own response on top of sRGB: `light_of` gives true light, 0..=1, for the light that
    /// sRGB alone reads. An ambient photo is subtracted behind it, in true light. A raw photo has no such response: its
    /// light stays as it is.
    #[must_use]
    pub fn through(mut self, light_of: &dyn Fn(f32) -> f32) -> Self {
        for level in &mut self.table {
            *level = light_of(*level);
        }
        self.units = self.table.map(light_units);
        self
    }

    /// The photo behind the view; with an ambient photo, the lamp photo.
    pub fn photo(&self) -> &'a Photo {
        self.photo
    }

    /// Light of an encoded sample 0..=255, exact at whole codes, linear between them.
    #[inline]
    pub fn level_of_code(&self, code: f32) -> f32 {
        let below = (code as usize).min(254);
        let fraction = code - below as f32;
        self.table[below] + fraction * (self.table[below + 1] - self.table[below])
    }

    /// Linear red, green and blue of upright pixel (x, y), 0..=1; less the ambient light, if there is an ambient photo.
    #[inline]
    pub fn rgb(&self, x: usize, y: usize) -> [f32; 3] {
        let light = self.light(self.photo, x, y);
        match &self.ambient {
            None => light,
            Some(ambient) => {
                let other = self.ambient_light(ambient, x, y);
                [0, 1, 2].map(|channel| light[channel] - other[channel])
            }
        }
    }

    /// Relative luminance of upright pixel (x, y), 0..=1; less the ambient light, if there is an ambient photo.
    #[inline]
    pub fn luminance(&self, x: usize, y: usize) -> f32 {
        let rgb = self.rgb(x, y);
        LUMINANCE_WEIGHTS[0] * rgb[0] + LUMINANCE_WEIGHTS[1] * rgb[1] + LUMINANCE_WEIGHTS[2] * rgb[2]
    }

    /// Whether any channel of upright pixel (x, y) is clipped, in the lamp photo or in what is subtracted from it.
    #[inline]
    pub fn is_clipped(&self, x: usize, y: usize) -> bool {
        clipped(self.photo, x, y)
            || self.ambient.as_ref().is_some_and(|ambient| {
                let ((left, top), (right, bottom)) = ambient.corners(x, y);
                [(left, top), (right, top), (left, bottom), (right, bottom)]
                    .into_iter()
                    .any(|(x, y)| clipped(ambient.photo, x, y))
            })
    }

    /// Red, green and blue of upright pixel (x, y) as [`Self::rgb`] gives them, and 1 where it is clipped, else 0.
    #[inline]
    pub fn light_and_clipping(&self, x: usize, y: usize) -> [f32; 4] {
        let [red, green, blue] = self.rgb(x, y);
        [red, green, blue, f32::from(u8::from(self.is_clipped(x, y)))]
    }

    /// Light of one pixel as a photo has it.
    #[inline]
    fn light(&self, photo: &Photo, x: usize, y: usize) -> [f32; 3] {
        // One bounds check for the pixel, and a table look-up for each 8-bit sample.
        match &photo.pixels {
            Pixels::Rgb8(samples) => {
                let start = 3 * photo.upright.index(x, y);
                let pixel = &samples[start..start + 3];
                [
                    self.table[usize::from(pixel[0])],
                    self.table[usize::from(pixel[1])],
                    self.table[usize::from(pixel[2])],
                ]
            }
            Pixels::Gray8(samples) => [self.table[usize::from(samples[photo.upright.index(x, y)])]; 3],
            Pixels::Gray16(_) | Pixels::Rgb16(_) => photo.rgb_code(x, y).map(|code| self.level_of_code(code)),
            Pixels::Light(samples) => {
                let start = 3 * photo.upright.index(x, y);
                [samples[start], samples[start + 1], samples[start + 2]]
            }
        }
    }

    /// Ambient light at a pixel of the lamp photo, bilinear between the ambient photo's pixels.
    fn ambient_light(&self, ambient: &Ambient<'_>, x: usize, y: usize) -> [f32; 3] {
        let ((left, top), (right, bottom)) = ambient.corners(x, y);
        let (fx, fy) = ambient.fraction;
        let upper_left = self.light(ambient.photo, left, top);
        if (left, top) == (right, bottom) {
            return upper_left.map(|level| ambient.scale * level);
        }
        let others = [(right, top), (left, bottom), (right, bottom)].map(|(x, y)| self.light(ambient.photo, x, y));
        [0, 1, 2].map(|channel| {
            let above = upper_left[channel] + fx * (others[0][channel] - upper_left[channel]);
            let below = others[1][channel] + fx * (others[2][channel] - others[1][channel]);
            ambient.scale * (above + fy * (below - above))
        })
    }
}

impl Ambient<'_> {
    /// The ambient photo's pixels around a pixel of the lamp photo: upper left and lower right one.
    #[inline]
    fn corners(&self, x: usize, y: usize) -> ((usize, usize), (usize, usize)) {
        let clamp = |place: isize, size: usize| place.clamp(0, size as isize - 1) as usize;
        let (width, height) = (self.photo.width(), self.photo.height());
        let (left, top) = (x as isize + self.whole.0, y as isize + self.whole.1);
        let (step_x, step_y) = (isize::from(self.fraction.0 > 0.0), isize::from(self.fraction.1 > 0.0));
        let first = (clamp(left, width), clamp(top, height));
        (first, (clamp(left + step_x, width), clamp(top + step_y, height)))
    }
}

#[inline]
fn clipped(photo: &Photo, x: usize, y: usize) -> bool {
    match &photo.pixels {
        Pixels::Rgb8(samples) => {
            let start = 3 * photo.upright.index(x, y);
            samples[start..start + 3].iter().any(|&sample| sample >= CLIPPED_FROM_SAMPLE)
        }
        Pixels::Gray8(samples) => samples[photo.upright.index(x, y)] >= CLIPPED_FROM_SAMPLE,
        Pixels::Gray16(_) | Pixels::Rgb16(_) => photo.rgb_code(x, y).iter().any(|&code| code >= CLIPPED_FROM_CODE),
        Pixels::Light(samples) => {
            let start = 3 * photo.upright.index(x, y);
            samples[start..start + 3].iter().any(|&light| light >= 1.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::{photo_of, rgb_photo};

    /// Values of the sRGB curve worked by hand from IEC 61966-2-1.
    #[test]
    fn the_curve_is_srgb() {
        for (code, level) in [(0.0, 0.0), (10.0, 0.003_035_3), (128.0, 0.215_86), (255.0, 1.0)] {
            assert!((srgb_to_linear(code) - level).abs() < 1e-5);
            assert!((linear_to_srgb(level) - code).abs() < 1e-2);
        }
    }

    #[test]
    fn fast_reads_equal_the_general_ones() {
        let rgb = rgb_photo(7, 5, 6, |x, y| [(31 * x) as u8, (40 * y) as u8, (x * y) as u8]);
        let wide = match &rgb.pixels {
            Pixels::Rgb8(p) => Pixels::Rgb16(p.iter().map(|&sample| u16::from(sample) * 257).collect()),
            _ => unreachable!(),
        };
        let wide = Photo { pixels: wide, ..rgb.clone() };
        let (fast, general) = (LinearImage::new(&rgb), LinearImage::new(&wide));
        for (x, y) in (0..5).flat_map(|y| (0..7).map(move |x| (x.min(4), y))) {
            let codes = rgb.rgb_code(x, y).map(srgb_to_linear);
            for (level, others) in fast.rgb(x, y).iter().zip(codes.iter().zip(general.rgb(x, y))) {
                assert!((level - others.0).abs() < 1e-6 && (level - others.1).abs() < 1e-5);
            }
        }
    }

    #[test]
    fn ambient_light_is_subtracted_and_noise_not_rectified() {
        // The lamp is on in the right half; the noise of the two photos is that of a chequerboard against its opposite.
        let lamp = photo_of(8, 4, |x, y| if x < 4 { 60 - 2 * ((x + y) % 2) as u8 } else { 160 });
        let dark = photo_of(8, 4, |x, y| 60 - 2 * ((x + y + 1) % 2) as u8);
        let image = LinearImage::with_ambient(&lamp, &dark, &AmbientAlignment::default());
        let left: Vec<f32> =
            (0..4).flat_map(|y| (0..4).map(move |x| (x, y))).map(|(x, y)| image.luminance(x, y)).collect();
        assert!(left.iter().any(|&level| level < -1e-3));
        assert!(left.iter().sum::<f32>().abs() < 1e-6);
        let wanted = srgb_to_linear(160.0) - srgb_to_linear(60.0);
        assert!((image.luminance(4, 1) - wanted).abs() < 1e-6);
    }

    #[test]
    fn ambient_photo_is_read_where_the_alignment_says() {
        let lamp = photo_of(16, 8, |_, _| 200);
        let dark = photo_of(16, 8, |x, y| (5 * x + 10 * y) as u8);
        let at = |dx_px, dy_px, scale| {
            let image = LinearImage::with_ambient(&lamp, &dark, &AmbientAlignment { dx_px, dy_px, scale });
            srgb_to_linear(200.0) - image.luminance(6, 3)
        };
        let level = |x: u8, y: u8| srgb_to_linear(f32::from(5 * x + 10 * y));
        assert!((at(2.0, -1.0, 1.0) - level(8, 2)).abs() < 1e-6);
        assert!((at(0.0, 0.0, 0.5) - 0.5 * level(6, 3)).abs() < 1e-6);
        assert!((at(-1.75, 0.0, 1.0) - (0.75 * level(4, 3) + 0.25 * level(5, 3))).abs() < 1e-6);
        assert!((at(0.0, 0.5, 2.0) - (level(6, 3) + level(6, 4))).abs() < 1e-6);
        assert!((at(100.0, -100.0, 1.0) - level(15, 0)).abs() < 1e-6);
    }

    /// Truth: a camera that squares the light; lamp and room add up before it, so that only behind its inverse does the
    /// difference give the lamp's own light.
    #[test]
    fn ambient_light_is_subtracted_in_true_light() {
        let (lamp_light, room_light) = (0.5f32, 0.3f32);
        let code = |light: f32| linear_to_srgb(light * light).round() as u8;
        let lamp = photo_of(4, 4, |_, _| code(lamp_light + room_light));
        let dark = photo_of(4, 4, |_, _| code(room_light));
        let image = LinearImage::with_ambient(&lamp, &dark, &AmbientAlignment::default());
        assert!((image.luminance(1, 1) - lamp_light).abs() > 0.03);
        // Half a code at 0.8 of full scale.
        assert!((image.through(&f32::sqrt).luminance(1, 1) - lamp_light).abs() < 0.005);
    }

    #[test]
    fn clipping_is_that_of_either_photo() {
        let lamp = photo_of(8, 4, |x, _| if x == 1 { 254 } else { 100 });
        let dark = photo_of(8, 4, |x, _| if x == 5 { 253 } else { 252 });
        let image = LinearImage::with_ambient(&lamp, &dark, &AmbientAlignment { dx_px: -0.5, ..Default::default() });
        let columns: Vec<usize> = (0..8).filter(|&x| image.is_clipped(x, 2)).collect();
        assert_eq!(columns, [1, 5, 6]);
        assert!(LinearImage::new(&lamp).is_clipped(1, 0) && !LinearImage::new(&lamp).is_clipped(5, 0));
    }
}
