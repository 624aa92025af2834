//! Truth of one photo, as a file states it.
//!
//! **Takes** JSON of the schema `lampwright/truth/1`, or any other with the same field names; what this file does not know
//! is left unread. Truth may be partial: a quantity that is not stated is not scored. **Fails when** the text is no JSON,
//! or states tables of different lengths.

use crate::error::Error;
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;

/// What is known of one photo; angles in degrees in the vehicle's frame, H right and V up positive.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
pub struct TruthFile {
    /// Family of the case; empty: the folder's own name.
    #[serde(default)]
    pub family: String,
    /// `measured` or `refused`: what a program must do with the photo.
    #[serde(default)]
    pub expect: Option<String>,
    /// Refusal codes of which one must be given when refused; empty: any.
    #[serde(default)]
    pub expect_codes: Vec<String>,
    /// The words of the command line, `measure` first; files beside the truth.
    #[serde(default)]
    pub args: Vec<String>,
    /// The cutoff by place.
    #[serde(default)]
    pub cutoff: Option<Table>,
    /// The elbow.
    #[serde(default)]
    pub elbow: Option<Place>,
    /// The hot spot.
    #[serde(default)]
    pub hot_spot: Option<Place>,
    /// What makes the photo hard, in numbers or words.
    #[serde(default)]
    pub difficulty: BTreeMap<String, Value>,
}

/// V of the cutoff at listed H.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
pub struct Table {
    /// Places, rising.
    pub h_deg: Vec<f64>,
    /// The cutoff there.
    pub v_deg: Vec<f64>,
}

/// A direction.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct Place {
    /// To the right.
    pub h_deg: f64,
    /// Up.
    pub v_deg: f64,
}

impl TruthFile {
    /// Reads the file's text; `path` is for the message.
    pub fn parse(text: &str, path: &str) -> Result<Self, Error> {
        const HINT: &str =
            "a truth file is JSON as `lampwright scene` writes it; a quantity that is not known is left out";
        let truth: Self = serde_json::from_str(text)
            .map_err(|error| Error::file(path, format!("is no truth file: {error}"), HINT))?;
        if let Some(table) = &truth.cutoff
            && (table.h_deg.len() != table.v_deg.len() || !table.h_deg.is_sorted() || table.h_deg.is_empty())
        {
            let (h, v) = (table.h_deg.len(), table.v_deg.len());
            let found = format!("the cutoff lists {h} h_deg and {v} v_deg, need as many of each, h_deg rising");
            return Err(Error::file(path, found, HINT));
        }
        if !matches!(truth.expect.as_deref(), None | Some("measured" | "refused")) {
            return Err(Error::file(path, "expect is neither \"measured\" nor \"refused\"", HINT));
        }
        Ok(truth)
    }

    /// Whether the photo must be refused.
    pub fn is_to_be_refused(&self) -> bool {
        self.expect.as_deref() == Some("refused")
    }

    /// The numbers among what makes the photo hard.
    pub fn conditions(&self) -> BTreeMap<String, f64> {
        let number = |value: &Value| match value {
            // The marks' white is one number a mark: the dimmest counts.
            Value::Array(list) => list.iter().filter_map(Value::as_f64).reduce(f64::min),
            other => other.as_f64(),
        };
        self.difficulty.iter().filter_map(|(name, value)| Some((name.clone(), number(value)?))).collect()
    }
}

impl Table {
    /// The cutoff at `h_deg`, between listed places by a straight line; `None` outside the list.
    pub fn at(&self, h_deg: f64) -> Option<f64> {
        let upper = self.h_deg.iter().position(|h| *h >= h_deg)?;
        let Some(lower) = upper.checked_sub(1) else {
            return (self.h_deg[0] - h_deg < 1e-9).then(|| self.v_deg[0]);
        };
        let share = (h_deg - self.h_deg[lower]) / (self.h_deg[upper] - self.h_deg[lower]);
        Some(self.v_deg[lower] + share * (self.v_deg[upper] - self.v_deg[lower]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn partial_truth_is_read_and_the_table_is_interpolated() {
        let text = r#"{"schema": "x", "expect": "measured", "cutoff": {"h_deg": [-3, -2, 0], "v_deg": [-0.5, -0.4, 0.4]},
                       "elbow": null, "difficulty": {"marks": [0.3, 0.1], "wall": "brick", "k1": 0.02}}"#;
        let truth = TruthFile::parse(text, "t.json").unwrap();
        let table = truth.cutoff.as_ref().unwrap();
        assert!((table.at(-2.5).unwrap() + 0.45).abs() < 1e-12 && (table.at(-1.0).unwrap()).abs() < 1e-12);
        assert_eq!((table.at(-3.0), table.at(-3.1), table.at(0.1)), (Some(-0.5), None, None));
        assert!(truth.elbow.is_none() && truth.hot_spot.is_none() && !truth.is_to_be_refused());
        assert_eq!(truth.conditions(), [("k1".to_owned(), 0.02), ("marks".to_owned(), 0.1)].into());
    }

    #[test]
    fn what_is_no_truth_is_named() {
        for text in ["{", r#"{"expect": "perhaps"}"#, r#"{"cutoff": {"h_deg": [1], "v_deg": []}}"#] {
            let message = TruthFile::parse(text, "t.json").unwrap_err().to_string();
            assert!(message.starts_with("t.json: ") && message.contains("hint: "), "{message}");
        }
    }
}
