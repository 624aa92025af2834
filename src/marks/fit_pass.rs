//! One run of the mark fit over its samples: model, normal equations, residuals and what they tell of the noise.
//!
//! The model and its parameters are described in [`super::fit`].

use super::fit::{LIGHT_NODES, LIGHT_SIDE, Light, Pattern, Sample};
use super::fit_sums::{MAX_OWN, NODE_STEPS, Sums, TOGETHER};
use super::srgb_table::{SrgbTable, encode};
use nalgebra::{DMatrix, DVector};
use std::ops::Range;

/// A change of whiteness per parameter under this tells nothing of place or blur: an edge's are some tenths.
const FLAT: f64 = 1e-4;
/// Spread of the light's second differences that is expected between nodes, in natural logarithm.
const LIGHT_BEND: f64 = 0.4;
/// Expected logarithm of the blur in pixels, and its spread: 0.5 to 2 px are common.
const BLUR_LN: (f64, f64) = (-0.1, 0.6);
/// Expected growth of edges, and its spread.
const GROWTH: (f64, f64) = (0.0, 0.12);
/// Expected logarithm of the black's reflectance against white, and its spread: 0.03 to 0.2 (common practice).
const BLACK_LN: (f64, f64) = (-2.7, 0.8);
/// Residuals beyond this many noise sigmas lose weight (Huber 1964 gives 1.345 to 2).
const HUBER: f64 = 2.0;
/// Least noise in codes: rounding to whole codes (1/sqrt(12)).
const LEAST_NOISE: f64 = 0.29;
/// Factor on a parameter's curvature that holds it.
const HELD: f64 = 1e9;
/// Bounds that keep a wild step from running off: light from 1e-5 to 50 of full scale, black from 0.0005 to 0.8 of
/// white.
const LIGHT_LN_BOUNDS: (f64, f64) = (-11.5, 3.9);
const BLACK_LN_BOUNDS: (f64, f64) = (-7.6, -0.2);
/// Growth beyond this would not keep the whiteness monotone.
const GROWTH_BOUND: f64 = 0.24;
/// Largest shift of edges by blur under a gradient of light, pixels: a wild light early in a fit must not lose the
/// mark.
const MAX_BLUR_SHIFT: f64 = 2.0;
/// Reach in samples over which the residuals' correlation is summed.
const CORRELATION_REACH: usize = 3;
/// Median of the absolute value of a standard normal, for a robust sigma.
const MEDIAN_TO_SIGMA: f64 = 1.4826;

/// All that the fit moves.
#[derive(Debug, Clone)]
pub(super) struct State<P> {
    pub(super) pattern: P,
    pub(super) growth: f64,
    pub(super) black_ln: f64,
    pub(super) light: Light,
}

impl<P> State<P> {
    /// The start of a fit.
    pub(super) fn new(pattern: P, light: &Light) -> Self {
        Self { pattern, growth: GROWTH.0, black_ln: BLACK_LN.0, light: light.clone() }
    }

    /// Logarithm of the light at the four nodes around a sample.
    #[inline]
    fn around(&self, sample: &Sample) -> [f64; 4] {
        let [a, b, c, d] = NODE_STEPS;
        let (ln, first) = (&self.light.ln, sample.first_node);
        [ln[first + a], ln[first + b], ln[first + c], ln[first + d]]
    }

    /// Light on white at a sample.
    fn light(&self, sample: &Sample) -> f64 {
        let [a, b, c, d] = &sample.node_weights;
        let [upper_left, upper_right, lower_left, lower_right] = self.around(sample);
        (upper_left * a + upper_right * b + lower_left * c + lower_right * d).exp()
    }

    /// By how much blur shifts edges at a sample, pixels: the gradient of the light's logarithm times the blur's
    /// square.
    fn blur_shift(&self, sample: &Sample, blur_square: f64) -> (f64, f64) {
        let [upper_left, upper_right, lower_left, lower_right] = self.around(sample);
        let (fx, fy) = sample.between;
        let along = (upper_right - upper_left) * (1.0 - fy) + (lower_right - lower_left) * fy;
        let down = (lower_left - upper_left) * (1.0 - fx) + (lower_right - upper_right) * fx;
        let [columns, rows] = self.light.grid_steps;
        let bound = |shift: f64| (shift * blur_square).clamp(-MAX_BLUR_SHIFT, MAX_BLUR_SHIFT);
        (bound(along * columns[0] + down * rows[0]), bound(along * columns[1] + down * rows[1]))
    }

    /// Mean difference of white and black in codes.
    pub(super) fn contrast(&self, samples: &[Sample]) -> f64 {
        let black = self.black_ln.exp();
        let sum: f64 = samples
            .iter()
            .map(|sample| self.light(sample))
            .map(|light| encode(light.min(1.0)).0 - encode((light * black).min(1.0)).0)
            .sum();
        sum / samples.len().max(1) as f64
    }

    pub(super) fn moved<const N: usize>(&self, step: &DVector<f64>) -> Option<Self>
    where
        P: Pattern<N>,
    {
        let mut shape = [0.0; N];
        shape.copy_from_slice(&step.as_slice()[..N]);
        let mut light = self.light.clone();
        for (ln, change) in light.ln.iter_mut().zip(&step.as_slice()[N + 2..]) {
            *ln = (*ln + change).clamp(LIGHT_LN_BOUNDS.0, LIGHT_LN_BOUNDS.1);
        }
        Some(Self {
            pattern: self.pattern.moved(&shape)?,
            growth: (self.growth + step[N]).clamp(-GROWTH_BOUND, GROWTH_BOUND),
            black_ln: (self.black_ln + step[N + 1]).clamp(BLACK_LN_BOUNDS.0, BLACK_LN_BOUNDS.1),
            light,
        })
    }
}

/// What is the same for all samples of a run.
struct Constants {
    noise: f64,
    black: f64,
    blur_square: f64,
    curve: &'static SrgbTable,
}

/// One run over all samples: the normal equations and the residuals.
#[derive(Debug, Clone)]
pub(super) struct Pass {
    size: usize,
    /// Noise in codes that the weights stand for.
    pub(super) weighted_for: f64,
    /// Curvature, upper triangle filled, row by row.
    normal: Vec<f64>,
    slope: Vec<f64>,
    /// Code minus model; 0 where a clipped pixel says nothing.
    residuals: Vec<f64>,
    /// Change of the code with the place of an edge, up to a factor: 0 away from edges and where `residuals` is silent.
    edges: Vec<f64>,
    prior_cost: f64,
}

impl Pass {
    pub(super) fn of<P: Pattern<N>, const N: usize>(state: &State<P>, samples: &[Sample], noise: f64) -> Self {
        let size = N + 2 + LIGHT_NODES;
        let mut pass = Self {
            size,
            weighted_for: noise,
            normal: vec![0.0; size * size],
            slope: vec![0.0; size],
            residuals: Vec::with_capacity(samples.len()),
            edges: Vec::with_capacity(samples.len()),
            prior_cost: 0.0,
        };
        let constants = Constants {
            noise,
            black: state.black_ln.exp(),
            blur_square: (2.0 * state.pattern.blur_ln()).exp(),
            curve: SrgbTable::shared(),
        };
        let mut sums = Sums::new();
        for together in samples.chunks(TOGETHER) {
            for sample in together {
                pass.add_sample(state, sample, &constants, &mut sums);
            }
            sums.settle();
        }
        sums.add_to(&mut pass.normal, &mut pass.slope, size, N + 2);
        pass.add_priors(state);
        pass
    }

    fn add_sample<P: Pattern<N>, const N: usize>(
        &mut self,
        state: &State<P>,
        sample: &Sample,
        run: &Constants,
        sums: &mut Sums,
    ) {
        let (shift_x, shift_y) = state.blur_shift(sample, run.blur_square);
        let look = state.pattern.look(sample.x + shift_x, sample.y + shift_y);
        let light = state.light(sample);
        let (w, k, black, noise) = (look.white, state.growth, run.black, run.noise);
        let grown = w + 4.0 * k * w * (1.0 - w);
        let level = light * (black + (1.0 - black) * grown);
        let (code, steepness) = run.curve.encode(level);
        let residual = sample.code - code;
        if sample.is_clipped && residual <= 0.0 {
            self.residuals.push(0.0);
            self.edges.push(0.0);
            return;
        }
        self.residuals.push(residual);
        let share = light * (1.0 - black) * steepness;
        let edge = share * (1.0 + 4.0 * k * (1.0 - 2.0 * w));
        let weight = (HUBER * noise / residual.abs().max(f64::MIN_POSITIVE)).min(1.0) / (noise * noise);
        let mut own = [0.0; MAX_OWN];
        for (out, change) in own.iter_mut().zip(look.change.iter()) {
            *out = edge * change;
        }
        own[N] = share * 4.0 * w * (1.0 - w);
        own[N + 1] = light * (1.0 - grown) * black * steepness;
        self.edges.push(own[N]);
        let by_light = level * steepness;
        let [a, b, c, d] = sample.node_weights;
        let lit = [by_light * a, by_light * b, by_light * c, by_light * d];
        let is_flat = look.change.iter().all(|change| change.abs() < FLAT);
        if is_flat {
            sums.add_flat::<N>(own[N + 1], sample.first_node, &lit, residual, weight);
        } else {
            sums.add::<N>(&own, sample.first_node, &lit, residual, weight);
        }
    }

    fn add_priors<P: Pattern<N>, const N: usize>(&mut self, state: &State<P>) {
        self.add_prior(&[(N - 1, 1.0)], state.pattern.blur_ln() - BLUR_LN.0, BLUR_LN.1);
        self.add_prior(&[(N, 1.0)], state.growth - GROWTH.0, GROWTH.1);
        self.add_prior(&[(N + 1, 1.0)], state.black_ln - BLACK_LN.0, BLACK_LN.1);
        for line in 0..LIGHT_SIDE {
            for k in 1..LIGHT_SIDE - 1 {
                for (step, at) in [(1, line * LIGHT_SIDE + k), (LIGHT_SIDE, k * LIGHT_SIDE + line)] {
                    let ln = &state.light.ln;
                    let bend = ln[at - step] - 2.0 * ln[at] + ln[at + step];
                    let base = N + 2 + at;
                    self.add_prior(&[(base - step, 1.0), (base, -2.0), (base + step, 1.0)], bend, LIGHT_BEND);
                }
            }
        }
    }

    /// A prior that the combination, now at `value`, is 0 with the given spread; indices ascend.
    fn add_prior(&mut self, combination: &[(usize, f64)], value: f64, spread: f64) {
        let weight = 1.0 / (spread * spread);
        self.prior_cost += value * value * weight;
        for (place, &(row, a)) in combination.iter().enumerate() {
            for &(column, b) in &combination[place..] {
                self.normal[row * self.size + column] += a * b * weight;
            }
            self.slope[row] -= a * value * weight;
        }
    }

    /// The whole curvature matrix.
    pub(super) fn curvature(&self) -> DMatrix<f64> {
        DMatrix::from_fn(self.size, self.size, |row, column| {
            let (low, high) = (row.min(column), row.max(column));
            self.normal[low * self.size + high]
        })
    }

    /// The step to the minimum; parameters of the range `held` stay.
    pub(super) fn step(&self, damping: f64, held: Range<usize>) -> Option<DVector<f64>> {
        let mut curvature = self.curvature();
        for k in held {
            curvature[(k, k)] *= HELD;
        }
        for k in 0..self.size {
            curvature[(k, k)] *= 1.0 + damping;
        }
        let step = curvature.cholesky()?.solve(&DVector::from_column_slice(&self.slope));
        step.iter().all(|part| part.is_finite()).then_some(step)
    }

    /// Chi-square that the step is worth, to first order.
    pub(super) fn worth(&self, step: &DVector<f64>) -> f64 {
        self.slope.iter().zip(step.iter()).map(|(a, b)| a * b).sum()
    }

    /// Robust noise of the residuals in codes.
    pub(super) fn noise(&self) -> f64 {
        let mut sizes: Vec<f64> = self.residuals.iter().map(|r| r.abs()).filter(|&r| r > 0.0).collect();
        if sizes.is_empty() {
            return LEAST_NOISE;
        }
        let middle = sizes.len() / 2;
        let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
        (MEDIAN_TO_SIGMA * *median).max(LEAST_NOISE)
    }

    /// Root mean square of the residuals at edges, codes: coding and misfit disturb edges more than plain areas.
    pub(super) fn edge_noise(&self) -> f64 {
        let pairs = self.residuals.iter().zip(&self.edges);
        let (sum, weights) = pairs.fold((0.0, 0.0), |sum, (residual, edge)| {
            let weight = edge * edge;
            (sum.0 + weight * residual * residual, sum.1 + weight)
        });
        (sum / weights.max(f64::MIN_POSITIVE)).sqrt()
    }

    pub(super) fn cost(&self, noise: f64) -> f64 {
        let huber = |r: f64| if r <= HUBER { r * r } else { HUBER * (2.0 * r - HUBER) };
        self.prior_cost + self.residuals.iter().map(|r| huber(r.abs() / noise)).sum::<f64>()
    }
}

/// Sum of the correlations of the residuals at edges with their neighbours, the sample itself included. The fit takes
/// up slow errors, which makes far neighbours look opposed: the largest sum over all reaches counts.
pub(super) fn correlation(samples: &[Sample], pass: &Pass) -> f64 {
    let columns = samples.iter().map(|s| s.column).max().unwrap_or(0) as usize + 1;
    let rows = samples.iter().map(|s| s.row).max().unwrap_or(0) as usize + 1;
    let mut map = vec![0.0; columns * rows];
    let (mut power, mut fourth) = (0.0, 0.0);
    for (sample, (residual, edge)) in samples.iter().zip(pass.residuals.iter().zip(&pass.edges)) {
        let weighted = residual * edge;
        map[sample.row as usize * columns + sample.column as usize] = weighted;
        power += weighted * weighted;
        fourth += weighted.powi(4);
    }
    if power <= 0.0 {
        return 1.0;
    }
    let mut by_reach = [0.0; CORRELATION_REACH + 1];
    for dy in 0..=CORRELATION_REACH {
        for dx in 0..=CORRELATION_REACH {
            let reach = dx.max(dy);
            by_reach[reach] += lagged(&map, columns, dx, dy, false);
            if dx > 0 && dy > 0 {
                by_reach[reach] += lagged(&map, columns, dx, dy, true);
            }
        }
    }
    // Chance alone moves a sum over so many pairs of lags by this much; only what is beyond counts.
    let chance = 2.0 * fourth.sqrt();
    let (mut sum, mut largest) = (power, power);
    for (reach, shell) in by_reach.iter().enumerate().skip(1) {
        sum += 2.0 * shell;
        let lags = (2 * reach * (reach + 1)) as f64;
        largest = largest.max(sum - chance * lags.sqrt());
    }
    largest / power
}

/// Sum of products of a map with itself, moved by `dx` columns and by `dy` rows, downwards or (`is_up`) upwards.
fn lagged(map: &[f64], columns: usize, dx: usize, dy: usize, is_up: bool) -> f64 {
    let rows = map.len() / columns.max(1);
    let line = |row: usize| &map[row * columns..(row + 1) * columns];
    (dy..rows)
        .map(|row| {
            let (first, second) = if is_up { (line(row), line(row - dy)) } else { (line(row - dy), line(row)) };
            first.iter().zip(&second[dx.min(columns)..]).map(|(a, b)| a * b).sum::<f64>()
        })
        .sum()
}
