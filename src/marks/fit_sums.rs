//! The normal equations of the mark fit while its samples are added up.

use super::fit::{LIGHT_NODES, LIGHT_SIDE};

/// The four nodes around a place, counted from the upper left one.
pub(super) const NODE_STEPS: [usize; NODES_AROUND] = [0, 1, LIGHT_SIDE, LIGHT_SIDE + 1];
const NODES_AROUND: usize = 4;
/// Room for the parameters outside the light's grid: those of a pattern, growth and black; the rest stays 0. A fixed
/// size lets the compiler add them up side by side.
pub(super) const MAX_OWN: usize = 12;
/// Samples whose curvature is added up in single precision.
pub(super) const TOGETHER: usize = 128;

/// The samples' share of the normal equations while it is added up. Curvature only leads the way and tells sigma, so it is
/// added up in single precision, twice as many numbers at once, a few hundred samples at a time.
pub(super) struct Sums {
    /// Parameters outside the light's grid against one another.
    own: [[f64; MAX_OWN]; MAX_OWN],
    own_slope: [f64; MAX_OWN],
    /// What the last few samples add to `own`.
    recent: [[f32; MAX_OWN]; MAX_OWN],
    /// What concerns the light, by the first of the four nodes around the samples.
    cells: [CellSums; LIGHT_NODES],
}

/// Sums over the samples between four nodes of the light's grid.
#[derive(Debug, Clone, Copy, Default)]
struct CellSums {
    /// Each node against the parameters outside the grid.
    crossed: [[f32; MAX_OWN]; NODES_AROUND],
    /// Nodes against one another.
    light: [[f32; NODES_AROUND]; NODES_AROUND],
    slope: [f64; NODES_AROUND],
}

impl Sums {
    /// No samples yet.
    pub(super) fn new() -> Self {
        Self {
            own: [[0.0; MAX_OWN]; MAX_OWN],
            own_slope: [0.0; MAX_OWN],
            recent: [[0.0; MAX_OWN]; MAX_OWN],
            cells: [CellSums::default(); LIGHT_NODES],
        }
    }

    /// Adds a sample of a pattern with `N` parameters: its changes by the own ones and by the four nodes around it.
    #[inline]
    pub(super) fn add<const N: usize>(
        &mut self,
        own: &[f64; MAX_OWN],
        first_node: usize,
        lit: &[f64; NODES_AROUND],
        residual: f64,
        weight: f64,
    ) {
        const { assert!(N + 2 <= MAX_OWN, "the pattern has more parameters than there is room for") };
        let pull = weight * residual;
        let mut single = [0.0; MAX_OWN];
        for ((sum, single), own) in self.own_slope.iter_mut().zip(single.iter_mut()).zip(own.iter()) {
            *sum += pull * own;
            *single = *own as f32;
        }
        let weight_single = weight as f32;
        for (line, own) in self.recent[..N + 2].iter_mut().zip(single.iter()) {
            add_scaled(line, own * weight_single, &single);
        }
        let cell = &mut self.cells[first_node];
        for (line, lit) in cell.crossed.iter_mut().zip(lit.iter()) {
            add_scaled(line, *lit as f32 * weight_single, &single);
        }
        cell.add_light(lit, pull, weight_single);
    }

    /// Adds a sample away from all edges: its changes by black, which is the last of the own parameters, and by the nodes.
    #[inline]
    pub(super) fn add_flat<const N: usize>(
        &mut self,
        by_black: f64,
        first_node: usize,
        lit: &[f64; NODES_AROUND],
        residual: f64,
        weight: f64,
    ) {
        let scaled = by_black * weight;
        self.own_slope[N + 1] += scaled * residual;
        self.own[N + 1][N + 1] += scaled * by_black;
        let cell = &mut self.cells[first_node];
        for (line, lit) in cell.crossed.iter_mut().zip(lit.iter()) {
            line[N + 1] += (scaled * lit) as f32;
        }
        cell.add_light(lit, weight * residual, weight as f32);
    }

    /// Takes the recent sums over, before their rounding would add up.
    pub(super) fn settle(&mut self) {
        for (sums, recent) in self.own.iter_mut().zip(self.recent.iter_mut()) {
            for (sum, recent) in sums.iter_mut().zip(recent.iter_mut()) {
                *sum += f64::from(std::mem::take(recent));
            }
        }
    }

    /// Adds the sums to curvature (upper triangle, rows of `size`) and slope; `own` counts the parameters outside the grid.
    pub(super) fn add_to(&self, normal: &mut [f64], slope: &mut [f64], size: usize, own: usize) {
        for (row, sums) in self.own[..own].iter().enumerate() {
            for (column, sum) in sums[..own].iter().enumerate().skip(row) {
                normal[row * size + column] += sum;
            }
            slope[row] += self.own_slope[row];
        }
        // The last nodes of the grid begin no cell.
        for (first, cell) in self.cells[..LIGHT_NODES - LIGHT_SIDE - 1].iter().enumerate() {
            for (a, step) in NODE_STEPS.iter().enumerate() {
                let node = own + first + step;
                for (row, sum) in cell.crossed[a][..own].iter().enumerate() {
                    normal[row * size + node] += f64::from(*sum);
                }
                for (other, sum) in NODE_STEPS.iter().zip(&cell.light[a]).skip(a) {
                    normal[node * size + own + first + other] += f64::from(*sum);
                }
                slope[node] += cell.slope[a];
            }
        }
    }
}

impl CellSums {
    #[inline]
    fn add_light(&mut self, lit: &[f64; NODES_AROUND], pull: f64, weight: f32) {
        let mut single = [0.0f32; NODES_AROUND];
        for ((sum, single), lit) in self.slope.iter_mut().zip(single.iter_mut()).zip(lit.iter()) {
            *sum += pull * lit;
            *single = *lit as f32;
        }
        for (line, lit) in self.light.iter_mut().zip(single.iter()) {
            for (sum, other) in line.iter_mut().zip(single.iter()) {
                *sum += lit * weight * other;
            }
        }
    }
}

#[inline]
fn add_scaled(line: &mut [f32; MAX_OWN], scale: f32, values: &[f32; MAX_OWN]) {
    for (sum, value) in line.iter_mut().zip(values.iter()) {
        *sum += scale * value;
    }
}
