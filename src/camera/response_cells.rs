//! A photo in cells: mean light of small even places, from which a camera's response is fitted.
//!
//! Means are taken of light as sRGB has it, not of codes: noise and slopes within a cell are even in light, and the mean of the
//! bent codes would be off by up to 2 % of light where it is dark. What a camera's own curve bends on top is second order. The code is
//! the luma: a JPEG keeps colour in coarse steps (its chroma of a dark even place is off by a code or two, everywhere the same way),
//! while luma is kept finely.

/// Cells along the longer side of the picture.
const ALONG: usize = 120;
/// Smallest cell, pixels: fewer leave the codes' rounding in.
const LEAST_SIDE: usize = 4;
/// Largest difference between the mean codes of a cell's halves: edges, which blur and sharpening change, say nothing.
const LARGEST_STEP: f32 = 12.0;
/// Samples beyond these are clipped or nearly so, and a mean over them is no reading.
const CLIPPED_FROM: f32 = 252.5;
const BLACK_TO: f32 = 0.5;
/// Most black samples of a cell, as a share: more bend the mean.
const BLACK_SHARE: f32 = 0.02;

/// Weights of JPEG's luma (ITU-T T.871): red, green, blue.
const LUMA: [f32; 3] = [0.299, 0.587, 0.114];

/// Codes of the mean light by cell, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// Cells in a row.
    pub columns: usize,
    /// Code (luma) of the mean light, 0..=255; `None` where a sample is clipped or the cell is uneven.
    pub codes: Vec<Option<f32>>,
}

impl Cells {
    /// The cells of a picture whose pixel (x, y) has the codes `code(x, y)`, red, green and blue, 0..=255.
    pub fn new(width: usize, height: usize, code: &dyn Fn(usize, usize) -> [f32; 3]) -> Self {
        let side = (width.max(height) / ALONG).max(LEAST_SIDE);
        let columns = width / side;
        let table: [f32; 256] = std::array::from_fn(|code| light(code as f32));
        let cell = |index: usize| cell(&table, (index % columns * side, index / columns * side), side, code);
        Self { columns, codes: (0..columns * (height / side)).map(cell).collect() }
    }

    /// Columns and number of cells.
    pub fn size(&self) -> (usize, usize) {
        (self.columns, self.codes.len())
    }
}

/// Light of a code by sRGB (IEC 61966-2-1), 0..=1.
fn light(code: f32) -> f32 {
    let encoded = code / 255.0;
    if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// Code of a light; the inverse.
fn code_of(light: f32) -> f32 {
    255.0 * if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

fn cell(table: &[f32; 256], from: (usize, usize), side: usize, code: &dyn Fn(usize, usize) -> [f32; 3]) -> Option<f32> {
    // Sums of the four quarters.
    let (mut sums, mut counts) = ([0.0f32; 4], [0.0f32; 4]);
    let (mut light, mut black) = (0.0, 0.0);
    for y in 0..side {
        for x in 0..side {
            let quarter = usize::from(2 * x >= side) + 2 * usize::from(2 * y >= side);
            let pixel = code(from.0 + x, from.1 + y);
            if pixel.iter().any(|code| *code >= CLIPPED_FROM) {
                return None;
            }
            black += f32::from(u8::from(pixel.iter().any(|code| *code <= BLACK_TO)));
            let luma: f32 = pixel.iter().zip(LUMA).map(|(code, weight)| weight * code).sum();
            // Between whole codes the straight line is near enough: a cell holds many.
            let below = (luma as usize).min(254);
            light += table[below] + (luma - below as f32) * (table[below + 1] - table[below]);
            sums[quarter] += luma;
            counts[quarter] += 1.0;
        }
    }
    let whole: f32 = counts.iter().sum();
    if black > BLACK_SHARE * whole {
        return None;
    }
    let mean = |a: usize, b: usize| (sums[a] + sums[b]) / (counts[a] + counts[b]);
    let step = (mean(0, 2) - mean(1, 3)).abs().max((mean(0, 1) - mean(2, 3)).abs());
    (step <= LARGEST_STEP).then(|| code_of(light / whole))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked: codes 40 and 48 by turns have the mean light of (0.021219 + 0.029557) / 2 = 0.025388, which is code 44.19.
    #[test]
    fn the_mean_is_of_light() {
        let cells = Cells::new(400, 300, &|x, y| [if (x + y) % 2 == 0 { 40.0 } else { 48.0 }; 3]);
        assert_eq!(cells.size(), (100, 7500));
        for code in cells.codes.iter().flatten() {
            assert!((code - 44.193).abs() < 5e-3, "{code}");
        }
    }

    #[test]
    fn clipped_black_and_uneven_cells_are_left_out() {
        let of = |code: &dyn Fn(usize, usize) -> f32| Cells::new(400, 300, &|x, y| [code(x, y); 3]).codes[0];
        assert!(of(&|_, _| 90.0).is_some());
        assert!(of(&|x, y| if (x, y) == (1, 1) { 255.0 } else { 200.0 }).is_none());
        assert!(of(&|x, _| if x == 0 { 0.0 } else { 6.0 }).is_none());
        assert!(of(&|x, _| if x < 2 { 90.0 } else { 110.0 }).is_none());
    }
}
