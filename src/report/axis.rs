//! One axis of a lamp before and now: where it was measured, and what the rule allows.

use super::reach::{Reach, reach};
use crate::reading::Reading;
use crate::reading::block::{AxisBlock, PlaceBlock};
use crate::record::LampRecord;
use crate::units::{Deg, Mm};

/// Up and down, or left and right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Vertical,
    Horizontal,
}

/// A measured place with its expanded uncertainty, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) value_deg: f64,
    pub(super) u_deg: f64,
}

/// What a page needs of one axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AxisView {
    pub(super) before: Option<Place>,
    pub(super) now: Option<Place>,
    pub(super) nominal_deg: Option<f64>,
    pub(super) lower_deg: Option<f64>,
    pub(super) upper_deg: Option<f64>,
    pub(super) distance_mm: f64,
}

impl AxisView {
    /// Of a lamp; limits are those of its last reading. `None` when it was not measured on this axis.
    pub(super) fn of(lamp: &LampRecord, way: Way) -> Option<Self> {
        let after = &lamp.after()?.reading;
        let is_again = lamp.before != lamp.after;
        let before = lamp.before().filter(|_| is_again).and_then(|before| place(&before.reading, way));
        let now = place(after, way);
        let judged = judged(after, way);
        (before.is_some() || now.is_some()).then_some(Self {
            before,
            now,
            nominal_deg: judged.and_then(|axis| axis.nominal_deg),
            lower_deg: judged.and_then(|axis| axis.lower_deg),
            upper_deg: judged.and_then(|axis| axis.upper_deg),
            distance_mm: after.setup.distance_mm,
        })
    }
}

/// The verdict on an axis.
pub(super) fn judged(reading: &Reading, way: Way) -> Option<&AxisBlock> {
    let verdict = reading.verdict.as_ref()?;
    match way {
        Way::Vertical => verdict.vertical.as_ref(),
        Way::Horizontal => verdict.horizontal.as_ref(),
    }
}

/// What was measured on an axis, judged or not: that of the pattern's own feature.
fn place(reading: &Reading, way: Way) -> Option<Place> {
    if let Some(axis) = judged(reading, way) {
        return Some(Place { value_deg: axis.value_deg, u_deg: axis.u_deg });
    }
    let features = reading.features.as_ref()?;
    let of = |place: &PlaceBlock| match way {
        Way::Vertical => Place { value_deg: place.v_deg, u_deg: place.u_v_deg },
        Way::Horizontal => Place { value_deg: place.h_deg, u_deg: place.u_h_deg },
    };
    if reading.setup.pattern == "spot" {
        return features.hot_spot.as_ref().map(|spot| of(&spot.place));
    }
    match way {
        Way::Vertical => features.cutoff.as_ref().map(|cutoff| Place { value_deg: cutoff.v_deg, u_deg: cutoff.u_deg }),
        Way::Horizontal => features.elbow.as_ref().map(of),
    }
}

/// How far the cutoff reaches on a level road; `None` for a beam that has none.
pub(super) fn reach_of(reading: &Reading) -> Option<Reach> {
    let cutoff = reading.features.as_ref()?.cutoff.as_ref()?;
    Some(reach(Mm::new(reading.setup.height_mm), Deg::new(cutoff.v_deg), Deg::new(cutoff.u_deg)))
}
