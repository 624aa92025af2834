//! The photo as light: encoded samples through the sRGB curve (IEC 61966-2-1), clipped samples known as such.

use super::image::Photo;

/// Luminance weights of linear sRGB (IEC 61966-2-1 / ITU-R BT.709): red, green, blue.
pub const LUMINANCE_WEIGHTS: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Codes from here on count as clipped (8-bit): JPEG ringing moves a clipped 255 down by a code or two.
pub const CLIPPED_FROM_CODE: f32 = 253.0;

/// sRGB decoding of a code 0..=255 to linear light 0..=1 (IEC 61966-2-1).
pub fn srgb_to_linear(code: f32) -> f32 {
    let encoded = code / 255.0;
    if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// sRGB encoding of linear light 0..=1 to a code 0..=255 (IEC 61966-2-1).
pub fn linear_to_srgb(level: f32) -> f32 {
    let encoded = if level <= 0.003_130_8 { level * 12.92 } else { 1.055 * level.powf(1.0 / 2.4) - 0.055 };
    encoded * 255.0
}

/// A view of a photo whose reads are proportional to light; holds a table, no copy of the pixels.
#[derive(Debug, Clone)]
pub struct LinearImage<'a> {
    photo: &'a Photo,
    /// Light of each 8-bit code.
    table: [f32; 256],
}

impl<'a> LinearImage<'a> {
    /// The view through the sRGB curve.
    pub fn new(photo: &'a Photo) -> Self {
        let mut table = [0.0; 256];
        for (code, level) in table.iter_mut().enumerate() {
            *level = srgb_to_linear(code as f32);
        }
        Self { photo, table }
    }

    /// The photo behind the view.
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

    /// Linear red, green and blue of upright pixel (x, y), 0..=1.
    #[inline]
    pub fn rgb(&self, x: usize, y: usize) -> [f32; 3] {
        self.photo.rgb_code(x, y).map(|code| self.level_of_code(code))
    }

    /// Relative luminance of upright pixel (x, y), 0..=1.
    #[inline]
    pub fn luminance(&self, x: usize, y: usize) -> f32 {
        let rgb = self.rgb(x, y);
        LUMINANCE_WEIGHTS[0] * rgb[0] + LUMINANCE_WEIGHTS[1] * rgb[1] + LUMINANCE_WEIGHTS[2] * rgb[2]
    }

    /// Whether any channel of upright pixel (x, y) is clipped.
    #[inline]
    pub fn is_clipped(&self, x: usize, y: usize) -> bool {
        self.photo.rgb_code(x, y).iter().any(|&code| code >= CLIPPED_FROM_CODE)
    }
}
