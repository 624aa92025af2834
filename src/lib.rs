//! Lampwright measures how a headlamp is aimed from a photo of its beam on a marked wall.
//!
//! The flow, a module a step: [`photo`] decodes a file; [`marks`] finds the wall's marks in it; [`wall`] fits the homography
//! between wall and picture; [`grid`] resamples the light on angles as seen from the lamp; [`beam`] finds the cutoff, its elbow and
//! the hot spot with their uncertainty budgets; [`aim`] holds them against a rule and says what to turn. [`measurement::measure`] runs
//! them all; [`reading`] is what is stored of it, as JSON; [`draw`] is the annotated picture. Around that stand [`kit`] (bay, sheets,
//! calibration, sessions of aiming), `record` and `report`, and the page (`page`). [`scene`] and [`mod@bench`] are the developer's bench.
//! Angles are degrees, H to the right and V up as seen from the lamp; wall places are millimetres in the bay's frame ([`units`]).
//!
//! Without default features (`default-features = false`) the measuring core is built alone: no store, no page, no HEIC.
//!
//! # A photo measured from a program of one's own
//!
//! ```
//! use lampwright::aim::{Beam, LampCase, Rule};
//! use lampwright::bay::{Bay, LampEntry, LampSetup, LampSide, Traffic};
//! use lampwright::beam::Pattern;
//! use lampwright::measurement::{NamedBytes, Request, Unobserved, measure};
//! use lampwright::options::Options;
//! use lampwright::units::Mm;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let photo = std::fs::read("fixtures/shots/shot-clean.jpg")?;
//! let bay = Bay::parse(&std::fs::read_to_string("fixtures/bays/shot-clean.toml")?, "shot-clean.toml")?;
//! let entry = LampEntry {
//!     side: LampSide::Right,
//!     height: Mm::new(699.0),
//!     offset: Some(Mm::new(571.0)),
//!     distance: None,
//!     vehicle_yaw_deg: None,
//!     vehicle_yaw_sigma_deg: None,
//! };
//! let lamp = LampCase {
//!     beam: Beam::Low,
//!     pattern: Pattern::Kink,
//!     traffic: Traffic::Right,
//!     side: LampSide::Right,
//!     centre_height: Mm::new(699.0),
//!     lower_edge_height: None,
//!     plate: None,
//! };
//! let rule = Rule::built_in("shop-check").ok_or("no such rule")??.apply(&lamp)?;
//! let measured = measure(
//!     &Request {
//!         photo: NamedBytes { name: "shot-clean.jpg", bytes: &photo },
//!         bracket: &[],
//!         marks_photo: None,
//!         ambient_photo: None,
//!         bay: &bay,
//!         setup: &LampSetup::new(&bay, &entry),
//!         pattern: lamp.pattern,
//!         traffic: lamp.traffic,
//!         rule: &rule,
//!         screws: None,
//!         lens: None,
//!         response: None,
//!         options: &Options::default(),
//!         marks_by_hand: &[],
//!     },
//!     &mut Unobserved,
//! )?;
//! match &measured.outcome {
//!     Ok(found) => {
//!         let cutoff = &found.features.cutoff.as_ref().ok_or("no cutoff")?.v;
//!         // The scene's own cutoff stands at -1.382 degrees: set too low.
//!         assert!((cutoff.value.get() + 1.382).abs() < cutoff.expanded().get());
//!         assert_eq!(found.verdict.overall.as_str(), "fail");
//!     }
//!     // The photo was refused: its code, what was found, and what to do.
//!     Err(refusal) => return Err(refusal.to_string().into()),
//! }
//! # Ok(())
//! # }
//! ```

pub mod units;
pub mod measured;
pub mod flag;
pub mod error;
pub mod tunable;
pub mod bay;
pub mod camera;
pub mod photo;
pub mod marks;
pub mod wall;
pub mod grid;
pub mod beam;
pub mod aim;
pub mod options;
pub mod measurement;
pub mod reading;
pub mod draw;
pub mod kit;
#[cfg(feature = "records")]
pub mod record;
#[cfg(feature = "records")]
pub mod report;
pub mod scene;
pub mod bench;
pub mod cli;
#[cfg(feature = "serve")]
pub mod page;
