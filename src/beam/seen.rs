//! What the beam stage saw on its way, for those who must see why a reading is as it is.
//!
//! **Takes** the same light, room and lines as the stage itself. **Gives** [`BeamSeen`]: it fills as the stage goes on, so that a
//! refusal leaves what was reached. **Weak when** nobody asks: then nothing is kept.

use super::coarse::{CoarsePlace, Hinge};
use super::light::LightGrid;
use super::lines::CutoffShape;
use super::options::BeamOptions;
use super::room::RoomLight;

/// What was seen, as far as the stage came.
#[derive(Debug, Clone, Default)]
pub struct BeamSeen {
    /// The first look: the greatest fall of each column, smoothed.
    pub looked: Vec<CoarsePlace>,
    /// The hinge through them.
    pub hinge: Option<Hinge>,
    /// Side of the flat part: -1 left, +1 right.
    pub side: f64,
    /// The room's light.
    pub room: Option<RoomLight>,
    /// Strength of the tone curve that was undone.
    pub tone_strength: f64,
    /// Whether rows of the wall were compared and evened out.
    pub is_evened: bool,
    /// Flat and rising lines with their scans' own places.
    pub shape: Option<CutoffShape>,
    /// A few columns with the model through them.
    pub profiles: Vec<Profile>,
}

/// One column's light against the model.
#[derive(Debug, Clone, Default)]
pub struct Profile {
    /// H of the column, degrees.
    pub h_deg: f64,
    /// V of each sample, degrees.
    pub v_deg: Vec<f64>,
    /// Light of each sample, relative to full scale.
    pub level: Vec<f64>,
    /// The fitted edge's light there, room included; none outside the part that it was fitted to.
    pub model: Vec<Option<f64>>,
    /// The room's light there.
    pub room: Vec<f64>,
    /// V of the cutoff on the fitted line.
    pub cutoff_deg: f64,
}

/// Distance from the cutoff to which a profile reaches, degrees.
const REACH_DEG: f64 = 2.0;
/// Half width of a profile's column, degrees: that of the scans.
const HALF_WIDTH_DEG: f64 = 0.1;
/// Columns of a stretch that are shown, as shares of its way.
const SHOWN: [f64; 3] = [0.1, 0.5, 0.9];

/// Profiles along the flat part and the rising one.
pub(super) fn profiles(
    light: &LightGrid<'_>,
    room: &RoomLight,
    found: &CutoffShape,
    options: &BeamOptions,
) -> Vec<Profile> {
    let ends = |places: &[(f64, f64)]| {
        let h = places.iter().map(|place| place.0);
        (h.clone().fold(f64::INFINITY, f64::min), h.fold(f64::NEG_INFINITY, f64::max))
    };
    let mut profiles = Vec::new();
    for (places, is_flat) in [(&found.flat.places, true), (&found.rise_points, false)] {
        let (left, right) = ends(places);
        for share in SHOWN.into_iter().filter(|_| right >= left) {
            let h_deg = left + share * (right - left);
            let rise = found.rise.map_or(f64::NAN, |line| line.at(h_deg));
            let cutoff_deg = if is_flat { found.flat.at(h_deg) } else { rise };
            let model = |at: (f64, f64), factor: f64, room: f64| {
                if is_flat {
                    found.flat.light_at(at, factor, room, options)
                } else {
                    found.rise_light_at(at, factor, room, options)
                }
            };
            profiles.push(profile(light, room, (h_deg, cutoff_deg), &model, options));
        }
    }
    profiles.sort_by(|a, b| a.h_deg.total_cmp(&b.h_deg));
    profiles
}

fn profile(
    light: &LightGrid<'_>,
    room: &RoomLight,
    (h_deg, cutoff_deg): (f64, f64),
    model: &impl Fn((f64, f64), f64, f64) -> Option<f64>,
    options: &BeamOptions,
) -> Profile {
    let span = (cutoff_deg - REACH_DEG, cutoff_deg + REACH_DEG);
    let scan = light.scan((h_deg, HALF_WIDTH_DEG), span, 0.0, &|h, v| room.at(h, v), options);
    let model = scan
        .v_deg
        .iter()
        .zip(scan.factor.iter().zip(&scan.room))
        .map(|(&v, (&factor, &room))| model((scan.h_deg, v), factor, room))
        .collect();
    Profile { h_deg: scan.h_deg, v_deg: scan.v_deg, level: scan.level, model, room: scan.room, cutoff_deg }
}
