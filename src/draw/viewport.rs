//! Which part of the photo is shown, and where.
//!
//! **Takes** the places that must be seen, px of the upright photo. **Gives** a [`Viewport`]: a window of the photo and the
//! box of the finished picture that it fills, at one scale both ways. The window may reach beyond the photo, so that the
//! expected place of a mark outside the frame can be shown.

use super::plane::{Area, Spot};
use crate::units::PxPoint;

/// Part of the window's width that is kept free on each side.
const MARGIN_SHARE: f64 = 0.09;
/// Pixels that are kept free on each side at least.
const LEAST_MARGIN_PX: f64 = 6.0;
/// How far beyond the photo the window may reach, as a part of the photo's longer side.
const REACH_BEYOND: f64 = 0.25;

/// A window of the photo and where it is shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Viewport {
    /// Left end of the window, px of the photo.
    pub(super) left_px: f64,
    /// Upper end of the window.
    pub(super) top_px: f64,
    /// Pixels of the finished picture per px of the photo.
    pub(super) scale: f64,
    /// Where it is shown.
    pub(super) area: Area,
}

/// What a window must keep to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Framing {
    /// Width and height of the photo, px.
    pub(super) photo: (f64, f64),
    /// Left upper corner and width of the box to fill, pixels of the finished picture.
    pub(super) corner: Spot,
    pub(super) width: f32,
    /// Height by width that the box may have, least and most.
    pub(super) shapes: (f64, f64),
    /// Most pixels of the finished picture per px of the photo.
    pub(super) most_scale: f64,
}

impl Viewport {
    /// The closest window that holds all the places; without any, the whole photo.
    pub(super) fn around(places: &[PxPoint], framing: &Framing) -> Self {
        let (photo_width, photo_height) = framing.photo;
        let reach = REACH_BEYOND * photo_width.max(photo_height);
        let within = |value: f64, end: f64| value.clamp(-reach, end + reach);
        let mut ends: Option<[f64; 4]> = None;
        for place in places.iter().filter(|place| place.x.is_finite() && place.y.is_finite()) {
            let (x, y) = (within(place.x, photo_width), within(place.y, photo_height));
            let old = ends.unwrap_or([x, x, y, y]);
            ends = Some([old[0].min(x), old[1].max(x), old[2].min(y), old[3].max(y)]);
        }
        let [left, right, top, bottom] = ends.unwrap_or([0.0, photo_width, 0.0, photo_height]);
        let margin = (MARGIN_SHARE * (right - left).max(bottom - top)).max(LEAST_MARGIN_PX);
        let margin = if ends.is_some() { margin } else { 0.0 };
        let most_scale = framing.most_scale.min(f64::from(framing.width) / LEAST_MARGIN_PX);
        let least_width = f64::from(framing.width) / most_scale;
        let mut width = (right - left + 2.0 * margin).max(least_width);
        let mut height = bottom - top + 2.0 * margin;
        let (flattest, tallest) = framing.shapes;
        height = height.max(flattest * width);
        width = width.max(height / tallest);
        let centred = |low: f64, high: f64, size: f64, end: f64| {
            let start = 0.5 * (low + high - size);
            // A window smaller than the photo stays inside it unless a place lies outside.
            let (lowest, highest) = (low.min(0.0), high.max(end) - size);
            if lowest <= highest { start.clamp(lowest, highest) } else { start }
        };
        let scale = f64::from(framing.width) / width;
        Self {
            left_px: centred(left, right, width, photo_width),
            top_px: centred(top, bottom, height, photo_height),
            scale,
            area: Area::new(framing.corner.x, framing.corner.y, framing.width, (height * scale).round() as f32),
        }
    }

    /// Where a place of the photo is shown; also outside the window.
    pub(super) fn show(&self, place: PxPoint) -> Spot {
        Spot::new(
            self.area.left + ((place.x - self.left_px) * self.scale) as f32,
            self.area.top + ((place.y - self.top_px) * self.scale) as f32,
        )
    }

    /// The place of the photo that is shown there.
    pub(super) fn photo_place(&self, spot: Spot) -> PxPoint {
        PxPoint::new(
            self.left_px + f64::from(spot.x - self.area.left) / self.scale,
            self.top_px + f64::from(spot.y - self.area.top) / self.scale,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn framing(photo: (f64, f64)) -> Framing {
        Framing { photo, corner: Spot::new(0.0, 100.0), width: 1600.0, shapes: (0.4, 0.8), most_scale: 4.0 }
    }

    /// Hand-worked: places span 1000 x 200 px; margins 0.09 · 1000 = 90 each side make 1180 x 380, flatter than 0.4, so
    /// the height becomes 472; centred on (1500, 1100).
    #[test]
    fn the_window_holds_the_places_with_a_margin() {
        let places = [PxPoint::new(1000.0, 1000.0), PxPoint::new(2000.0, 1200.0)];
        let view = Viewport::around(&places, &framing((4000.0, 3000.0)));
        assert!((view.left_px - 910.0).abs() < 1e-9 && (view.top_px - 864.0).abs() < 1e-9, "{view:?}");
        assert!((view.scale - 1600.0 / 1180.0).abs() < 1e-9);
        assert_eq!(view.area.height().to_bits(), 640.0_f32.to_bits());
    }

    #[test]
    fn the_window_stays_in_the_photo_but_for_a_mark_outside() {
        let inside = Viewport::around(&[PxPoint::new(5.0, 5.0)], &framing((4000.0, 3000.0)));
        assert!(inside.left_px >= -1.5 && inside.top_px >= -1.5, "{inside:?}");
        let outside =
            Viewport::around(&[PxPoint::new(-300.0, 900.0), PxPoint::new(900.0, 1000.0)], &framing((4000.0, 3000.0)));
        assert!(outside.area.has(outside.show(PxPoint::new(-300.0, 900.0))), "{outside:?}");
        let nothing = Viewport::around(&[PxPoint::new(f64::NAN, 0.0)], &framing((4000.0, 3000.0)));
        assert!(nothing.area.has(nothing.show(PxPoint::new(1.0, 1.0))));
        assert!(nothing.area.has(nothing.show(PxPoint::new(3999.0, 2999.0))));
    }

    proptest! {
        #[test]
        fn every_place_is_seen(
            spots in proptest::collection::vec((0.0..1.0f64, 0.0..1.0f64), 1..8),
            width in 60.0..6000.0f64, height in 40.0..6000.0f64,
        ) {
            let places: Vec<PxPoint> = spots.iter().map(|(x, y)| PxPoint::new(x * width, y * height)).collect();
            let view = Viewport::around(&places, &framing((width, height)));
            for place in &places {
                let spot = view.show(*place);
                prop_assert!(view.area.grown(0.5).has(spot), "{place:?} {view:?}");
                prop_assert!(view.photo_place(spot).distance(*place) < 1e-2);
            }
            let shape = f64::from(view.area.height() / view.area.width());
            prop_assert!((0.399..0.801).contains(&shape));
        }
    }
}
