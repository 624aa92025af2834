//! A measured lamp: candela over two angles, smoothly interpolated.
//!
//! **Takes** a grid of candela over the angles of a [`Goniometer`], from a CSV or an IES LM-63 file. **Gives** candela in any
//! direction ahead of the lamp. **How**: bicubic Hermite interpolation of the logarithm of candela, along one angle and
//! then the other, slopes by the parabola through three neighbours (exact for a quadratic, continuous first
//! derivatives, no reach beyond the neighbouring nodes); at the ends the parabola through the last three. The table's
//! own nodes are met exactly. **The truth of a scene is that of this interpolated light**, by the contract's definitions.
//! Candela below [`FLOOR_SHARE`] of the greatest are raised to it, as zero has no logarithm.
//! **Weak when** a place lies beyond the table: the light of the nearest edge fades out within a few degrees, which is
//! only there so that no hard frame is painted on the wall; nothing is known there and no truth is stated.
//! **Fails when** an axis does not rise, a candela value is negative or not finite, or the beam does not point ahead.

use super::goniometer::{Goniometer, Pole};
use crate::error::Error;

/// Candela below this share of the greatest count as this share: 0.5 cd for a peak of 50,000 cd.
const FLOOR_SHARE: f64 = 1e-5;
/// Beyond the table the light falls as a Gaussian of this 1/e half width, degrees (no source).
const FADE_DEG: f64 = 2.0;
/// A lamp whose light within this angle of straight ahead ...
const AHEAD_DEG: f64 = 45.0;
/// ... stays under this share of its greatest is taken for one that lay otherwise on the goniometer.
const AHEAD_SHARE: f64 = 0.1;

/// A candela table.
#[derive(Debug, Clone, PartialEq)]
pub struct CandelaTable {
    kind: Goniometer,
    across: Vec<f64>,
    along: Vec<f64>,
    /// Natural logarithms of candela, column by column: `[i * along.len() + j]`.
    ln_cd: Vec<f64>,
}

/// What a file holds before symmetry is opened: angles and candela, `candela[i][j]` at (`across[i]`, `along[j]`).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RawTable {
    pub(super) kind: Goniometer,
    pub(super) across: Vec<f64>,
    pub(super) along: Vec<f64>,
    pub(super) candela: Vec<Vec<f64>>,
}

impl CandelaTable {
    /// Reads a table; the path's ending says what it is: `.csv` or `.ies`. `pole` matters for type C alone.
    pub fn parse(text: &str, path: &str, pole: Pole) -> Result<Self, Error> {
        let ending = std::path::Path::new(path).extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
        let raw = if ending.as_deref() == Some("ies") {
            super::lm63::parse(text, path, pole)?
        } else if ending.as_deref() == Some("csv") {
            super::candela_csv::parse(text, path)?
        } else {
            return Err(Error::file(
                path,
                "unknown kind of candela table, need a name in .csv or .ies",
                "rename the file",
            ));
        };
        Self::new(raw, path)
    }

    /// Checks a raw table and opens its symmetry.
    pub(super) fn new(raw: RawTable, path: &str) -> Result<Self, Error> {
        let wrong = |found: String, hint: &str| Err(Error::file(path, found, hint));
        for (name, axis) in [("across", &raw.across), ("along", &raw.along)] {
            if let Some([low, next]) = axis.array_windows().find(|[low, next]| next <= low) {
                return wrong(
                    format!("angles {name} do not rise: {low} is followed by {next}"),
                    "sort the angles, each once",
                );
            }
        }
        let values = || raw.candela.iter().flatten().copied();
        if let Some(bad) = values().find(|cd| !(*cd >= 0.0 && cd.is_finite())) {
            return wrong(format!("candela value {bad}, need 0 or more"), "correct the value");
        }
        let peak = values().fold(0.0, f64::max);
        if peak == 0.0 {
            return wrong("all candela values are 0".into(), "use a table of a lamp that is lit");
        }
        let raw = opened(raw);
        if raw.across.len() < 2 || raw.along.len() < 2 {
            return wrong(
                format!("{} by {} angles, need 2 by 2 or more", raw.across.len(), raw.along.len()),
                "measure more directions",
            );
        }
        let floor = FLOOR_SHARE * peak;
        let ln_cd = raw.candela.iter().flatten().map(|cd| cd.max(floor).ln()).collect();
        let table = Self { kind: raw.kind, across: raw.across, along: raw.along, ln_cd };
        table.check_ahead(peak, path)?;
        Ok(table)
    }

    fn check_ahead(&self, peak: f64, path: &str) -> Result<(), Error> {
        let rows = self.along.len();
        let ahead = (0..self.ln_cd.len())
            .filter(|&n| {
                let place = self.kind.screen_deg(self.across[n / rows], self.along[n % rows]);
                place.is_some_and(|(h, v)| h.abs() <= AHEAD_DEG && v.abs() <= AHEAD_DEG)
            })
            .map(|n| self.ln_cd[n].exp())
            .fold(0.0, f64::max);
        if ahead >= AHEAD_SHARE * peak {
            return Ok(());
        }
        Err(Error::file(
            path,
            format!(
                "greatest intensity ahead of the lamp is {ahead:.0} cd, elsewhere {peak:.0} cd: it does not point ahead"
            ),
            "for a type C file state how the lamp lay: table_pole = \"down\" or \"ahead\" in [beam]",
        ))
    }

    /// Candela in a direction ahead of the lamp: H and V on a flat screen, degrees.
    pub fn candela(&self, h_deg: f64, v_deg: f64) -> f64 {
        let (x, y) = self.kind.angles_deg(h_deg, v_deg);
        let (column, off_x) = Stencil::new(&self.across, x);
        let (row, off_y) = Stencil::new(&self.along, y);
        let rows = self.along.len();
        let mut ln = 0.0;
        for (i, wx) in column.nodes.into_iter().zip(column.weights) {
            let cells = &self.ln_cd[i * rows..][..rows];
            ln += wx * row.of(cells);
        }
        let off = (off_x * off_x + off_y * off_y) / (FADE_DEG * FADE_DEG);
        (ln - off).exp()
    }

    /// Whether the table was measured in this direction.
    pub fn covers(&self, h_deg: f64, v_deg: f64) -> bool {
        let (x, y) = self.kind.angles_deg(h_deg, v_deg);
        let within = |axis: &[f64], angle: f64| {
            // Degrees of tolerance: the last node itself lies inside, whatever the rounding.
            const ROUNDING_DEG: f64 = 1e-9;
            axis.first().is_some_and(|low| angle >= low - ROUNDING_DEG)
                && axis.last().is_some_and(|high| angle <= high + ROUNDING_DEG)
        };
        within(&self.across, x) && within(&self.along, y)
    }
}

/// Four neighbouring nodes and their weights.
struct Stencil {
    nodes: [usize; 4],
    weights: [f64; 4],
}

impl Stencil {
    /// Weights at `angle`, and how far outside of the nodes it lies.
    fn new(nodes: &[f64], angle: f64) -> (Self, f64) {
        let last = nodes.len() - 1;
        let inside = angle.clamp(nodes[0], nodes[last]);
        let low = nodes.partition_point(|node| *node <= inside).clamp(1, last) - 1;
        let width = nodes[low + 1] - nodes[low];
        let t = (inside - nodes[low]) / width;
        // Hermite's cubic: values at both ends, slopes at both ends times the width.
        let (t2, t3) = (t * t, t * t * t);
        let (slope_low, slope_high) = (slope(nodes, low, low), slope(nodes, low + 1, low));
        let (from_low, from_high) = (width * (t3 - 2.0 * t2 + t), width * (t3 - t2));
        let mut weights = [0, 1, 2, 3].map(|k: usize| from_low * slope_low[k] + from_high * slope_high[k]);
        weights[1] += 2.0 * t3 - 3.0 * t2 + 1.0;
        weights[2] += 3.0 * t2 - 2.0 * t3;
        (Self { nodes: [0, 1, 2, 3].map(|k: usize| (low + k).saturating_sub(1).min(last)), weights }, angle - inside)
    }

    fn of(&self, values: &[f64]) -> f64 {
        (0..4).map(|k| self.weights[k] * values[self.nodes[k]]).sum()
    }
}

/// Slope at node `at` as weights of the nodes `low - 1` to `low + 2`.
fn slope(nodes: &[f64], at: usize, low: usize) -> [f64; 4] {
    let mut weights = [0.0; 4];
    let last = nodes.len() - 1;
    let place = |node: usize| node + 1 - low;
    if at == 0 || at == last {
        let (a, b) = if at == 0 { (0, 1) } else { (last - 1, last) };
        let secant = 1.0 / (nodes[b] - nodes[a]);
        if last == 1 {
            (weights[place(a)], weights[place(b)]) = (-secant, secant);
            return weights;
        }
        // A parabola's slopes at two nodes have the secant as their mean.
        let other = slope(nodes, if at == 0 { 1 } else { last - 1 }, low);
        weights = other.map(|w| -w);
        weights[place(a)] -= 2.0 * secant;
        weights[place(b)] += 2.0 * secant;
        return weights;
    }
    let (before, after) = (nodes[at] - nodes[at - 1], nodes[at + 1] - nodes[at]);
    let (left, right) = (after / (before * (before + after)), before / (after * (before + after)));
    weights[place(at - 1)] = -left;
    weights[place(at)] = left - right;
    weights[place(at + 1)] = right;
    weights
}

/// Opens symmetry: after it no angle has to be folded back.
fn opened(raw: RawTable) -> RawTable {
    match raw.kind {
        Goniometer::A | Goniometer::B if raw.across[0] == 0.0 => mirrored(raw),
        Goniometer::Screen | Goniometer::A | Goniometer::B => raw,
        Goniometer::C(_) => through_the_pole(around(raw)),
    }
}

/// Whether two angles are the same but for rounding, degrees.
fn is_at(angle: f64, other: f64) -> bool {
    (angle - other).abs() < 1e-9
}

/// Left half made of the right one.
fn mirrored(raw: RawTable) -> RawTable {
    let left = || raw.across.iter().zip(&raw.candela).skip(1).rev();
    let across = left().map(|(x, _)| -x).chain(raw.across.iter().copied()).collect();
    let candela = left().map(|(_, column)| column.clone()).chain(raw.candela.iter().cloned()).collect();
    RawTable { across, candela, ..raw }
}

/// The half planes of type C as far as their symmetry reaches, and two more beyond 0 and 360 where the circle closes.
fn around(raw: RawTable) -> RawTable {
    let (Some(&first), Some(&last)) = (raw.across.first(), raw.across.last()) else { return raw };
    if raw.across.len() == 1 {
        // Symmetric about the axis: any half plane is the same.
        let across: Vec<f64> = (-1..=5).map(|quarter| 90.0 * f64::from(quarter)).collect();
        let candela = vec![raw.candela[0].clone(); across.len()];
        return RawTable { across, candela, ..raw };
    }
    let spans = |low: f64, high: f64| is_at(first, low) && is_at(last, high);
    // Angles that each column stands for.
    let twins = |c: f64| -> Vec<f64> {
        if spans(0.0, 90.0) {
            vec![c, 180.0 - c, 180.0 + c, 360.0 - c]
        } else if spans(0.0, 180.0) {
            vec![c, 360.0 - c]
        } else if spans(90.0, 270.0) {
            vec![c, 540.0 - c]
        } else {
            vec![c]
        }
    };
    let is_closed = spans(0.0, 90.0) || spans(0.0, 180.0) || spans(90.0, 270.0) || spans(0.0, 360.0);
    if !is_closed {
        return raw;
    }
    let turns = |c: f64| [c - 720.0, c - 360.0, c, c + 360.0];
    let mut columns: Vec<(f64, Vec<f64>)> = raw
        .across
        .iter()
        .zip(&raw.candela)
        .flat_map(|(&c, column)| twins(c).into_iter().flat_map(turns).map(|angle| (angle, column.clone())))
        .filter(|(angle, _)| (-180.0..=540.0).contains(angle))
        .collect();
    columns.sort_by(|a, b| a.0.total_cmp(&b.0));
    columns.dedup_by(|a, b| is_at(a.0, b.0));
    let (across, candela) = columns.into_iter().unzip();
    RawTable { across, candela, ..raw }
}

/// Rows beyond the pole, from the half plane opposite: the light goes smoothly through gamma 0.
fn through_the_pole(raw: RawTable) -> RawTable {
    // As many rows as an interpolation reaches.
    const BEYOND: usize = 2;
    let covers_circle = raw.across.first().is_some_and(|c| *c <= 0.0) && raw.across.last().is_some_and(|c| *c >= 360.0);
    if raw.along[0] != 0.0 || raw.along.len() <= BEYOND || !covers_circle {
        return raw;
    }
    let along = (1..=BEYOND).rev().map(|j| -raw.along[j]).chain(raw.along.iter().copied()).collect();
    let opposite = |c: f64, j: usize| {
        let values: Vec<f64> = raw.candela.iter().map(|column| column[j]).collect();
        Stencil::new(&raw.across, (c + 180.0).rem_euclid(360.0)).0.of(&values).max(0.0)
    };
    let candela = raw
        .across
        .iter()
        .zip(&raw.candela)
        .map(|(&c, column)| (1..=BEYOND).rev().map(|j| opposite(c, j)).chain(column.iter().copied()).collect())
        .collect();
    RawTable { along, candela, ..raw }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lamp in closed form, smooth, lopsided.
    fn lamp(h: f64, v: f64) -> f64 {
        20_000.0 * (-((h - 1.0) / 6.0).powi(2) - (0.5 * (v + 0.7)).powi(2)).exp() + 30.0
    }

    fn steps(from: f64, to: f64, step: f64) -> Vec<f64> {
        (0..=((to - from) / step).round() as usize).map(|i| from + i as f64 * step).collect()
    }

    fn measured(kind: Goniometer, across: Vec<f64>, along: Vec<f64>) -> CandelaTable {
        let cd = |x: f64, y: f64| kind.screen_deg(x, y).map_or(0.0, |(h, v)| lamp(h, v));
        let candela = across.iter().map(|&x| along.iter().map(|&y| cd(x, y)).collect()).collect();
        CandelaTable::new(RawTable { kind, across, along, candela }, "lamp.ies").unwrap()
    }

    /// The same lamp on every goniometer gives the same candela; the tolerance is what a cubic leaves between nodes that
    /// lie 0.5 degrees apart (fourth derivative of the logarithm: none inside the lamp, 30 cd of stray light beside it).
    #[test]
    fn the_same_lamp_on_every_goniometer() {
        let narrow = || steps(-12.0, 12.0, 0.5);
        let tables = [
            measured(Goniometer::Screen, narrow(), narrow()),
            measured(Goniometer::A, narrow(), narrow()),
            measured(Goniometer::B, narrow(), narrow()),
            measured(Goniometer::C(Pole::Down), steps(75.0, 105.0, 0.5), steps(75.0, 105.0, 0.5)),
            measured(Goniometer::C(Pole::Ahead), steps(0.0, 360.0, 2.0), steps(0.0, 20.0, 0.5)),
        ];
        for table in &tables {
            for (h, v) in [(0.0, 0.0), (-2.5, -0.57), (1.13, -0.72), (0.1, 0.05), (6.3, -3.1), (-7.7, 2.2)] {
                let (found, expected) = (table.candela(h, v), lamp(h, v));
                assert!((found / expected - 1.0).abs() < 2e-3, "{:?} ({h}, {v}): {found}, {expected}", table.kind);
            }
        }
    }

    #[test]
    fn nodes_are_met_and_the_outside_fades() {
        let table = measured(Goniometer::Screen, steps(-4.0, 4.0, 0.5), steps(-3.0, 2.0, 0.25));
        assert!((table.candela(-2.5, -0.5) / lamp(-2.5, -0.5) - 1.0).abs() < 1e-12);
        assert!(table.covers(4.0, 2.0) && !table.covers(4.1, 0.0));
        let (edge, outside) = (table.candela(4.0, 0.0), table.candela(6.0, 0.0));
        assert!((outside / edge - (-1.0_f64).exp()).abs() < 1e-9, "{outside} of {edge}");
    }

    #[test]
    fn a_table_that_looks_away_is_refused() {
        let (across, along) = (steps(0.0, 360.0, 30.0), steps(0.0, 90.0, 10.0));
        let candela = across.iter().map(|_| along.iter().map(|g| 1000.0 * (-g * g / 50.0).exp()).collect()).collect();
        let raw = RawTable { kind: Goniometer::C(Pole::Down), across, along, candela };
        let error = CandelaTable::new(raw.clone(), "a.ies").unwrap_err().to_string();
        assert!(error.contains("table_pole"), "{error}");
        assert!(CandelaTable::new(RawTable { kind: Goniometer::C(Pole::Ahead), ..raw }, "a.ies").is_ok());
    }
}
