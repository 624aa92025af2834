//! One picture per stage, so that a failure is seen and not guessed: candidates for marks, the marks, the angle grid, the
//! edge's places in it, and the fit with profiles.
//!
//! **Takes** what the stages found, as far as they came. **Gives** pictures for a screen. Nothing is measured here.

use super::backdrop::lay_photo;
use super::canvas::{Canvas, ellipse};
use super::chart::{HEADER, WORDS, header, round_number};
use super::palette::{ASH, BEAM, Ink, MARK, MARK_OFF, MOVE, NIGHT, PASS};
use super::plane::Spot;
use super::text::Type;
use super::viewport::{Framing, Viewport};
use crate::bay::Bay;
use crate::marks::{Fate, Marks, Tried, TriedKind};
use crate::photo::Photo;
use crate::units::PxPoint;
use crate::wall::WallView;
use image::RgbImage;

pub use super::stage_grid::{edges, fit, grid};

/// Width of a stage picture, pixels.
pub(super) const WIDTH: u32 = 1600;
/// Half size of a cross at a single place, pixels.
const CROSS: f32 = 6.0;
/// Length to which the largest sigma or residual is drawn, pixels.
const DRAWN_PX: f64 = 60.0;
/// Least height of words over a mark's centre, pixels.
const LEAST_RISE: f32 = 26.0;
/// Dropped candidates whose reason is written beside them: the ones that came farthest.
const WRITTEN: usize = 25;

/// The whole photo under a header.
fn on_photo(photo: &Photo) -> (Canvas, Viewport) {
    let size = (photo.width() as f64, photo.height() as f64);
    let framing = Framing {
        photo: size,
        corner: Spot::new(0.0, HEADER),
        width: WIDTH as f32,
        shapes: (0.1, 10.0),
        most_scale: 8.0,
    };
    let viewport = Viewport::around(&[], &framing);
    let mut canvas = Canvas::new(WIDTH, viewport.area.bottom.ceil() as u32, NIGHT);
    lay_photo(&mut canvas, photo, &viewport);
    (canvas, viewport)
}

fn ink_of(fate: Fate) -> Ink {
    match fate {
        Fate::Shape => ASH.at(0.55),
        Fate::Content => MARK_OFF,
        Fate::Fit => MOVE,
        Fate::Unused => BEAM,
        Fate::Kept(_) => MARK,
    }
}

/// Every candidate for a mark, in the colour of how far it came.
pub fn candidates(photo: &Photo, tried: &[Tried]) -> RgbImage {
    let (mut canvas, viewport) = on_photo(photo);
    let count = |is: &dyn Fn(Fate) -> bool| tried.iter().filter(|tried| is(tried.fate)).count();
    let legend = [
        (format!("no mark's shape: {}", count(&|f| f == Fate::Shape)), ASH),
        (format!("other content: {}", count(&|f| f == Fate::Content)), MARK_OFF),
        (format!("not fitted: {}", count(&|f| f == Fate::Fit)), MOVE),
        (format!("fitted, not used: {}", count(&|f| f == Fate::Unused)), BEAM),
        (format!("kept: {}", count(&|f| matches!(f, Fate::Kept(_)))), MARK),
        ("outline: tag, cross: quadrant disc".to_owned(), ASH),
    ];
    let legend: Vec<(&str, Ink)> = legend.iter().map(|(words, ink)| (words.as_str(), *ink)).collect();
    header(&mut canvas, "1 candidates for marks, and how far each came", &legend);
    canvas.confine(viewport.area);
    for tried in tried {
        let ink = ink_of(tried.fate);
        let width = if tried.fate == Fate::Shape { 1.0 } else { 2.5 };
        let spots: Vec<Spot> = tried.outline.iter().map(|&place| viewport.show(place)).collect();
        let Some(&first) = spots.first() else { continue };
        if tried.kind == TriedKind::Quadrant {
            canvas.stroke(&cross(first, CROSS), width, ink);
        } else {
            canvas.stroke(&[spots.iter().copied().chain([first]).collect()], width, ink);
        }
    }
    let words = Type::regular(0.7 * WORDS);
    let (kept, dropped): (Vec<&Tried>, Vec<&Tried>) =
        tried.iter().filter(|t| t.fate > Fate::Shape).partition(|t| matches!(t.fate, Fate::Kept(_)));
    for tried in kept.into_iter().chain(dropped.into_iter().rev().take(WRITTEN)) {
        let right = tried.outline.iter().map(|&place| viewport.show(place)).max_by(|a, b| a.x.total_cmp(&b.x));
        let Some(right) = right else { continue };
        let text = if let Fate::Kept(id) = tried.fate { format!("mark {id}") } else { tried.why.clone() };
        let x = (right.x + 6.0).min(WIDTH as f32 - words.width(&text) - 4.0);
        words.draw(&mut canvas, &text, Spot::new(x, right.y), ink_of(tried.fate).at(1.0));
    }
    canvas.picture
}

fn cross(at: Spot, half: f32) -> [Vec<Spot>; 2] {
    [vec![at.moved(-half, 0.0), at.moved(half, 0.0)], vec![at.moved(0.0, -half), at.moved(0.0, half)]]
}

/// The marks with their sigmas and what the wall's fit leaves over at each, both exaggerated. `photo` is the one they lie in.
pub fn marks(photo: &Photo, bay: &Bay, marks: &Marks, view: Option<&WallView>) -> RgbImage {
    let (mut canvas, viewport) = on_photo(photo);
    let left_over = |index: usize, centre: PxPoint| {
        let expected = view?.to_px(bay.marks.get(index)?.centre);
        Some((centre.x - expected.x, centre.y - expected.y))
    };
    let sizes = marks.found.iter().flat_map(|mark| {
        let off = left_over(mark.index, mark.centre).filter(|_| is_used(view, mark.index)).unwrap_or_default();
        [mark.centre_sigma_px, off.0.hypot(off.1)]
    });
    let largest = sizes.fold(1e-3, f64::max);
    let factor = round_number(0.5 * DRAWN_PX / (largest * viewport.scale));
    let rms =
        view.map_or_else(|| "no wall was fitted".to_owned(), |v| format!("rms {:.2} px, {:.1} mm", v.rms_px, v.rms_mm));
    let scale = format!("drawn {factor} times as large as in the photo");
    let legend = [
        ("ellipse: one sigma", MARK),
        ("line: seen less expected", MOVE),
        ("missing or left out", MARK_OFF),
        (&scale, ASH),
    ];
    header(
        &mut canvas,
        &format!("2 marks: {} found, {} missing; {rms}", marks.found.len(), marks.missing.len()),
        &legend,
    );
    canvas.confine(viewport.area);
    let length = |px: f64| (factor * viewport.scale * px) as f32;
    let words = Type::bold(WORDS);
    for mark in &marks.found {
        let is_used = is_used(view, mark.index);
        let ink = if is_used { MARK } else { MARK_OFF };
        let centre = viewport.show(mark.centre);
        if let Some(corners) = &mark.corners {
            let outline = corners.iter().chain(&corners[..1]).map(|&corner| viewport.show(corner)).collect();
            canvas.stroke_cased(&[outline], 1.5, ink);
        }
        let radius = length(mark.centre_sigma_px);
        canvas.stroke_cased(&[ellipse(centre, radius, radius)], 2.0, ink);
        let mut text = format!("mark {}: sigma {:.3} px", mark.id, mark.centre_sigma_px);
        if let Some((dx, dy)) = left_over(mark.index, mark.centre) {
            // A mark that was left out may be off by many times what the picture's scale is made for.
            let shown = if is_used { (length(dx), length(dy)) } else { shortened((length(dx), length(dy))) };
            canvas.stroke_cased(&[vec![centre, centre.moved(shown.0, shown.1)]], 4.0, MOVE);
            text = format!("{text}, off by {:.2} px", dx.hypot(dy));
        }
        if !is_used {
            text.push_str(", left out");
        }
        let x = (centre.x - 0.5 * words.width(&text)).clamp(4.0, (WIDTH as f32 - words.width(&text) - 4.0).max(4.0));
        words.draw(&mut canvas, &text, Spot::new(x, centre.y - radius.max(LEAST_RISE) - 8.0), ink);
    }
    for missing in &marks.missing {
        let Some(expected) = missing.expected else { continue };
        let at = viewport.show(expected);
        canvas.stroke_cased(&cross(at, 3.0 * CROSS), 3.0, MARK_OFF);
        words.draw(&mut canvas, &format!("mark {} expected here", missing.id), at.moved(22.0, 8.0), MARK_OFF);
    }
    if let Some(view) = view {
        let hull: Vec<Spot> = view.hull().iter().map(|&point| viewport.show(view.to_px(point))).collect();
        let closed = hull.iter().copied().chain(hull.first().copied()).collect();
        canvas.stroke(&[closed], 1.0, PASS.at(0.6));
    }
    canvas.picture
}

fn is_used(view: Option<&WallView>, index: usize) -> bool {
    view.is_none_or(|view| view.residuals.iter().all(|residual| residual.index != index || residual.is_used))
}

fn shortened((dx, dy): (f32, f32)) -> (f32, f32) {
    let by = (2.0 * DRAWN_PX as f32 / dx.hypot(dy).max(1e-3)).min(1.0);
    (by * dx, by * dy)
}
