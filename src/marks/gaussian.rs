//! The normal distribution function by table: an edge of light seen through a Gaussian blur.

use std::sync::LazyLock;

/// Steps of the table per unit.
const PER_UNIT: f64 = 128.0;
/// Beyond this many sigma the table ends; the rest is under 1e-5.
const REACH: f64 = 4.25;

/// Entries of the table.
const COUNT: usize = (REACH * PER_UNIT) as usize + 2;

static TABLE: LazyLock<[(f64, f64); COUNT]> = LazyLock::new(|| {
    let half_step = 0.5 / PER_UNIT;
    let mut sum = 0.5;
    let mut table = [(0.0, 0.0); COUNT];
    for (k, entry) in table.iter_mut().enumerate() {
        let z = k as f64 / PER_UNIT;
        *entry = (sum, density(z));
        // Simpson's rule: error below 1e-12 at this step.
        sum += (density(z) + 4.0 * density(z + half_step) + density(z + 2.0 * half_step)) * half_step / 3.0;
    }
    table
});

fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

/// A straight edge between dark and light, seen through a Gaussian blur.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BlurredEdge {
    /// Standard deviation of the blur; places are in the same unit.
    pub(crate) blur: f64,
}

impl BlurredEdge {
    /// Share of the light side at a place, counted from the edge into it: 0 to 1, a half on the edge.
    pub(crate) fn share(self, place: f64) -> f64 {
        normal(place / self.blur).0
    }
}

/// Distribution and density of the standard normal at `z`, good to 3e-6.
#[inline]
pub(super) fn normal(z: f64) -> (f64, f64) {
    let table: &[(f64, f64); COUNT] = &TABLE;
    let place = z.abs().min(REACH) * PER_UNIT;
    // Signed 32-bit numbers convert fastest; a place that is no number counts as 0.
    let whole = place as i32;
    let k = (whole as usize).min(COUNT - 2);
    let fraction = place - f64::from(whole);
    let (below, above) = (table[k], table[k + 1]);
    let up = below.0 + fraction * (above.0 - below.0);
    let density = below.1 + fraction * (above.1 - below.1);
    (if z < 0.0 { 1.0 - up } else { up }, density)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.1.
    #[test]
    fn values_of_the_handbook() {
        for (z, distribution) in [(0.0, 0.5), (0.5, 0.691_462), (1.0, 0.841_345), (-2.0, 0.022_750), (3.0, 0.998_650)] {
            assert!((normal(z).0 - distribution).abs() < 3e-6, "{z}");
        }
        assert!((normal(1.0).1 - 0.241_971).abs() < 3e-6);
    }
}
