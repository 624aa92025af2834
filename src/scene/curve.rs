//! A function of one variable as a table: a picture asks for the same exponentials tens of millions of times.
//!
//! **Takes** a function, where it is asked, and the spacing of the table. **Gives** the straight line between neighbouring
//! entries, single precision. **How good**: a straight line misses by at most step²/8 times the second derivative; a
//! function that falls like exp(-x/l) or slower is therefore good to (step/l)²/8 of its own value, plus 6e-8 of rounding.

/// A tabulated function.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    start: f64,
    per_unit: f64,
    values: Vec<f32>,
}

impl Curve {
    /// Tabulates `function` from `start` to at least `end`.
    pub(super) fn new(start: f64, end: f64, step: f64, function: impl Fn(f64) -> f64) -> Self {
        let count = ((end - start) / step).ceil().max(1.0) as usize + 2;
        Self {
            start,
            per_unit: 1.0 / step,
            values: (0..count).map(|i| function(start + i as f64 * step) as f32).collect(),
        }
    }

    /// The value there; `None` outside of the table.
    #[inline]
    pub(super) fn get(&self, at: f64) -> Option<f64> {
        let place = (at - self.start) * self.per_unit;
        // As an index both would become 0.
        if place < 0.0 || place.is_nan() {
            return None;
        }
        let low = place as usize;
        let pair = self.values.get(low..low.checked_add(2)?)?;
        let (a, b) = (f64::from(pair[0]), f64::from(pair[1]));
        Some(a + (b - a) * (place - low as f64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: the remainder of linear interpolation, step²/8 · max |f''|.
    #[test]
    fn an_exponential_is_as_good_as_promised() {
        let curve = Curve::new(0.0, 10.0, 1.0 / 512.0, |x| (-x).exp());
        for i in 0..9_973 {
            let x = f64::from(i) * 0.001;
            let miss = curve.get(x).map(|found| (found / (-x).exp() - 1.0).abs());
            assert!(miss < Some(6e-7), "at {x}: {miss:?}");
        }
    }

    #[test]
    fn outside_of_the_table_there_is_nothing() {
        let curve = Curve::new(1.0, 2.0, 0.25, |x| x);
        for at in [0.999, 3.0, 1e300, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(curve.get(at).is_none(), "{at}");
        }
        assert!(curve.get(1.0).is_some() && curve.get(2.0).is_some());
    }
}
