//! Random numbers that are the same on every machine: a hash for scattered draws, a stream for the noise of one row.
//!
//! **Gives** uniform numbers in [0, 1) and standard normal numbers. **How**: `SplitMix64` (Steele, Lea, Flood, OOPSLA
//! 2014); normal numbers by the inverse of the normal distribution, tabulated (Acklam's rational approximation, from
//! memory; checked below against the moments of the normal distribution).

use std::sync::LazyLock;

/// Step of the `SplitMix64` sequence: the odd integer nearest to 2^64 / golden ratio.
const GOLDEN_STEP: u64 = 0x9E37_79B9_7F4A_7C15;
/// First multiplier of `SplitMix64`'s output function.
const MIX_A: u64 = 0xBF58_476D_1CE4_E5B9;
/// Second multiplier of `SplitMix64`'s output function.
const MIX_B: u64 = 0x94D0_49BB_1331_11EB;
/// Normal numbers are drawn from this many equally likely values: reaches ±3.7 standard deviations.
const NORMAL_BITS: u32 = 12;
const NORMALS: usize = 1 << NORMAL_BITS;

/// Scrambles one 64-bit number.
#[inline]
pub(super) fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(GOLDEN_STEP);
    z = (z ^ (z >> 30)).wrapping_mul(MIX_A);
    z = (z ^ (z >> 27)).wrapping_mul(MIX_B);
    z ^ (z >> 31)
}

/// A seed for the thing called `name` in the scene with this seed.
pub(super) fn seed_of(seed: u64, name: &str) -> u64 {
    name.bytes().fold(mix(seed), |hash, byte| mix(hash ^ u64::from(byte)))
}

/// Uniform in [0, 1).
pub(super) fn unit(hash: u64) -> f64 {
    (hash >> 11) as f64 / (1_u64 << 53) as f64
}

/// A lattice point's own uniform number in [0, 1): two rounds of multiply and shift, as texture needs no better.
#[inline]
pub(super) fn lattice(ix: i64, iy: i64, seed: u64) -> f32 {
    let hash = (ix as u64).wrapping_mul(MIX_A) ^ (iy as u64).wrapping_mul(MIX_B) ^ seed;
    let hash = (hash ^ (hash >> 29)).wrapping_mul(GOLDEN_STEP);
    let hash = (hash ^ (hash >> 32)).wrapping_mul(MIX_A);
    (hash >> 40) as f32 / (1_u32 << 24) as f32
}

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub(super) struct Stream {
    state: u64,
    spare: u64,
    spare_bits: u32,
}

impl Stream {
    /// A stream of its own for each seed.
    pub(super) fn new(seed: u64) -> Self {
        Self { state: mix(seed), spare: 0, spare_bits: 0 }
    }

    /// The next 64 random bits.
    #[inline]
    fn next_bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GOLDEN_STEP);
        mix(self.state)
    }

    /// The next standard normal number, of [`normal_table`]: whoever draws many fetches it once.
    #[inline]
    pub(super) fn normal(&mut self, table: &[f32; NORMALS]) -> f32 {
        if self.spare_bits < NORMAL_BITS {
            self.spare = self.next_bits();
            self.spare_bits = u64::BITS;
        }
        let place = self.spare & ((1 << NORMAL_BITS) - 1);
        self.spare >>= NORMAL_BITS;
        self.spare_bits -= NORMAL_BITS;
        table[place as usize % NORMALS]
    }
}

/// The normal numbers of equal likelihood.
pub(super) fn normal_table() -> &'static [f32; NORMALS] {
    static TABLE: LazyLock<[f32; NORMALS]> =
        LazyLock::new(|| std::array::from_fn(|place| normal_at((place as f64 + 0.5) / NORMALS as f64) as f32));
    &TABLE
}

/// Numerator, tails and denominators of Acklam's approximation of the inverse normal distribution.
const A: [f64; 6] = [
    -39.696_830_286_653_76,
    220.946_098_424_520_5,
    -275.928_510_446_968_7,
    138.357_751_867_269,
    -30.664_798_066_147_16,
    2.506_628_277_459_239,
];
const B: [f64; 5] = [
    -54.476_098_798_224_06,
    161.585_836_858_040_9,
    -155.698_979_859_886_6,
    66.801_311_887_719_72,
    -13.280_681_552_885_72,
];
const C: [f64; 6] = [
    -0.007_784_894_002_430_293,
    -0.322_396_458_041_136_5,
    -2.400_758_277_161_838,
    -2.549_732_539_343_734,
    4.374_664_141_464_968,
    2.938_163_982_698_783,
];
const D: [f64; 4] = [0.007_784_695_709_041_462, 0.322_467_129_070_039_8, 2.445_134_137_142_996, 3.754_408_661_907_416];
/// Below this probability the tail's own formula holds.
const TAIL: f64 = 0.02425;

/// The normal number below which the share `p` of all lies; `p` strictly between 0 and 1.
pub(super) fn normal_at(p: f64) -> f64 {
    let poly = |coefficients: &[f64], x: f64| coefficients.iter().fold(0.0, |sum, c| sum * x + c);
    if p > 1.0 - TAIL {
        return -normal_at(1.0 - p);
    }
    if p < TAIL {
        let q = (-2.0 * p.ln()).sqrt();
        return poly(&C, q) / (poly(&D, q) * q + 1.0);
    }
    let q = p - 0.5;
    let r = q * q;
    poly(&A, r) * q / (poly(&B, r) * r + 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: moments and quantiles of the standard normal distribution.
    #[test]
    fn normal_numbers_have_normal_moments() {
        let mut stream = Stream::new(3);
        let draws: Vec<f64> = (0..200_000).map(|_| f64::from(stream.normal(normal_table()))).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let square = draws.iter().map(|x| x * x).sum::<f64>() / draws.len() as f64;
        assert!(mean.abs() < 0.01, "mean {mean}");
        assert!((square - 1.0).abs() < 0.015, "variance {square}");
        assert!((normal_at(0.975) - 1.959_964).abs() < 1e-5);
        assert!((normal_at(0.001) + 3.090_232).abs() < 1e-5);
    }

    #[test]
    fn names_and_seeds_give_their_own_numbers() {
        assert_eq!(seed_of(1, "beam"), seed_of(1, "beam"));
        assert_ne!(seed_of(1, "beam"), seed_of(2, "beam"));
        assert_ne!(seed_of(1, "beam"), seed_of(1, "wall"));
        let mean: f64 = (0..10_000).map(|i| unit(mix(i))).sum::<f64>() / 10_000.0;
        assert!((mean - 0.5).abs() < 0.01, "mean {mean}");
    }
}
