//! From measured features to a verdict and to the turn of a screw.
//!
//! A [`Rule`] (built in, or a file) is applied to one lamp ([`AppliedRule`]: limits for this beam, pattern, height and
//! side of the road), [`judge`] holds the features against it, [`advise`] says where the beam must go and which screw
//! brings it there.

pub mod limit;
pub mod rule;
mod rule_file;
pub mod dark_zone;
pub mod applied;
mod in_force;
pub mod conformance;
pub mod verdict;
pub mod screws;
pub mod advice;
mod steps;
pub mod learn;

pub use advice::{Advice, AxisAdvice, Direction, Turn, advise};
pub use applied::{AppliedRule, AxisLimits, LampCase};
pub use conformance::conformance_probability;
pub use dark_zone::{DarkZone, DarkZoneFinding, DarkZoneRule, SeenBy};
pub use limit::Limit;
pub use rule::{AxisRule, Beam, ConfidenceMark, Decision, Feature, HeightReference, Rule, RuleCase, RuleStatus};
pub use screws::{Axis, Screw, Screws};
pub use verdict::{AxisResult, AxisValue, AxisVerdict, Overall, Verdict, judge};
