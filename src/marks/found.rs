//! What the mark stage gives to later stages.

use crate::units::PxPoint;

/// A mark of the bay that was found in the photo.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundMark {
    /// Its place in [`crate::bay::Bay::marks`].
    pub index: usize,
    /// Its id, as the bay gives it.
    pub id: u32,
    /// Its centre in the upright photo.
    pub centre: PxPoint,
    /// Standard uncertainty of the centre per axis, pixels.
    pub centre_sigma_px: f64,
    /// A tag's four corners of the black square, as printed upright: upper left, upper right, lower right, lower left.
    pub corners: Option<[PxPoint; 4]>,
    /// Standard uncertainty of each corner per axis, pixels (0 without corners).
    pub corner_sigma_px: f64,
    /// Whether its place was given by hand.
    pub is_by_hand: bool,
}

/// A mark of the bay that was not found.
#[derive(Debug, Clone, PartialEq)]
pub struct MissingMark {
    /// Its place in [`crate::bay::Bay::marks`].
    pub index: usize,
    /// Its id.
    pub id: u32,
    /// Where in the photo it should be, when the others tell: three or more, or two of which one is a tag.
    pub expected: Option<PxPoint>,
}

/// All marks of the bay, found and missing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marks {
    /// Found marks, in the order of the bay file.
    pub found: Vec<FoundMark>,
    /// Missing marks, in the order of the bay file.
    pub missing: Vec<MissingMark>,
    /// Blur of the photo at the tags, the median of their fits, as the standard deviation of a Gaussian, pixels; none when
    /// no tag was found.
    pub blur_px: Option<f64>,
}
