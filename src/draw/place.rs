//! From a beam direction to its place in the finished picture, through the wall.

use super::plane::Spot;
use super::viewport::Viewport;
use crate::bay::LampSetup;
use crate::units::{AnglePoint, Deg, PxPoint};
use crate::wall::{WallView, geometry};

/// Angle between the places that a line is drawn through, degrees: short enough that perspective and distortion show.
const LINE_STEP_DEG: f64 = 0.25;
/// Most places of one line.
const MOST_PLACES: f64 = 400.0;

/// The wall as one viewport shows it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scene<'a> {
    pub(super) view: &'a WallView,
    pub(super) setup: &'a LampSetup,
    pub(super) viewport: Viewport,
}

/// Place of a beam direction in the photo; `None` when it misses the wall.
pub(super) fn photo_place(view: &WallView, setup: &LampSetup, h_deg: f64, v_deg: f64) -> Option<PxPoint> {
    let place = view.to_px(geometry::wall_point(setup, AnglePoint::new(h_deg, v_deg))?);
    (place.x.is_finite() && place.y.is_finite()).then_some(place)
}

impl Scene<'_> {
    /// Where a beam direction is shown.
    pub(super) fn at(&self, h: Deg, v: Deg) -> Option<Spot> {
        photo_place(self.view, self.setup, h.get(), v.get()).map(|place| self.viewport.show(place))
    }

    /// The beam direction of what is shown there.
    pub(super) fn direction(&self, spot: Spot) -> AnglePoint {
        geometry::direction(self.setup, self.view.to_wall(self.viewport.photo_place(spot)))
    }

    /// A line from one beam direction to another as the photo shows it; empty when a part of it misses the wall.
    pub(super) fn line(&self, from: AnglePoint, to: AnglePoint) -> Vec<Spot> {
        let (dh, dv) = (to.h.get() - from.h.get(), to.v.get() - from.v.get());
        let count = (dh.hypot(dv) / LINE_STEP_DEG).ceil().clamp(1.0, MOST_PLACES) as usize;
        let places = (0..=count).map(|n| {
            let share = n as f64 / count as f64;
            self.at(Deg::new(from.h.get() + share * dh), Deg::new(from.v.get() + share * dv))
        });
        places.collect::<Option<Vec<Spot>>>().unwrap_or_default()
    }

    /// The outline of a span of H and V.
    pub(super) fn outline(&self, h: (Deg, Deg), v: (Deg, Deg)) -> Vec<Spot> {
        let corner = |h: Deg, v: Deg| AnglePoint { h, v };
        let corners = [corner(h.0, v.0), corner(h.1, v.0), corner(h.1, v.1), corner(h.0, v.1), corner(h.0, v.0)];
        let sides: Vec<Vec<Spot>> = corners.windows(2).map(|ends| self.line(ends[0], ends[1])).collect();
        if sides.iter().any(Vec::is_empty) { Vec::new() } else { sides.concat() }
    }
}
