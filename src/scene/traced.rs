//! Where the cutoff of a measured lamp runs: followed once, so that the exact search knows where to begin.
//!
//! **Takes** a table. **Gives** a rough height of the cutoff over the table's own H. **How**: in the column 2.5 degrees to
//! the flat side the steepest fall of log10 within 1.5 degrees of the level (the scan of 49 CFR 571.108, from
//! memory), then from column to column within reach of the last place. The truth is found afresh from it.

use super::candela::CandelaTable;
use super::truth::STEP_DEG;

/// The first column lies here, to the flat side.
const START_DEG: f64 = 2.5;
/// The first search reaches so far up and down.
const FIRST_REACH_DEG: f64 = 1.5;
/// The cutoff moves by no more than this from column to column: a rise of 60 degrees, and a little more.
const NEXT_REACH_DEG: f64 = 0.25;
/// Spacing of columns.
const COLUMN_DEG: f64 = 0.1;
/// Spacing of places in a column.
const PLACE_DEG: f64 = 0.01;
/// Columns to each side of straight ahead.
const COLUMNS: i32 = 150;

/// Height of the cutoff, column by column.
#[derive(Debug, Clone)]
pub(super) struct Line {
    heights: Vec<f64>,
}

impl Line {
    /// Follows the cutoff from the flat side (-1 left, 1 right).
    pub(super) fn new(table: &CandelaTable, flat_side: f64) -> Self {
        let mut heights = vec![0.0; 2 * COLUMNS as usize + 1];
        let start = COLUMNS + (flat_side * START_DEG / COLUMN_DEG).round() as i32;
        let first = steepest(table, column_deg(start), 0.0, FIRST_REACH_DEG);
        heights[start as usize] = first;
        let to_left: Vec<i32> = (0..start).rev().collect();
        let to_right: Vec<i32> = (start + 1..=2 * COLUMNS).collect();
        for way in [to_left, to_right] {
            let mut last = first;
            for column in way {
                let h = column_deg(column);
                if table.covers(h, last) {
                    last = steepest(table, h, last, NEXT_REACH_DEG);
                }
                heights[column as usize] = last;
            }
        }
        Self { heights }
    }

    /// Height at this H of the table, between columns in a straight line.
    pub(super) fn v_deg(&self, h: f64) -> f64 {
        let last = self.heights.len() - 2;
        let place = (h / COLUMN_DEG + f64::from(COLUMNS)).clamp(0.0, (last + 1) as f64);
        let low = (place as usize).min(last);
        self.heights[low] + (self.heights[low + 1] - self.heights[low]) * (place - low as f64)
    }
}

fn column_deg(column: i32) -> f64 {
    f64::from(column - COLUMNS) * COLUMN_DEG
}

/// Middle of the step with the greatest fall within `reach` of `near`.
fn steepest(table: &CandelaTable, h: f64, near: f64, reach: f64) -> f64 {
    let count = (2.0 * reach / PLACE_DEG).round() as usize;
    let step = (STEP_DEG / PLACE_DEG).round() as usize;
    let place = |i: usize| near - reach - 0.5 * STEP_DEG + i as f64 * PLACE_DEG;
    let light: Vec<f64> = (0..=count + step).map(|i| table.candela(h, place(i)).log10()).collect();
    let best = (0..=count).max_by(|&a, &b| (light[a] - light[a + step]).total_cmp(&(light[b] - light[b + step])));
    place(best.unwrap_or(0)) + 0.5 * STEP_DEG
}
