//! The whole picture: words above, the wall with everything on it, a close-up of the beam, small print below.
//!
//! **Takes** a measurement and what was asked for. **Gives** a picture 1600 px wide, as high as its words need. Never
//! fails: what was not found is not drawn.

use super::arrows::{draw_arrows, moves};
use super::backdrop::lay_photo;
use super::beam_lines::draw_beam;
use super::canvas::Canvas;
use super::dark_zone::{draw_dark_zone, label_dark_zone, place_to_show};
use super::grid_lines::{draw_grid, grid_lines, label_grid};
use super::known::{Known, draw_known};
use super::labels::Labels;
use super::limits::{Goal, draw_limits, zone_outlines};
use super::mark_outlines::draw_marks;
use super::palette::{ALLOWED, NIGHT, PAPER, PICTURE_WIDTH};
use super::panel;
use super::place::{Scene, photo_place};
use super::plane::{Area, Spot};
use super::units_shown::Shown;
use super::viewport::{Framing, Viewport};
use super::words::Words;
use crate::aim::{AppliedRule, LampCase};
use crate::bay::{Bay, LampSetup};
use crate::measurement::{Findings, Measurement};
use crate::reading::DisplayUnits;
use crate::units::{AnglePoint, PxPoint};
use crate::wall::WallView;
use image::RgbImage;

/// Height by width of the view of the wall, least and most.
const WALL_SHAPES: (f64, f64) = (0.34, 0.75);
/// Height by width of the close-up.
const CLOSE_SHAPES: (f64, f64) = (0.42, 0.6);
/// Most pixels of the picture per px of the photo: beyond, the photo is a blur.
const WALL_MOST_SCALE: f64 = 4.0;
/// Same for the close-up, whose lines matter more than its photo.
const CLOSE_MOST_SCALE: f64 = 14.0;
/// The close-up is left out when it would not be at least so much larger.
const LEAST_GAIN: f64 = 1.5;
/// Size of arrows in the view of the wall when the close-up shows them too.
const FAR_ARROW: f32 = 0.5;
/// Width of the frame that shows where the close-up is.
const FRAME_STROKE: f32 = 3.0;
/// Opacity of that frame.
const FRAME_ALPHA: f32 = 0.7;
/// Space between two views, pixels.
const GAP: f32 = 10.0;
/// How much of the cutoff on each side of the elbow the view of the wall must hold, degrees.
const CUTOFF_REACH_DEG: f64 = 4.0;
/// Widest that the beam's own places may reach from the middle of the judged ones in the close-up, degrees.
const CLOSE_REACH_DEG: f64 = 4.0;

/// What the picture needs besides the measurement.
#[derive(Debug, Clone, Copy)]
pub struct AnnotateInput<'a> {
    /// The bay.
    pub bay: &'a Bay,
    /// The lamp in it.
    pub setup: &'a LampSetup,
    /// Beam, pattern and side of the road.
    pub lamp: &'a LampCase,
    /// The rule, applied to the lamp.
    pub rule: &'a AppliedRule,
    /// Units of the grid and of the words.
    pub units: DisplayUnits,
    /// Day of a photo that states none, `YYYY-MM-DD`.
    pub today: &'a str,
    /// What the picture says of the record that it belongs to.
    pub caption: Option<&'a str>,
    /// Whether it says how far to turn which screw and, of a refused photo, what to do and pixels. Where the next turn follows
    /// from earlier photos too, the picture of one photo would say another; and who looks at a page types no commands.
    pub is_turn_told: bool,
}

/// Draws the annotated picture of a measurement, refused ones too.
pub fn annotate(measurement: &Measurement, input: &AnnotateInput<'_>) -> RgbImage {
    annotate_known(measurement, input, &Known::default())
}

/// The same with what is known of the beam drawn over it.
pub fn annotate_known(measurement: &Measurement, input: &AnnotateInput<'_>, known: &Known) -> RgbImage {
    let words = Words::of(measurement, input);
    let (head, foot) = (panel::headline(&words), panel::small_print(&words));
    let found = measurement.outcome.as_ref().ok();
    let goal = Goal::of(found.map(|found| &found.features), input.lamp.pattern, input.lamp.traffic, input.rule);
    let views = views(measurement, input, &goal, head.height.ceil());
    let bottom = views.iter().map(|view| view.area.bottom).fold(head.height.ceil(), f32::max);
    let mut canvas = Canvas::new(PICTURE_WIDTH, (bottom + foot.height).ceil() as u32, NIGHT);
    head.draw(&mut canvas, 0.0, &words);
    for (n, viewport) in views.iter().enumerate() {
        canvas.confine(viewport.area);
        lay_photo(&mut canvas, &measurement.photo, viewport);
        let closer = views.get(n + 1);
        let is_closest = closer.is_none();
        draw_view(&mut canvas, measurement, input, &goal, *viewport, is_closest);
        if let Some(view) = &measurement.view {
            draw_known(&mut canvas, &Scene { view, setup: input.setup, viewport: *viewport }, known);
        }
        if let Some(closer) = closer {
            frame(&mut canvas, viewport, closer);
        }
    }
    canvas.confine(canvas.whole());
    foot.draw(&mut canvas, bottom, &words);
    canvas.picture
}

/// The view of the wall, and the close-up where it shows more.
fn views(measurement: &Measurement, input: &AnnotateInput<'_>, goal: &Goal, top: f32) -> Vec<Viewport> {
    let photo = &measurement.photo;
    let framing = |top: f32, shapes: (f64, f64), most_scale: f64| Framing {
        photo: (photo.width() as f64, photo.height() as f64),
        corner: Spot::new(0.0, top),
        width: PICTURE_WIDTH as f32,
        shapes,
        most_scale,
    };
    let wall = Viewport::around(&wall_places(measurement, input, goal), &framing(top, WALL_SHAPES, WALL_MOST_SCALE));
    let close_top = wall.area.bottom + GAP;
    let close_places = close_places(measurement, input, goal);
    let close = Viewport::around(&close_places, &framing(close_top, CLOSE_SHAPES, CLOSE_MOST_SCALE));
    let is_worth_it = !close_places.is_empty() && close.scale > LEAST_GAIN * wall.scale;
    if is_worth_it { vec![wall, close] } else { vec![wall] }
}

/// Marks, beam and zones.
fn wall_places(measurement: &Measurement, input: &AnnotateInput<'_>, goal: &Goal) -> Vec<PxPoint> {
    let mut places: Vec<PxPoint> = Vec::new();
    for mark in &measurement.marks.found {
        places.push(mark.centre);
        places.extend(mark.corners.iter().flatten());
    }
    places.extend(measurement.marks.missing.iter().filter_map(|mark| mark.expected));
    if let Some(view) = &measurement.view {
        let mut angles = beam_places(measurement, CUTOFF_REACH_DEG);
        angles.extend(goal.corners());
        places.extend(in_photo(view, input.setup, &angles));
    }
    places
}

/// Beam and zones; nothing when nothing was measured.
fn close_places(measurement: &Measurement, input: &AnnotateInput<'_>, goal: &Goal) -> Vec<PxPoint> {
    let (Some(view), Ok(found)) = (&measurement.view, &measurement.outcome) else { return Vec::new() };
    let mut angles = goal.corners();
    let zone = input.rule.dark_zone.as_ref();
    angles.extend(zone.map(|zone| place_to_show(zone, goal.vertical_at.h)));
    angles.extend(moves(goal, &found.advice).iter().map(|way| way.to));
    angles.push(goal.horizontal_at);
    let near = |angle: &AnglePoint| {
        (angle.h - goal.vertical_at.h).abs().get() < CLOSE_REACH_DEG
            && (angle.v - goal.vertical_at.v).abs().get() < 0.5 * CLOSE_REACH_DEG
    };
    angles.extend(beam_places(measurement, 0.0).into_iter().filter(near));
    in_photo(view, input.setup, &angles)
}

/// Elbow, hot spot, and the cutoff as far as `reach` around the elbow or, without one, around where it was read.
fn beam_places(measurement: &Measurement, reach_deg: f64) -> Vec<AnglePoint> {
    let Ok(Findings { features, .. }) = &measurement.outcome else { return Vec::new() };
    let elbow = features.elbow.as_ref().map(|elbow| AnglePoint { h: elbow.h.value, v: elbow.v.value });
    let spot = features.hot_spot.as_ref().map(|spot| AnglePoint { h: spot.h.value, v: spot.v.value });
    let middle = elbow.map(|elbow| elbow.h).or(features.cutoff.as_ref().map(|cutoff| cutoff.scan_h));
    let cutoff = features
        .cutoff_line
        .iter()
        .copied()
        .filter(|angle| middle.is_some_and(|middle| (angle.h - middle).abs().get() <= reach_deg));
    [elbow, spot].into_iter().flatten().chain(cutoff).collect()
}

fn in_photo(view: &WallView, setup: &LampSetup, angles: &[AnglePoint]) -> Vec<PxPoint> {
    angles.iter().filter_map(|angle| photo_place(view, setup, angle.h.get(), angle.v.get())).collect()
}

/// Shows in a view which part of it a closer one holds.
fn frame(canvas: &mut Canvas, viewport: &Viewport, closer: &Viewport) {
    let Area { left, top, right, bottom } = closer.area;
    let corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)];
    let outline = corners.map(|(x, y)| viewport.show(closer.photo_place(Spot::new(x, y)))).to_vec();
    canvas.stroke(&[outline], FRAME_STROKE, PAPER.at(FRAME_ALPHA));
}

/// Draws everything into one view; with words in the closest one.
fn draw_view(
    canvas: &mut Canvas,
    measurement: &Measurement,
    input: &AnnotateInput<'_>,
    goal: &Goal,
    viewport: Viewport,
    is_closest: bool,
) {
    let mut labels = Labels::new(viewport.area);
    let shown = Shown { units: input.units, distance: input.setup.distance };
    let Some(view) = &measurement.view else {
        draw_marks(canvas, &mut labels, &viewport, input.bay, &measurement.marks, None);
        return;
    };
    let scene = Scene { view, setup: input.setup, viewport };
    let lines = grid_lines(&scene, &shown);
    draw_grid(canvas, &lines);
    if let Some(zone) = &input.rule.dark_zone {
        draw_dark_zone(canvas, &scene, zone);
    }
    draw_limits(canvas, &scene, goal);
    draw_marks(canvas, &mut labels, &viewport, input.bay, &measurement.marks, Some(view));
    if let Ok(found) = &measurement.outcome {
        draw_beam(canvas, &mut labels, &scene, &found.features, is_closest);
        let (size, words) = if is_closest { (1.0, Some(&shown)) } else { (FAR_ARROW, None) };
        draw_arrows(canvas, &mut labels, &scene, &moves(goal, &found.advice), size, words);
    }
    if is_closest {
        let text = if measurement.outcome.is_ok() { goal.zone_name() } else { "beam belongs here" };
        if let Some(area) = zone_outlines(&scene, goal).first().and_then(|outline| Area::around(outline)) {
            labels.put(canvas, text, ALLOWED, area, (-1.0, 0.0));
        }
    }
    if let (true, Some(zone)) = (is_closest, &input.rule.dark_zone) {
        label_dark_zone(canvas, &mut labels, &scene, zone);
    }
    label_grid(canvas, &mut labels, &scene, &shown, &lines);
}
