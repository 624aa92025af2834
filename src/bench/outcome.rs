//! What came of one case: how it ended, each quantity against its truth, and the conditions it was taken under.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A quantity that is scored; degrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// V of the cutoff where it was read.
    CutoffV,
    /// H of the elbow.
    ElbowH,
    /// V of the elbow.
    ElbowV,
    /// H of the hot spot.
    HotSpotH,
    /// V of the hot spot.
    HotSpotV,
}

impl Quantity {
    /// All, in the order in which they are shown.
    pub const ALL: [Self; 5] = [Self::CutoffV, Self::ElbowH, Self::ElbowV, Self::HotSpotH, Self::HotSpotV];

    /// Name for people.
    pub fn name(self) -> &'static str {
        match self {
            Self::CutoffV => "cutoff V",
            Self::ElbowH => "elbow H",
            Self::ElbowV => "elbow V",
            Self::HotSpotH => "hot spot H",
            Self::HotSpotV => "hot spot V",
        }
    }
}

/// How a case ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// Measured, as it must be or as nothing forbids.
    Measured,
    /// Refused, and it must be.
    RefusedRightly,
    /// Refused, and it must be, but with a code that the truth does not name.
    RefusedWithWrongCode,
    /// Refused although it can be measured.
    RefusedWrongly,
    /// Measured although it must be refused.
    MeasuredWrongly,
    /// An error instead of a reading, or a panic.
    Broken,
}

/// A flag of the reading.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlagSeen {
    /// Its code.
    pub code: String,
    /// `info`, `warning` or `refusal`.
    pub severity: String,
}

/// One value against its truth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FeatureError {
    /// Which.
    pub quantity: Quantity,
    /// As measured.
    pub value_deg: f64,
    /// As known.
    pub truth_deg: f64,
    /// Stated expanded uncertainty (k = 2).
    pub u_deg: f64,
}

impl FeatureError {
    /// Value minus truth.
    pub fn error_deg(&self) -> f64 {
        self.value_deg - self.truth_deg
    }

    /// Error in standard uncertainties, u / 2.
    pub fn pull(&self) -> f64 {
        self.error_deg() / (self.u_deg / 2.0)
    }

    /// Whether the truth lies inside value ± u.
    pub fn is_inside(&self) -> bool {
        self.error_deg().abs() <= self.u_deg
    }

    /// Off by more than 2 u and more than 0.05 degrees: what must not happen without a warning.
    pub fn is_large(&self) -> bool {
        /// Below this an error matters to nobody who turns a screw (own judgement), degrees.
        const MATTERS_DEG: f64 = 0.05;
        self.error_deg().abs() > (2.0 * self.u_deg).max(MATTERS_DEG)
    }
}

/// One case, measured and compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// The case.
    pub id: String,
    /// Its family.
    pub family: String,
    /// How it ended.
    pub ending: Ending,
    /// Flags of the reading.
    pub flags: Vec<FlagSeen>,
    /// What was said when it was refused or broke.
    pub message: Option<String>,
    /// Quantities with a value and a truth.
    pub errors: Vec<FeatureError>,
    /// Quantities with a truth that were not measured.
    pub missing: Vec<Quantity>,
    /// Overall verdict.
    pub verdict: Option<String>,
    /// Axes whose verdict is pass where the truth fails, or the reverse.
    pub wrong_axes: Vec<String>,
    /// Exposure, room light and so on, as the truth file states them.
    pub conditions: BTreeMap<String, f64>,
    /// Time from reading the files to the reading, s.
    pub seconds: f64,
}

impl Outcome {
    /// Whether the reading warns.
    pub fn has_warning(&self) -> bool {
        self.flags.iter().any(|flag| flag.severity != "info")
    }

    /// Errors that are large and of which nothing warns.
    pub fn unflagged_large(&self) -> impl Iterator<Item = &FeatureError> {
        self.errors.iter().filter(|error| error.is_large() && !self.has_warning())
    }

    /// The largest error in shares of what is tolerable: for the list of worst cases.
    pub fn badness(&self) -> f64 {
        /// Beyond every error of a value: cases that ended wrongly come first.
        const ENDED_WRONGLY: f64 = 1e6;
        let worst = self.errors.iter().map(|error| error.pull().abs() * error.error_deg().abs().sqrt());
        let value = worst.fold(0.0, f64::max);
        match self.ending {
            Ending::Measured if self.wrong_axes.is_empty() => value,
            Ending::RefusedRightly => 0.0,
            _ => ENDED_WRONGLY + value,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_are_held_against_their_u() {
        let error = |value_deg, u_deg| FeatureError { quantity: Quantity::CutoffV, value_deg, truth_deg: -0.5, u_deg };
        assert!((error(-0.4, 0.1).pull() - 2.0).abs() < 1e-12 && !error(-0.39, 0.1).is_inside());
        assert!(error(-0.4, 0.04).is_large() && !error(-0.4, 0.06).is_large());
        // Beyond 2 u, but too small to matter.
        assert!(!error(-0.46, 0.01).is_large());
    }
}
