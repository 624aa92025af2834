//! Stage pictures on the angle grid: the light itself, the edge's places, and the fit with profiles of a few columns.

use super::canvas::{Canvas, dashed, ellipse};
use super::chart::{Chart, HEADER, WORDS, header};
use super::palette::{ASH, BEAM, FAIL, HOT, Ink, MARK, MARK_OFF, MOVE, NIGHT, PAPER, PASS, VOID};
use super::plane::{Area, Spot};
use super::stages::WIDTH;
use super::text::Type;
use crate::beam::{BeamFeatures, BeamSeen, Profile};
use crate::grid::AngleGrid;
use crate::photo::linear::LUMINANCE_WEIGHTS;
use image::{Rgb, RgbImage};

/// Left and right margin around a grid, pixels.
const SIDE: f32 = 80.0;
/// Room under a chart for its numbers.
const UNDER: f32 = 44.0;
/// Height of the chart of what the lines leave over, pixels.
const LEFT_OVER: f32 = 240.0;
/// Least V range of that chart to either side, degrees.
const LEAST_OFF_DEG: f64 = 0.02;
/// Share of the strongest fall under which the hinge does not use a place of the first look.
const USED_FALL: f64 = 0.25;
/// Height of a profile, pixels, and how many stand side by side.
const PROFILE: f32 = 360.0;
const ABREAST: usize = 3;
/// Shares of the cells that are darker than black and brighter than white.
const BLACK_WHITE: (f64, f64) = (0.005, 0.999);
/// Code of black, and how many there are from it to white: lines stay darker and brighter than the wall.
const DARKEST: f32 = 16.0;
const SPAN: f32 = 200.0;
/// Share of clipped samples from which a cell is tinted.
const CLIPPED: f32 = 0.02;
/// Least light that counts, relative to full scale: half an 8-bit code.
const LEAST: f32 = 1e-4;

/// The grid's light as log grey with axes; what is clipped is tinted, what shows no bare wall is left dark.
fn lay_grid(canvas: &mut Canvas, grid: &AngleGrid, chart: &Chart) -> (f32, f32) {
    let level = |k: usize| (0..3).map(|c| LUMINANCE_WEIGHTS[c] * grid.rgb[k][c]).sum::<f32>().max(LEAST).ln();
    let mut levels: Vec<f32> = (0..grid.rgb.len()).step_by(7).filter(|&k| grid.is_valid[k]).map(level).collect();
    levels.sort_by(f32::total_cmp);
    let quantile = |share: f64| levels.get((share * levels.len().saturating_sub(1) as f64) as usize).copied();
    let black = quantile(BLACK_WHITE.0).unwrap_or(-9.0);
    let white = quantile(BLACK_WHITE.1).unwrap_or(0.0).max(black + 0.1);
    let area = chart.area;
    for y in area.top as u32..area.bottom as u32 {
        for x in area.left as u32..area.right as u32 {
            let share_x = f64::from((x as f32 + 0.5 - area.left) / area.width());
            let share_y = f64::from((area.bottom - y as f32 - 0.5) / area.height());
            let (h, v) = (chart.x.0 + share_x * (chart.x.1 - chart.x.0), chart.y.0 + share_y * (chart.y.1 - chart.y.0));
            let k = grid.index(grid.h.nearest(h), grid.v.nearest(v));
            let code = (DARKEST + SPAN * ((level(k) - black) / (white - black)).clamp(0.0, 1.0)) as u8;
            let pixel = match (grid.is_valid[k], grid.clipped[k] > CLIPPED) {
                (false, _) => VOID.rgb,
                (true, true) => [code, code / 2, code / 2],
                (true, false) => [code; 3],
            };
            canvas.picture.put_pixel(x, y, Rgb(pixel));
        }
    }
    (black.exp(), white.exp())
}

/// A canvas with the chart of the whole grid, one scale both ways, and `under` pixels below it.
fn on_grid(grid: &AngleGrid, under: f32) -> (Canvas, Chart) {
    let ends = |axis: &crate::grid::Axis| (axis.at_deg(0), axis.at_deg(axis.count.saturating_sub(1)));
    let (h, v) = (ends(&grid.h), ends(&grid.v));
    let width = WIDTH as f32 - 2.0 * SIDE;
    let height = (width * ((v.1 - v.0) / (h.1 - h.0).max(0.1)) as f32).clamp(50.0, 3000.0).round();
    let chart = Chart { area: Area::new(SIDE, HEADER + 8.0, width, height), x: h, y: v };
    (Canvas::new(WIDTH, (chart.area.bottom + UNDER + under) as u32, NIGHT), chart)
}

/// The angle grid.
pub fn grid(grid: &AngleGrid) -> RgbImage {
    let (mut canvas, chart) = on_grid(grid, 0.0);
    let (black, white) = lay_grid(&mut canvas, grid, &chart);
    chart.draw_axes(&mut canvas, None, ("°", "°"));
    let scale = format!("log grey, black {black:.4}, white {white:.2} of full scale (before the tone curve is undone)");
    let legend = [(scale.as_str(), PAPER), ("clipped", FAIL), ("dark blue: no bare wall", ASH)];
    header(&mut canvas, "3 grid: the wall's light by direction from the lamp, H to the right, V up", &legend);
    canvas.picture
}

/// The edge's place in every column, used and not, and what the straight lines leave over.
pub fn edges(grid: &AngleGrid, seen: &BeamSeen) -> RgbImage {
    let (mut canvas, chart) = on_grid(grid, LEFT_OVER + UNDER + 30.0);
    lay_grid(&mut canvas, grid, &chart);
    chart.draw_axes(&mut canvas, None, ("°", "°"));
    let evened = if seen.is_evened { "; rows of the wall were evened out" } else { "" };
    let legend = [
        ("first look, used (size: fall of light)", BEAM),
        ("first look, too weak", MARK_OFF),
        ("hinge through them", PASS),
        ("scans on the flat part", MARK),
        ("positions on the rise", MOVE),
    ];
    header(&mut canvas, &format!("4 edges: places of the steepest fall{evened}"), &legend);
    canvas.confine(chart.area);
    let strongest = seen.looked.iter().map(|place| place.fall).fold(1e-6, f64::max);
    for place in &seen.looked {
        let share = (place.fall / strongest).clamp(0.0, 1.0) as f32;
        let ink = if place.fall > USED_FALL * strongest { BEAM } else { MARK_OFF };
        let at = chart.at(place.h_deg, place.v_deg);
        canvas.stroke(&[vec![at.moved(0.0, -2.0 - 8.0 * share), at.moved(0.0, 2.0 + 8.0 * share)]], 2.0, ink.at(0.8));
    }
    if let Some(hinge) = &seen.hinge {
        let course = |h: f64| {
            let x = (hinge.h_deg - h) * seen.side;
            hinge.v_deg + hinge.tilt * (h - hinge.h_deg) + (hinge.slope * x.max(0.0)).min(hinge.cap_deg)
        };
        let line = chart.line((0..=360).map(|k| -9.0 + 0.05 * f64::from(k)).map(|h| (h, course(h))));
        canvas.stroke(&dashed(&line, (14.0, 10.0)), 2.0, PASS);
    }
    if let Some(shape) = &seen.shape {
        for (points, ink) in [(&shape.flat.places, MARK), (&shape.rise_points, MOVE)] {
            for &(h, v) in points {
                dot(&mut canvas, chart.at(h, v), 3.0, ink);
            }
        }
    }
    draw_left_over(&mut canvas, &chart, seen);
    canvas.picture
}

fn dot(canvas: &mut Canvas, at: Spot, radius: f32, ink: Ink) {
    canvas.stroke(&[vec![at, at.moved(0.01, 0.0)]], 2.0 * radius, ink);
}

/// Each scan's own place against the line that was fitted, large.
fn draw_left_over(canvas: &mut Canvas, above: &Chart, seen: &BeamSeen) {
    let Some(shape) = &seen.shape else { return };
    let flat = shape.flat.places.iter().map(|&(h, v)| (h, v - shape.flat.at(h), MARK));
    let rise =
        shape.rise.into_iter().flat_map(|line| shape.rise_points.iter().map(move |&(h, v)| (h, v - line.at(h), MOVE)));
    let points: Vec<(f64, f64, Ink)> = flat.chain(rise).filter(|point| point.1.is_finite()).collect();
    let largest = points.iter().map(|point| point.1.abs()).fold(LEAST_OFF_DEG, f64::max).min(0.5);
    let area = Area::new(above.area.left, above.area.bottom + UNDER + 34.0, above.area.width(), LEFT_OVER);
    let chart = Chart { area, x: above.x, y: (-1.1 * largest, 1.1 * largest) };
    chart.draw_axes(canvas, Some(VOID), ("°", "°"));
    let flat = &shape.flat;
    let words = format!(
        "place less line, V; flat line ±{:.4}° (scatter) ±{:.4}° (texture along it), slope ±{:.4}; texture {:.1} %, softness {:.3}°, G {:.3}",
        flat.sigma_deg,
        flat.texture_sigma_deg,
        flat.slope_sigma,
        100.0 * flat.texture,
        flat.softness_deg,
        flat.g
    );
    Type::regular(WORDS).draw(canvas, &words, Spot::new(area.left, area.top - 10.0), PAPER);
    canvas.confine(area);
    for (h, off, ink) in points {
        dot(canvas, chart.at(h, off), 4.0, ink);
    }
    canvas.confine(canvas.whole());
}

/// Flat and rising line, elbow and hot spot with their expanded uncertainties, and profiles of a few columns.
pub fn fit(grid: &AngleGrid, seen: &BeamSeen, features: Option<&BeamFeatures>) -> RgbImage {
    let rows = seen.profiles.len().div_ceil(ABREAST);
    let (mut canvas, chart) = on_grid(grid, rows as f32 * (PROFILE + UNDER + 40.0));
    lay_grid(&mut canvas, grid, &chart);
    chart.draw_axes(&mut canvas, None, ("°", "°"));
    let room = seen.room.map_or_else(
        || "no room light was estimated".to_owned(),
        |room| format!("room light {:.5} ± {:.5} of full scale", room.base, 2.0 * room.sigma),
    );
    let refused = if features.is_none() { "; the photo was refused" } else { "" };
    let title = format!("5 fit: {room}; tone curve {:.2}{refused}", seen.tone_strength);
    let legend = [
        ("flat line", MARK),
        ("rising line", MOVE),
        ("elbow ±U", BEAM),
        ("hot spot ±U", HOT),
        ("profiles: dots data, line model, dashed cutoff, grey room light", ASH),
    ];
    header(&mut canvas, &title, &legend);
    canvas.confine(chart.area);
    if let Some(shape) = &seen.shape {
        let ends = chart.x;
        let reach = |points: &[(f64, f64)]| {
            let h = points.iter().map(|point| point.0);
            (h.clone().fold(f64::INFINITY, f64::min), h.fold(f64::NEG_INFINITY, f64::max))
        };
        let flat = chart.line([ends.0, ends.1].map(|h| (h, shape.flat.at(h))));
        canvas.stroke(&dashed(&flat, (6.0, 10.0)), 1.5, MARK);
        let (left, right) = reach(&shape.flat.places);
        canvas.stroke_cased(&[chart.line([left, right].map(|h| (h, shape.flat.at(h))))], 3.0, MARK);
        if let Some(rise) = &shape.rise {
            let (left, right) = reach(&shape.rise_points);
            canvas.stroke_cased(&[chart.line([left, right].map(|h| (h, rise.at(h))))], 3.0, MOVE);
        }
    }
    if let Some(elbow) = features.and_then(|features| features.elbow.as_ref()) {
        draw_with_u(&mut canvas, &chart, (&elbow.h, &elbow.v), BEAM);
    }
    if let Some(spot) = features.and_then(|features| features.hot_spot.as_ref()) {
        draw_with_u(&mut canvas, &chart, (&spot.h, &spot.v), HOT);
    }
    for (number, profile) in seen.profiles.iter().enumerate() {
        let width = (WIDTH as f32 - SIDE) / ABREAST as f32;
        let (column, row) = ((number % ABREAST) as f32, (number / ABREAST) as f32);
        let top = chart.area.bottom + UNDER + 40.0 + row * (PROFILE + UNDER + 40.0);
        draw_profile(&mut canvas, Area::new(SIDE + column * width, top, width - SIDE, PROFILE), profile);
    }
    canvas.picture
}

fn draw_with_u(
    canvas: &mut Canvas,
    chart: &Chart,
    (h, v): (&crate::measured::Measured, &crate::measured::Measured),
    ink: Ink,
) {
    let centre = chart.at(h.value.get(), v.value.get());
    let edge = chart.at(h.value.get() + 2.0 * h.budget.sigma_deg(), v.value.get() + 2.0 * v.budget.sigma_deg());
    canvas.stroke_cased(&[ellipse(centre, (edge.x - centre.x).abs(), (edge.y - centre.y).abs())], 2.0, ink);
    dot(canvas, centre, 4.0, ink);
}

/// Log light over V: data, model, room light and the cutoff.
fn draw_profile(canvas: &mut Canvas, area: Area, profile: &Profile) {
    let log = |level: f64| level.max(f64::from(LEAST)).log10();
    let ends = (profile.v_deg.first().copied().unwrap_or(0.0), profile.v_deg.last().copied().unwrap_or(1.0));
    let logs = profile.level.iter().map(|level| log(*level));
    let (low, high) = (logs.clone().fold(0.0, f64::min), logs.fold(-4.0, f64::max));
    let chart = Chart { area, x: ends, y: (low - 0.1, high.max(low + 0.2) + 0.1) };
    chart.draw_axes(canvas, Some(VOID), ("° V", ""));
    let title = format!("H {:.2}°: log10 light", profile.h_deg);
    Type::regular(WORDS).draw(canvas, &title, Spot::new(area.left, area.top - 8.0), PAPER);
    canvas.confine(area);
    let room = chart.line(profile.v_deg.iter().zip(&profile.room).map(|(v, room)| (*v, log(*room))));
    canvas.stroke(&[room], 2.0, ASH);
    let cutoff = chart.line([chart.y.0, chart.y.1].map(|y| (profile.cutoff_deg, y)));
    canvas.stroke(&dashed(&cutoff, (10.0, 8.0)), 2.0, BEAM);
    for (v, level) in profile.v_deg.iter().zip(&profile.level) {
        dot(canvas, chart.at(*v, log(*level)), 1.8, PAPER);
    }
    let model = profile.v_deg.iter().zip(&profile.model).filter_map(|(v, model)| Some((*v, log((*model)?))));
    canvas.stroke(&[chart.line(model)], 2.5, FAIL);
    canvas.confine(canvas.whole());
}
