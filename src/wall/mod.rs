//! The wall in the photo: px to wall millimetres and back, and the bay's geometry from the wall to the lamp.

pub mod options;
pub mod geometry;
pub mod homography;
pub mod least_squares;
pub mod projection;
pub mod observation;
pub mod camera_tie;
pub mod estimate;
pub mod check;
mod diagnosis;
mod refusal;
pub mod fit;
pub mod view;

pub use check::Displaced;
pub use fit::{CameraFacts, fit};
pub use options::FitOptions;
pub use view::{MarkResidual, WallSpread, WallView};
