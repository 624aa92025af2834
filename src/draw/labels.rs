//! Short words beside what they name, on a dark plate, placed so that they do not cover each other.

use super::canvas::Canvas;
use super::palette::{Ink, LABEL_SIZE, NIGHT};
use super::plane::{Area, Spot};
use super::text::{CAPITALS, Type};

/// Opacity of the plate.
const PLATE_ALPHA: f32 = 0.82;
/// Space around the words on their plate, pixels.
const PADDING: f32 = 8.0;
/// Directions that are tried around the named place, right and down, best first.
const DIRECTIONS: [(f32, f32); 8] =
    [(0.0, -1.0), (0.0, 1.0), (1.0, 0.0), (-1.0, 0.0), (1.0, -1.0), (-1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
/// How far the label moves away on each further try, as parts of its height.
const RINGS: [f32; 4] = [0.0, 1.0, 2.2, 3.6];

/// Labels of one view, and what they must leave free.
#[derive(Debug)]
pub(super) struct Labels {
    bounds: Area,
    taken: Vec<Area>,
}

impl Labels {
    pub(super) fn new(bounds: Area) -> Self {
        Self { bounds: bounds.grown(-4.0), taken: Vec::new() }
    }

    /// Keeps labels off a box.
    pub(super) fn keep_free(&mut self, area: Area) {
        self.taken.push(area);
    }

    /// The box of a label whose plate is centred there.
    fn plate(face: Type, text: &str, centre: Spot) -> Area {
        let (width, height) = (face.width(text) + 2.0 * PADDING, face.size * CAPITALS + 2.0 * PADDING);
        Area::new(centre.x - 0.5 * width, centre.y - 0.5 * height, width, height)
    }

    /// Draws a label near a thing: `around` is the thing's box, which is not covered. `preferred` is tried first. Not drawn when there
    /// is no free place.
    pub(super) fn put(
        &mut self,
        canvas: &mut Canvas,
        text: &str,
        ink: Ink,
        around: Area,
        preferred: (f32, f32),
    ) -> bool {
        let face = Type::bold(LABEL_SIZE);
        let size = Self::plate(face, text, Spot::default());
        let centre = Spot::new(0.5 * (around.left + around.right), 0.5 * (around.top + around.bottom));
        let ways: Vec<(f32, f32)> = std::iter::once(preferred).chain(DIRECTIONS).collect();
        for ring in RINGS {
            for (right, down) in &ways {
                let away = ring * size.height() + PADDING;
                let spot = centre.moved(
                    right * (0.5 * (around.width() + size.width()) + away),
                    down * (0.5 * (around.height() + size.height()) + away),
                );
                let plate = Self::plate(face, text, spot);
                if self.bounds.holds(&plate) && !self.taken.iter().any(|taken| taken.overlaps(&plate)) {
                    self.draw(canvas, face, text, ink, plate);
                    return true;
                }
            }
        }
        false
    }

    /// Draws a label with its plate centred there, if that is free.
    pub(super) fn put_at(&mut self, canvas: &mut Canvas, face: Type, text: &str, ink: Ink, centre: Spot) -> bool {
        let plate = Self::plate(face, text, centre);
        let is_free = self.bounds.holds(&plate) && !self.taken.iter().any(|taken| taken.overlaps(&plate));
        if is_free {
            self.draw(canvas, face, text, ink, plate);
        }
        is_free
    }

    fn draw(&mut self, canvas: &mut Canvas, face: Type, text: &str, ink: Ink, plate: Area) {
        canvas.fill(plate, NIGHT.at(PLATE_ALPHA));
        face.draw(canvas, text, Spot::new(plate.left + PADDING, plate.bottom - PADDING), ink);
        self.taken.push(plate);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stay_inside_and_apart() {
        let bounds = Area::new(0.0, 0.0, 900.0, 500.0);
        let mut canvas = Canvas::new(900, 500, Ink::solid(0, 0, 0));
        let mut labels = Labels::new(bounds);
        for n in 0..6 {
            let thing = Area::new(400.0 + n as f32, 240.0, 10.0, 10.0);
            assert!(
                labels.put(&mut canvas, &format!("mark {n}"), Ink::solid(255, 255, 255), thing, (0.0, -1.0)),
                "{n}"
            );
        }
        for (n, area) in labels.taken.iter().enumerate() {
            assert!(bounds.holds(area));
            assert!(labels.taken[n + 1..].iter().all(|other| !other.overlaps(area)));
        }
    }

    #[test]
    fn a_label_without_room_is_left_out() {
        let mut canvas = Canvas::new(60, 40, Ink::solid(0, 0, 0));
        let mut labels = Labels::new(Area::new(0.0, 0.0, 60.0, 40.0));
        assert!(!labels.put(
            &mut canvas,
            "hot spot",
            Ink::solid(255, 255, 255),
            Area::new(0.0, 0.0, 5.0, 5.0),
            (1.0, 0.0)
        ));
    }
}
