//! The wall's light on a regular grid of beam directions (H, V) seen from the lamp.
//!
//! **Takes** the linear photo, the wall's place in it and the lamp's set-up. **Gives** an [`AngleGrid`]: per cell the mean
//! linear red, green and blue over the cell's own footprint in the photo (bilinear samples about one pixel apart), the
//! share of clipped samples and whether the cell shows the wall. Cells on reference marks, below the floor line or outside
//! the photo are not valid. **How**: pixel places are computed exactly at nodes 0.5 degrees apart and interpolated between
//! them; at phone scales the perspective's curvature over such a patch stays below 0.01 px.

use crate::bay::{Bay, LampSetup};
use crate::photo::LinearImage;
use crate::units::{AnglePoint, PxPoint, WallPoint};
use crate::wall::{WallView, geometry};

/// One axis of the grid: centres at `first + i·step`, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// Centre of the first cell.
    pub first_deg: f64,
    /// Distance between centres.
    pub step_deg: f64,
    /// Number of cells.
    pub count: usize,
}

impl Axis {
    /// An axis from `from` to `to`.
    pub fn spanning(from_deg: f64, to_deg: f64, step_deg: f64) -> Self {
        Self { first_deg: from_deg, step_deg, count: ((to_deg - from_deg) / step_deg).round() as usize + 1 }
    }

    /// Centre of cell `i`, degrees.
    pub fn at_deg(&self, i: usize) -> f64 {
        self.first_deg + i as f64 * self.step_deg
    }

    /// Nearest cell to an angle, clamped to the axis.
    pub fn nearest(&self, deg: f64) -> usize {
        (((deg - self.first_deg) / self.step_deg).round().max(0.0) as usize).min(self.count.saturating_sub(1))
    }
}

/// How the grid is laid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridOptions {
    /// Half width, degrees: must hold the scan regions of every pattern. Default: 9.
    pub half_width_deg: f64,
    /// Lowest V, degrees. Default: -6 (the floor line ends it before in most bays).
    pub bottom_deg: f64,
    /// Highest V, degrees. Default: 6.
    pub top_deg: f64,
    /// Cell width, degrees: small enough for a 45 degree step. Default: 0.05.
    pub step_h_deg: f64,
    /// Cell height, degrees: under the 0.05 degrees that UN R112 asks of a scan. Default: 0.02.
    pub step_v_deg: f64,
}

impl Default for GridOptions {
    fn default() -> Self {
        Self { half_width_deg: 9.0, bottom_deg: -6.0, top_deg: 6.0, step_h_deg: 0.05, step_v_deg: 0.02 }
    }
}

/// Light on a grid of beam directions.
#[derive(Debug, Clone)]
pub struct AngleGrid {
    /// Horizontal axis.
    pub h: Axis,
    /// Vertical axis.
    pub v: Axis,
    /// Mean linear red, green, blue per cell, rows of V from the bottom, H running fastest.
    pub rgb: Vec<[f32; 3]>,
    /// Share of clipped samples per cell, 0 to 1.
    pub clipped: Vec<f32>,
    /// Whether the cell shows the bare wall.
    pub is_valid: Vec<bool>,
    /// Luminous intensity per unit of wall illuminance: distance² / cos(incidence), relative to the wall's foot point.
    pub intensity_factor: Vec<f32>,
}

impl AngleGrid {
    /// Index of the cell in column `i` and row `j`.
    pub fn index(&self, i: usize, j: usize) -> usize {
        j * self.h.count + i
    }
}

/// Distance between nodes where pixel places are computed exactly, degrees.
const NODE_STEP_DEG: f64 = 0.5;
/// Strip above the floor line that is left out, mm: skirting and the floor's own reflection.
const FLOOR_MARGIN_MM: f64 = 25.0;
/// Half side of the square around a mark that is left out, in units of the mark's size: black square and quiet zone.
const MARK_HALF_SIDE: f64 = 0.8;
/// Pixels along the photo's edge that are left out.
const PHOTO_MARGIN_PX: f64 = 2.0;

struct Node {
    place: PxPoint,
    factor: f64,
}

/// Wall height (on the face, mm) of the floor at the wall.
pub fn floor_line_mm(setup: &LampSetup) -> f64 {
    if setup.floor.rise_to_wall.get().abs() > 0.0 {
        0.0
    } else {
        setup.floor.slope.get() / 100.0 * setup.distance.get()
    }
}

/// Resamples the photo on the lamp's angle axes.
pub fn resample(
    image: &LinearImage<'_>,
    view: &WallView,
    setup: &LampSetup,
    bay: &Bay,
    options: &GridOptions,
) -> AngleGrid {
    let h = Axis::spanning(-options.half_width_deg, options.half_width_deg, options.step_h_deg);
    let v = Axis::spanning(options.bottom_deg, options.top_deg, options.step_v_deg);
    let nodes_h = Axis::spanning(h.first_deg, h.at_deg(h.count - 1) + NODE_STEP_DEG, NODE_STEP_DEG);
    let nodes_v = Axis::spanning(v.first_deg, v.at_deg(v.count - 1) + NODE_STEP_DEG, NODE_STEP_DEG);
    let reference = setup.distance.get().powi(2);
    let mut nodes: Vec<Option<Node>> = Vec::with_capacity(nodes_h.count * nodes_v.count);
    let mut walls: Vec<Option<WallPoint>> = Vec::with_capacity(nodes.capacity());
    for j in 0..nodes_v.count {
        for i in 0..nodes_h.count {
            let wall = geometry::wall_point(setup, AnglePoint::new(nodes_h.at_deg(i), nodes_v.at_deg(j)));
            nodes.push(wall.map(|wall| {
                let ray = geometry::solid(setup, wall);
                Node { place: view.to_px(wall), factor: ray.distance_mm.powi(2) / ray.cos_incidence / reference }
            }));
            walls.push(wall);
        }
    }
    let floor_mm = floor_line_mm(setup) + FLOOR_MARGIN_MM;
    let cells = h.count * v.count;
    let mut grid = AngleGrid {
        h,
        v,
        rgb: vec![[0.0; 3]; cells],
        clipped: vec![0.0; cells],
        is_valid: vec![false; cells],
        intensity_factor: vec![1.0; cells],
    };
    for j in 0..v.count {
        let node_v = (v.at_deg(j) - nodes_v.first_deg) / NODE_STEP_DEG;
        let (nj, fv) = (node_v as usize, node_v.fract());
        for i in 0..h.count {
            let node_h = (h.at_deg(i) - nodes_h.first_deg) / NODE_STEP_DEG;
            let (ni, fh) = (node_h as usize, node_h.fract());
            let at = |di: usize, dj: usize| {
                (nj + dj).min(nodes_v.count - 1) * nodes_h.count + (ni + di).min(nodes_h.count - 1)
            };
            let corner = [at(0, 0), at(1, 0), at(0, 1), at(1, 1)];
            let [Some(a), Some(b), Some(c), Some(d)] = corner.map(|k| nodes[k].as_ref()) else { continue };
            let [Some(wa), Some(wb), Some(wc), Some(wd)] = corner.map(|k| walls[k]) else { continue };
            let mix = |p: f64, q: f64, r: f64, s: f64| {
                (p * (1.0 - fh) + q * fh) * (1.0 - fv) + (r * (1.0 - fh) + s * fh) * fv
            };
            let wall = WallPoint::new(mix(wa.x_mm, wb.x_mm, wc.x_mm, wd.x_mm), mix(wa.y_mm, wb.y_mm, wc.y_mm, wd.y_mm));
            if wall.y_mm < floor_mm || is_on_mark(bay, setup, wall) {
                continue;
            }
            let place = PxPoint::new(
                mix(a.place.x, b.place.x, c.place.x, d.place.x),
                mix(a.place.y, b.place.y, c.place.y, d.place.y),
            );
            let scale_h = options.step_h_deg / NODE_STEP_DEG;
            let scale_v = options.step_v_deg / NODE_STEP_DEG;
            let along_h = PxPoint::new((b.place.x - a.place.x) * scale_h, (b.place.y - a.place.y) * scale_h);
            let along_v = PxPoint::new((c.place.x - a.place.x) * scale_v, (c.place.y - a.place.y) * scale_v);
            let k = grid.index(i, j);
            if let Some((rgb, clipped)) = cell_mean(image, place, along_h, along_v) {
                grid.rgb[k] = rgb;
                grid.clipped[k] = clipped;
                grid.is_valid[k] = true;
                grid.intensity_factor[k] = mix(a.factor, b.factor, c.factor, d.factor) as f32;
            }
        }
    }
    grid
}

/// Whether a place on the wall shows the bare wall: above the floor line and off the marks.
pub fn wall_is_bare(bay: &Bay, setup: &LampSetup, wall: WallPoint) -> bool {
    wall.y_mm >= floor_line_mm(setup) + FLOOR_MARGIN_MM && !is_on_mark(bay, setup, wall)
}

fn is_on_mark(bay: &Bay, setup: &LampSetup, wall: WallPoint) -> bool {
    bay.marks.iter().any(|mark| {
        let reach = mark.size.get() * MARK_HALF_SIDE;
        let y = mark.centre.y_mm - setup.marks_lowered.get();
        (wall.x_mm - mark.centre.x_mm).abs() < reach && (wall.y_mm - y).abs() < reach
    })
}

/// Mean light over a cell's footprint and the share of clipped samples; `None` outside the photo.
fn cell_mean(image: &LinearImage<'_>, place: PxPoint, along_h: PxPoint, along_v: PxPoint) -> Option<([f32; 3], f32)> {
    let count_h = (along_h.x.hypot(along_h.y).ceil().max(1.0)) as usize;
    let count_v = (along_v.x.hypot(along_v.y).ceil().max(1.0)) as usize;
    let (width, height) = (image.photo().width() as f64, image.photo().height() as f64);
    let mut sum = [0.0f32; 3];
    let mut clipped = 0usize;
    for b in 0..count_v {
        let fb = (b as f64 + 0.5) / count_v as f64 - 0.5;
        for a in 0..count_h {
            let fa = (a as f64 + 0.5) / count_h as f64 - 0.5;
            let x = place.x + fa * along_h.x + fb * along_v.x;
            let y = place.y + fa * along_h.y + fb * along_v.y;
            if !(x > PHOTO_MARGIN_PX
                && y > PHOTO_MARGIN_PX
                && x < width - PHOTO_MARGIN_PX
                && y < height - PHOTO_MARGIN_PX)
            {
                return None;
            }
            let (left, top) = ((x - 0.5).floor(), (y - 0.5).floor());
            let (fx, fy) = ((x - 0.5 - left) as f32, (y - 0.5 - top) as f32);
            let (px, py) = (left as usize, top as usize);
            let p = [image.rgb(px, py), image.rgb(px + 1, py), image.rgb(px, py + 1), image.rgb(px + 1, py + 1)];
            for channel in 0..3 {
                let upper = p[0][channel] + fx * (p[1][channel] - p[0][channel]);
                let lower = p[2][channel] + fx * (p[3][channel] - p[2][channel]);
                sum[channel] += upper + fy * (lower - upper);
            }
            clipped += usize::from(image.is_clipped(px, py));
        }
    }
    let samples = (count_h * count_v) as f32;
    Some((sum.map(|total| total / samples), clipped as f32 / samples))
}
