//! A smooth function of the code with few unknowns: a natural cubic spline over a coordinate that is stretched at both ends.
//!
//! **How**: the coordinate is ln((code + 6) / (267 - code)): a camera's toe is smooth in the logarithm of what it encodes and its
//! shoulder in that of what is left to white, each down to a few codes. Natural cubic spline through values at knots (C. de Boor,
//! "A practical guide to splines", 1978; equations from memory). Prior on first and second differences between knots: P. Eilers
//! and B. Marx, "Flexible smoothing with B-splines and penalties", Statistical Science 11, 1996.

use super::response::CODES;
use nalgebra::{SMatrix, SVector};

/// Number of knots.
pub(super) const KNOTS: usize = 16;
/// The knots, codes.
const CODES_OF_KNOTS: [f64; KNOTS] =
    [0.0, 4.0, 9.0, 16.0, 26.0, 40.0, 60.0, 85.0, 115.0, 145.0, 175.0, 200.0, 220.0, 235.0, 247.0, 255.0];
/// Codes by which the ends of the coordinate lie beyond black and white.
const BELOW_BLACK: f64 = 6.0;
const ABOVE_WHITE: f64 = 12.0;

type Row = SVector<f64, KNOTS>;
type Square = SMatrix<f64, KNOTS, KNOTS>;

/// The spline's rows: what each knot's value contributes at a code.
#[derive(Debug)]
pub(super) struct Spline {
    /// Rows at whole codes.
    rows: Vec<Row>,
}

fn coordinate(code: f64) -> f64 {
    ((code + BELOW_BLACK) / (CODES as f64 - 1.0 + ABOVE_WHITE - code)).ln()
}

/// Distance from a knot to the next.
fn step(knot: usize) -> f64 {
    coordinate(CODES_OF_KNOTS[knot + 1]) - coordinate(CODES_OF_KNOTS[knot])
}

impl Spline {
    /// The spline's rows.
    pub(super) fn new() -> Self {
        let bends = second_derivatives();
        Self { rows: (0..CODES).map(|code| row_at(code as f64, &bends)).collect() }
    }

    /// What each knot's value contributes at a code, linear between whole codes.
    pub(super) fn row(&self, code: f64) -> Row {
        let below = (code.max(0.0) as usize).min(CODES - 2);
        let fraction = code - below as f64;
        self.rows[below] * (1.0 - fraction) + self.rows[below + 1] * fraction
    }

    /// Normal matrix of a prior that slope and its change are none, within sigmas per square root of the coordinate.
    pub(super) fn prior(slope_sigma: f64, bend_sigma: f64) -> Square {
        let difference = |knot: usize| {
            let mut row = Row::zeros();
            (row[knot], row[knot + 1]) = (-1.0 / step(knot), 1.0 / step(knot));
            row
        };
        let mut normal = Square::zeros();
        for knot in 0..KNOTS - 1 {
            let row = difference(knot) * (step(knot).sqrt() / slope_sigma);
            normal += row * row.transpose();
        }
        for knot in 0..KNOTS - 2 {
            let apart = 0.5 * (step(knot) + step(knot + 1));
            let row = (difference(knot + 1) - difference(knot)) / (apart.sqrt() * bend_sigma);
            normal += row * row.transpose();
        }
        normal
    }
}

/// Matrix from the values at the knots to the second derivatives there; none at the ends.
fn second_derivatives() -> Square {
    let (mut left, mut right) = (Square::identity(), Square::zeros());
    for knot in 1..KNOTS - 1 {
        let (before, after) = (step(knot - 1), step(knot));
        left[(knot, knot - 1)] = before / 6.0;
        left[(knot, knot)] = (before + after) / 3.0;
        left[(knot, knot + 1)] = after / 6.0;
        right[(knot, knot - 1)] = 1.0 / before;
        right[(knot, knot)] = -1.0 / before - 1.0 / after;
        right[(knot, knot + 1)] = 1.0 / after;
    }
    // Strictly diagonally dominant: there is always an answer.
    left.lu().solve(&right).unwrap_or_else(Square::zeros)
}

fn row_at(code: f64, bends: &Square) -> Row {
    let next = CODES_OF_KNOTS.iter().position(|knot| *knot > code).unwrap_or(KNOTS - 1);
    let (knot, width) = (next - 1, step(next - 1));
    let share = (coordinate(code) - coordinate(CODES_OF_KNOTS[knot])) / width;
    let rest = 1.0 - share;
    let mut row = Row::zeros();
    (row[knot], row[next]) = (rest, share);
    let square = width * width / 6.0;
    row += bends.row(knot).transpose() * (square * (rest.powi(3) - rest));
    row + bends.row(next).transpose() * (square * (share.powi(3) - share))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(of: impl Fn(f64) -> f64) -> Row {
        Row::from(CODES_OF_KNOTS.map(|code| of(coordinate(code))))
    }

    /// Truth: a straight line is its own natural spline, and one through a function's knots passes through them.
    #[test]
    fn lines_and_knots_are_kept() {
        let spline = Spline::new();
        let line = values(|t| 0.3 - 0.7 * t);
        for code in 0..CODES {
            let found = spline.row(code as f64).dot(&line);
            assert!((found - (0.3 - 0.7 * coordinate(code as f64))).abs() < 1e-12, "{code}");
        }
        let curve = values(f64::sin);
        for (knot, code) in CODES_OF_KNOTS.iter().enumerate() {
            assert!((spline.row(*code).dot(&curve) - curve[knot]).abs() < 1e-12);
        }
    }

    /// Truth: a sine between the knots; remainder of cubic interpolation 5/384 step^4 times the fourth derivative (at most 1),
    /// with the longest step of 0.6: 0.0017; more at the ends, where the sine bends and a natural spline does not.
    #[test]
    fn a_smooth_curve_is_followed() {
        let (spline, curve) = (Spline::new(), values(f64::sin));
        for code in 16..236 {
            let miss = spline.row(f64::from(code)).dot(&curve) - coordinate(f64::from(code)).sin();
            assert!(miss.abs() < 2e-3, "{code}: {miss}");
        }
    }

    /// Hand-worked: a line of slope 1 over the whole coordinate, and no bend: its length over sigma squared.
    #[test]
    fn the_prior_weighs_slope_by_length() {
        let line = values(|t| t);
        let length = coordinate(255.0) - coordinate(0.0);
        let weight = line.dot(&(Spline::prior(0.5, 1.0) * line));
        assert!((weight - length / 0.25).abs() < 1e-9, "{weight}");
    }
}
