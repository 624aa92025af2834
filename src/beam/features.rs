//! What the beam stage gives to later stages: each feature with its uncertainty budget, absent when it has none.

use crate::flag::Flag;
use crate::measured::Measured;
use crate::units::{AnglePoint, Deg};

/// What is looked for in the beam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// Flat cutoff, elbow and rising part; mirrored for left-hand traffic.
    Kink,
    /// Visual/optical aim on the cutoff left of the lamp's vertical.
    LeftCutoff,
    /// Visual/optical aim on the cutoff right of the lamp's vertical.
    RightCutoff,
    /// One level cutoff (fog lamps).
    Flat,
    /// No cutoff: the hot spot only.
    Spot,
}

impl Pattern {
    /// All patterns.
    pub const ALL: [Self; 5] = [Self::Kink, Self::LeftCutoff, Self::RightCutoff, Self::Flat, Self::Spot];

    /// The name on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Kink => "kink",
            Self::LeftCutoff => "left-cutoff",
            Self::RightCutoff => "right-cutoff",
            Self::Flat => "flat",
            Self::Spot => "spot",
        }
    }
}

/// The flat part of the cutoff.
#[derive(Debug, Clone, PartialEq)]
pub struct Cutoff {
    /// Its V at the scan position.
    pub v: Measured,
    /// H of the scan position.
    pub scan_h: Deg,
    /// Greatest G of the lamp alone: log10 E(V) - log10 E(V + 0.1 deg).
    pub sharpness_g: f64,
    /// Flat line against level, positive when its right end is higher.
    pub tilt: Deg,
}

/// Where the flat line and the rising line meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Elbow {
    /// Horizontal place.
    pub h: Measured,
    /// Vertical place.
    pub v: Measured,
}

/// The direction of the lamp's greatest intensity.
#[derive(Debug, Clone, PartialEq)]
pub struct HotSpot {
    /// Horizontal place.
    pub h: Measured,
    /// Vertical place.
    pub v: Measured,
    /// Whether the photo is clipped there.
    pub is_clipped: bool,
}

/// Edges of the bright zone around the hot spot.
#[derive(Debug, Clone, PartialEq)]
pub struct BrightZone {
    /// Steepest log fall above the hot spot, on its vertical.
    pub top_v: Measured,
    /// Steepest log fall left of the hot spot, on its level line.
    pub left_h: Measured,
}

/// Everything that was measured in the beam.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BeamFeatures {
    /// The flat cutoff.
    pub cutoff: Option<Cutoff>,
    /// The elbow.
    pub elbow: Option<Elbow>,
    /// Angle of the rising part above level, 0 to 90 degrees.
    pub rise: Option<Measured>,
    /// The hot spot.
    pub hot_spot: Option<HotSpot>,
    /// The bright zone's edges.
    pub bright_zone: Option<BrightZone>,
    /// The cutoff as fitted, left to right, for drawing.
    pub cutoff_line: Vec<AnglePoint>,
    /// Flags raised by the beam.
    pub flags: Vec<Flag>,
}
