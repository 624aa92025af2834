//! A picture that lines, areas and words can be drawn on, with smooth edges.
//!
//! **Takes** places in pixels of the finished picture. **How** a stroke's coverage is the distance to its centre line,
//! kept as the greatest over all its pieces in a mask, which is laid over the picture once: joints of clear lines do
//! not darken.

use super::palette::{CASING, CASING_ALPHA, Ink, NIGHT};
use super::plane::{Area, Spot};
use image::{Rgb, RgbImage};

/// Pieces that a long line is cut into, pixels, so that the box around each is small.
const PIECE_PX: f32 = 40.0;
/// Full coverage in the mask.
const FULL: f32 = 255.0;
/// Cells of the mask that are looked at together.
const CELLS_AT_ONCE: usize = 32;
/// Corners of a circle's polygon; the chord's fall is below half a pixel up to a radius of 200 px.
const CIRCLE_CORNERS: usize = 48;
/// Coordinates beyond this are not drawn; it keeps the pieces of a line countable.
const FAR_PX: f32 = 20_000.0;

/// The picture and where drawing may reach.
#[derive(Debug)]
pub(super) struct Canvas {
    pub(super) picture: RgbImage,
    clip: Area,
    mask: Vec<u8>,
}

/// Pixel columns and rows of a box, ends excluded.
#[derive(Debug, Clone, Copy)]
pub(super) struct PixelBox {
    pub(super) columns: (u32, u32),
    pub(super) rows: (u32, u32),
}

impl Canvas {
    pub(super) fn new(width: u32, height: u32, ground: Ink) -> Self {
        let picture = RgbImage::from_pixel(width, height, Rgb(ground.rgb));
        Self {
            clip: Area::new(0.0, 0.0, width as f32, height as f32),
            mask: vec![0; width as usize * height as usize],
            picture,
        }
    }

    pub(super) fn width(&self) -> f32 {
        self.picture.width() as f32
    }

    pub(super) fn whole(&self) -> Area {
        Area::new(0.0, 0.0, self.width(), self.picture.height() as f32)
    }

    /// Confines drawing to a box.
    pub(super) fn confine(&mut self, area: Area) {
        self.clip = self.whole().shared(&area);
    }

    /// The pixels of a box that may be drawn on.
    pub(super) fn pixels_of(&self, area: Area) -> PixelBox {
        let inside = self.clip.shared(&area);
        let ends = |low: f32, high: f32| {
            let low = low.max(0.0).floor() as u32;
            (low, (high.max(0.0).ceil() as u32).max(low))
        };
        PixelBox { columns: ends(inside.left, inside.right), rows: ends(inside.top, inside.bottom) }
    }

    /// Lays ink over one pixel that lies inside the picture.
    pub(super) fn blend(&mut self, x: u32, y: u32, ink: Ink, coverage: f32) {
        let share = (ink.alpha * coverage).clamp(0.0, 1.0);
        let pixel = self.picture.get_pixel_mut(x, y);
        for (code, wanted) in pixel.0.iter_mut().zip(ink.rgb) {
            let (old, new) = (f32::from(*code), f32::from(wanted));
            // Never negative, so this rounds; the standard rounding is a call on most targets.
            *code = (old + share * (new - old) + 0.5) as u8;
        }
    }

    /// Fills an upright box.
    pub(super) fn fill(&mut self, area: Area, ink: Ink) {
        let pixels = self.pixels_of(area);
        for y in pixels.rows.0..pixels.rows.1 {
            for x in pixels.columns.0..pixels.columns.1 {
                self.blend(x, y, ink, 1.0);
            }
        }
    }

    /// Strokes lines, all of one width and ink, round ends.
    pub(super) fn stroke(&mut self, lines: &[Vec<Spot>], width: f32, ink: Ink) {
        let half = 0.5 * width;
        let mut touched: Option<PixelBox> = None;
        for line in lines {
            if line.iter().any(|spot| !(spot.x.abs() < FAR_PX && spot.y.abs() < FAR_PX)) {
                continue;
            }
            for ends in line.windows(2) {
                let pieces = (ends[0].distance(ends[1]) / PIECE_PX).ceil().max(1.0) as usize;
                for piece in 0..pieces {
                    let share = |n: usize| n as f32 / pieces as f32;
                    let from = ends[0].towards(ends[1], share(piece));
                    let to = ends[0].towards(ends[1], share(piece + 1));
                    touched = joined(touched, self.cover_piece(from, to, half));
                }
            }
        }
        if let Some(pixels) = touched {
            self.lay_mask(pixels, ink);
        }
    }

    /// Strokes lines with a dark line under them.
    pub(super) fn stroke_cased(&mut self, lines: &[Vec<Spot>], width: f32, ink: Ink) {
        self.stroke(lines, width + CASING, NIGHT.at(CASING_ALPHA));
        self.stroke(lines, width, ink);
    }

    fn cover_piece(&mut self, from: Spot, to: Spot, half: f32) -> Option<PixelBox> {
        let area = Area::around(&[from, to])?.grown(half + 1.0);
        let pixels = self.pixels_of(area);
        let width = self.picture.width() as usize;
        let (dx, dy) = (to.x - from.x, to.y - from.y);
        let length_squared = dx * dx + dy * dy;
        for y in pixels.rows.0..pixels.rows.1 {
            for x in pixels.columns.0..pixels.columns.1 {
                let (px, py) = (x as f32 + 0.5 - from.x, y as f32 + 0.5 - from.y);
                let share =
                    if length_squared > 0.0 { ((px * dx + py * dy) / length_squared).clamp(0.0, 1.0) } else { 0.0 };
                let (off_x, off_y) = (px - share * dx, py - share * dy);
                let distance = (off_x * off_x + off_y * off_y).sqrt();
                let coverage = (FULL * (half + 0.5 - distance).clamp(0.0, 1.0)) as u8;
                let cell = &mut self.mask[y as usize * width + x as usize];
                *cell = coverage.max(*cell);
            }
        }
        (pixels.rows.0 < pixels.rows.1 && pixels.columns.0 < pixels.columns.1).then_some(pixels)
    }

    fn lay_mask(&mut self, pixels: PixelBox, ink: Ink) {
        let width = self.picture.width() as usize;
        let (first, end) = (pixels.columns.0 as usize, pixels.columns.1 as usize);
        for y in pixels.rows.0..pixels.rows.1 {
            let start = y as usize * width;
            // Lines leave most of their common box free: look at many cells at once.
            for from in (first..end).step_by(CELLS_AT_ONCE) {
                let to = end.min(from + CELLS_AT_ONCE);
                if self.mask[start + from..start + to].iter().fold(0, |all, cell| all | cell) == 0 {
                    continue;
                }
                for x in from..to {
                    let coverage = std::mem::take(&mut self.mask[start + x]);
                    if coverage > 0 {
                        self.blend(x as u32, y, ink, f32::from(coverage) / FULL);
                    }
                }
            }
        }
    }
}

fn joined(first: Option<PixelBox>, second: Option<PixelBox>) -> Option<PixelBox> {
    let (Some(a), Some(b)) = (first, second) else { return first.or(second) };
    Some(PixelBox {
        columns: (a.columns.0.min(b.columns.0), a.columns.1.max(b.columns.1)),
        rows: (a.rows.0.min(b.rows.0), a.rows.1.max(b.rows.1)),
    })
}

/// A closed ellipse as a line.
pub(super) fn ellipse(centre: Spot, half_width: f32, half_height: f32) -> Vec<Spot> {
    (0..=CIRCLE_CORNERS)
        .map(|n| {
            let (sin, cos) = (std::f32::consts::TAU * n as f32 / CIRCLE_CORNERS as f32).sin_cos();
            centre.moved(half_width * cos, half_height * sin)
        })
        .collect()
}

/// A line cut into dashes.
pub(super) fn dashed(line: &[Spot], dash: (f32, f32)) -> Vec<Vec<Spot>> {
    let mut dashes: Vec<Vec<Spot>> = Vec::new();
    let (mut is_drawn, mut left) = (true, dash.0);
    let mut open: Vec<Spot> = line.first().copied().into_iter().collect();
    for ends in line.windows(2) {
        let (mut from, to) = (ends[0], ends[1]);
        let length = from.distance(to);
        if length.is_nan() || length >= FAR_PX {
            return dashes;
        }
        loop {
            let length = from.distance(to);
            if length <= left {
                left -= length;
                open.push(to);
                break;
            }
            let turn = from.towards(to, left / length);
            open.push(turn);
            if is_drawn {
                dashes.push(std::mem::take(&mut open));
            }
            is_drawn = !is_drawn;
            left = if is_drawn { dash.0 } else { dash.1 };
            open = vec![turn];
            from = turn;
        }
    }
    if is_drawn && open.len() > 1 {
        dashes.push(open);
    }
    dashes
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHITE: Ink = Ink::solid(255, 255, 255);

    /// Hand-worked: a level line through pixel centres at y = 10.5, 3 px wide, covers rows 9, 10 and 11 wholly.
    #[test]
    fn a_stroke_covers_its_width_and_joints_do_not_darken() {
        let mut canvas = Canvas::new(40, 20, Ink::solid(0, 0, 0));
        let line: Vec<Spot> = [5.0, 20.0, 35.0].map(|x| Spot::new(x, 10.5)).to_vec();
        canvas.stroke(&[line], 3.0, WHITE.at(0.5));
        let column: Vec<u8> = (0..20).map(|y| canvas.picture.get_pixel(20, y).0[0]).collect();
        assert_eq!(&column[8..13], &[0, 128, 128, 128, 0], "{column:?}");
        assert_eq!(canvas.picture.get_pixel(12, 10), canvas.picture.get_pixel(20, 10));
    }

    #[test]
    fn nothing_leaves_the_clip() {
        let mut canvas = Canvas::new(40, 20, Ink::solid(0, 0, 0));
        canvas.confine(Area::new(10.0, 5.0, 10.0, 5.0));
        canvas.stroke(&[vec![Spot::new(-90.0, -90.0), Spot::new(90.0, 90.0)]], 30.0, WHITE);
        canvas.fill(Area::new(-50.0, -50.0, 500.0, 500.0), WHITE);
        for (x, y, pixel) in canvas.picture.enumerate_pixels() {
            assert_eq!(pixel.0[0] > 0, (10..20).contains(&x) && (5..10).contains(&y), "{x} {y}");
        }
    }

    /// Hand-worked: 100 px in dashes of 20 with gaps of 10: 0-20, 30-50, 60-80, 90-100.
    #[test]
    fn dashes_keep_their_lengths_across_corners() {
        let line = [Spot::new(0.0, 0.0), Spot::new(35.0, 0.0), Spot::new(35.0, 65.0)];
        let dashes = dashed(&line, (20.0, 10.0));
        let lengths: Vec<f32> = dashes.iter().map(|d| d.windows(2).map(|e| e[0].distance(e[1])).sum()).collect();
        assert_eq!(lengths, [20.0, 20.0, 20.0, 10.0]);
    }

    #[test]
    fn wild_places_draw_nothing() {
        let mut canvas = Canvas::new(10, 10, Ink::solid(0, 0, 0));
        for bad in [f32::NAN, f32::INFINITY, 1e30] {
            canvas.stroke(&[vec![Spot::new(bad, 0.0), Spot::new(5.0, bad)]], 3.0, WHITE);
            assert!(dashed(&[Spot::new(bad, 0.0), Spot::new(5.0, 0.0)], (3.0, 3.0)).is_empty());
        }
        assert!(canvas.picture.pixels().all(|pixel| pixel.0[0] == 0));
    }
}
