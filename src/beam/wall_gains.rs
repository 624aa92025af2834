//! What the wall reflects against the rest, as far as whole rows and whole columns tell.

use super::coarse::CoarsePlace;
use super::columns::column_gains;
use super::light::LightGrid;
use super::options::BeamOptions;
use super::rows::{RowGains, row_gains};

/// Gains of the wall's rows and columns; at least one of them.
#[derive(Debug, Clone)]
pub struct WallGains {
    rows: Option<RowGains>,
    columns: Option<Vec<f32>>,
    is_rough: bool,
}

impl WallGains {
    /// Of a wall as the first look saw it; `None` where it is even.
    pub fn of(light: &LightGrid<'_>, looked: &[CoarsePlace], is_rough: bool, options: &BeamOptions) -> Option<Self> {
        let gains = Self {
            is_rough,
            rows: row_gains(light, looked, is_rough, options),
            columns: column_gains(light, looked, options),
        };
        (gains.rows.is_some() || gains.columns.is_some()).then_some(gains)
    }

    /// Gain of the cell in column `i` and row `j` (1: as bright as the rest).
    pub fn at(&self, i: usize, j: usize) -> f32 {
        let row = self.rows.as_ref().map_or(1.0, |rows| rows.at(i, j));
        row * self.of_column(i)
    }

    /// The same for what is seen over many rows: on rough walls the rows' gains add up from the bottom with their errors, which moves
    /// a slow course more than joints do.
    pub fn over_many_rows(&self, i: usize, j: usize) -> f32 {
        if self.is_rough { self.of_column(i) } else { self.at(i, j) }
    }

    fn of_column(&self, i: usize) -> f32 {
        self.columns.as_ref().map_or(1.0, |columns| columns[i])
    }
}
