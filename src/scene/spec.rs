//! The scene in numbers: everything that a rendered photo depends on.
//!
//! **Takes** TOML (or fields set by hand). **Gives** a [`SceneSpec`]; lengths in mm, angles in degrees, light in lux and
//! candela, colours as factors on red, green and blue. Frames and signs are those of `units.rs` and `bay.rs`.

use super::beam_spec::BeamSpec;
use super::spec_camera::{CameraSpec, SensorSpec};
use serde::{Deserialize, Serialize};

/// One photo (or a pair) with its bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SceneSpec {
    /// Condition that the scene stands for.
    pub family: String,
    /// Stem of the file names.
    #[serde(default)]
    pub name: String,
    /// Seed of all noise and texture.
    #[serde(default)]
    pub seed: u64,
    /// What a measuring program must do: `measured` or `refused`.
    pub expect: String,
    /// Pattern that the program is told to look for.
    pub pattern: String,
    /// Beam that the program is told: low, high or fog.
    pub beam_name: String,
    /// The stored picture.
    pub picture: PictureSpec,
    /// Vehicle, lamp, wall and floor against one another.
    pub setup: SetupSpec,
    /// The lamp's beam.
    pub beam: BeamSpec,
    /// Another lamp of the same form.
    pub second: SecondSpec,
    /// The wall's face.
    pub wall: WallSpec,
    /// The floor's face.
    pub floor: FloorSpec,
    /// Light of the room, and what stands in it.
    pub room: RoomSpec,
    /// The marks.
    pub marks: Vec<MarkSpec>,
    /// The camera's place and lens.
    pub camera: CameraSpec,
    /// Exposure, noise and what the camera's program does to the picture.
    pub sensor: SensorSpec,
    /// A second photo from about the same place.
    pub pair: PairSpec,
}

/// The stored picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PictureSpec {
    /// Longer side, pixels.
    pub long_px: u32,
    /// Shorter side, pixels.
    pub short_px: u32,
    /// EXIF orientation 1 to 8; from 5 on the upright picture is portrait.
    pub orientation: u8,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
}

/// Vehicle, lamp, wall and floor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetupSpec {
    /// `left` or `right`: the vehicle's own side.
    pub lamp: String,
    /// `left` or `right`: side of the road.
    pub traffic: String,
    /// Lamp centre above the floor.
    pub height_mm: f64,
    /// Lamp centre from the centreline.
    pub offset_mm: f64,
    /// Lamps' plane to wall along the centreline.
    pub distance_mm: f64,
    /// Wall yaw, right side farther positive.
    pub wall_yaw_deg: f64,
    /// Wall tilt, top farther positive.
    pub wall_tilt_deg: f64,
    /// Floor slope, rising towards the wall positive.
    pub slope_percent: f64,
    /// Cross slope, right side higher positive.
    pub cross_percent: f64,
    /// Floor at the wall minus floor under the lamps; 0: mark heights count from the floor under the lamps.
    pub rise_to_wall_mm: f64,
    /// Vehicle yaw, nose to the right positive.
    pub vehicle_yaw_deg: f64,
    /// Standard uncertainty of the marks' places, as the bay file states it.
    pub marks_sigma_mm: f64,
}

/// A second lamp: the same form of beam from another place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SecondSpec {
    /// Its intensity against the first; 0: there is none.
    pub ratio: f64,
    /// Its centre's x in the bay frame.
    pub x_mm: f64,
    /// Its centre's y in the bay frame.
    pub y_mm: f64,
    /// Its aim against the first lamp's aim.
    pub turn_h_deg: f64,
    /// Its aim against the first lamp's aim.
    pub turn_v_deg: f64,
}

/// Kind of wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WallKind {
    /// Smooth paint: hardly any texture.
    Paint,
    /// Plaster: grain and soft mottling.
    Plaster,
    /// Bricks with joints.
    Brick,
    /// Concrete: mottling and panel joints.
    Concrete,
}

/// The wall's face.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WallSpec {
    /// Kind of surface.
    pub kind: WallKind,
    /// Mean reflectance.
    pub reflectance: f64,
    /// Relative amplitude of the mottling.
    pub texture: f64,
    /// Relative amplitude of the fine grain.
    pub grain: f64,
    /// Relative change of reflectance per metre to the right.
    pub gradient_per_m: f64,
    /// Hue: red against green.
    pub red: f64,
    /// Hue: blue against green.
    pub blue: f64,
    /// Reflectance of the lower painted band against the rest; 1: none.
    pub band_ratio: f64,
    /// Height of the band's upper edge.
    pub band_top_mm: f64,
    /// Reflectance of the door against the rest; 1: none.
    pub door_ratio: f64,
    /// Door's left edge.
    pub door_x_mm: f64,
    /// Door's width.
    pub door_width_mm: f64,
    /// Door's height.
    pub door_height_mm: f64,
    /// Reflectance of a vertical pipe against the rest; 1: none.
    pub pipe_ratio: f64,
    /// Pipe's centre.
    pub pipe_x_mm: f64,
    /// Number of stains.
    pub stains: u32,
    /// Reflectance lost in a stain's middle.
    pub stain_depth: f64,
    /// Reflectance of the marks' paper.
    pub paper_reflectance: f64,
    /// Reflectance of the marks' black print.
    pub ink_reflectance: f64,
    /// Height of the ceiling above the floor.
    pub ceiling_mm: f64,
}

/// The floor's face.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FloorSpec {
    /// Mean reflectance.
    pub reflectance: f64,
    /// Relative amplitude of the mottling.
    pub texture: f64,
    /// Share of the wall's light that the floor mirrors.
    pub gloss: f64,
}

/// Light of the room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoomSpec {
    /// Room light on the wall, lux.
    pub ambient_lux: f64,
    /// Room light is raised until the white of the dimmest mark reaches this level (1: full scale); 0: it is not.
    pub least_mark_level: f64,
    /// Its colour: red against green.
    pub red: f64,
    /// Its colour: blue against green.
    pub blue: f64,
    /// Relative change per metre to the right.
    pub gradient_x_per_m: f64,
    /// Relative change per metre upwards.
    pub gradient_y_per_m: f64,
    /// Light thrown back by the room: lux on the wall per lux of the beam's mean over 10 m of wall.
    pub veil: f64,
    /// A dark object in front: share of the picture's width that it covers from the right (negative: left); 0: none.
    pub object_width: f64,
    /// Share of the picture's height that it covers from below.
    pub object_height: f64,
}

/// One mark: nominal place, and where it really is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MarkSpec {
    /// `tag36h11` or `quadrant`.
    pub kind: String,
    /// Tag code; ignored for quadrant marks.
    pub id: u32,
    /// Black square's edge, or disc's diameter.
    pub size_mm: f64,
    /// Nominal place.
    pub x_mm: f64,
    /// Nominal place.
    pub y_mm: f64,
    /// True minus nominal.
    pub error_x_mm: f64,
    /// True minus nominal.
    pub error_y_mm: f64,
    /// Whether it hangs on the wall at all.
    pub is_visible: bool,
    /// Turned on the wall, counterclockwise.
    pub turn_deg: f64,
}

/// A second photo from about the same place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PairSpec {
    /// `none`, `marks` (lights on) or `ambient` (lamp off, same exposure).
    pub kind: String,
    /// Room light in the marks photo, lux.
    pub lux: f64,
    /// The hand's shift between the photos: camera moved to the right.
    pub shift_x_mm: f64,
    /// The hand's shift: camera moved up.
    pub shift_y_mm: f64,
    /// The hand's turn, as a shift of the point aimed at, to the right.
    pub turn_x_mm: f64,
    /// The hand's turn, as a shift of the point aimed at, upwards.
    pub turn_y_mm: f64,
    /// The hand's turn about the optical axis.
    pub roll_deg: f64,
}

impl SceneSpec {
    /// Rounds what bay file and command line will carry, so that file and scene agree.
    pub fn round_stated(&mut self) {
        let round = |value: &mut f64, step: f64| *value = (*value / step).round() * step;
        let setup = &mut self.setup;
        for (value, step) in [
            (&mut setup.height_mm, 1.0),
            (&mut setup.offset_mm, 1.0),
            (&mut setup.distance_mm, 1.0),
            (&mut setup.rise_to_wall_mm, 1.0),
            (&mut setup.wall_yaw_deg, 0.001),
            (&mut setup.wall_tilt_deg, 0.001),
            (&mut setup.slope_percent, 0.01),
            (&mut setup.cross_percent, 0.01),
            (&mut setup.vehicle_yaw_deg, 0.01),
            (&mut setup.marks_sigma_mm, 0.1),
        ] {
            round(value, step);
        }
        for mark in &mut self.marks {
            round(&mut mark.size_mm, 10.0);
            round(&mut mark.x_mm, 0.1);
            round(&mut mark.y_mm, 0.1);
        }
    }

    /// The first word or number that no scene can have: what was found and what is needed.
    pub fn odd_word(&self) -> Option<String> {
        let words: [(&str, &str, &[&str]); 6] = [
            ("expect", &self.expect, &["measured", "refused"]),
            ("pattern", &self.pattern, &["kink", "left-cutoff", "right-cutoff", "flat", "spot"]),
            ("beam_name", &self.beam_name, &["low", "high", "fog"]),
            ("lamp", &self.setup.lamp, &["left", "right"]),
            ("traffic", &self.setup.traffic, &["left", "right"]),
            ("pair.kind", &self.pair.kind, &["none", "marks", "ambient"]),
        ];
        let odd = |(name, found, known): &(&str, &str, &[&str])| {
            let is_odd = !known.contains(found);
            is_odd.then(|| format!("{name} = \"{found}\", need one of: {}", known.join(", ")))
        };
        let in_range = |name: &str, value: f64, low: f64, high: f64| {
            let is_odd = !(low..=high).contains(&value);
            is_odd.then(|| format!("{name} = {value}, need {low} to {high}"))
        };
        words
            .iter()
            .find_map(odd)
            .or_else(|| in_range("orientation", f64::from(self.picture.orientation), 1.0, 8.0))
            .or_else(|| in_range("jpeg_quality", f64::from(self.picture.jpeg_quality), 1.0, 100.0))
            .or_else(|| in_range("distance_mm", self.setup.distance_mm, 500.0, 200_000.0))
            .or_else(|| in_range("f35_mm", self.camera.f35_mm, 5.0, 500.0))
            .or_else(|| in_range("full_well_e", self.sensor.full_well_e, 1.0, 1e9))
            .or_else(|| in_range("reflectance", self.wall.reflectance, 0.01, 1.0))
    }

    /// Whether the pattern is mirrored: left-hand traffic.
    pub fn is_mirrored(&self) -> bool {
        self.setup.traffic == "left" && matches!(self.pattern.as_str(), "kink" | "flat")
    }

    /// Width and height of the upright picture, pixels.
    pub fn upright_size(&self) -> (u32, u32) {
        let PictureSpec { long_px, short_px, orientation, .. } = self.picture;
        if orientation >= 5 { (short_px, long_px) } else { (long_px, short_px) }
    }

    /// Lamp centre's x in the bay frame.
    pub fn lamp_x_mm(&self) -> f64 {
        if self.setup.lamp == "left" { -self.setup.offset_mm } else { self.setup.offset_mm }
    }
}
