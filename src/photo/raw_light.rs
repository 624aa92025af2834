//! Samples of a raw picture to light: red, green and blue, straight lines all the way.
//!
//! **Takes** a [`Sensor`]: samples, levels, gains. **Gives** light, three values a pixel, 1 = the level at which a colour
//! clips; in the dark it scatters around zero, negative values included. **How**: black level taken off, white level
//! divided by, white balance laid on. Of a Bayer mosaic each cell of four becomes one pixel: green is the mean of
//! its two, red and blue are brought to the cell's middle along straight lines between the nearest cells (weights 9, 3,
//! 3, 1), so that no colour is displaced against another. A finer picture would be guessed between the samples, and a guess
//! has no known noise.
//! **Weak when** the picture has detail at the scale of a cell: it is averaged, as by a lens half as sharp.

use rayon::prelude::*;

/// From this share of the white level on a sample counts as clipped: noise spreads the clipped ones, and a sensor bends
/// before it clips (own judgement).
const CLIPPED_FROM: f32 = 0.99;

/// A sample's black level, from a small pattern that repeats.
#[derive(Debug, Clone)]
pub(super) struct Black {
    /// Levels, row by row, colours interleaved; `columns * rows * planes` of them.
    pub(super) levels: Vec<f32>,
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Where a pattern begins: left and top, samples.
    pub(super) origin: (usize, usize),
}

/// Where a raw picture's samples are.
#[derive(Debug)]
pub(super) enum Samples {
    Whole(Vec<u16>),
    Float(Vec<f32>),
}

/// A raw picture.
#[derive(Debug)]
pub(super) struct Sensor {
    pub(super) samples: Samples,
    /// Pixels in a row of `samples`.
    pub(super) stride: usize,
    /// Samples a pixel: 1 of a mosaic, 3 of full colour.
    pub(super) planes: usize,
    /// The part that is the picture: left, top, width, height.
    pub(super) area: (usize, usize, usize, usize),
    pub(super) black: Black,
    /// White level of each plane.
    pub(super) white: Vec<f32>,
    /// Gains of red, green and blue; the least is 1.
    pub(super) gains: [f32; 3],
}

impl Sensor {
    /// Light of a sample before white balance, 1 = white level. `x` and `y` count from the picture's corner.
    fn light(&self, x: usize, y: usize, plane: usize) -> f32 {
        let (x, y) = (x + self.area.0, y + self.area.1);
        let at = (y * self.stride + x) * self.planes + plane;
        let value = match &self.samples {
            Samples::Whole(samples) => f32::from(samples[at]),
            Samples::Float(samples) => samples[at],
        };
        let place = |at: usize, from: usize, count: usize| (at + count - from % count) % count;
        let column = place(x, self.black.origin.0, self.black.columns);
        let row = place(y, self.black.origin.1, self.black.rows);
        let black = self.black.levels[(row * self.black.columns + column) * self.planes + plane];
        (value - black) / (self.white[plane] - black)
    }

    /// Light with white balance; at least 1 where a sample that it comes from is clipped.
    fn balanced(&self, colour: usize, light: f32, greatest: f32) -> f32 {
        let balanced = light * self.gains[colour];
        if greatest >= CLIPPED_FROM { balanced.max(1.0) } else { balanced }
    }

    /// Full colour at each pixel.
    pub(super) fn full_colour(&self) -> (usize, usize, Vec<f32>) {
        let (_, _, width, height) = self.area;
        let mut out = vec![0.0; width * height * 3];
        out.par_chunks_mut(width * 3).enumerate().for_each(|(y, row)| {
            for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
                for (colour, value) in pixel.iter_mut().enumerate() {
                    let light = self.light(x, y, colour);
                    *value = self.balanced(colour, light, light);
                }
            }
        });
        (width, height, out)
    }

    /// One pixel a cell of a Bayer mosaic. `pattern` is the colour (0, 1, 2) of the upper row's two and the lower row's two;
    /// green twice, on a diagonal.
    pub(super) fn cells(&self, pattern: [usize; 4]) -> (usize, usize, Vec<f32>) {
        let (columns, rows) = (self.area.2 / 2, self.area.3 / 2);
        let mut out = vec![0.0; columns * rows * 3];
        out.par_chunks_mut(columns * 3).enumerate().for_each(|(row, line)| {
            for (column, pixel) in line.chunks_exact_mut(3).enumerate() {
                let mut greens = (0.0_f32, f32::MIN);
                for (place, &colour) in pattern.iter().enumerate() {
                    let (dx, dy) = (place % 2, place / 2);
                    if colour == 1 {
                        let light = self.light(2 * column + dx, 2 * row + dy, 0);
                        greens = (greens.0 + 0.5 * light, greens.1.max(light));
                    } else {
                        let near = |at: usize, side: usize, count: usize| {
                            // Left or upper in its cell: the middle lies towards the next cell.
                            if side == 0 { (at + 1).min(count - 1) } else { at.saturating_sub(1) }
                        };
                        let (x, y) = (near(column, dx, columns), near(row, dy, rows));
                        let of = |column: usize, row: usize| self.light(2 * column + dx, 2 * row + dy, 0);
                        let four = [of(column, row), of(x, row), of(column, y), of(x, y)];
                        let mean = (9.0 * four[0] + 3.0 * (four[1] + four[2]) + four[3]) / 16.0;
                        let greatest = four.into_iter().fold(f32::MIN, f32::max);
                        pixel[colour] = self.balanced(colour, mean, greatest);
                    }
                }
                pixel[1] = self.balanced(1, greens.0, greens.1);
            }
        });
        (columns, rows, out)
    }
}

/// Gains from the colour of white as the camera saw it (`AsShotNeutral`, or its inverse): 1 for the least, so that
/// every colour clips at full scale or above. Ones where it makes no sense.
pub(super) fn gains(raised: [f32; 3]) -> [f32; 3] {
    /// Beyond any light that a lamp gives.
    const LARGEST: f32 = 16.0;
    let least = raised.into_iter().fold(f32::INFINITY, f32::min);
    let gains = raised.map(|gain| gain / least);
    if gains.iter().all(|gain| (1.0..=LARGEST).contains(gain)) { gains } else { [1.0; 3] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::Noise;

    const BLACK: f32 = 64.0;
    const WHITE: f32 = 1023.0;

    fn mosaic(width: usize, height: usize, mut value: impl FnMut(usize, usize) -> f32) -> Sensor {
        let samples = (0..width * height).map(|i| value(i % width, i / width)).collect();
        Sensor {
            samples: Samples::Float(samples),
            stride: width,
            planes: 1,
            area: (0, 0, width, height),
            black: Black { levels: vec![BLACK], columns: 1, rows: 1, origin: (0, 0) },
            white: vec![WHITE],
            gains: [1.0; 3],
        }
    }

    /// Truth: colours that rise along a plane keep their values at the cell's middle, whatever the order of the mosaic.
    #[test]
    fn no_colour_is_displaced() {
        let slope = [(0.01, 0.004), (-0.002, 0.006), (0.003, -0.005)];
        let truth = |colour: usize, x: f32, y: f32| 0.4 + slope[colour].0 * x + slope[colour].1 * y;
        for pattern in [[0, 1, 1, 2], [2, 1, 1, 0], [1, 0, 2, 1], [1, 2, 0, 1]] {
            let sensor = mosaic(24, 16, |x, y| {
                let colour = pattern[x % 2 + 2 * (y % 2)];
                BLACK + (WHITE - BLACK) * truth(colour, x as f32 + 0.5, y as f32 + 0.5)
            });
            let (width, height, light) = sensor.cells(pattern);
            assert_eq!((width, height), (12, 8));
            for (column, row) in (1..11).flat_map(|column| (1..7).map(move |row| (column, row))) {
                for colour in 0..3 {
                    let wanted = truth(colour, 2.0 * column as f32 + 1.0, 2.0 * row as f32 + 1.0);
                    let found = light[3 * (row * width + column) + colour];
                    assert!((found - wanted).abs() < 1e-5, "{pattern:?} {colour}: {found} {wanted}");
                }
            }
        }
    }

    /// Truth: noise about the black level has mean zero. Tolerance: four standard errors of 4,096 cells.
    #[test]
    fn the_dark_is_not_lifted() {
        let mut noise = Noise(3);
        let sigma = 5.0;
        let sensor = mosaic(128, 128, |_, _| BLACK + (sigma * noise.gauss()) as f32);
        let (_, _, light) = sensor.cells([0, 1, 1, 2]);
        let greens: Vec<f64> = light.chunks_exact(3).map(|pixel| f64::from(pixel[1])).collect();
        let mean = greens.iter().sum::<f64>() / greens.len() as f64;
        let spread = sigma / f64::from(WHITE - BLACK) / 2.0_f64.sqrt();
        assert!(greens.iter().any(|&light| light < 0.0));
        assert!(mean.abs() < 4.0 * spread / (greens.len() as f64).sqrt(), "{mean}");
    }

    #[test]
    fn what_is_clipped_is_full_scale_and_the_black_pattern_counts_from_its_origin() {
        let mut sensor = mosaic(8, 8, |x, y| if (x, y) == (5, 4) { WHITE } else { 200.0 });
        sensor.gains = [2.0, 1.0, 1.5];
        let (width, _, light) = sensor.cells([0, 1, 1, 2]);
        assert!((light[3 * (2 * width + 2) + 1] - 1.0).abs() < 1e-6, "one clipped green of two");
        assert!(light[1] < 0.2 && (light[0] / light[1] - 2.0).abs() < 1e-5 && (light[2] / light[1] - 1.5).abs() < 1e-5);
        let levels = vec![10.0, 20.0, 30.0, 40.0];
        sensor.black = Black { levels, columns: 2, rows: 2, origin: (1, 1) };
        let black = |x, y| 200.0 - (WHITE - 200.0) * sensor.light(x, y, 0) / (1.0 - sensor.light(x, y, 0));
        for ((x, y), wanted) in [((1, 1), 10.0), ((2, 1), 20.0), ((1, 2), 30.0), ((0, 0), 40.0)] {
            assert!((black(x, y) - wanted).abs() < 0.01, "{x},{y}: {}", black(x, y));
        }
    }

    #[test]
    fn gains_start_at_one() {
        let are = |raised, wanted: [f32; 3]| gains(raised).iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-6);
        assert!(are([2.0, 1.0, 1.5], [2.0, 1.0, 1.5]));
        assert!(are([1.0, 2.0, 0.5], [2.0, 4.0, 1.0]));
        for bad in [[f32::NAN; 3], [0.0, 1.0, 1.0], [-1.0, 1.0, 1.0], [1.0, 1.0, f32::INFINITY], [1.0, 1.0, 100.0]] {
            assert!(are(bad, [1.0; 3]), "{bad:?}");
        }
    }
}
