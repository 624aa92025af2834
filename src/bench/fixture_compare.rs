//! A reading against a truth that is known independently: one row per value.
//!
//! **Takes** the `features` of a reading's JSON, a [`Truth`], which may be partial, and the caps. **Gives** rows (degrees)
//! and what is wrong beyond them. **How**: a truth may have an uncertainty of its own; error and both uncertainties are
//! held against one another as independent (GUM 5.1.2): `U = sqrt(u^2 + (2 sigma_truth)^2)`.

use super::fixture_manifest::{Case, Tolerance, Truth};
use serde_json::Value;
use std::ops::RangeInclusive;

/// Three standard uncertainties over two: where chance ends for a single value (one in 370).
const POSSIBLE_U: f64 = 1.5;
/// The cutoff of a kink is read 1.0 to 3.5 degrees from the elbow, on its flat side; 0.2 more for the elbow's own error.
const FROM_ELBOW_DEG: RangeInclusive<f64> = 0.8..=3.7;

/// One measured value against its truth, degrees.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Which value.
    pub quantity: &'static str,
    /// As read.
    pub value: f64,
    /// As known.
    pub truth: f64,
    /// Expanded uncertainty (k = 2) of value and truth together.
    pub u: f64,
    /// Largest error; infinite where none is set.
    pub cap: f64,
}

impl Row {
    /// Value less truth.
    pub fn error(&self) -> f64 {
        self.value - self.truth
    }

    /// Error in standard uncertainties.
    pub fn pull(&self) -> f64 {
        self.error() / (self.u / 2.0)
    }

    /// Whether the truth lies inside value ± u.
    pub fn is_inside(&self) -> bool {
        self.error().abs() <= self.u
    }

    /// One value in twenty lies outside U = 2 sigma when U is true: the share inside is judged over all cases, a single
    /// value against three sigma, where chance ends.
    pub fn is_possible(&self) -> bool {
        self.error().abs() <= POSSIBLE_U * self.u
    }

    /// Whether it is possible and under its cap.
    pub fn holds(&self) -> bool {
        self.is_possible() && self.error().abs() <= self.cap
    }

    /// What is wrong with the row, for the end of its line in a table.
    pub fn remark(&self) -> &'static str {
        match (self.is_possible(), self.error().abs() <= self.cap) {
            (true, true) => "",
            (false, true) => "  beyond 1.5 u",
            (true, false) => "  beyond cap",
            (false, false) => "  beyond 1.5 u and cap",
        }
    }
}

/// All rows of one reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Comparison {
    /// Values that exist on both sides.
    pub rows: Vec<Row>,
    /// What is wrong beyond them.
    pub faults: Vec<String>,
}

/// One value that the truth states.
struct Known<'a> {
    quantity: &'static str,
    value: &'a Value,
    u: &'a Value,
    truth: f64,
    sigma: f64,
    cap: Option<f64>,
}

/// Holds `features` against `truth`, as far as it goes.
pub fn compare(features: &Value, truth: &Truth, tolerance: &Tolerance) -> Comparison {
    let (cutoff, elbow, spot) = (&features["cutoff"], &features["elbow"], &features["hot_spot"]);
    let scan_h = cutoff["scan_h_deg"].as_f64();
    let mut found = Comparison::default();
    let mut known = Vec::new();
    if !truth.cutoff_h_deg.is_empty() {
        // Where no truth is listed the cutoff may not be read: NaN fails every comparison.
        let at = scan_h.and_then(|h| truth.cutoff_at(h)).unwrap_or(f64::NAN);
        known.push(Known {
            quantity: "cutoff V",
            value: &cutoff["v_deg"],
            u: &cutoff["u_deg"],
            truth: at,
            sigma: truth.cutoff_sigma_deg.unwrap_or(0.0),
            cap: tolerance.cutoff_v_deg,
        });
    }
    if let Some(place) = truth.elbow {
        let caps = [tolerance.elbow_h_deg, tolerance.elbow_v_deg];
        known.extend(axes(["elbow H", "elbow V"], elbow, place, truth.elbow_sigma_deg, caps));
        found.faults.extend(scan_fault(scan_h, place[0], truth.flat_side));
    }
    if let Some(place) = truth.hot_spot {
        let caps = [tolerance.hot_spot_h_deg, tolerance.hot_spot_v_deg];
        known.extend(axes(["hot spot H", "hot spot V"], spot, place, truth.hot_spot_sigma_deg, caps));
    }
    for Known { quantity, value, u, truth, sigma, cap } in known {
        if let (Some(value), Some(u)) = (value.as_f64(), u.as_f64()) {
            let cap = cap.unwrap_or(f64::INFINITY);
            found.rows.push(Row { quantity, value, truth, u: u.hypot(2.0 * sigma), cap });
        } else {
            found.faults.push(format!("no {quantity}"));
        }
    }
    if let (Some(most), Some(u)) = (tolerance.u_cutoff_deg, cutoff["u_deg"].as_f64())
        && u > most
    {
        found.faults.push(format!("cutoff u {u:.3}, at most {most}"));
    }
    found
}

/// What a reading (its whole JSON) says otherwise than the case expects, values apart: status, verdict, flags.
pub fn unexpected(case: &Case, reading: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    if reading["status"] != case.expect.as_str() {
        faults.push(format!("is {}, expected {}", reading["status"], case.expect));
    }
    let verdict = reading["verdict"]["overall"].as_str();
    if case.verdict.is_some() && case.verdict.as_deref() != verdict {
        faults.push(format!("verdict {verdict:?}, expected {:?}", case.verdict));
    }
    let flags = reading["flags"].as_array().map_or(&[][..], Vec::as_slice);
    let codes: Vec<&str> = flags.iter().filter_map(|flag| flag["code"].as_str()).collect();
    let missing = case.flags.iter().filter(|flag| !codes.contains(&flag.as_str()));
    faults.extend(missing.map(|flag| format!("no flag {flag}, but {codes:?}")));
    faults.extend(case.absent.iter().filter(|flag| codes.contains(&flag.as_str())).map(|flag| format!("flag {flag}")));
    faults
}

fn axes<'a>(
    names: [&'static str; 2],
    block: &'a Value,
    truth: [f64; 2],
    sigma: Option<[f64; 2]>,
    caps: [Option<f64>; 2],
) -> [Known<'a>; 2] {
    let sigma = sigma.unwrap_or_default();
    let axis = |i: usize, value: &'static str, u: &'static str| Known {
        quantity: names[i],
        value: &block[value],
        u: &block[u],
        truth: truth[i],
        sigma: sigma[i],
        cap: caps[i],
    };
    [axis(0, "h_deg", "u_h_deg"), axis(1, "v_deg", "u_v_deg")]
}

fn scan_fault(scan_h: Option<f64>, elbow_h: f64, flat_side: i32) -> Option<String> {
    let h = scan_h?;
    let is_wrong = !FROM_ELBOW_DEG.contains(&((h - elbow_h) * f64::from(flat_side)));
    is_wrong.then(|| format!("cutoff read at H {h:.2}, the elbow is at {elbow_h:.2}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn features() -> Value {
        json!({
            "cutoff": {"v_deg": -0.50, "u_deg": 0.06, "scan_h_deg": -2.5},
            "elbow": null,
            "hot_spot": {"h_deg": 1.0, "u_h_deg": 0.3, "v_deg": -1.5, "u_v_deg": 0.2},
        })
    }

    fn cutoff_only() -> Truth {
        Truth { cutoff_h_deg: vec![-4.0, -1.0], cutoff_v_deg: vec![-0.6, -0.6], ..Truth::default() }
    }

    #[test]
    fn what_the_truth_does_not_state_is_not_compared() {
        let tolerance = Tolerance::default();
        let found = compare(&features(), &cutoff_only(), &tolerance);
        assert_eq!((found.rows.len(), found.faults.len()), (1, 0));
        let truth = Truth { elbow: Some([0.0, -0.6]), flat_side: -1, ..Truth::default() };
        assert_eq!(compare(&features(), &truth, &tolerance).faults, ["no elbow H", "no elbow V"]);
    }

    /// By hand: an error of 0.10 against u = 0.06 lies outside 1.5 u = 0.09; with sigma = 0.04 of the truth,
    /// U = sqrt(0.06^2 + 0.08^2) = 0.10.
    #[test]
    fn the_truth_may_be_uncertain_itself() {
        let tolerance = Tolerance { cutoff_v_deg: Some(0.2), ..Tolerance::default() };
        let exact = &compare(&features(), &cutoff_only(), &tolerance).rows[0];
        assert!(!exact.is_possible() && exact.remark() == "  beyond 1.5 u");
        let truth = Truth { cutoff_sigma_deg: Some(0.04), ..cutoff_only() };
        let row = &compare(&features(), &truth, &tolerance).rows[0];
        assert!((row.u - 0.1).abs() < 1e-12 && row.holds() && (row.pull() - 2.0).abs() < 1e-9, "{row:?}");
        let tight = Tolerance { cutoff_v_deg: Some(0.05), ..Tolerance::default() };
        assert!(!compare(&features(), &truth, &tight).rows[0].holds());
    }

    #[test]
    fn a_cutoff_read_where_no_truth_is_listed_never_holds() {
        let truth = Truth { cutoff_h_deg: vec![1.0, 2.0], ..cutoff_only() };
        assert!(!compare(&features(), &truth, &Tolerance::default()).rows[0].holds());
    }
}
