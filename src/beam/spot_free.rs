//! A second opinion on the hot spot: a free surface through the top itself, of no lamp's form.

use super::spot_fit::Datum;
use nalgebra::{DMatrix, DVector};

/// Blocks of at least this log intensity under the top carry the free surface.
const FREE_LN: f64 = -0.2;
/// Fewest of them.
const LEAST_FREE_BLOCKS: usize = 24;

/// The maximum (H, V, degrees) of a cubic surface through the log intensities around the brightest place, whose log is
/// `top_ln`; least squares. `None` when too little is seen or the surface has no maximum near the top.
pub(super) fn free_top(data: &[Datum], (top_h, top_v): (f64, f64), top_ln: f64) -> Option<(f64, f64)> {
    let near: Vec<&Datum> = data.iter().filter(|datum| datum.ln_level > top_ln + FREE_LN).collect();
    if near.len() < LEAST_FREE_BLOCKS {
        return None;
    }
    let terms = |x: f64, y: f64| [1.0, x, y, x * x, x * y, y * y, x * x * x, y * y * y];
    let mut rows = DMatrix::zeros(near.len(), 8);
    let mut values = DVector::zeros(near.len());
    for (k, datum) in near.iter().enumerate() {
        let (x, y) = (datum.place.h_deg - top_h, datum.place.v_deg - top_v);
        for (column, term) in terms(x, y).into_iter().enumerate() {
            rows[(k, column)] = term;
        }
        values[k] = datum.ln_level;
    }
    let c = rows.svd(true, true).solve(&values, 1e-9).ok()?;
    // Newton's method on the gradient; a surface without a maximum near the top tells nothing.
    let (mut x, mut y) = (0.0f64, 0.0f64);
    for _ in 0..20 {
        let gradient = (
            c[1] + 2.0 * c[3] * x + c[4] * y + 3.0 * c[6] * x * x,
            c[2] + c[4] * x + 2.0 * c[5] * y + 3.0 * c[7] * y * y,
        );
        let (xx, xy, yy) = (2.0 * c[3] + 6.0 * c[6] * x, c[4], 2.0 * c[5] + 6.0 * c[7] * y);
        let det = xx * yy - xy * xy;
        if xx >= 0.0 || det <= 0.0 {
            return None;
        }
        x -= (yy * gradient.0 - xy * gradient.1) / det;
        y -= (xx * gradient.1 - xy * gradient.0) / det;
    }
    let is_near = |values: &[f64], at: f64| {
        let (least, most) = values.iter().fold((0.0f64, 0.0f64), |(a, b), v| (a.min(*v), b.max(*v)));
        at > least && at < most
    };
    let (xs, ys): (Vec<f64>, Vec<f64>) = near.iter().map(|d| (d.place.h_deg - top_h, d.place.v_deg - top_v)).unzip();
    (is_near(&xs, x) && is_near(&ys, y)).then_some((top_h + x, top_v + y))
}
