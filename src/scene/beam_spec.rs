//! The numbers of one beam.
//!
//! **Takes** TOML (or fields set by hand). **Gives** a [`BeamSpec`]; what they mean together stands in `scene/beam.rs`.

use super::candela::CandelaTable;
use super::facets::FacetSpec;
use super::goniometer::Pole;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// The form of the line along which the light ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Shape {
    /// Level, then rising without end.
    Kink15,
    /// Level, then a ramp up to a level shelf.
    Z,
    /// Level, then a 45 degree step up to a level shelf.
    Kink45,
    /// Level on the left, the place that counts; a small step near the middle.
    Vol,
    /// Level on the right, the place that counts; a small step near the middle.
    Vor,
    /// One wide level line.
    Flat,
    /// No line at all: a bright spot.
    Spot,
}

/// Everything that shapes one beam. Angles in degrees; places are relative to the aim unless said otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BeamSpec {
    /// The line's form.
    pub shape: Shape,
    /// Whether the lamp is lit.
    pub is_lit: bool,
    /// Where the corner of the 50 % line stands (vehicle frame).
    pub aim_h_deg: f64,
    /// Where the flat part of the 50 % line stands (vehicle frame); the spot's centre for `spot`.
    pub aim_v_deg: f64,
    /// The whole pattern turned about the aim, positive when the right end rises.
    pub tilt_deg: f64,
    /// `s` of the logistic edge: 0.06 is sharp, 0.22 soft.
    pub softness_deg: f64,
    /// Relative growth of `s` per degree to the flat side.
    pub softness_growth_per_deg: f64,
    /// Asymmetry of the edge, within ±0.9: the slope of its argument differs by this share above and below.
    pub asymmetry: f64,
    /// Rounding `r` of the corners, 1/deg.
    pub rounding_per_deg: f64,
    /// Slope of the rising part (tangent).
    pub rise_slope: f64,
    /// Height of the shelf or the step above the flat part.
    pub shelf_deg: f64,
    /// Amplitude of the line's waviness.
    pub wave_deg: f64,
    /// Wavelength of the waviness along h.
    pub wave_length_deg: f64,
    /// Phase of the waviness, turns.
    pub wave_phase_turns: f64,
    /// Intensity of the wide part at its centre, just under the line, cd.
    pub wide_cd: f64,
    /// Share of the wide part that does not fade to the sides.
    pub pedestal_share: f64,
    /// Centre of the wide part.
    pub wide_h_deg: f64,
    /// Half width of the wide part.
    pub spread_deg: f64,
    /// Exponent of the fading to the sides.
    pub spread_power: f64,
    /// How far under the line the light begins to fade downwards.
    pub below_start_deg: f64,
    /// Length of the downward fading.
    pub below_depth_deg: f64,
    /// Exponent of the downward fading.
    pub below_power: f64,
    /// Hot spot on top of the wide part, as a share of `wide_cd`.
    pub hot_ratio: f64,
    /// Hot spot's centre.
    pub hot_h_deg: f64,
    /// Hot spot's centre.
    pub hot_v_deg: f64,
    /// Hot spot's half width (1/e).
    pub hot_width_deg: f64,
    /// Hot spot's half height (1/e).
    pub hot_height_deg: f64,
    /// Light under the line to stray light above it (H/L) at the centre.
    pub contrast: f64,
    /// Share of the stray light that fades with height.
    pub stray_near_share: f64,
    /// Length over which it fades upwards.
    pub stray_decay_deg: f64,
    /// Fading of the rest of the stray light above the cutoff, degrees; very large: it does not fade.
    pub stray_slow_deg: f64,
    /// Centre of the stray light.
    pub stray_h_deg: f64,
    /// Half width of the stray light.
    pub stray_spread_deg: f64,
    /// Red edge above, blue edge below the green one by this much.
    pub fringe_deg: f64,
    /// Light exit of the projector; 0: no near-field smear.
    pub aperture_mm: f64,
    /// Facets of a reflector lamp.
    #[serde(default)]
    pub facets: FacetSpec,
    /// File of a measured lamp, `.csv` or `.ies`, in place of the closed form. Its H-V stands at the aim (0 and 0: as
    /// measured) and is never mirrored: a lamp for left-hand traffic was measured as one. `shape`, `rise_slope` and
    /// `shelf_deg` then only say what kind of elbow it has; of the rest `tilt_deg`, `fringe_deg`, `aperture_mm` count.
    #[serde(default)]
    pub table: Option<String>,
    /// How the lamp lay on a type C goniometer.
    #[serde(default)]
    pub table_pole: Pole,
    /// The table, read by whoever may read files.
    #[serde(skip)]
    pub candela: Option<Arc<CandelaTable>>,
}
