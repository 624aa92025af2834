//! The curvature of a least-squares sum while its terms are added up.

/// `JᵀWJ` of `N` parameters. It only leads the way to the minimum and tells sigma, so terms are added up in single precision, twice
/// as many numbers at once, some dozens at a time; their sums then in double precision.
#[derive(Debug, Clone)]
pub(super) struct Curvature<const N: usize> {
    recent: [[f32; N]; N],
    count: usize,
    sum: [[f64; N]; N],
}

impl<const N: usize> Curvature<N> {
    /// Terms that are added up before rounding would add up, too.
    const TOGETHER: usize = 64;

    /// Of no terms.
    pub(super) fn new() -> Self {
        Self { recent: [[0.0; N]; N], count: 0, sum: [[0.0; N]; N] }
    }

    /// Adds a term with its slopes and its weight.
    #[inline]
    pub(super) fn add(&mut self, slopes: &[f64; N], weight: f64) {
        let mut single = [0.0f32; N];
        for (single, slope) in single.iter_mut().zip(slopes.iter()) {
            *single = *slope as f32;
        }
        let weight = weight as f32;
        for (row, own) in self.recent.iter_mut().zip(single.iter()) {
            let weighted = weight * own;
            // The whole row, though half of it would do: a fixed length is added up faster.
            for (sum, other) in row.iter_mut().zip(single.iter()) {
                *sum += weighted * other;
            }
        }
        self.count += 1;
        if self.count == Self::TOGETHER {
            self.settle();
        }
    }

    fn settle(&mut self) {
        for (sums, recent) in self.sum.iter_mut().zip(self.recent.iter_mut()) {
            for (sum, recent) in sums.iter_mut().zip(recent.iter_mut()) {
                *sum += f64::from(std::mem::take(recent));
            }
        }
        self.count = 0;
    }

    /// The matrix.
    pub(super) fn whole(mut self) -> [[f64; N]; N] {
        self.settle();
        self.sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked: n terms of slopes (1, 2) and weight 3; single precision holds these sums exactly.
    #[test]
    fn terms_add_up_however_many_there_are() {
        for n in [1u8, 64, 65, 200] {
            let mut curvature = Curvature::<2>::new();
            for _ in 0..n {
                curvature.add(&[1.0, 2.0], 3.0);
            }
            let n = f64::from(n);
            assert_eq!(curvature.whole(), [[3.0 * n, 6.0 * n], [6.0 * n, 12.0 * n]]);
        }
    }
}
