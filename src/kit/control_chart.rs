//! Repeated readings of one lamp: their spread, and a control chart of individual values with moving ranges.
//!
//! **Takes** values in the order in which they were taken. **Gives** [`Repeatability`] and [`Chart`].
//!
//! **How**: the standard deviation s of n values, with its own relative standard uncertainty 1/√(2(n − 1)) (GUM E.4.3, good
//! from about five values). The chart's limits are `x̄ ± 3 M̄R / 1.128 = x̄ ± 2.66 M̄R`, where M̄R is the mean of
//! |xᵢ − xᵢ₋₁| and 1.128 = d₂ for two values (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2; ISO 7870-2 has the same
//! limits). The moving range's own upper limit is D₄ M̄R = 3.267 M̄R.
//! **Weak when** there are few values: under twenty the limits are provisional (common practice). **Fails when** there are
//! fewer than two (`None`).

/// d₂: expected range of two values of a normal distribution of unit spread.
pub const D2: f64 = 1.128;
/// D₄ for two values.
pub const D4: f64 = 3.267;
/// Values from which limits are more than provisional.
pub const ENOUGH: usize = 20;

/// How well a reading repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeatability {
    /// Number of values.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation.
    pub deviation: f64,
    /// Its standard uncertainty.
    pub deviation_sigma: f64,
}

/// Mean and standard deviation of the values.
pub fn repeatability(values: &[f64]) -> Option<Repeatability> {
    if values.len() < 2 {
        return None;
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let deviation = (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
    let deviation_sigma = deviation / (2.0 * (count - 1.0)).sqrt();
    Some(Repeatability { count: values.len(), mean, deviation, deviation_sigma })
}

/// Limits of a chart of individual values.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// The values, in order.
    pub values: Vec<f64>,
    /// Centre line.
    pub mean: f64,
    /// Mean moving range.
    pub mean_range: f64,
    /// Lower limit of a value.
    pub lower: f64,
    /// Upper limit of a value.
    pub upper: f64,
    /// Upper limit of a moving range.
    pub range_upper: f64,
}

impl Chart {
    /// The chart of the values; limits come from all of them.
    pub fn of(values: &[f64]) -> Option<Self> {
        if values.len() < 2 {
            return None;
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let mean_range =
            values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>() / (values.len() - 1) as f64;
        let reach = 3.0 * mean_range / D2;
        Some(Self {
            values: values.to_vec(),
            mean,
            mean_range,
            lower: mean - reach,
            upper: mean + reach,
            range_upper: D4 * mean_range,
        })
    }

    /// Places of the values outside the limits.
    pub fn outside(&self) -> Vec<usize> {
        // A difference in the last digit is no finding.
        let slack = 1e-9 * (self.mean.abs() + self.mean_range);
        let is_out = |value: &f64| *value > self.upper + slack || *value < self.lower - slack;
        self.values.iter().enumerate().filter(|(_, value)| is_out(value)).map(|(place, _)| place).collect()
    }

    /// Places of the values whose step from the one before is beyond the range's limit.
    pub fn jumps(&self) -> Vec<usize> {
        let slack = 1e-9 * (self.mean.abs() + self.mean_range);
        let steps = self.values.windows(2).enumerate();
        steps.filter(|(_, pair)| (pair[1] - pair[0]).abs() > self.range_upper + slack).map(|(n, _)| n + 1).collect()
    }
}
