//! A photo in cells: mean codes of small even places, from which a camera's response is fitted.

/// Cells along the longer side of the picture.
const ALONG: usize = 120;
/// Smallest cell, pixels: fewer leave the codes' rounding in.
const LEAST_SIDE: usize = 4;
/// Largest difference between the means of a cell's halves, codes: edges, which blur and sharpening change, say nothing.
const LARGEST_STEP: f32 = 4.0;
/// Samples beyond these are clipped or nearly so, and a mean over them is no reading.
const CLIPPED_FROM: f32 = 252.5;
const BLACK_TO: f32 = 0.5;
/// Most black samples of a cell, as a share: more bend the mean.
const BLACK_SHARE: f32 = 0.02;

/// Mean codes by cell, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// Cells in a row.
    pub columns: usize,
    /// Mean red, green and blue code, 0..=255; `None` where a sample is clipped or the cell is uneven.
    pub codes: Vec<Option<[f32; 3]>>,
}

impl Cells {
    /// The cells of a picture whose pixel (x, y) has the codes `code(x, y)`, red, green and blue, 0..=255.
    pub fn new(width: usize, height: usize, code: &dyn Fn(usize, usize) -> [f32; 3]) -> Self {
        let side = (width.max(height) / ALONG).max(LEAST_SIDE);
        let columns = width / side;
        let cell = |index: usize| cell((index % columns * side, index / columns * side), side, code);
        Self { columns, codes: (0..columns * (height / side)).map(cell).collect() }
    }

    /// Columns and number of cells.
    pub fn size(&self) -> (usize, usize) {
        (self.columns, self.codes.len())
    }
}

fn cell(from: (usize, usize), side: usize, code: &dyn Fn(usize, usize) -> [f32; 3]) -> Option<[f32; 3]> {
    // Sums of the four quarters.
    let mut sums = [[0.0f32; 3]; 4];
    let mut counts = [0.0f32; 4];
    let mut black = 0.0;
    for y in 0..side {
        for x in 0..side {
            let quarter = usize::from(2 * x >= side) + 2 * usize::from(2 * y >= side);
            let pixel = code(from.0 + x, from.1 + y);
            if pixel.iter().any(|code| *code >= CLIPPED_FROM) {
                return None;
            }
            black += f32::from(u8::from(pixel.iter().any(|code| *code <= BLACK_TO)));
            for (sum, code) in sums[quarter].iter_mut().zip(pixel) {
                *sum += code;
            }
            counts[quarter] += 1.0;
        }
    }
    let whole: f32 = counts.iter().sum();
    if black > BLACK_SHARE * whole {
        return None;
    }
    let mean = |quarters: [usize; 2], channel: usize| {
        let sum: f32 = quarters.iter().map(|q| sums[*q][channel]).sum();
        sum / quarters.iter().map(|q| counts[*q]).sum::<f32>()
    };
    let is_even = (0..3).all(|channel| {
        let across = (mean([0, 2], channel) - mean([1, 3], channel)).abs();
        across.max((mean([0, 1], channel) - mean([2, 3], channel)).abs()) <= LARGEST_STEP
    });
    is_even.then(|| [0, 1, 2].map(|channel| sums.iter().map(|quarter| quarter[channel]).sum::<f32>() / whole))
}
