//! The median over a window that moves along a list: what enters is put into its place, what leaves is taken out.

/// Values of a window, rising.
#[derive(Debug, Clone, Default)]
pub(super) struct RunningMedian {
    sorted: Vec<f64>,
}

impl RunningMedian {
    /// Adds a value.
    pub(super) fn enter(&mut self, value: f64) {
        let at = self.sorted.partition_point(|other| other.total_cmp(&value).is_lt());
        self.sorted.insert(at, value);
    }

    /// Takes out a value that was added.
    pub(super) fn leave(&mut self, value: f64) {
        let at = self.sorted.partition_point(|other| other.total_cmp(&value).is_lt());
        if at < self.sorted.len() {
            self.sorted.remove(at);
        }
    }

    /// Number of values.
    pub(super) fn count(&self) -> usize {
        self.sorted.len()
    }

    /// The median (of an even number, the upper of the middle two); `None` without values.
    pub(super) fn median(&self) -> Option<f64> {
        self.sorted.get(self.sorted.len() / 2).copied()
    }
}

/// The median of a list that is not empty (of an even number, the upper of the middle two); the list is left in another order.
pub(super) fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked.
    #[test]
    fn the_window_moves_along() {
        let mut window = RunningMedian::default();
        assert_eq!(window.median(), None);
        for value in [3.0, -1.0, 3.0, 7.0] {
            window.enter(value);
        }
        assert_eq!(window.median(), Some(3.0));
        window.leave(3.0);
        assert_eq!((window.count(), window.median()), (3, Some(3.0)));
        window.leave(3.0);
        window.enter(9.0);
        assert_eq!(window.median(), Some(7.0));
    }
}
