//! Where the truth lies, when it is known: for those who look at what was measured wrongly.
//!
//! Small and of a colour of its own, over everything else, so that it hides nothing and cannot be taken for a measurement:
//! the cutoff as a dotted line, the elbow as a square, the hot spot as a diamond.

use super::canvas::{Canvas, dashed};
use super::palette::{STROKE, TRUTH};
use super::place::Scene;
use super::plane::Spot;
use crate::units::AnglePoint;

/// Half the square of the elbow and half the diagonal of the hot spot's diamond, pixels.
const HALF: f32 = 12.0;
/// Dots of the cutoff: length and gap, pixels.
const DOTS: (f32, f32) = (1.0, 13.0);

/// Known directions of the beam's features; whatever is not known is left out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Known {
    /// The cutoff, from left to right.
    pub cutoff: Vec<AnglePoint>,
    /// The elbow.
    pub elbow: Option<AnglePoint>,
    /// The hot spot.
    pub hot_spot: Option<AnglePoint>,
}

/// Draws what is known into a view.
pub(super) fn draw_known(canvas: &mut Canvas, scene: &Scene<'_>, known: &Known) {
    let places: Vec<Spot> = known.cutoff.iter().filter_map(|angle| scene.at(angle.h, angle.v)).collect();
    canvas.stroke_cased(&dashed(&places, DOTS), STROKE, TRUTH);
    let place = |angle: &Option<AnglePoint>| angle.and_then(|angle| scene.at(angle.h, angle.v));
    let reach = HALF * std::f32::consts::FRAC_1_SQRT_2 * 1.2;
    if let Some(centre) = place(&known.elbow) {
        let corners = [(-reach, -reach), (reach, -reach), (reach, reach), (-reach, reach), (-reach, -reach)];
        outline(canvas, centre, &corners);
    }
    if let Some(centre) = place(&known.hot_spot) {
        outline(canvas, centre, &[(0.0, -HALF), (HALF, 0.0), (0.0, HALF), (-HALF, 0.0), (0.0, -HALF)]);
    }
}

fn outline(canvas: &mut Canvas, centre: Spot, corners: &[(f32, f32)]) {
    let line = corners.iter().map(|(dx, dy)| centre.moved(*dx, *dy)).collect();
    canvas.stroke_cased(&[line], 0.6 * STROKE, TRUTH);
}
