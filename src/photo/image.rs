//! The decoded photo: pixels as stored, seen upright through an index map, so that no pixel is moved to turn it.

use super::linear::light_code;
use crate::flag::Flag;

/// Pixels in the order of the file, rows from the top, samples interleaved.
#[derive(Debug, Clone, PartialEq)]
pub enum Pixels {
    /// One 8-bit sample a pixel.
    Gray8(Vec<u8>),
    /// One 16-bit sample a pixel.
    Gray16(Vec<u16>),
    /// Three 8-bit samples a pixel: red, green, blue.
    Rgb8(Vec<u8>),
    /// Three 16-bit samples a pixel: red, green, blue.
    Rgb16(Vec<u16>),
    /// Three samples of light a pixel: red, green, blue, straight from the sensor, black level taken off. From 1 on a colour
    /// is clipped; in the dark noise scatters it around zero.
    Light(Vec<f32>),
}

/// Type of the file, by its content.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// JPEG, baseline or progressive.
    Jpeg,
    /// HEIC: a HEIF file with pictures coded as HEVC.
    Heic,
    /// PNG.
    Png,
    /// DNG: a raw picture, in linear light.
    Dng,
}

/// What the camera wrote about the shot; each field only when the file holds it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ShotFacts {
    /// Exposure time in seconds.
    pub exposure_s: Option<f64>,
    /// ISO speed.
    pub iso: Option<u32>,
    /// Aperture's f-number.
    pub f_number: Option<f64>,
    /// Focal length as a 35 mm equivalent, millimetres.
    pub focal_35mm: Option<f64>,
    /// Focal length of the lens, millimetres.
    pub focal_mm: Option<f64>,
    /// Capture time as the file states it, `2026-03-14T19:20:21` with the zone's offset where one is given.
    pub captured: Option<String>,
}

/// How upright pixel (x, y) maps to an index of the stored pixels: `origin + x·step_x + y·step_y`, in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UprightMap {
    /// Width of the upright picture.
    pub width: usize,
    /// Height of the upright picture.
    pub height: usize,
    /// Index of the upright picture's top left pixel.
    pub origin: isize,
    /// Step to the next pixel on the right.
    pub step_x: isize,
    /// Step to the next pixel below.
    pub step_y: isize,
}

impl UprightMap {
    /// The map for a stored picture of `width` x `height` and an EXIF orientation (1 to 8; anything else is taken as 1).
    /// Meaning of the eight values: EXIF 2.32 (CIPA DC-008), tag 0x0112.
    pub fn new(width: usize, height: usize, orientation: u8) -> Self {
        let (w, h) = (width as isize, height as isize);
        let (turned, origin, step_x, step_y) = match orientation {
            2 => (false, w - 1, -1, w),
            3 => (false, w * h - 1, -1, -w),
            4 => (false, w * (h - 1), 1, -w),
            5 => (true, 0, w, 1),
            6 => (true, w * (h - 1), -w, 1),
            7 => (true, w * h - 1, -w, -1),
            8 => (true, w - 1, w, -1),
            _ => (false, 0, 1, w),
        };
        let (width, height) = if turned { (height, width) } else { (width, height) };
        Self { width, height, origin, step_x, step_y }
    }

    /// Index of upright pixel (x, y) among the stored pixels.
    #[inline]
    pub fn index(&self, x: usize, y: usize) -> usize {
        (self.origin + x as isize * self.step_x + y as isize * self.step_y) as usize
    }
}

/// A whole photo, decoded, with what the file says about it.
#[derive(Debug, Clone)]
pub struct Photo {
    /// Name of the file as the user gave it.
    pub file: String,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Type by content.
    pub format: Format,
    /// Pixels as stored.
    pub pixels: Pixels,
    /// Width as stored.
    pub stored_width: usize,
    /// Height as stored.
    pub stored_height: usize,
    /// EXIF orientation, 1 to 8; of a HEIC file, the one that means what its container's turns mean.
    pub orientation: u8,
    /// From upright places to stored pixels.
    pub upright: UprightMap,
    /// Exposure data.
    pub shot: ShotFacts,
    /// Flags raised while reading the file.
    pub flags: Vec<Flag>,
    /// The photos that this one was merged from, as they were given; none for a photo as the camera wrote it.
    pub merged: Vec<MergedFrom>,
}

/// One of the photos that a picture was merged from.
#[derive(Debug, Clone, PartialEq)]
pub struct MergedFrom {
    /// Name of the file as the user gave it.
    pub file: String,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Its exposure over that of the shortest, as the pictures have it.
    pub exposure: f64,
}

impl Photo {
    /// Width of the upright picture in pixels.
    pub fn width(&self) -> usize {
        self.upright.width
    }

    /// Height of the upright picture in pixels.
    pub fn height(&self) -> usize {
        self.upright.height
    }

    /// The three encoded samples of upright pixel (x, y), as 0..=255 codes (16-bit samples keep their fraction; light is
    /// encoded as sRGB).
    #[inline]
    pub fn rgb_code(&self, x: usize, y: usize) -> [f32; 3] {
        const TO_8_BIT: f32 = 1.0 / 257.0;
        let i = self.upright.index(x, y);
        match &self.pixels {
            Pixels::Gray8(p) => [f32::from(p[i]); 3],
            Pixels::Gray16(p) => [f32::from(p[i]) * TO_8_BIT; 3],
            Pixels::Rgb8(p) => [f32::from(p[3 * i]), f32::from(p[3 * i + 1]), f32::from(p[3 * i + 2])],
            Pixels::Rgb16(p) => {
                [f32::from(p[3 * i]) * TO_8_BIT, f32::from(p[3 * i + 1]) * TO_8_BIT, f32::from(p[3 * i + 2]) * TO_8_BIT]
            }
            Pixels::Light(p) => [light_code(p[3 * i]), light_code(p[3 * i + 1]), light_code(p[3 * i + 2])],
        }
    }

    /// The encoded green sample (or the grey one) of upright pixel (x, y), 0..=255.
    #[inline]
    pub fn green_code(&self, x: usize, y: usize) -> f32 {
        const TO_8_BIT: f32 = 1.0 / 257.0;
        let i = self.upright.index(x, y);
        match &self.pixels {
            Pixels::Gray8(p) => f32::from(p[i]),
            Pixels::Gray16(p) => f32::from(p[i]) * TO_8_BIT,
            Pixels::Rgb8(p) => f32::from(p[3 * i + 1]),
            Pixels::Rgb16(p) => f32::from(p[3 * i + 1]) * TO_8_BIT,
            Pixels::Light(p) => light_code(p[3 * i + 1]),
        }
    }

    /// Encoded luma, 0..=255, of every pixel as stored, rows from the top (weights of JPEG's Y: ITU-T T.871).
    pub fn stored_luma(&self) -> Vec<f32> {
        const TO_8_BIT: f32 = 1.0 / 257.0;
        const WEIGHTS: [f32; 3] = [0.299, 0.587, 0.114];
        let luma = |pixel: [f32; 3]| WEIGHTS[0] * pixel[0] + WEIGHTS[1] * pixel[1] + WEIGHTS[2] * pixel[2];
        match &self.pixels {
            Pixels::Gray8(p) => p.iter().map(|&sample| f32::from(sample)).collect(),
            Pixels::Gray16(p) => p.iter().map(|&sample| f32::from(sample) * TO_8_BIT).collect(),
            Pixels::Rgb8(p) => p.as_chunks::<3>().0.iter().map(|&pixel| luma(pixel.map(f32::from))).collect(),
            Pixels::Rgb16(p) => {
                p.as_chunks::<3>().0.iter().map(|&pixel| TO_8_BIT * luma(pixel.map(f32::from))).collect()
            }
            Pixels::Light(p) => p.as_chunks::<3>().0.iter().map(|&pixel| luma(pixel.map(light_code))).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked: a stored 3 x 2 picture with pixels numbered 0..6, and where its pixel 0 (stored top left) must go.
    #[test]
    fn stored_top_left_goes_where_exif_says() {
        let places = [(0, 0), (2, 0), (2, 1), (0, 1), (0, 0), (1, 0), (1, 2), (0, 2)];
        for (orientation, (x, y)) in (1u8..=8).zip(places) {
            let map = UprightMap::new(3, 2, orientation);
            assert_eq!(map.index(x, y), 0, "orientation {orientation}");
            assert_eq!((map.width, map.height), if orientation < 5 { (3, 2) } else { (2, 3) });
        }
    }
}
