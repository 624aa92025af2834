//! The wall's light on a regular grid of beam directions (H, V) seen from the lamp.
//!
//! **Takes** the linear photo, the wall's place in it and the lamp's set-up. **Gives** an [`AngleGrid`]: per cell the mean
//! linear red, green and blue over the cell's own footprint in the photo (bilinear samples about one pixel apart), the
//! share of clipped samples and whether the cell shows the wall. Cells on reference marks, below the floor line or outside
//! the photo are not valid. **How**: pixel places are computed exactly at nodes 0.5 degrees apart and interpolated between
//! them; at phone scales the perspective's curvature over such a patch stays below 0.01 px.

use super::black::DarkNoise;
use super::options::GridOptions;
use super::window::{Footprint, LightWindow};
use crate::bay::{Bay, LampSetup};
use crate::photo::LinearImage;
use crate::units::{AnglePoint, PxPoint, WallPoint};
use crate::wall::{WallView, geometry};
use rayon::prelude::*;

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
    /// Of a photo whose noise reaches black: what that did.
    pub dark: Option<DarkNoise>,
}

impl AngleGrid {
    /// Index of the cell in column `i` and row `j`.
    pub fn index(&self, i: usize, j: usize) -> usize {
        j * self.h.count + i
    }
}

/// Distance between nodes where pixel places are computed exactly, degrees.
const NODE_STEP_DEG: f64 = 0.5;
/// Nodes along each side of a patch whose pixels are made light together.
const PATCH_NODES: usize = 4;
/// Rows of nodes in a band, the part that one thread fills.
const BAND_NODES: usize = 2;

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
    let cells = h.count * v.count;
    let mut grid = AngleGrid {
        h,
        v,
        rgb: vec![[0.0; 3]; cells],
        clipped: vec![0.0; cells],
        is_valid: vec![false; cells],
        intensity_factor: vec![1.0; cells],
        dark: None,
    };
    if cells == 0 {
        return grid;
    }
    let nodes = Nodes::of(view, setup, h, v);
    let (columns, rows) = (Nodes::shares(h, nodes.h), Nodes::shares(v, nodes.v));
    let bare = Bare::of(bay, setup, options);
    // Bands of rows share no cell, so each is filled by itself.
    let band_rows = ((BAND_NODES as f64 * NODE_STEP_DEG / options.step_v_deg).round() as usize).max(1);
    let band_cells = band_rows * h.count;
    let lines = grid.rgb.par_chunks_mut(band_cells).zip(grid.clipped.par_chunks_mut(band_cells));
    let facts = grid.is_valid.par_chunks_mut(band_cells).zip(grid.intensity_factor.par_chunks_mut(band_cells));
    let bands = lines.zip(facts).zip(rows.par_chunks(band_rows));
    bands.for_each(|(((rgb, clipped), (is_valid, factor)), rows)| {
        let mut band = Band { rgb, clipped, is_valid, factor, columns: h.count };
        let mut window = LightWindow::new(image);
        for patch in Nodes::patches(&columns, rows) {
            let steps = (options.step_h_deg / NODE_STEP_DEG, options.step_v_deg / NODE_STEP_DEG);
            window.load(nodes.footprint(&patch));
            fill(&mut band, &window, &nodes, &patch, steps, &bare, options);
        }
    });
    grid
}

/// The cells of a band of rows.
struct Band<'a> {
    rgb: &'a mut [[f32; 3]],
    clipped: &'a mut [f32],
    is_valid: &'a mut [bool],
    factor: &'a mut [f32],
    columns: usize,
}

/// Fills the cells of one patch.
fn fill(
    band: &mut Band<'_>,
    window: &LightWindow<'_>,
    nodes: &Nodes,
    patch: &Patch<'_>,
    (scale_h, scale_v): (f64, f64),
    bare: &Bare<'_>,
    options: &GridOptions,
) {
    for (j, &(nj, fv)) in patch.rows.iter().enumerate() {
        for (i, &(ni, fh)) in patch.columns.iter().enumerate() {
            let Some([a, b, c, d]) = nodes.around(ni, nj) else { continue };
            let mix = |p: f64, q: f64, r: f64, s: f64| {
                (p * (1.0 - fh) + q * fh) * (1.0 - fv) + (r * (1.0 - fh) + s * fh) * fv
            };
            let wall = WallPoint::new(
                mix(a.wall.x_mm, b.wall.x_mm, c.wall.x_mm, d.wall.x_mm),
                mix(a.wall.y_mm, b.wall.y_mm, c.wall.y_mm, d.wall.y_mm),
            );
            if !bare.holds(wall, options) {
                continue;
            }
            let footprint = Footprint {
                place: PxPoint::new(
                    mix(a.place.x, b.place.x, c.place.x, d.place.x),
                    mix(a.place.y, b.place.y, c.place.y, d.place.y),
                ),
                along_h: PxPoint::new((b.place.x - a.place.x) * scale_h, (b.place.y - a.place.y) * scale_h),
                along_v: PxPoint::new((c.place.x - a.place.x) * scale_v, (c.place.y - a.place.y) * scale_v),
            };
            if let Some((rgb, clipped)) = window.mean(&footprint) {
                let k = j * band.columns + patch.first_column + i;
                band.rgb[k] = rgb;
                band.clipped[k] = clipped;
                band.is_valid[k] = true;
                band.factor[k] = mix(a.factor, b.factor, c.factor, d.factor) as f32;
            }
        }
    }
}

/// A place where everything is computed exactly.
#[derive(Debug, Clone, Copy)]
struct Node {
    wall: WallPoint,
    place: PxPoint,
    factor: f64,
}

/// The nodes, rows of V from the bottom.
struct Nodes {
    h: Axis,
    v: Axis,
    at: Vec<Option<Node>>,
}

/// A rectangle of cells whose pixels are read together: per column and row the node before it and the share of the way
/// to the next one.
struct Patch<'a> {
    first_column: usize,
    columns: &'a [(usize, f64)],
    rows: &'a [(usize, f64)],
}

impl Nodes {
    fn of(view: &WallView, setup: &LampSetup, h: Axis, v: Axis) -> Self {
        let h = Axis::spanning(h.first_deg, h.at_deg(h.count - 1) + NODE_STEP_DEG, NODE_STEP_DEG);
        let v = Axis::spanning(v.first_deg, v.at_deg(v.count - 1) + NODE_STEP_DEG, NODE_STEP_DEG);
        let reference = setup.distance.get().powi(2);
        let node = |k: usize| {
            let at = AnglePoint::new(h.at_deg(k % h.count), v.at_deg(k / h.count));
            let wall = geometry::wall_point(setup, at)?;
            let ray = geometry::solid(setup, wall);
            let factor = ray.distance_mm.powi(2) / ray.cos_incidence / reference;
            Some(Node { wall, place: view.to_px(wall), factor })
        };
        Self { h, v, at: (0..h.count * v.count).map(node).collect() }
    }

    /// Per cell of an axis the node before it and the share of the way to the next.
    fn shares(cells: Axis, nodes: Axis) -> Vec<(usize, f64)> {
        let place = |i: usize| (cells.at_deg(i) - nodes.first_deg) / NODE_STEP_DEG;
        (0..cells.count).map(|i| (place(i) as usize, place(i).fract())).collect()
    }

    fn patches<'a>(columns: &'a [(usize, f64)], rows: &'a [(usize, f64)]) -> impl Iterator<Item = Patch<'a>> + use<'a> {
        let mut first_column = 0;
        columns.chunk_by(|a, b| a.0 / PATCH_NODES == b.0 / PATCH_NODES).map(move |columns| {
            let patch = Patch { first_column, columns, rows };
            first_column += columns.len();
            patch
        })
    }

    fn at(&self, i: usize, j: usize) -> Option<&Node> {
        self.at[j.min(self.v.count - 1) * self.h.count + i.min(self.h.count - 1)].as_ref()
    }

    fn around(&self, i: usize, j: usize) -> Option<[&Node; 4]> {
        Some([self.at(i, j)?, self.at(i + 1, j)?, self.at(i, j + 1)?, self.at(i + 1, j + 1)?])
    }

    /// Box in the photo that holds the patch's nodes and half a node's distance around them.
    fn footprint(&self, patch: &Patch<'_>) -> Option<(PxPoint, PxPoint)> {
        let (first, last) = (patch.columns.first()?.0, patch.columns.last()?.0 + 1);
        let (bottom, top) = (patch.rows.first()?.0, patch.rows.last()?.0 + 1);
        let places: Vec<PxPoint> = (bottom..=top)
            .flat_map(|j| (first..=last).filter_map(move |i| self.at(i, j)))
            .map(|node| node.place)
            .collect();
        let low = places.iter().fold((f64::INFINITY, f64::INFINITY), |low, p| (low.0.min(p.x), low.1.min(p.y)));
        let high =
            places.iter().fold((f64::NEG_INFINITY, f64::NEG_INFINITY), |high, p| (high.0.max(p.x), high.1.max(p.y)));
        (low.0 <= high.0 && low.1 <= high.1).then_some((PxPoint::new(low.0, low.1), PxPoint::new(high.0, high.1)))
    }
}

/// The bare wall: above the floor line and off the marks.
struct Bare<'a> {
    bay: &'a Bay,
    setup: &'a LampSetup,
    floor_mm: f64,
}

impl<'a> Bare<'a> {
    fn of(bay: &'a Bay, setup: &'a LampSetup, options: &GridOptions) -> Self {
        Self { bay, setup, floor_mm: geometry::floor_line_mm(setup) + options.bare.floor_margin_mm }
    }

    fn holds(&self, wall: WallPoint, options: &GridOptions) -> bool {
        wall.y_mm >= self.floor_mm && !is_on_mark(self.bay, self.setup, wall, options)
    }
}

/// Whether a place on the wall shows the bare wall: above the floor line and off the marks.
pub fn wall_is_bare(bay: &Bay, setup: &LampSetup, wall: WallPoint, options: &GridOptions) -> bool {
    Bare::of(bay, setup, options).holds(wall, options)
}

fn is_on_mark(bay: &Bay, setup: &LampSetup, wall: WallPoint, options: &GridOptions) -> bool {
    bay.marks.iter().any(|mark| {
        let reach = mark.size.get() * options.bare.mark_half_side;
        let y = mark.centre.y_mm - setup.marks_lowered.get();
        (wall.x_mm - mark.centre.x_mm).abs() < reach && (wall.y_mm - y).abs() < reach
    })
}
