//! What the beam stage is given beside the angle grid.

use super::features::Pattern;
use super::options::BeamOptions;
use super::tone::ToneKnowledge;
use crate::bay::{LampSetup, Traffic};
use crate::grid::FarSample;
use crate::photo::Bands;
use crate::wall::WallView;

/// What the beam stage needs beside the grid.
#[derive(Debug, Clone, Copy)]
pub struct BeamInput<'a> {
    /// Tunables of the stage.
    pub options: &'a BeamOptions,
    /// Coarse samples of the whole visible wall.
    pub far: &'a [FarSample],
    /// The wall in the photo.
    pub view: &'a WallView,
    /// The lamp's set-up.
    pub setup: &'a LampSetup,
    /// What is looked for.
    pub pattern: Pattern,
    /// Side of the road.
    pub traffic: Traffic,
    /// The tone curve.
    pub tone: ToneKnowledge,
    /// Bands of a pulsed lamp, where the photo shows them.
    pub bands: Option<Bands>,
    /// Whether the room's light was subtracted with an ambient photo.
    pub is_ambient_subtracted: bool,
    /// Blur of the photo, standard deviation in pixels, as its marks showed it; none where no tag did.
    pub blur_px: Option<f64>,
    /// Focal length in pixels of the photo and its centre, for the lens's fall-off.
    pub focal_px: f64,
    /// Centre of the upright photo, pixels.
    pub centre_px: (f64, f64),
}
