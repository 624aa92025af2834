//! Near-field smear: on a wall nearer than the projector's focus, every direction is averaged over the exit pupil.
//!
//! **Takes** a [`Beam`] and the wall's distance. **Gives** candela averaged over a disc of D(1/d - 1/25 m) (photometry
//! notes, section 4: thin lens, uniform aperture, focused at 25 m), exactly by quadrature, or from a table for rendering.

use super::beam::Beam;
use super::curve::Curve;
use super::tabled::TabledBeam;
use rayon::prelude::*;
use std::sync::LazyLock;

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
/// Less light than this is no light, cd: the table holds logarithms.
const LEAST_CD: f64 = 1e-9;
/// Step of the exponential's table: (1/1024)²/8 = 1.2e-7 of the value.
const EXP_STEP: f64 = 1.0 / 1024.0;

/// Places of the quadrature on a disc of diameter 1.
static DISC: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    let place = |shell: usize, angle: usize| {
        let radius = 0.5 * ((shell as f64 + 0.5) / SHELLS as f64).sqrt();
        let turn = std::f64::consts::TAU * (angle as f64 + 0.5 * (shell % 2) as f64) / ANGLES as f64;
        (radius * turn.cos(), radius * turn.sin())
    };
    (0..SHELLS).flat_map(|shell| (0..ANGLES).map(move |angle| place(shell, angle))).collect()
});

/// Diameter of the smear in degrees; 0 without an aperture.
pub fn smear_deg(aperture_mm: f64, distance_mm: f64) -> f64 {
    (aperture_mm * (1.0 / distance_mm - 1.0 / FOCUS_MM)).max(0.0).atan().to_degrees()
}

/// Candela averaged over a disc of this diameter, by quadrature.
pub fn smeared_cd(beam: &Beam, diameter_deg: f64, h: f64, v: f64, lift: f64) -> f64 {
    over_disc(|h, v| beam.channels_cd(h, v, [lift; 3]), diameter_deg, h, v)[1]
}

/// The same for any light of three colours.
#[inline]
pub(super) fn over_disc(light: impl Fn(f64, f64) -> [f64; 3], diameter_deg: f64, h: f64, v: f64) -> [f64; 3] {
    if diameter_deg == 0.0 {
        return light(h, v);
    }
    let mut sum = [0.0; 3];
    for (x, y) in DISC.iter() {
        let here = light(h + diameter_deg * x, v + diameter_deg * y);
        sum = [0, 1, 2].map(|c| sum[c] + here[c]);
    }
    sum.map(|sum| sum / DISC.len() as f64)
}

/// A smeared beam on a grid of directions, for rendering.
#[derive(Debug)]
pub(super) struct SmearTable {
    h0: f64,
    v0: f64,
    columns: usize,
    rows: usize,
    /// Logarithms of the three colours' candela, column by column.
    cells: Vec<[f32; 3]>,
    exp: Curve,
}

impl SmearTable {
    /// Averages the beam over the disc, column by column with running sums, for three edges raised by their own amounts.
    pub(super) fn new(beam: &TabledBeam, diameter_deg: f64, lifts: [f64; 3]) -> Self {
        let spec = beam.beam().spec();
        let (side, below, above) = WINDOW_DEG;
        let reach_h = (0.5 * diameter_deg / CELL_DEG.0).ceil() as usize;
        let reach_v = (0.5 * diameter_deg / CELL_DEG.1).ceil() as usize + 1;
        let columns = (2.0 * side / CELL_DEG.0) as usize + 1;
        let rows = ((below + above) / CELL_DEG.1) as usize + 1;
        let (h0, v0) = (spec.aim_h_deg - side, spec.aim_v_deg - below);
        let tall = rows + 2 * reach_v;
        let sums: Vec<Vec<[f64; 3]>> = (0..columns + 2 * reach_h)
            .into_par_iter()
            .map(|column| {
                let h = h0 + (column as f64 - reach_h as f64) * CELL_DEG.0;
                let mut total = [0.0; 3];
                std::iter::once(total)
                    .chain((0..tall).map(|row| {
                        let here = beam.channels_cd(h, v0 + (row as f64 - reach_v as f64) * CELL_DEG.1, lifts);
                        total = [0, 1, 2].map(|c| total[c] + here[c]);
                        total
                    }))
                    .collect()
            })
            .collect();
        let disc = Chords::new(reach_h, diameter_deg);
        let cells: Vec<[f32; 3]> = (0..columns)
            .into_par_iter()
            .flat_map_iter(|column| {
                let (around, disc) = (&sums[column..=column + 2 * reach_h], &disc);
                (0..rows).map(move |row| disc.mean(around, row + reach_v).map(|cd| cd.max(LEAST_CD).ln() as f32))
            })
            .collect();
        let (least, most) =
            cells.as_flattened().iter().fold((f32::MAX, f32::MIN), |(a, b), ln| (a.min(*ln), b.max(*ln)));
        let exp = Curve::new(f64::from(least) - EXP_STEP, f64::from(most) + EXP_STEP, EXP_STEP, f64::exp);
        Self { h0, v0, columns, rows, cells, exp }
    }

    /// Candela from the table; `None` outside its window.
    #[inline]
    pub(super) fn get(&self, h: f64, v: f64) -> Option<[f64; 3]> {
        let (x, y) = ((h - self.h0) / CELL_DEG.0, (v - self.v0) / CELL_DEG.1);
        if x < 0.0 || y < 0.0 || x >= (self.columns - 1) as f64 || y >= (self.rows - 1) as f64 {
            return None;
        }
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f64, y - j as f64);
        let left: &[[f32; 3]] = &self.cells[i * self.rows + j..][..2];
        let right: &[[f32; 3]] = &self.cells[(i + 1) * self.rows + j..][..2];
        let weights = [(1.0 - fx) * (1.0 - fy), (1.0 - fx) * fy, fx * (1.0 - fy), fx * fy];
        let candela = [0, 1, 2].map(|c| {
            let corners = [left[0][c], left[1][c], right[0][c], right[1][c]];
            let ln = corners.iter().zip(weights).map(|(corner, w)| w * f64::from(*corner)).sum();
            self.exp.get(ln).unwrap_or_else(|| f64::exp(ln))
        });
        Some(candela)
    }
}

/// The disc cut into the columns of the table: half the length of each cut, in rows.
struct Chords {
    halves: Vec<f64>,
    weight: f64,
}

impl Chords {
    fn new(reach_h: usize, diameter_deg: f64) -> Self {
        let half = |place: usize| {
            let off = (place as f64 - reach_h as f64) * CELL_DEG.0;
            (0.25 * diameter_deg * diameter_deg - off * off).max(0.0).sqrt() / CELL_DEG.1
        };
        let halves: Vec<f64> = (0..=2 * reach_h).map(half).collect();
        let weight = 0.5 / halves.iter().sum::<f64>();
        Self { halves, weight }
    }

    /// Mean over the disc from the running sums of the columns around it; `row` is the centre's row.
    fn mean(&self, around: &[Vec<[f64; 3]>], row: usize) -> [f64; 3] {
        let mut sum = [0.0; 3];
        // Cell `row` covers sums[row]..sums[row + 1]; its centre is at row + 0.5.
        let centre = row as f64 + 0.5;
        for (half, sums) in self.halves.iter().zip(around) {
            let at = |y: f64| {
                let y = y.max(0.0);
                let low = (y as usize).min(sums.len() - 2);
                let (a, b, share) = (sums[low], sums[low + 1], y - low as f64);
                [0, 1, 2].map(|c| a[c] + (b[c] - a[c]) * share)
            };
            let (top, bottom) = (at(centre + half), at(centre - half));
            sum = [0, 1, 2].map(|c| sum[c] + top[c] - bottom[c]);
        }
        sum.map(|sum| sum * self.weight)
    }
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
        let table = SmearTable::new(&TabledBeam::new(beam.clone()), 0.55, [0.0; 3]);
        for (h, v) in [(-2.5, -0.9), (-2.5, -0.5), (-2.5, -0.3), (-2.5, 0.1), (1.0, 0.0)] {
            let (fast, exact) = (table.get(h, v).unwrap()[1], smeared_cd(&beam, 0.55, h, v, 0.0));
            assert!((fast / exact - 1.0).abs() < 0.012, "({h}, {v}): table {fast}, quadrature {exact}");
        }
        assert!(table.get(60.0, 0.0).is_none());
    }
}
