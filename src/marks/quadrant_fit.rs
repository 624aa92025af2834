//! The sub-pixel centre of a quadrant mark: the crossing of its two edges.
//!
//! **Takes** a rough centre, the directions of the two edges and the radius inside which only they are seen. **Gives**
//! the crossing with its standard uncertainty, and the edges' directions. **How**: two straight edges under a blur as a
//! [`Pattern`]; straight lines stay straight in perspective, so the crossing needs no correction, unlike the middle of
//! the disc.

use super::fit::{LIGHT_NODES, LIGHT_SIDE, Light, Look, Pattern, fit, samples_of};
use super::gaussian::normal;
use super::options::FindOptions;
use super::patch::Patch;
use crate::photo::LinearImage;
use crate::units::PxPoint;

/// Parameters: centre x, y, the turns of the two edges, blur.
const PARAMETERS: usize = 5;
/// Blur before the fit, ln of pixels.
const FIRST_BLUR_LN: f64 = -0.1;
/// Blur from 0.2 to 12 px.
const BLUR_LN_BOUNDS: (f64, f64) = (-1.6, 2.5);

/// What is known of a quadrant mark before the fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct QuadrantGuess {
    /// Crossing of the edges, pixels of the photo.
    pub(super) centre: PxPoint,
    /// Direction of the level edge towards the right, radians from the picture's right, turning clockwise (y down).
    pub(super) right: f64,
    /// Direction of the upright edge towards the top, in the same sense (about -pi/2).
    pub(super) up: f64,
    /// Radius in pixels inside which the four sectors are all there is.
    pub(super) radius: f64,
    /// Logarithm of the light in the upper right and the lower left white sector.
    pub(super) light_ln: [f64; 2],
}

/// A quadrant mark's place.
#[derive(Debug, Clone, Copy)]
pub(super) struct QuadrantPlace {
    /// Crossing of the edges.
    pub(super) centre: PxPoint,
    /// Standard uncertainty of the centre per axis.
    pub(super) centre_sigma_px: f64,
    /// Fitted directions, as in the guess.
    pub(super) right: f64,
    pub(super) up: f64,
    /// Uncertainty of the centre as a share of the radius: small for a real mark, whatever its size and light.
    pub(super) doubt: f64,
}

/// Fits the two edges.
pub(super) fn refine(image: &LinearImage, guess: &QuadrantGuess, options: &FindOptions) -> Option<QuadrantPlace> {
    let block = (2.0 * guess.radius / options.disc.enough_px).ceil().max(1.0) as usize;
    let (centre, radius) = (guess.centre, guess.radius);
    let low = PxPoint::new(centre.x - radius, centre.y - radius);
    let high = PxPoint::new(centre.x + radius, centre.y + radius);
    let patch = Patch::cut(image, low, high, block)?;
    let samples = samples_of(&patch, centre, |x, y| {
        let to_grid = |t: f64| 0.5 * (t / radius + 1.0) * (LIGHT_SIDE - 1) as f64;
        (x.hypot(y) <= radius).then(|| (to_grid(x), to_grid(y)))
    });
    let pattern = Crossing { x: 0.0, y: 0.0, right: guess.right, up: guess.up, blur_ln: FIRST_BLUR_LN };
    let step = 0.5 * (LIGHT_SIDE - 1) as f64 / radius;
    let light = Light { ln: first_light(guess), grid_steps: [[step, 0.0], [0.0, step]] };
    let fitted = fit(&samples, pattern, &light)?;
    let end = fitted.pattern;
    let variance = 0.5 * (fitted.covariance[(0, 0)] + fitted.covariance[(1, 1)]);
    let has_stayed = end.x.hypot(end.y) <= options.disc.most_move_share * radius;
    let is_sharp = variance.sqrt() <= options.disc.most_sigma_share * radius;
    (has_stayed && is_sharp && fitted.misfit <= options.disc.most_misfit).then(|| QuadrantPlace {
        centre: PxPoint::new(centre.x + end.x, centre.y + end.y),
        centre_sigma_px: variance.sqrt().hypot(options.disc.model_sigma_px),
        right: end.right,
        up: end.up,
        doubt: variance.sqrt() / radius,
    })
}

/// Light that runs evenly from the lower left to the upper right white sector.
fn first_light(guess: &QuadrantGuess) -> [f64; LIGHT_NODES] {
    let mut out = [0.0; LIGHT_NODES];
    let middle = 0.5 * (guess.right + guess.up);
    let (sin, cos) = middle.sin_cos();
    for (node, ln) in out.iter_mut().enumerate() {
        let to_unit = |k: usize| 2.0 * k as f64 / (LIGHT_SIDE - 1) as f64 - 1.0;
        let along = to_unit(node % LIGHT_SIDE) * cos + to_unit(node / LIGHT_SIDE) * sin;
        let share = 0.5 * (1.0 + along.clamp(-1.0, 1.0));
        *ln = share * guess.light_ln[0] + (1.0 - share) * guess.light_ln[1];
    }
    out
}

/// Two edges that cross, white in the upper right and the lower left.
#[derive(Debug, Clone, Copy)]
struct Crossing {
    x: f64,
    y: f64,
    right: f64,
    up: f64,
    blur_ln: f64,
}

impl Pattern<PARAMETERS> for Crossing {
    fn look(&self, x: f64, y: f64) -> Look<PARAMETERS> {
        let blur = self.blur_ln.exp();
        let (dx, dy) = (x - self.x, y - self.y);
        // Signed distances: a to the right of the upright edge, b above the level edge.
        let (up_sin, up_cos) = self.up.sin_cos();
        let (right_sin, right_cos) = self.right.sin_cos();
        let a = (-up_sin * dx + up_cos * dy) / blur;
        let b = (right_sin * dx - right_cos * dy) / blur;
        let ((fa, pa), (fb, pb)) = (normal(a), normal(b));
        let white = fa * fb + (1.0 - fa) * (1.0 - fb);
        let (by_a, by_b) = (pa * (2.0 * fb - 1.0), pb * (2.0 * fa - 1.0));
        let along_up = (-up_cos * dx - up_sin * dy) / blur;
        let along_right = (right_cos * dx + right_sin * dy) / blur;
        Look {
            white,
            change: [
                (by_a * up_sin - by_b * right_sin) / blur,
                (-by_a * up_cos + by_b * right_cos) / blur,
                by_b * along_right,
                by_a * along_up,
                -(by_a * a + by_b * b),
            ],
        }
    }

    fn moved(&self, step: &[f64; PARAMETERS]) -> Option<Self> {
        let [x, y, right, up, blur_ln] = *step;
        Some(Self {
            x: self.x + x,
            y: self.y + y,
            right: self.right + right,
            up: self.up + up,
            blur_ln: (self.blur_ln + blur_ln).clamp(BLUR_LN_BOUNDS.0, BLUR_LN_BOUNDS.1),
        })
    }

    fn blur_ln(&self) -> f64 {
        self.blur_ln
    }
}
