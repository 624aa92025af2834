//! Near-field smear: on a wall nearer than the projector's focus, every direction is averaged over the exit pupil.
//!
//! **Takes** a [`Beam`] and the wall's distance. **Gives** candela averaged over a disc of D(1/d - 1/25 m) (photometry
//! notes, section 4: thin lens, uniform aperture, focused at 25 m), exactly by quadrature, or from a table for rendering.

use super::beam::Beam;
use rayon::prelude::*;

/// Distance at which the projector is in focus, mm.
const FOCUS_MM: f64 = 25_000.0;
/// Radial shells of equal area of the quadrature; with `ANGLES` good to 1e-4 for discs under five edge widths.
const SHELLS: usize = 4;
/// Directions of the quadrature.
const ANGLES: usize = 12;
/// Window of the rendering table about the aim: sideways, below, above, degrees.
const WINDOW_DEG: (f64, f64, f64) = (24.0, 3.0, 3.0);
/// Cell of the rendering table, degrees (h, v).
const CELL_DEG: (f64, f64) = (0.05, 0.02);

/// Diameter of the smear in degrees; 0 without an aperture.
pub fn smear_deg(aperture_mm: f64, distance_mm: f64) -> f64 {
    (aperture_mm * (1.0 / distance_mm - 1.0 / FOCUS_MM)).max(0.0).atan().to_degrees()
}

/// Candela averaged over a disc of this diameter, by quadrature.
pub fn smeared_cd(beam: &Beam, diameter_deg: f64, h: f64, v: f64, lift: f64) -> f64 {
    smeared_channels_cd(beam, diameter_deg, h, v, [lift; 3])[1]
}

/// The same for three edges raised by their own amounts, for little more than the price of one.
pub(super) fn smeared_channels_cd(beam: &Beam, diameter_deg: f64, h: f64, v: f64, lifts: [f64; 3]) -> [f64; 3] {
    if diameter_deg == 0.0 {
        return beam.channels_cd(h, v, lifts);
    }
    let mut sum = [0.0; 3];
    for shell in 0..SHELLS {
        let radius = 0.5 * diameter_deg * ((shell as f64 + 0.5) / SHELLS as f64).sqrt();
        for angle in 0..ANGLES {
            let turn = std::f64::consts::TAU * (angle as f64 + 0.5 * (shell % 2) as f64) / ANGLES as f64;
            let (sin, cos) = turn.sin_cos();
            let here = beam.channels_cd(h + radius * cos, v + radius * sin, lifts);
            sum = [0, 1, 2].map(|c| sum[c] + here[c]);
        }
    }
    sum.map(|sum| sum / (SHELLS * ANGLES) as f64)
}

/// A smeared beam on a grid of directions, for rendering.
#[derive(Debug)]
pub(super) struct SmearTable {
    h0: f64,
    v0: f64,
    columns: usize,
    rows: usize,
    cells: Vec<f32>,
}

impl SmearTable {
    /// Averages the beam over the disc, column by column with running sums.
    pub(super) fn new(beam: &Beam, diameter_deg: f64, lift: f64) -> Self {
        let spec = beam.spec();
        let (side, below, above) = WINDOW_DEG;
        let reach_h = (0.5 * diameter_deg / CELL_DEG.0).ceil() as usize;
        let reach_v = (0.5 * diameter_deg / CELL_DEG.1).ceil() as usize + 1;
        let columns = (2.0 * side / CELL_DEG.0) as usize + 1;
        let rows = ((below + above) / CELL_DEG.1) as usize + 1;
        let (h0, v0) = (spec.aim_h_deg - side, spec.aim_v_deg - below);
        let tall = rows + 2 * reach_v;
        let sums: Vec<Vec<f64>> = (0..columns + 2 * reach_h)
            .into_par_iter()
            .map(|column| {
                let h = h0 + (column as f64 - reach_h as f64) * CELL_DEG.0;
                let mut total = 0.0;
                std::iter::once(0.0)
                    .chain((0..tall).map(|row| {
                        total += beam.channel_cd(h, v0 + (row as f64 - reach_v as f64) * CELL_DEG.1, lift);
                        total
                    }))
                    .collect()
            })
            .collect();
        let cells: Vec<f32> = (0..columns)
            .into_par_iter()
            .flat_map_iter(|column| {
                let around = &sums[column..=column + 2 * reach_h];
                (0..rows).map(move |row| disc_mean(around, reach_h, row + reach_v, diameter_deg).ln() as f32)
            })
            .collect();
        Self { h0, v0, columns, rows, cells }
    }

    /// Candela from the table; `None` outside its window.
    pub(super) fn get(&self, h: f64, v: f64) -> Option<f64> {
        let (x, y) = ((h - self.h0) / CELL_DEG.0, (v - self.v0) / CELL_DEG.1);
        if x < 0.0 || y < 0.0 || x >= (self.columns - 1) as f64 || y >= (self.rows - 1) as f64 {
            return None;
        }
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f64, y - j as f64);
        let cell = |i: usize, j: usize| f64::from(self.cells[i * self.rows + j]);
        let left = cell(i, j) * (1.0 - fy) + cell(i, j + 1) * fy;
        let right = cell(i + 1, j) * (1.0 - fy) + cell(i + 1, j + 1) * fy;
        Some((left * (1.0 - fx) + right * fx).exp())
    }
}

/// Mean over the disc from the running sums of the columns around it; `row` is the centre's row.
fn disc_mean(around: &[Vec<f64>], reach_h: usize, row: usize, diameter_deg: f64) -> f64 {
    let (mut sum, mut weight) = (0.0, 0.0);
    for (place, sums) in around.iter().enumerate() {
        let off = (place as f64 - reach_h as f64) * CELL_DEG.0;
        let half = (0.25 * diameter_deg * diameter_deg - off * off).max(0.0).sqrt() / CELL_DEG.1;
        let at = |y: f64| {
            let y = y.max(0.0);
            let low = (y as usize).min(sums.len() - 2);
            sums[low] + (sums[low + 1] - sums[low]) * (y - low as f64)
        };
        // Cell `row` covers sums[row]..sums[row + 1]; its centre is at row + 0.5.
        let centre = row as f64 + 0.5;
        sum += at(centre + half) - at(centre - half);
        weight += 2.0 * half;
    }
    sum / weight
}

#[cfg(test)]
mod tests {
    use super::super::beam::tests::published_form;
    use super::super::truth::cutoff_at;
    use super::*;

    /// Source: closed form, photometry notes, section 4: shift of the log cutoff at h = -2.5, model of section 1. The
    /// notes average over a slit of that height; a round pupil spreads 3/4 of the slit's variance (D²/16 to D²/12), and
    /// the shift goes with the variance as long as the smear is about as wide as the edge.
    #[test]
    fn smear_moves_the_log_cutoff_as_computed() {
        const SLITS: i32 = 41;
        let beam = Beam::new(&published_form(), false);
        for (distance, smear, shift) in [(10_000.0, 0.21, 0.025), (7_620.0, 0.31, 0.054), (5_000.0, 0.55, 0.139)] {
            let diameter = smear_deg(60.0, distance);
            assert!((diameter - smear).abs() < 0.006, "smear {diameter}, expected {smear}");
            let slit = |h: f64, v: f64| {
                let offset = |i: i32| diameter * (f64::from(i) / f64::from(SLITS - 1) - 0.5);
                (0..SLITS).map(|i| beam.intensity_cd(h, v + offset(i))).sum::<f64>() / f64::from(SLITS)
            };
            let moved = cutoff_at(&slit, -2.5, -0.3).v_deg + 0.3645;
            assert!((moved - shift).abs() < 0.004, "slit moved {moved}, expected {shift}");
            let round = |h: f64, v: f64| smeared_cd(&beam, diameter, h, v, 0.0);
            let moved = cutoff_at(&round, -2.5, -0.3).v_deg + 0.3645;
            assert!((moved / shift - 0.75).abs() < 0.08, "round pupil moved {moved}, slit {shift}");
        }
    }

    #[test]
    fn table_agrees_with_quadrature() {
        let beam = Beam::new(&published_form(), false);
        let table = SmearTable::new(&beam, 0.55, 0.0);
        for (h, v) in [(-2.5, -0.9), (-2.5, -0.5), (-2.5, -0.3), (-2.5, 0.1), (1.0, 0.0)] {
            let (fast, exact) = (table.get(h, v).unwrap(), smeared_cd(&beam, 0.55, h, v, 0.0));
            assert!((fast / exact - 1.0).abs() < 0.012, "({h}, {v}): table {fast}, quadrature {exact}");
        }
        assert!(table.get(60.0, 0.0).is_none());
    }
}
