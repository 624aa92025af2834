//! The marks as sheets of paper on the wall.
//!
//! **Takes** a place on the wall's face. **Gives** the sheet there and the mean reflectance of a pixel on it. **How**:
//! the pixel is divided into sub-pixels, each traced to the wall on its own.

use super::spec::{MarkSpec, SceneSpec};
use super::surface::Rgb;
use super::tags::{Print, quadrant_print, sheet_half_mm, tag_print};

/// Sub-pixels along one edge of a pixel: an edge is then placed to 1/8 pixel in the worst case, to far less over a line.
const SUB: u32 = 5;
/// Tilt of a half diagonal: no sheet reaches farther than this times half its edge.
const DIAGONAL: f64 = std::f64::consts::SQRT_2;

/// One sheet.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    is_tag: bool,
    id: u32,
    size: f64,
    centre: (f64, f64),
    turn: (f64, f64),
    reach: f64,
    paper: f32,
    ink: f32,
}

/// All sheets that hang.
#[derive(Debug)]
pub(super) struct Sheets {
    sheets: Vec<Sheet>,
}

/// Where a mark truly hangs on the wall's face (counted from the centreline's meeting at y = 0).
pub(super) fn true_place(spec: &SceneSpec, mark: &MarkSpec) -> (f64, f64) {
    (mark.x_mm + mark.error_x_mm, mark.y_mm + mark.error_y_mm + spec.setup.rise_to_wall_mm)
}

impl Sheets {
    /// The marks that are visible, at their true places.
    pub(super) fn new(spec: &SceneSpec) -> Self {
        let sheets = spec.marks.iter().filter(|mark| mark.is_visible).map(|mark| {
            let is_tag = mark.kind != "quadrant";
            Sheet {
                is_tag,
                id: mark.id,
                size: mark.size_mm,
                centre: true_place(spec, mark),
                turn: mark.turn_deg.to_radians().sin_cos(),
                reach: DIAGONAL * sheet_half_mm(is_tag, mark.size_mm),
                paper: spec.wall.paper_reflectance as f32,
                ink: spec.wall.ink_reflectance as f32,
            }
        });
        Self { sheets: sheets.collect() }
    }

    /// The sheet that a pixel of this width may touch.
    #[inline]
    pub(super) fn near(&self, x: f64, y: f64, pixel_mm: f64) -> Option<&Sheet> {
        self.sheets.iter().find(|sheet| {
            let reach = sheet.reach + 2.0 * pixel_mm;
            (x - sheet.centre.0).abs() < reach && (y - sheet.centre.1).abs() < reach
        })
    }
}

impl Sheet {
    /// Mean reflectance of a pixel: `trace` turns a place within the pixel (0..1) into a wall place.
    pub(super) fn mean_reflectance(&self, trace: impl Fn(f64, f64) -> (f64, f64), bare: Rgb) -> Rgb {
        let mut sum = [0.0_f32; 3];
        for i in 0..SUB * SUB {
            let place = |n: u32| (f64::from(n) + 0.5) / f64::from(SUB);
            let (x, y) = trace(place(i % SUB), place(i / SUB));
            let (dx, dy) = (x - self.centre.0, y - self.centre.1);
            let (sin, cos) = self.turn;
            let (mx, my) = (dx * cos + dy * sin, dy * cos - dx * sin);
            let print =
                if self.is_tag { tag_print(self.id, self.size, mx, my) } else { quadrant_print(self.size, mx, my) };
            let here = match print {
                Some(Print::Paper) => [self.paper; 3],
                Some(Print::Ink) => [self.ink; 3],
                None => bare,
            };
            sum = [0, 1, 2].map(|c| sum[c] + here[c]);
        }
        sum.map(|value| value / (SUB * SUB) as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    #[test]
    fn a_pixel_across_the_paper_edge_is_mixed() {
        let mut spec = family::sample("clean", 1, None).unwrap();
        spec.marks[0].turn_deg = 0.0;
        let sheets = Sheets::new(&spec);
        let (cx, cy) = true_place(&spec, &spec.marks[0]);
        let half = sheet_half_mm(true, spec.marks[0].size_mm);
        let sheet = sheets.near(cx + half, cy, 3.0).unwrap();
        let mean = sheet.mean_reflectance(|sx, sy| (cx + half + 3.0 * (sx - 0.5), cy + 3.0 * (sy - 0.5)), [0.0; 3])[1];
        let paper = spec.wall.paper_reflectance as f32;
        assert!((mean - 0.5 * paper).abs() < 0.11 * paper, "{mean}");
        assert!(sheets.near(cx + 2.0 * half, cy + 3.0 * half, 3.0).is_none());
    }
}
