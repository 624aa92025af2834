//! Camera and sensor of a scene in numbers.
//!
//! **Takes** TOML (or fields set by hand). **Gives** [`CameraSpec`] and [`SensorSpec`], in the units of `scene/spec.rs`.

use serde::{Deserialize, Serialize};

/// The camera's place and lens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CameraSpec {
    /// Place in the bay frame.
    pub x_mm: f64,
    /// Place in the bay frame.
    pub y_mm: f64,
    /// Place in the bay frame.
    pub z_mm: f64,
    /// Point on the wall that the optical axis meets.
    pub target_x_mm: f64,
    /// Point on the wall that the optical axis meets.
    pub target_y_mm: f64,
    /// Turned about the optical axis, clockwise positive.
    pub roll_deg: f64,
    /// Focal length equivalent to 35 mm film, by the diagonal.
    pub f35_mm: f64,
    /// Principal point off the middle, share of the longer side.
    pub principal_x: f64,
    /// Principal point off the middle, share of the longer side.
    pub principal_y: f64,
    /// Radial distortion, order 2.
    pub k1: f64,
    /// Radial distortion, order 4.
    pub k2: f64,
    /// Radial distortion, order 6.
    #[serde(default)]
    pub k3: f64,
    /// Share of the cos^4 fall to the corners that the camera leaves.
    pub vignetting: f64,
    /// Blur, standard deviation in pixels of a picture 4000 pixels long.
    pub blur_px: f64,
    /// Motion blur, length in such pixels.
    pub motion_px: f64,
    /// Motion blur, direction.
    pub motion_deg: f64,
}

/// Form of the tone curve on top of sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ToneKind {
    /// sRGB alone.
    Srgb,
    /// Sigmoid about the tone centre.
    Sigmoid,
    /// Smoothstep mixed in.
    Smooth,
    /// Darkened toe and pressed shoulder.
    Film,
}

/// Exposure, noise and the camera's program.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorSpec {
    /// Level of the plain wall at the hot spot, room light included; above 1 it is clipped.
    pub peak_level: f64,
    /// Electrons at full scale.
    pub full_well_e: f64,
    /// Read noise, electrons.
    pub read_noise_e: f64,
    /// Colour of the lamp in the picture: red against green.
    pub lamp_red: f64,
    /// Colour of the lamp in the picture: blue against green.
    pub lamp_blue: f64,
    /// Gain of the white balance on red, after the sensor has clipped; 1: none. The tints above are those of the balanced
    /// picture, so it moves only where each colour clips and how noisy it is.
    #[serde(default = "no_gain")]
    pub balance_red: f64,
    /// Gain of the white balance on blue.
    #[serde(default = "no_gain")]
    pub balance_blue: f64,
    /// Tone curve.
    pub tone: ToneKind,
    /// Strength of the tone curve, 0 to 1.
    pub tone_strength: f64,
    /// Encoded value about which the sigmoid turns; low: the shoulder rules, high: the toe.
    pub tone_centre: f64,
    /// Strength of the sharpening.
    pub sharpening: f64,
    /// Depth of the bands that a flickering lamp leaves, 0 to 1.
    pub band_depth: f64,
    /// Bands over the picture's read-out.
    pub band_count: f64,
    /// Phase of the bands, turns.
    pub band_phase_turns: f64,
}

/// A white balance that leaves a colour alone.
fn no_gain() -> f64 {
    1.0
}
