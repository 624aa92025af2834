//! A closed-form beam as tables, for pictures and for smeared truth: tens of millions of directions.
//!
//! **Takes** a [`Beam`]. **Gives** the same candela. **How**: what depends on h alone and on v alone is tabulated and read
//! by the cubic through four neighbours; the logistic edge and the stray light's fading are [`Curve`]s. **How good**: 3e-6
//! of the value (tested), but 5e-5 within two steps of a cusp of the closed form: the middle of the wide part and of a
//! spot, and where the softness begins and ends to grow. A measured lamp
//! is asked directly: it is a table already.

use super::beam::{Beam, Column, Row};
use super::cubic;
use super::curve::Curve;
use rayon::prelude::*;

/// Step and reach of the tables of columns and rows, degrees. The sharpest corner (35 per degree) then bends by 3e-8
/// degree less than it should.
const STEP_DEG: f64 = 0.004;
const REACH_DEG: f64 = 80.0;
/// Step of the edge's table, in units of its softness: (1/1024)²/8 = 1.2e-7 of the value, times 4.5 for the most asymmetric.
const EDGE_STEP: f64 = 1.0 / 1024.0;
/// Beyond this argument the logistic is 0 or 1 to 2e-13.
const EDGE_END: f64 = 29.0;
/// Step of the fading's table against the shorter length of fading: 0.002²/8 = 5e-7 of the value.
const FADING_STEP: f64 = 0.002;
/// Most entries of that table, for lengths that no lamp has; farther up the closed form is asked.
const FADING_MOST: f64 = 100_000.0;

/// The beam and its tables.
#[derive(Debug, Clone)]
pub(super) struct TabledBeam {
    beam: Beam,
    columns: Vec<Column>,
    rows: Vec<Row>,
    edge: Curve,
    fading: Curve,
}

impl TabledBeam {
    /// Makes the tables of a beam.
    pub(super) fn new(beam: Beam) -> Self {
        let count = if beam.is_table() || !beam.spec().is_lit { 0 } else { (2.0 * REACH_DEG / STEP_DEG) as usize + 4 };
        let at = |i: usize| (i as f64 - 1.0) * STEP_DEG - REACH_DEG;
        let columns = (0..count).into_par_iter().map(|i| beam.column(at(i))).collect();
        let rows = (0..count).into_par_iter().map(|i| beam.row(at(i))).collect();
        let spec = beam.spec();
        // Far out an asymmetry flattens the argument's slope to 1 - |asymmetry| on one side.
        let edge_end = (EDGE_END + 1.0) / (1.0 - spec.asymmetry.abs()).max(0.1);
        let step = FADING_STEP * spec.stray_decay_deg.min(spec.stray_slow_deg);
        let fading_end = (FADING_MOST * step).min(2.0 * REACH_DEG);
        Self {
            columns,
            rows,
            edge: Curve::new(-edge_end, edge_end, EDGE_STEP, |x| beam.edge(x)),
            fading: Curve::new(0.0, fading_end, step, |above| beam.fading(above)),
            beam,
        }
    }

    /// The beam itself.
    pub(super) fn beam(&self) -> &Beam {
        &self.beam
    }

    /// Candela at a direction in the vehicle frame, for three edges raised by their own amounts.
    #[inline]
    pub(super) fn channels_cd(&self, h_deg: f64, v_deg: f64, lifts_deg: [f64; 3]) -> [f64; 3] {
        if self.columns.is_empty() {
            return self.beam.channels_cd(h_deg, v_deg, lifts_deg);
        }
        let (h, v) = self.beam.to_pattern(h_deg, v_deg);
        let ((i, x), (j, y)) = (place(h), place(v));
        let (Some(Ok(columns)), Some(Ok(rows))) =
            (self.columns.get(i..i + 4).map(TryInto::try_into), self.rows.get(j..j + 4).map(TryInto::try_into))
        else {
            return self.beam.channels_cd(h_deg, v_deg, lifts_deg);
        };
        let column = Column::mixed(columns, cubic::weights(x));
        let row = Row::mixed(rows, cubic::weights(y));
        let edge = |x: f64| self.edge.get(x).unwrap_or(if x > 0.0 { 0.0 } else { 1.0 });
        let fading = |above: f64| self.fading.get(above).unwrap_or_else(|| self.beam.fading(above));
        self.beam.channels_by(&column, &row, (h, v), lifts_deg, (edge, fading))
    }
}

/// Index of the first of four neighbours, and the place between the middle two.
#[inline]
fn place(angle_deg: f64) -> (usize, f64) {
    let place = (angle_deg.clamp(-REACH_DEG, REACH_DEG) + REACH_DEG) / STEP_DEG;
    let low = place as usize;
    (low, place - low as f64)
}

#[cfg(test)]
mod tests {
    use super::super::beam::tests::published_form;
    use super::super::beam_spec::{BeamSpec, Shape};
    use super::super::family;
    use super::*;

    /// Source: the closed form itself. The tolerance is the tables' own: 5e-7 each for edge and fading, and the bend of
    /// a corner of 35 per degree, slope 1, seen through an edge of 0.1 degree. A cusp has no smooth neighbours: there a
    /// power of 1.3 of a step over 4 degrees of spread is left out in part.
    #[test]
    fn tables_agree_with_the_closed_form() {
        let mut specs: Vec<BeamSpec> = ["typical", "left-traffic", "vol", "fog", "soft", "high-spot", "reflector"]
            .iter()
            .flat_map(|family| (0..4).map(|seed| family::sample(family, seed, None).unwrap().beam))
            .collect();
        specs.push(published_form());
        specs.push(BeamSpec { shape: Shape::Kink45, rounding_per_deg: 35.0, asymmetry: -0.9, ..published_form() });
        for spec in specs {
            for is_mirrored in [false, true] {
                let tabled = TabledBeam::new(Beam::new(&spec, is_mirrored));
                let lifts = [spec.fringe_deg, 0.0, -spec.fringe_deg];
                for i in 0..4_000_u32 {
                    let (h, v) = (f64::from(i % 80) * 0.3717 - 15.0, f64::from(i / 80) * 0.1713 - 4.5);
                    let (ph, pv) = tabled.beam().to_pattern(h, v);
                    let is_cusp = [spec.wide_h_deg, 0.0, -10.0].iter().any(|cusp| (ph - cusp).abs() < 2.0 * STEP_DEG)
                        || pv.abs() < 2.0 * STEP_DEG && spec.shape == Shape::Spot;
                    let tolerance = if is_cusp { 5e-5 } else { 3e-6 };
                    let (fast, exact) = (tabled.channels_cd(h, v, lifts), tabled.beam().channels_cd(h, v, lifts));
                    for c in 0..3 {
                        let miss = (fast[c] / exact[c] - 1.0).abs();
                        assert!(
                            miss < tolerance,
                            "{:?} ({h}, {v}): {} and {}: {miss:e}",
                            spec.shape,
                            fast[c],
                            exact[c]
                        );
                    }
                }
            }
        }
    }
}
