//! What is known of the camera: its lens, and how its photos answer to light.

pub mod lens;
pub mod profile;
pub mod board;
mod board_grid;
mod fit_start;
pub mod fit;
pub mod fit_file;
pub mod fit_picture;
pub mod response;
pub mod response_cells;
mod response_spline;
pub mod response_file;

pub use board::{BoardShape, GreyPicture, find_board};
pub use fit::{BoardView, Calibrated, FitModel};
pub use fit_start::Pose;
pub use lens::{Lens, Ray};
pub use profile::LensProfile;
pub use response::Response;
pub use response_cells::Cells;
pub use response_file::ResponseProfile;
