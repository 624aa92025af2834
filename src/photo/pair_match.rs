//! Patches of one photo found again in another of different light.
//!
//! **How**: in small pictures without shading, patches that have texture in both photos are laid over the other photo
//! at every displacement of the search, by normalised correlation; all patches vote together on the displacement. Each is
//! then followed to finer pictures and placed to a fraction of a pixel by least squares with free gain and offset
//! (Lucas-Kanade), which also tells how well each direction is known: an edge tells nothing along itself.

use super::image::Photo;
use super::options::PhotoOptions;
use super::pair_reduce::{Field, Window};
use crate::units::PxPoint;
use rayon::prelude::*;

/// Longest side of the coarse picture, about: 8 pixels of a 12-megapixel photo are one of it.
const COARSE_SIDE: usize = 512;
/// Side of a patch in the coarse picture: a mark or two of a usual bay.
const PATCH: usize = 24;
/// Farthest displacement that is tried in the coarse picture: 80 pixels of a 12-megapixel photo.
pub(super) const SEARCH: usize = 10;
/// Displacements along one axis.
const SPAN: usize = 2 * SEARCH + 1;
/// Distance of the places where patches are tried.
const STRIDE: usize = 8;
/// Patches that are followed at most, half of them by their texture, half by their corners.
const PATCHES: usize = 120;
/// Steps in the coarse picture by which a patch may deviate from the vote, so that a small rotation is followed.
const DEVIATION: isize = 3;
/// Steps of the fine placing; it converges in 4 or 5.
const FINE_STEPS: usize = 15;
/// The fine placing ends when a step is shorter than this, pixels of the fine picture.
const FINE_STEP_PX: f64 = 0.003;
/// Farthest that the fine placing may go, pixels of the fine picture.
const FINE_REACH: usize = 6;
/// Pixels that interpolation needs beyond the place.
const FINE_RIM: f64 = 2.0;
/// Pixels that share their noise after smoothing twice: 1 / (sum of squared weights 1 4 6 4 1 / 16, along both axes).
const LINKED_PIXELS: f64 = 13.4;
/// Mean squared slope of smoothed noise in its variances: central difference, correlation 0.4 at two pixels.
const SLOPE_NOISE: f64 = 0.3;
/// Least information of a direction, as a share of all: what is known along a pure edge is as good as nothing.
const LEAST_INFORMATION: f64 = 1e-6;

/// A patch found in both photos.
#[derive(Debug, Clone, Copy)]
pub(super) struct Match {
    /// Centre of the patch in the first photo.
    pub(super) place: PxPoint,
    /// Where it stands in the second, relative to that; pixels.
    pub(super) shift: [f64; 2],
    /// Covariance of the shift: xx, xy, yy; square pixels.
    pub(super) covariance: [f64; 3],
}

/// What the search brought.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) matches: Vec<Match>,
    /// Patches that were tried.
    pub(super) tried: usize,
}

/// A patch on its way: centre and displacement in the picture at hand.
#[derive(Debug, Clone, Copy)]
struct Patch {
    x: usize,
    y: usize,
    shift: (isize, isize),
}

/// Finds patches of photo `a` in photo `b`; both have the same size.
pub(super) fn find_matches(a: &Photo, b: &Photo, options: &PhotoOptions) -> Found {
    let side = a.width().max(a.height());
    let coarse = side.div_ceil(COARSE_SIDE).next_power_of_two();
    let (middle, fine) = (coarse.div_ceil(2), coarse.div_ceil(4));
    let middle_logs = [a, b].map(|photo| Field::cut(photo, &Window::whole(photo, middle)));
    let coarse_logs =
        if coarse > middle { [middle_logs[0].halved(), middle_logs[1].halved()] } else { middle_logs.clone() };
    let [small_a, small_b] = coarse_logs.map(|field| field.without_shading(PATCH / 2));
    let patches = textured(&small_a, &small_b);
    let tried = patches.len();
    let patches = vote(&small_a, &small_b, &patches, options);
    let scale = coarse / middle;
    let [mid_a, mid_b] = middle_logs.map(|field| field.without_shading(scale * PATCH / 2));
    let finer = coarse / fine;
    let matches = patches.par_iter().filter_map(|patch| {
        let patch = follow(&mid_a, &mid_b, patch, scale, options)?;
        place_finely(a, b, &patch, finer / scale, fine, finer * PATCH, options)
    });
    Found { matches: matches.collect(), tried }
}

/// Patches with texture in both pictures.
fn textured(a: &Field, b: &Field) -> Vec<Patch> {
    let margin = PATCH / 2 + SEARCH + 1;
    if a.width <= 2 * margin || a.height <= 2 * margin {
        return Vec::new();
    }
    let columns: Vec<usize> = (margin..a.width - margin).step_by(STRIDE).collect();
    let places: Vec<_> =
        (margin..a.height - margin).step_by(STRIDE).flat_map(|y| columns.iter().map(move |&x| (x, y))).collect();
    let structure = |field: &Field| places.iter().map(|&(x, y)| structure_at(field, x, y)).collect::<Vec<_>>();
    let (of_a, of_b) = (structure(a), structure(b));
    let mut chosen: Vec<Patch> = Vec::new();
    // By the whole texture first, then by that of the weaker direction: edges alone would leave one axis open.
    for (kind, most) in [(0, PATCHES / 2), (1, PATCHES)] {
        let (median_a, median_b) = (median(of_a.iter().map(|s| s[kind])), median(of_b.iter().map(|s| s[kind])));
        let score = |i: usize| (of_a[i][kind] / median_a).min(of_b[i][kind] / median_b);
        let mut order: Vec<(f32, usize)> = (0..places.len()).map(|i| (score(i), i)).collect();
        order.sort_unstable_by(|left, right| right.0.total_cmp(&left.0));
        for (_, i) in order {
            let (x, y) = places[i];
            let is_free = |patch: &Patch| patch.x.abs_diff(x).max(patch.y.abs_diff(y)) >= 2 * STRIDE;
            if chosen.len() < most && chosen.iter().all(is_free) {
                chosen.push(Patch { x, y, shift: (0, 0) });
            }
        }
    }
    chosen
}

fn median(values: impl Iterator<Item = f32>) -> f32 {
    let mut values: Vec<f32> = values.collect();
    let middle = values.len() / 2;
    values.select_nth_unstable_by(middle, f32::total_cmp).1.max(f32::MIN_POSITIVE)
}

/// Sum and smaller one of the eigenvalues of a patch's structure tensor.
fn structure_at(field: &Field, x: usize, y: usize) -> [f32; 2] {
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for row in y - PATCH / 2..y + PATCH / 2 {
        let at = row * field.width;
        for i in at + x - PATCH / 2..at + x + PATCH / 2 {
            let dx = field.data[i + 1] - field.data[i - 1];
            let dy = field.data[i + field.width] - field.data[i - field.width];
            xx += dx * dx;
            xy += dx * dy;
            yy += dy * dy;
        }
    }
    let (sum, root) = (xx + yy, ((xx - yy) * (xx - yy) + 4.0 * xy * xy).sqrt());
    [sum, 0.5 * (sum - root).max(0.0)]
}

/// A square of a field less its mean, and the sum of its squares.
fn template(field: &Field, x: usize, y: usize, size: usize) -> (Vec<f32>, f32) {
    let rows = (y - size / 2..y - size / 2 + size).map(|row| row * field.width + x - size / 2);
    let mut values: Vec<f32> = rows.flat_map(|start| field.data[start..start + size].iter().copied()).collect();
    let mean = values.iter().sum::<f32>() / values.len() as f32;
    for value in &mut values {
        *value -= mean;
    }
    let square = values.iter().map(|value| value * value).sum();
    (values, square)
}

/// Normalised correlation of a template with the square around (x, y).
fn correlation(template: &(Vec<f32>, f32), field: &Field, x: usize, y: usize, size: usize) -> f32 {
    let (mut sum, mut square, mut product) = (0.0_f32, 0.0_f32, 0.0_f32);
    for (row, wanted) in template.0.chunks_exact(size).enumerate() {
        let start = (y - size / 2 + row) * field.width + x - size / 2;
        for (value, wanted) in field.data[start..start + size].iter().zip(wanted) {
            sum += value;
            square += value * value;
            product += value * wanted;
        }
    }
    let spread = square - sum * sum / (size * size) as f32;
    let norm = (spread.max(0.0) * template.1).sqrt();
    if norm > f32::MIN_POSITIVE { product / norm } else { 0.0 }
}

/// Lets all patches vote on the displacement; returns those that agree, each with its own best one nearby.
fn vote(a: &Field, b: &Field, patches: &[Patch], options: &PhotoOptions) -> Vec<Patch> {
    let surfaces: Vec<Vec<f32>> = patches
        .par_iter()
        .map(|patch| {
            let template = template(a, patch.x, patch.y, PATCH);
            let steps = (0..SPAN * SPAN).map(|i| (patch.x + i % SPAN - SEARCH, patch.y + i / SPAN - SEARCH));
            steps.map(|(x, y)| correlation(&template, b, x, y, PATCH)).collect()
        })
        .collect();
    let mut votes = vec![0.0_f32; SPAN * SPAN];
    for surface in &surfaces {
        votes.iter_mut().zip(surface).for_each(|(votes, value)| *votes += value.max(0.0).powi(2));
    }
    let best = votes.iter().enumerate().max_by(|left, right| left.1.total_cmp(right.1)).map_or(0, |(i, _)| i);
    let peak = ((best % SPAN) as isize, (best / SPAN) as isize);
    let near = |centre: isize| (centre - DEVIATION).max(0)..=(centre + DEVIATION).min(SPAN as isize - 1);
    let own = |(patch, surface): (&Patch, &Vec<f32>)| {
        let steps = near(peak.1).flat_map(|y| near(peak.0).map(move |x| (x, y)));
        let value = |&(x, y): &(isize, isize)| surface[y as usize * SPAN + x as usize];
        let (x, y) = steps.max_by(|left, right| value(left).total_cmp(&value(right)))?;
        let shift = (x - SEARCH as isize, y - SEARCH as isize);
        (value(&(x, y)) >= options.pair.coarse_correlation).then_some(Patch { shift, ..*patch })
    };
    patches.iter().zip(&surfaces).filter_map(own).collect()
}

/// Follows a patch to a picture finer by `scale`.
fn follow(a: &Field, b: &Field, patch: &Patch, scale: usize, options: &PhotoOptions) -> Option<Patch> {
    const NEARBY: isize = 2;
    let size = scale * PATCH;
    let (x, y) = (scale * patch.x, scale * patch.y);
    let template = template(a, x, y, size);
    let around = |shift: isize| shift * scale as isize - NEARBY..=shift * scale as isize + NEARBY;
    let steps = around(patch.shift.1).flat_map(|dy| around(patch.shift.0).map(move |dx| (dx, dy)));
    let inside = |place: isize, length: usize| {
        let half = (size / 2) as isize;
        (half..=length as isize - half).contains(&place).then_some(place as usize)
    };
    let value = |(dx, dy): (isize, isize)| {
        let (x, y) = (inside(x as isize + dx, b.width)?, inside(y as isize + dy, b.height)?);
        Some((correlation(&template, b, x, y, size), (dx, dy)))
    };
    let (best, shift) = steps.filter_map(value).max_by(|left, right| left.0.total_cmp(&right.0))?;
    (best >= options.pair.coarse_correlation).then_some(Patch { x, y, shift })
}

/// Places a patch to a fraction of a pixel, in pictures of `factor` pixels, finer by `scale` than the patch's.
fn place_finely(
    a: &Photo,
    b: &Photo,
    patch: &Patch,
    scale: usize,
    factor: usize,
    size: usize,
    options: &PhotoOptions,
) -> Option<Match> {
    let (x, y) = (scale * patch.x, scale * patch.y);
    let (dx, dy) = (scale as isize * patch.shift.0, scale as isize * patch.shift.1);
    // A rim as wide as the shading's mean is cut with the patch and cut off again: the mean must be whole.
    let rim = size / 6;
    let cut = |photo: &Photo, middle_x: usize, middle_y: usize, half: usize| {
        let whole = Window::whole(photo, factor);
        let (left, top) = (middle_x.checked_sub(half + rim)?, middle_y.checked_sub(half + rim)?);
        let side = 2 * (half + rim);
        let window = Window { left, top, width: side, height: side, factor };
        let fits = left + side <= whole.width && top + side <= whole.height;
        fits.then(|| Field::cut(photo, &window).without_shading(rim).smoothed().smoothed().trimmed(rim))
    };
    let wanted = cut(a, x, y, size / 2)?;
    let other = cut(b, x.checked_add_signed(dx)?, y.checked_add_signed(dy)?, size / 2 + FINE_REACH)?;
    let (rest, covariance) = Placing::new(&wanted, &other).run(options)?;
    let unit = factor as f64;
    Some(Match {
        place: PxPoint::new(x as f64 * unit, y as f64 * unit),
        shift: [unit * (dx as f64 + rest[0]), unit * (dy as f64 + rest[1])],
        covariance: covariance.map(|entry| entry * unit * unit),
    })
}

/// Least-squares placing of a field within a larger one, with free gain and offset.
struct Placing<'a> {
    wanted: &'a Field,
    other: &'a Field,
    /// Index in `wanted` and its gradient there, of the inner pixels.
    slopes: Vec<(usize, f32, f32)>,
    /// Sums of squared gradients: xx, xy, yy.
    tensor: [f64; 3],
}

impl<'a> Placing<'a> {
    fn new(wanted: &'a Field, other: &'a Field) -> Self {
        let w = wanted.width;
        let inner = (2..wanted.height - 2).flat_map(|y| (2..w - 2).map(move |x| y * w + x));
        let value = |i: usize| wanted.data[i];
        let slope = |i: usize| (i, 0.5 * (value(i + 1) - value(i - 1)), 0.5 * (value(i + w) - value(i - w)));
        let slopes: Vec<_> = inner.map(slope).collect();
        let mut tensor = [0.0; 3];
        for &(_, dx, dy) in &slopes {
            let (dx, dy) = (f64::from(dx), f64::from(dy));
            tensor[0] += dx * dx;
            tensor[1] += dx * dy;
            tensor[2] += dy * dy;
        }
        Self { wanted, other, slopes, tensor }
    }

    /// The displacement relative to the larger field's middle, and its covariance.
    fn run(&self, options: &PhotoOptions) -> Option<([f64; 2], [f64; 3])> {
        // Keeps a pure edge from running along itself.
        const DAMPING: f64 = 1e-3;
        let trace = self.tensor[0] + self.tensor[2];
        let damped = [self.tensor[0] + DAMPING * trace, self.tensor[1], self.tensor[2] + DAMPING * trace];
        let inverse = invert(damped)?;
        let mut at = [0.0, 0.0];
        for _ in 0..FINE_STEPS {
            let fit = self.compare(at)?;
            let (sx, sy) = (fit.slope_sums[0] / fit.gain, fit.slope_sums[1] / fit.gain);
            let step = [inverse[0] * sx + inverse[1] * sy, inverse[1] * sx + inverse[2] * sy];
            at = [at[0] - step[0], at[1] - step[1]];
            if at.iter().any(|place| place.abs() > FINE_REACH as f64 - FINE_RIM) {
                return None;
            }
            if step[0].hypot(step[1]) < FINE_STEP_PX {
                let fit = self.compare(at)?;
                let covariance = self.covariance(fit.variance / (fit.gain * fit.gain), options)?;
                return (fit.correlation >= f64::from(options.pair.fine_correlation)).then_some((at, covariance));
            }
        }
        None
    }

    /// Covariance of the displacement for a mean squared residual, in the units of the wanted patch.
    fn covariance(&self, residual: f64, options: &PhotoOptions) -> Option<[f64; 3]> {
        let trace = self.tensor[0] + self.tensor[2];
        // Noise has slopes too, which place nothing; taking all of the residual for noise of this patch errs to the
        // safe side.
        let noise = SLOPE_NOISE * residual * self.slopes.len() as f64;
        let least = LEAST_INFORMATION * trace;
        let (mean, half) = (0.5 * trace, 0.5 * (self.tensor[0] - self.tensor[2]).hypot(2.0 * self.tensor[1]));
        let (strong, weak) = ((mean + half - noise).max(least), (mean - half - noise).max(least));
        // Back from the eigenvalues: with half the difference of the new ones, the axes stay as they are.
        let turn = if half > 0.0 { 0.5 * (strong - weak) / half } else { 0.0 };
        let (middle, lean) = (0.5 * (strong + weak), 0.5 * turn * (self.tensor[0] - self.tensor[2]));
        let inverse = invert([middle + lean, turn * self.tensor[1], middle - lean])?;
        let (scatter, floor) =
            (residual * LINKED_PIXELS, options.pair.placing_floor_px * options.pair.placing_floor_px);
        Some([scatter * inverse[0] + floor, scatter * inverse[1], scatter * inverse[2] + floor])
    }

    /// The larger field seen through the smaller one's window at (x, y), by cubic interpolation: linear interpolation
    /// of texture as fine as the pixels would pull every placing towards half a pixel. Rim pixels stay zero.
    fn moved(&self, [x, y]: [f64; 2]) -> Vec<f32> {
        let (w, h, stride) = (self.wanted.width, self.wanted.height, self.other.width);
        let (left, top) = (x.floor() as usize, y.floor() as usize);
        let (across, down) = (cubic((x - x.floor()) as f32), cubic((y - y.floor()) as f32));
        let mut rows = vec![0.0; w * (h + 3)];
        for (row, out) in rows.chunks_exact_mut(w).enumerate() {
            let start = (top + row).saturating_sub(1) * stride + left - 1;
            for (taps, out) in self.other.data[start..start + w + 3].windows(across.len()).zip(out) {
                *out = across[0] * taps[0] + across[1] * taps[1] + across[2] * taps[2] + across[3] * taps[3];
            }
        }
        let tap = |i: usize, row: usize| rows[i + row * w];
        (0..w * h).map(|i| (0..4).map(|row| down[row] * tap(i, row)).sum()).collect()
    }

    fn compare(&self, at: [f64; 2]) -> Option<Comparison> {
        let moved = self.moved([at[0] + FINE_REACH as f64, at[1] + FINE_REACH as f64]);
        let mut sums = [0.0_f64; 5];
        let mut slope = [0.0_f64; 2];
        let mut linked = [0.0_f64; 4];
        for &(i, dx, dy) in &self.slopes {
            let (wanted, found) = (f64::from(self.wanted.data[i]), f64::from(moved[i]));
            let (dx, dy) = (f64::from(dx), f64::from(dy));
            for (sum, value) in sums.iter_mut().zip([wanted, found, wanted * wanted, wanted * found, found * found]) {
                *sum += value;
            }
            slope[0] += dx * found;
            slope[1] += dy * found;
            for (sum, value) in linked.iter_mut().zip([dx * wanted, dy * wanted, dx, dy]) {
                *sum += value;
            }
        }
        let count = self.slopes.len() as f64;
        let (mean_wanted, mean_found) = (sums[0] / count, sums[1] / count);
        let (ww, wf, ff) = (
            sums[2] - count * mean_wanted * mean_wanted,
            sums[3] - count * mean_wanted * mean_found,
            sums[4] - count * mean_found * mean_found,
        );
        if wf <= 0.0 || ww <= 0.0 || ff <= 0.0 {
            return None;
        }
        let gain = wf / ww;
        let offset = mean_found - gain * mean_wanted;
        let slope_sums = [0, 1].map(|axis| slope[axis] - gain * linked[axis] - offset * linked[axis + 2]);
        let variance = (ff - gain * wf).max(0.0) / count;
        Some(Comparison { gain, slope_sums, variance, correlation: wf / (ww * ff).sqrt() })
    }
}

/// Weights of four neighbours for a place at a fraction between the middle two (cubic convolution with a = -1/2, R. Keys,
/// IEEE Transactions on Acoustics, Speech, and Signal Processing 29, 1981).
fn cubic(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [0.5 * (2.0 * t2 - t3 - t), 0.5 * (3.0 * t3 - 5.0 * t2 + 2.0), 0.5 * (4.0 * t2 - 3.0 * t3 + t), 0.5 * (t3 - t2)]
}

struct Comparison {
    gain: f64,
    /// Sums of gradient times residual.
    slope_sums: [f64; 2],
    /// Mean squared residual.
    variance: f64,
    correlation: f64,
}

/// Inverse of a symmetric matrix given as xx, xy, yy.
pub(super) fn invert(matrix: [f64; 3]) -> Option<[f64; 3]> {
    let determinant = matrix[0] * matrix[2] - matrix[1] * matrix[1];
    (determinant > f64::MIN_POSITIVE).then(|| [matrix[2], -matrix[1], matrix[0]].map(|entry| entry / determinant))
}
