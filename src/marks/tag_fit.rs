//! The sub-pixel place of a tag: all its edges fitted at once.
//!
//! **Takes** a code reading. **Gives** corners and projective centre with standard uncertainties, pixels. **How**: the
//! tag as a [`Pattern`]: a projective map (eight parameters) and a blur; each straight edge is blurred exactly, at its
//! corners the blur is taken along the tag's own axes, which is even on all sides. Every module edge adds to the place.

use super::decode::{Care, CodeReading, FIELD_SIDE, Levels, is_field_white, read};
use super::fit::{Fitted, LIGHT_NODES, LIGHT_SIDE, Light, Look, Pattern, fit, samples_of};
use super::gaussian::normal;
use super::options::FindOptions;
use super::patch::Patch;
use super::projective::Projective;
use super::quad::{Quad, is_plausible};
use super::tag_family::SQUARE_SIDE;
use crate::photo::LinearImage;
use crate::units::PxPoint;
use nalgebra::{Matrix3, SMatrix};

/// Parameters of the pattern: eight of the map, one of the blur.
const PARAMETERS: usize = 9;
/// Half a side of the black square in modules; the square runs from -1 to 1 in the map's own units.
const HALF: f64 = 0.5 * SQUARE_SIDE as f64;
/// Steps of the light's grid per unit of the map: the grid spans the square and one module around it.
const GRID_PER_UNIT: f64 = HALF / FIELD_SIDE as f64 * (LIGHT_SIDE - 1) as f64;
/// Blur before the fit, ln of pixels.
const FIRST_BLUR_LN: f64 = -0.1;
/// Least light, as a share of full scale.
const LEAST_LIGHT: f64 = 3e-4;
/// Blur at the start of a fit in a noisy picture, modules: it widens the reach to edges that are off by as much.
const NOISY_BLUR: f64 = 0.2;

/// A tag's place.
#[derive(Debug, Clone)]
pub(super) struct TagPlace {
    /// Corners in the order of the reading.
    pub(super) corners: Quad,
    /// Standard uncertainty of a corner per axis.
    pub(super) corner_sigma_px: f64,
    /// Projective centre.
    pub(super) centre: PxPoint,
    /// Standard uncertainty of the centre per axis.
    pub(super) centre_sigma_px: f64,
    /// Residuals as a share of the contrast.
    pub(super) misfit: f64,
    /// Blur, the standard deviation of a Gaussian.
    pub(super) blur_px: f64,
}

/// Fits a tag of the given code from a reading of it. What is too noisy to be a tag by its residuals must show its code
/// again at the fitted place.
pub(super) fn refine(
    image: &LinearImage,
    reading: &CodeReading,
    code: u64,
    care: Care,
    options: &FindOptions,
) -> Option<TagPlace> {
    let longest = (0..4).map(|k| reading.corners[k].distance(reading.corners[(k + 1) % 4])).fold(0.0, f64::max);
    let block = (longest / options.tag.enough_px).ceil() as usize;
    let reference = mean(&reading.corners);
    let map = centred_map(&reading.corners, reference)?;
    let patch = cut(image, &map, reference, block.max(1), options)?;
    let back = map.inverse()?;
    let reach = 1.0 + options.tag.margin / HALF;
    let samples = samples_of(&patch, reference, |x, y| {
        let own = back.apply((x, y))?;
        let to_grid = |s: f64| s * GRID_PER_UNIT + 0.5 * (LIGHT_SIDE - 1) as f64;
        (own.x.abs() <= reach && own.y.abs() <= reach).then(|| (to_grid(own.x), to_grid(own.y)))
    });
    let first_blur = if care == Care::Quick { 0.0 } else { NOISY_BLUR * longest / SQUARE_SIDE as f64 };
    let pattern = TagPattern::new(&map, FIRST_BLUR_LN.max(first_blur.ln()), code)?;
    let light = Light { ln: first_light(&reading.levels, code, options), grid_steps: grid_steps(&back)? };
    let fitted = fit(&samples, pattern, &light)?;
    let place = place_of(&fitted, reference, options)?;
    let most = options.tag.most_move_share * longest;
    let has_stayed = place.corners.iter().zip(&reading.corners).all(|(a, b)| a.distance(*b) <= most);
    let is_sound = has_stayed && is_plausible(&place.corners, options);
    let is_clear = place.misfit <= options.tag.most_misfit;
    (is_sound && (is_clear || is_confirmed(image, &place, code, longest, care, options))).then_some(place)
}

/// Whether a noisy tag shows its code where it was placed, and is placed surely.
fn is_confirmed(
    image: &LinearImage,
    place: &TagPlace,
    code: u64,
    side: f64,
    care: Care,
    options: &FindOptions,
) -> bool {
    care != Care::Quick
        && place.misfit <= options.tag.most_noisy_misfit
        && place.corner_sigma_px <= options.tag.most_noisy_sigma * side / SQUARE_SIDE as f64
        && read(image, &place.corners, &[code], care, options).is_some_and(|again| again.corners == place.corners)
}

fn mean(quad: &Quad) -> PxPoint {
    let sum = quad.iter().fold((0.0, 0.0), |sum, corner| (sum.0 + corner.x, sum.1 + corner.y));
    PxPoint::new(sum.0 / 4.0, sum.1 / 4.0)
}

/// The map from the square -1..1 to pixels from the reference.
fn centred_map(corners: &Quad, reference: PxPoint) -> Option<Projective> {
    let places = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
    let pairs: Vec<_> = places
        .into_iter()
        .zip(corners.iter().map(|corner| PxPoint::new(corner.x - reference.x, corner.y - reference.y)))
        .collect();
    Projective::fit(&pairs)
}

fn cut(
    image: &LinearImage,
    map: &Projective,
    reference: PxPoint,
    block: usize,
    options: &FindOptions,
) -> Option<Patch> {
    let reach = 1.0 + options.tag.margin / HALF;
    let (mut low, mut high) = (reference, reference);
    for place in [(-reach, -reach), (reach, -reach), (reach, reach), (-reach, reach)] {
        let corner = map.apply(place)?;
        low = PxPoint::new(low.x.min(reference.x + corner.x), low.y.min(reference.y + corner.y));
        high = PxPoint::new(high.x.max(reference.x + corner.x), high.y.max(reference.y + corner.y));
    }
    Patch::cut(image, low, high, block)
}

/// Steps on the light's grid per pixel, in the middle of the tag.
fn grid_steps(back: &Projective) -> Option<[[f64; 2]; 2]> {
    let [by_x, by_y] = back.steps_at((0.0, 0.0))?;
    Some([[by_x.x, by_y.x], [by_x.y, by_y.y]].map(|row| row.map(|step| step * GRID_PER_UNIT)))
}

/// Logarithm of the light at the grid's nodes: mean over the white modules near each node.
fn first_light(levels: &Levels, code: u64, options: &FindOptions) -> [f64; LIGHT_NODES] {
    let spacing = FIELD_SIDE as f64 / (LIGHT_SIDE - 1) as f64;
    let mut out = [0.0; LIGHT_NODES];
    for (node, ln) in out.iter_mut().enumerate() {
        let (x, y) = ((node % LIGHT_SIDE) as f64 * spacing, (node / LIGHT_SIDE) as f64 * spacing);
        let (mut sum, mut weights) = (0.0, 0.0);
        for (row, line) in levels.iter().enumerate() {
            for (column, level) in line.iter().enumerate() {
                if is_field_white(code, row, column) {
                    let far = (
                        (column as f64 + 0.5 - x) / options.tag.light_reach,
                        (row as f64 + 0.5 - y) / options.tag.light_reach,
                    );
                    let weight = (-0.5 * (far.0 * far.0 + far.1 * far.1)).exp();
                    sum += weight * level.max(LEAST_LIGHT).ln();
                    weights += weight;
                }
            }
        }
        *ln = sum / weights.max(f64::MIN_POSITIVE);
    }
    out
}

fn place_of(fitted: &Fitted<TagPattern, PARAMETERS>, reference: PxPoint, options: &FindOptions) -> Option<TagPlace> {
    let pattern = &fitted.pattern;
    let map = Projective(pattern.matrix());
    let mut corners = [PxPoint::default(); 4];
    let mut variance = 0.0;
    for (corner, (s, t)) in corners.iter_mut().zip([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]) {
        let place = map.apply((s, t))?;
        *corner = PxPoint::new(reference.x + place.x, reference.y + place.y);
        let change = pattern.change_of_place(s, t, place);
        variance += (change * fitted.covariance * change.transpose()).trace() / 8.0;
    }
    let centre_variance = 0.5 * (fitted.covariance[(2, 2)] + fitted.covariance[(5, 5)]);
    // Where an edge and its neighbour blur into one, sharpening and coding shift both.
    let side_px = 0.25 * (0..4).map(|k| corners[k].distance(corners[(k + 1) % 4])).sum::<f64>();
    let small = options.tag.small_sigma_px * (SQUARE_SIDE as f64 / side_px.max(1.0)).powi(3);
    let with_model = |variance: f64| variance.sqrt().hypot(options.tag.model_sigma_px).hypot(small);
    Some(TagPlace {
        corners,
        corner_sigma_px: with_model(variance),
        centre: PxPoint::new(reference.x + pattern.h[2], reference.y + pattern.h[5]),
        centre_sigma_px: with_model(centre_variance),
        misfit: fitted.misfit,
        blur_px: pattern.blur_ln.exp(),
    })
}

/// A tag under a projective map, blurred.
#[derive(Debug, Clone)]
struct TagPattern {
    /// Entries of the map by rows; the last is 1.
    h: [f64; 8],
    back: Matrix3<f64>,
    blur_ln: f64,
    /// Blur, pixels: the exponential of `blur_ln`.
    blur: f64,
    /// Darkness of the square's modules, rows from the top.
    dark: [[f64; SQUARE_SIDE]; SQUARE_SIDE],
}

impl TagPattern {
    fn new(map: &Projective, blur_ln: f64, code: u64) -> Option<Self> {
        let m = map.0 / map.0[(2, 2)];
        let h = [m[(0, 0)], m[(0, 1)], m[(0, 2)], m[(1, 0)], m[(1, 1)], m[(1, 2)], m[(2, 0)], m[(2, 1)]];
        let mut dark = [[0.0; SQUARE_SIDE]; SQUARE_SIDE];
        for (row, line) in dark.iter_mut().enumerate() {
            for (column, dark) in line.iter_mut().enumerate() {
                *dark = if is_field_white(code, row + 1, column + 1) { 0.0 } else { 1.0 };
            }
        }
        Self { h, back: Matrix3::identity(), blur_ln, blur: 0.0, dark }.completed()
    }

    fn matrix(&self) -> Matrix3<f64> {
        let h = &self.h;
        Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0)
    }

    /// With what follows from the parameters.
    fn completed(mut self) -> Option<Self> {
        self.blur = self.blur_ln.exp();
        self.back = self.matrix().try_inverse()?;
        let is_sound = self.back.iter().all(|entry| entry.is_finite()) && self.h[6].abs() + self.h[7].abs() < 1.0;
        is_sound.then_some(self)
    }

    /// Change of a place (x in the first row, y in the second) per parameter.
    fn change_of_place(&self, s: f64, t: f64, place: PxPoint) -> SMatrix<f64, 2, PARAMETERS> {
        let w = 1.0 + self.h[6] * s + self.h[7] * t;
        let (a, b, c) = (s / w, t / w, 1.0 / w);
        let (x, y) = (place.x, place.y);
        SMatrix::<f64, 2, PARAMETERS>::from_row_slice(&[
            a,
            b,
            c,
            0.0,
            0.0,
            0.0,
            -x * a,
            -x * b,
            0.0,
            0.0,
            0.0,
            0.0,
            a,
            b,
            c,
            -y * a,
            -y * b,
            0.0,
        ])
    }

    /// Darkness at (u, v) in modules under blurs of `blur_u`, `blur_v` modules, and its change by u, v and ln blur.
    fn darkness(&self, u: f64, v: f64, blur_u: f64, blur_v: f64) -> [f64; 4] {
        let (across, down) = (cells(u, blur_u), cells(v, blur_v));
        let (mut value, mut by_u, mut by_v, mut by_blur) = (0.0, 0.0, 0.0, 0.0);
        for (dark, part) in self.dark[down.first..].iter().zip(down.parts()) {
            let (mut line, mut line_by_u, mut line_by_blur) = (0.0, 0.0, 0.0);
            for (dark, part) in dark[across.first..].iter().zip(across.parts()) {
                line += dark * part[0];
                line_by_u += dark * part[1];
                line_by_blur += dark * part[2];
            }
            value += line * part[0];
            by_u += line_by_u * part[0];
            by_v += line * part[1];
            by_blur += line_by_blur * part[0] + line * part[2];
        }
        [value, by_u, by_v, by_blur]
    }
}

/// Most modules along one axis that blur mixes.
const MAX_CELLS: usize = SQUARE_SIDE;
/// Reach of the blur in sigmas.
const BLUR_REACH: f64 = 3.2;

/// The modules along one axis that a blurred point sees: their share, its change by place and by ln blur.
struct Cells {
    first: usize,
    count: usize,
    parts: [[f64; 3]; MAX_CELLS],
}

impl Cells {
    #[inline]
    fn parts(&self) -> &[[f64; 3]] {
        &self.parts[..self.count]
    }
}

fn cells(place: f64, blur: f64) -> Cells {
    let reach = BLUR_REACH * blur;
    let last = SQUARE_SIDE as f64;
    // Within the square truncation is the floor, and faster.
    let (from, to) = ((place - reach).clamp(0.0, last), (place + reach).clamp(0.0, last));
    let (first, whole) = (from as i32 as usize, to as i32);
    let end = whole as usize + usize::from(f64::from(whole) < to);
    let mut out = Cells { first, count: end.saturating_sub(first), parts: [[0.0; 3]; MAX_CELLS] };
    if out.count == 1 && reach < place && place < last - reach {
        // Far from all edges.
        out.parts[0] = [1.0, 0.0, 0.0];
        return out;
    }
    let mut z0 = (first as f64 - place) / blur;
    let mut low = normal(z0);
    for (k, part) in out.parts[..out.count].iter_mut().enumerate() {
        let z1 = ((first + k + 1) as f64 - place) / blur;
        let high = normal(z1);
        *part = [high.0 - low.0, (low.1 - high.1) / blur, z0 * low.1 - z1 * high.1];
        (z0, low) = (z1, high);
    }
    out
}

impl Pattern<PARAMETERS> for TagPattern {
    fn look(&self, x: f64, y: f64) -> Look<PARAMETERS> {
        let (h, b) = (&self.h, &self.back);
        let q = b[(2, 0)] * x + b[(2, 1)] * y + b[(2, 2)];
        let s = (b[(0, 0)] * x + b[(0, 1)] * y + b[(0, 2)]) / q;
        let t = (b[(1, 0)] * x + b[(1, 1)] * y + b[(1, 2)]) / q;
        let w = 1.0 + h[6] * s + h[7] * t;
        let (xs, xt) = ((h[0] - x * h[6]) / w, (h[1] - x * h[7]) / w);
        let (ys, yt) = ((h[3] - y * h[6]) / w, (h[4] - y * h[7]) / w);
        let det = xs * yt - xt * ys;
        let blur = HALF * self.blur / det.abs();
        let [dark, du, dv, dblur] = self.darkness(
            HALF * (s + 1.0),
            HALF * (t + 1.0),
            blur * (yt * yt + xt * xt).sqrt(),
            blur * (ys * ys + xs * xs).sqrt(),
        );
        // Whiteness is 1 - darkness; a place moves against the map, hence the signs cancel.
        let (ps, pt) = (HALF * du, HALF * dv);
        let by_x = (ps * yt - pt * ys) / det;
        let by_y = (pt * xs - ps * xt) / det;
        let (a, c, e) = (s / w, t / w, 1.0 / w);
        let shear = -(by_x * x + by_y * y);
        Look {
            white: 1.0 - dark,
            change: [by_x * a, by_x * c, by_x * e, by_y * a, by_y * c, by_y * e, shear * a, shear * c, -dblur],
        }
    }

    fn moved(&self, step: &[f64; PARAMETERS]) -> Option<Self> {
        let mut next = self.clone();
        for (entry, change) in next.h.iter_mut().zip(step) {
            *entry += change;
        }
        next.blur_ln = (next.blur_ln + step[PARAMETERS - 1]).clamp(BLUR_LN_BOUNDS.0, BLUR_LN_BOUNDS.1);
        next.completed()
    }

    fn blur_ln(&self) -> f64 {
        self.blur_ln
    }

    fn moved_px(&self, step: &[f64]) -> f64 {
        // The map's linear part moves corners, its constants all of the tag, the blur is a share of itself.
        let map: f64 = step[..6].iter().map(|change| change.abs()).fold(0.0, f64::max);
        let tilt = (step[6].abs() + step[7].abs()) * (self.h[0].abs() + self.h[4].abs());
        map.max(tilt).max(step[PARAMETERS - 1].abs() * self.blur)
    }
}

/// Blur from 0.2 to 12 px.
const BLUR_LN_BOUNDS: (f64, f64) = (-1.6, 2.5);
