//! The sRGB curve with its slope, as the mark fit asks for it: light to code, also beyond full scale.

use std::sync::LazyLock;

/// The sRGB curve in codes (IEC 61966-2-1): end and slope of its straight toe, scale, offset and exponent.
const SRGB_TOE: f64 = 0.003_130_8;
const SRGB_TOE_SLOPE: f64 = 12.92 * 255.0;
const SRGB_SCALE: f64 = 1.055 * 255.0;
const SRGB_OFFSET: f64 = 0.055 * 255.0;
const SRGB_GAMMA: f64 = 2.4;

/// [`encode`] from a table over the square root of the light: a power costs more than all else that a sample asks.
pub(super) struct SrgbTable {
    /// Code and its derivative by the light.
    entries: Vec<(f64, f64)>,
}

/// Entries of the table; linear interpolation between them errs by less than 1e-4 codes above the toe.
const TABLE_ENTRIES: usize = 8192;
/// Light under which the curve bends too fast for the table.
const TABLE_FROM: f64 = 0.0035;

impl SrgbTable {
    /// The one table.
    pub(super) fn shared() -> &'static Self {
        static TABLE: LazyLock<SrgbTable> = LazyLock::new(|| {
            let entries = (0..=TABLE_ENTRIES + 1).map(|k| encode((k as f64 / TABLE_ENTRIES as f64).powi(2))).collect();
            SrgbTable { entries }
        });
        &TABLE
    }

    /// Code of a light level and its derivative.
    pub(super) fn encode(&self, level: f64) -> (f64, f64) {
        if !(TABLE_FROM..1.0).contains(&level) {
            return encode(level);
        }
        let at = level.sqrt() * TABLE_ENTRIES as f64;
        // Truncation to a signed 32-bit number is the fastest floor of what is positive.
        let whole = at as i32;
        let (k, fraction) = (whole as usize, at - f64::from(whole));
        let ((a, a_slope), (b, b_slope)) = (self.entries[k], self.entries[k + 1]);
        (a + fraction * (b - a), a_slope + fraction * (b_slope - a_slope))
    }
}

/// sRGB code of a light level and its derivative; continued past 1 so that bright light keeps a slope.
pub(super) fn encode(level: f64) -> (f64, f64) {
    if level <= SRGB_TOE {
        return (SRGB_TOE_SLOPE * level, SRGB_TOE_SLOPE);
    }
    let power = SRGB_SCALE * level.powf(1.0 / SRGB_GAMMA);
    (power - SRGB_OFFSET, power / (SRGB_GAMMA * level))
}
