//! Filled areas with smooth edges.
//!
//! **How** each row is cut by a few level lines; between an even and an odd crossing the line counts for its share of
//! the row, with the exact part of a pixel at both ends.

use super::canvas::Canvas;
use super::palette::Ink;
use super::plane::{Area, Spot};

/// Level lines in one row of pixels.
const LINES_PER_ROW: u32 = 4;

/// Fills the inside of a closed polygon (even-odd).
pub(super) fn fill_polygon(canvas: &mut Canvas, corners: &[Spot], ink: Ink) {
    if corners.iter().any(|corner| !(corner.x.is_finite() && corner.y.is_finite())) {
        return;
    }
    let Some(area) = Area::around(corners) else { return };
    let pixels = canvas.pixels_of(area);
    let (first, end) = pixels.columns;
    let mut coverage = vec![0.0_f32; (end - first) as usize];
    for y in pixels.rows.0..pixels.rows.1 {
        coverage.fill(0.0);
        for line in 0..LINES_PER_ROW {
            let level = y as f32 + (line as f32 + 0.5) / LINES_PER_ROW as f32;
            let mut crossings = crossings(corners, level);
            crossings.sort_by(f32::total_cmp);
            for pair in crossings.chunks_exact(2) {
                add_span(&mut coverage, pair[0] - first as f32, pair[1] - first as f32);
            }
        }
        for (place, covered) in coverage.iter().enumerate().filter(|(_, covered)| **covered > 0.0) {
            canvas.blend(first + place as u32, y, ink, *covered);
        }
    }
}

fn crossings(corners: &[Spot], level: f32) -> Vec<f32> {
    let following = corners.iter().cycle().skip(1);
    corners
        .iter()
        .zip(following)
        .filter(|(from, to)| (from.y <= level) != (to.y <= level))
        .map(|(from, to)| from.x + (level - from.y) / (to.y - from.y) * (to.x - from.x))
        .collect()
}

fn add_span(coverage: &mut [f32], from: f32, to: f32) {
    let (from, to) = (from.clamp(0.0, coverage.len() as f32), to.clamp(0.0, coverage.len() as f32));
    let last = to.ceil() as usize;
    for (place, cell) in coverage.iter_mut().enumerate().take(last).skip(from as usize) {
        let left = place as f32;
        *cell += ((to.min(left + 1.0) - from.max(left)).max(0.0)) / LINES_PER_ROW as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rectangle from (2.5, 3) to (6, 5): column 2 is half covered, columns 3 to 5 wholly, rows 3 and 4 only.
    #[test]
    fn a_rectangle_covers_what_it_should() {
        let mut canvas = Canvas::new(10, 8, Ink::solid(0, 0, 0));
        let corners = [(2.5, 3.0), (6.0, 3.0), (6.0, 5.0), (2.5, 5.0)].map(|(x, y)| Spot::new(x, y));
        fill_polygon(&mut canvas, &corners, Ink::solid(200, 200, 200));
        let row = |y: u32| (0..10).map(|x| canvas.picture.get_pixel(x, y).0[0]).collect::<Vec<_>>();
        assert_eq!(row(3), [0, 0, 100, 200, 200, 200, 0, 0, 0, 0]);
        assert_eq!(row(4), row(3));
        assert_eq!(row(2), [0; 10]);
        assert_eq!(row(5), [0; 10]);
    }

    #[test]
    fn what_is_outside_or_wild_draws_nothing() {
        let mut canvas = Canvas::new(10, 8, Ink::solid(0, 0, 0));
        let outside = [(20.0, 3.0), (60.0, 3.0), (60.0, 50.0)].map(|(x, y)| Spot::new(x, y));
        fill_polygon(&mut canvas, &outside, Ink::solid(200, 200, 200));
        fill_polygon(&mut canvas, &[Spot::new(f32::NAN, 1.0), Spot::new(5.0, 5.0)], Ink::solid(9, 9, 9));
        fill_polygon(&mut canvas, &[], Ink::solid(9, 9, 9));
        assert!(canvas.picture.pixels().all(|pixel| pixel.0[0] == 0));
    }
}
