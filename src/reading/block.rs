//! The JSON object of a reading (schema `lampwright/reading/1`), block by block.
//!
//! Angles are degrees, H right positive, V up positive; `u_*` are expanded uncertainties (k = 2), the budget's parts
//! standard ones (k = 1). A number that does not exist is `null`; none is ever NaN or infinite. Fields beyond the
//! schema's own are marked "further".

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The schema line of every reading.
pub const READING_SCHEMA: &str = "lampwright/reading/1";

/// One reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct Reading {
    /// [`READING_SCHEMA`].
    pub schema: String,
    /// `measured` or `refused`.
    pub status: String,
    /// The program.
    pub software: SoftwareBlock,
    /// The photo.
    pub photo: PhotoBlock,
    /// Further: the lamp in the bay, as used.
    pub setup: SetupBlock,
    /// The marks.
    pub marks: MarksBlock,
    /// What was measured; `None` when refused.
    pub features: Option<FeaturesBlock>,
    /// Named parts of each value's uncertainty, k = 1.
    pub budget: BTreeMap<String, Vec<PartBlock>>,
    /// The verdict; `None` when refused.
    pub verdict: Option<VerdictBlock>,
    /// The advice; `None` when refused.
    pub advice: Option<AdviceBlock>,
    /// Flags, the gravest first.
    pub flags: Vec<FlagBlock>,
    /// Further: the program's arguments, enough to repeat the run.
    pub command: Vec<String>,
    /// Tunables of the detection that differ from their defaults, by key; left out when none does.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub options: BTreeMap<String, f64>,
}

/// The program that made the reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct SoftwareBlock {
    /// `lampwright`.
    pub name: String,
    /// Version.
    pub version: String,
    /// Commit that it was built from, with `-dirty` when tracked files differed from it; `unknown` outside a
    /// clone.
    pub commit: String,
}

/// The photo; sizes are of the upright picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct PhotoBlock {
    /// Name of the file as given.
    pub file: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Further: `jpeg`, `heic` or `png`, by content.
    pub format: String,
    /// Further: EXIF orientation, 1 to 8; of a HEIC, what its container says.
    pub orientation: u8,
    /// Further: exposure time, seconds.
    pub exposure_s: Option<f64>,
    /// Further: ISO speed.
    pub iso: Option<u32>,
    /// Further: focal length as 35 mm equivalent, millimetres.
    pub focal_35mm: Option<f64>,
    /// Further: capture time as the file states it.
    pub captured: Option<String>,
    /// Further: the photos that were merged (`--bracket`), as they were given; left out for a photo alone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub merged: Vec<MergedBlock>,
}

/// One of the photos that were merged.
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MergedBlock {
    /// Name of the file as given.
    pub file: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Its exposure over that of the shortest, as the pictures have it.
    pub exposure: Option<f64>,
}

/// The lamp in the bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct SetupBlock {
    /// Id of the bay.
    pub bay: String,
    /// Name of the bay.
    pub bay_name: String,
    /// `left` or `right`.
    pub lamp: String,
    /// `low`, `high` or `fog`.
    pub beam: String,
    /// What was looked for.
    pub pattern: String,
    /// Side of the road, `right` or `left`.
    pub traffic: String,
    /// Rule, by id.
    pub rules: String,
    /// Lamp centre above the floor.
    pub height_mm: f64,
    /// Lamp centre from the centreline.
    pub offset_mm: f64,
    /// Lamps' plane to wall.
    pub distance_mm: f64,
    /// Vehicle yaw.
    pub vehicle_yaw_deg: f64,
    /// Lower edge of the lit surface above the floor, when given.
    pub lower_edge_mm: Option<f64>,
    /// Inclination marked on the plate, when given.
    pub nominal_percent: Option<f64>,
    /// Name of the screws file's content, when given.
    pub screws: Option<String>,
}

/// The marks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct MarksBlock {
    /// Ids of the marks found.
    pub found: Vec<u32>,
    /// Residual of the fit, pixels.
    pub rms_px: Option<f64>,
    /// Residual of the fit on the wall, millimetres.
    pub rms_mm: Option<f64>,
    /// Further: ids of the marks that were not found.
    pub missing: Vec<u32>,
    /// Further: where the marks were found, upright pixels, centres at n + 0.5.
    pub places: Vec<MarkPlaceBlock>,
}

/// Where one mark was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct MarkPlaceBlock {
    /// Id.
    pub id: u32,
    /// Pixels from the left edge.
    pub x_px: f64,
    /// Pixels from the upper edge.
    pub y_px: f64,
    /// Whether it was given by hand.
    pub by_hand: bool,
}

/// What was measured in the beam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct FeaturesBlock {
    /// The flat cutoff.
    pub cutoff: Option<CutoffBlock>,
    /// The elbow.
    pub elbow: Option<PlaceBlock>,
    /// Angle of the rising part.
    pub rise: Option<RiseBlock>,
    /// The hot spot.
    pub hot_spot: Option<HotSpotBlock>,
    /// Edges of the bright zone.
    pub bright_zone: Option<BrightZoneBlock>,
}

/// The flat cutoff.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct CutoffBlock {
    /// V.
    pub v_deg: f64,
    /// Its uncertainty.
    pub u_deg: f64,
    /// H where it was read.
    pub scan_h_deg: f64,
    /// Greatest G of the lamp alone.
    pub sharpness_g: Option<f64>,
    /// Flat line against level, positive when its right end is higher.
    pub tilt_deg: Option<f64>,
}

/// A direction with its uncertainties.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct PlaceBlock {
    /// H.
    pub h_deg: f64,
    /// Its uncertainty.
    pub u_h_deg: f64,
    /// V.
    pub v_deg: f64,
    /// Its uncertainty.
    pub u_v_deg: f64,
}

/// The rising part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct RiseBlock {
    /// Above level, 0 to 90.
    pub angle_deg: f64,
    /// Its uncertainty.
    pub u_deg: f64,
}

/// The hot spot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct HotSpotBlock {
    /// Its direction.
    #[serde(flatten)]
    pub place: PlaceBlock,
    /// Whether the photo is clipped there.
    pub clipped: bool,
}

/// Edges of the bright zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct BrightZoneBlock {
    /// V of the upper edge.
    pub top_v_deg: f64,
    /// Its uncertainty.
    pub u_top_deg: f64,
    /// H of the left edge.
    pub left_h_deg: f64,
    /// Its uncertainty.
    pub u_left_deg: f64,
}

/// One part of a budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct PartBlock {
    /// What it comes from.
    pub part: String,
    /// Standard uncertainty, k = 1.
    pub u_deg: Option<f64>,
}

/// The verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct VerdictBlock {
    /// Id of the rule.
    pub rules: String,
    /// `pass`, `fail`, `borderline` or `none`.
    pub overall: String,
    /// Vertical; `None` when it is not judged, has no limits, or could not be measured.
    pub vertical: Option<AxisBlock>,
    /// Horizontal; likewise.
    pub horizontal: Option<AxisBlock>,
    /// Further: axes that the rule judges but that could not be measured.
    pub not_measured: Vec<String>,
    /// Further: name of the rule.
    pub rule_name: String,
    /// Further: how well the rule's figures were checked.
    pub rule_status: String,
    /// Further: `guarded` or `simple`.
    pub decision: String,
    /// Further: what a reader must know of the rule.
    pub notes: Vec<String>,
    /// Further: the part of the wall that the rule wants dark; left out where it names none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dark_zone: Option<DarkZoneBlock>,
}

impl VerdictBlock {
    /// Whether the cutoff was seen to stand in the rule's dark zone, of which the overall verdict knows nothing.
    pub fn lights_dark_zone(&self) -> bool {
        self.dark_zone.as_ref().is_some_and(|zone| zone.result == "fail")
    }
}

/// A dark zone and what the cutoff says about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct DarkZoneBlock {
    /// V of its lower edge.
    pub above_deg: f64,
    /// H of its left edge; `None`: open.
    pub right_of_deg: Option<f64>,
    /// H of its right edge; `None`: open.
    pub left_of_deg: Option<f64>,
    /// What must not be seen there.
    pub free_of: String,
    /// `fail` (the cutoff stands inside), `borderline`, or `not judged`: a photo never shows that the zone is dark.
    pub result: String,
    /// The result in words.
    pub text: String,
}

/// One judged axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct AxisBlock {
    /// Measured value.
    pub value_deg: f64,
    /// Its uncertainty.
    pub u_deg: f64,
    /// Nominal, or the middle of a band; `None` for a one-sided limit.
    pub nominal_deg: Option<f64>,
    /// Lower limit.
    pub lower_deg: Option<f64>,
    /// Upper limit.
    pub upper_deg: Option<f64>,
    /// `pass`, `fail` or `borderline`.
    pub result: String,
    /// Further: probability that the true value conforms (normal distribution).
    pub conformance_probability: Option<f64>,
}

/// The advice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct AdviceBlock {
    /// Vertical.
    pub vertical: Option<AxisAdviceBlock>,
    /// Horizontal.
    pub horizontal: Option<AxisAdviceBlock>,
    /// What to do, in order.
    pub steps: Vec<String>,
}

/// The advice for one axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct AxisAdviceBlock {
    /// `up`, `down`, `left`, `right` or `none`.
    pub beam_must_move: String,
    /// By how much.
    pub by_deg: f64,
    /// The same on the wall.
    pub by_mm_at_wall: f64,
    /// Which screw, when it is described.
    pub screw: Option<String>,
    /// `clockwise`, `counterclockwise`, `none` or `unknown`.
    pub turn: String,
    /// Net turns.
    pub turns: Option<f64>,
}

/// A flag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "records", derive(schemars::JsonSchema))]
pub struct FlagBlock {
    /// Code.
    pub code: String,
    /// `info`, `warning` or `refusal`.
    pub severity: String,
    /// What was found, and for a refusal what to do.
    pub text: String,
    /// Further: what to do, apart; refusals only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
}

impl SoftwareBlock {
    /// The program that is running.
    pub fn this() -> Self {
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            commit: option_env!("LAMPWRIGHT_COMMIT").unwrap_or("unknown").to_owned(),
        }
    }
}

impl Reading {
    /// The JSON text, one field a line, with a line end behind it.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }
}
