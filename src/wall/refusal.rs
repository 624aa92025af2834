//! The wording of what the wall's fit refuses and flags.
//!
//! **Takes** what was found. **Gives** a [`Refusal`] with the numbers in it and the next step.

use crate::bay::{Bay, MIN_MARKS, Mark, MarkKind};
use crate::error::Refusal;
use crate::flag::FlagCode;
use crate::marks::Marks;
use crate::units::{PxPoint, WallPoint};
use crate::wall::check::{Displaced, Examined};
use crate::wall::diagnosis::{Diagnosis, diagnose, seen_shape};
use crate::wall::estimate::{Context, Estimate, Shift, start};
use crate::wall::fit::{CameraFacts, context};
use crate::wall::observation::Observation;
use crate::wall::options::FitOptions;
use crate::wall::projection::Projection;
use nalgebra::{DMatrix, DVector};

/// Thirds of the picture, for words such as "upper right".
const FIRST_THIRD: f64 = 1.0 / 3.0;
/// What to do about a mirrored wall.
const MIRRORED_HINT: &str = "left and right are exchanged: compare the signs of x_mm in the bay file with the wall (right is \
                             positive), or switch off the mirroring of the camera";
/// A tag that stands nearer than this to its place, mm, but is left out, is off by its size or turn.
const IN_PLACE_MM: f64 = 5.0;
/// Shifts below this are left out of the wording, mm.
const WORTH_SAYING_MM: f64 = 0.5;

fn name(kind: MarkKind, id: u32) -> String {
    match kind {
        MarkKind::Tag36h11 => format!("tag {id}"),
        MarkKind::Quadrant => format!("quadrant mark {id}"),
    }
}

fn list(marks: &[&Mark]) -> String {
    let names: Vec<String> = marks.iter().map(|mark| name(mark.kind, mark.id)).collect();
    if names.is_empty() { "none".into() } else { names.join(", ") }
}

/// Part of the picture in words.
fn region(place: PxPoint, camera: &CameraFacts) -> String {
    let (x, y) = (place.x / camera.width as f64, place.y / camera.height as f64);
    if !((0.0..=1.0).contains(&x) && (0.0..=1.0).contains(&y)) {
        let vertical = if y < 0.0 {
            "above"
        } else if y > 1.0 {
            "below"
        } else {
            ""
        };
        let level = if x < 0.0 {
            "left of"
        } else if x > 1.0 {
            "right of"
        } else {
            ""
        };
        let both = if vertical.is_empty() || level.is_empty() { "" } else { " and " };
        return format!("outside the photo, {vertical}{both}{level} it");
    }
    let vertical = if y < FIRST_THIRD {
        "upper"
    } else if y > 2.0 * FIRST_THIRD {
        "lower"
    } else {
        "middle"
    };
    let level = if x < FIRST_THIRD {
        "left"
    } else if x > 2.0 * FIRST_THIRD {
        "right"
    } else {
        "middle"
    };
    if vertical == level { "middle".into() } else { format!("{vertical} {level}") }
}

/// Right and up in words: "43 mm to the right and 12 mm up".
fn shift_words(right_mm: f64, up_mm: f64) -> String {
    let level = format!("{:.0} mm to the {}", right_mm.abs(), if right_mm < 0.0 { "left" } else { "right" });
    let vertical = format!("{:.0} mm {}", up_mm.abs(), if up_mm < 0.0 { "down" } else { "up" });
    match (right_mm.abs() >= WORTH_SAYING_MM, up_mm.abs() >= WORTH_SAYING_MM) {
        (true, false) => level,
        (false, true) => vertical,
        _ => format!("{level} and {vertical}"),
    }
}

fn observed_name(observation: &Observation) -> String {
    if observation.is_tag() { format!("tag {}", observation.id) } else { format!("mark {}", observation.id) }
}

/// Fewer than four marks: which were found, which were not, and where to look for them.
pub(super) fn missing(marks: &Marks, bay: &Bay, observations: &[Observation], camera: &CameraFacts) -> Refusal {
    let is_found = |index: usize| observations.iter().any(|observation| observation.index == index);
    let (found, lost): (Vec<_>, Vec<_>) = bay.marks.iter().enumerate().partition(|(index, _)| is_found(*index));
    let found: Vec<&Mark> = found.into_iter().map(|(_, mark)| mark).collect();
    let guess = Guess::new(observations, camera);
    let places: Vec<String> = lost
        .iter()
        .map(|(index, mark)| {
            let told =
                marks.missing.iter().find(|missing| missing.index == *index).and_then(|missing| missing.expected);
            match told.or_else(|| guess.as_ref().and_then(|guess| guess.place(mark.centre))) {
                Some(place) => format!(
                    "{} near ({:.0}, {:.0}) px, {}",
                    name(mark.kind, mark.id),
                    place.x,
                    place.y,
                    region(place, camera)
                ),
                None => name(mark.kind, mark.id),
            }
        })
        .collect();
    let text = format!(
        "found {} of {} marks ({}), need at least {MIN_MARKS}; not found: {}",
        found.len(),
        bay.marks.len(),
        list(&found),
        places.join("; ")
    );
    let hint = "see that every mark is in the picture, lit, clean and not covered; take the photo again, take a second one \
                with the lights on and give it as --marks-photo, or give a mark's place with --mark ID=X,Y";
    Refusal::new(FlagCode::MarksMissing, text, hint)
}

/// Where a missing mark should be, from the marks that were found.
enum Guess {
    /// Corners of at least one tag, or four centres.
    Full(Box<Projection>),
    /// Three centres: an affine mapping, rows (x, y) of the picture by (x, y, 1) of the wall.
    Affine(DMatrix<f64>),
}

impl Guess {
    fn new(observations: &[Observation], camera: &CameraFacts) -> Option<Self> {
        /// Marks that an affine mapping needs.
        const AFFINE_MARKS: usize = 3;
        if observations.is_empty() {
            return None;
        }
        let (context, _) = context(observations, camera, &FitOptions::default());
        let all: Vec<&Observation> = observations.iter().collect();
        let tags = all.iter().filter(|observation| observation.is_tag()).count();
        // One tag alone says too little about places metres away.
        if tags >= 2 || (tags == 1 && all.len() >= AFFINE_MARKS) {
            let parameters: DVector<f64> = start(&context, &all)?;
            return Projection::new(context.frame, context.lens, parameters.as_slice())
                .map(|projection| Self::Full(Box::new(projection)));
        }
        if all.len() < AFFINE_MARKS {
            return None;
        }
        let wall =
            DMatrix::from_fn(AFFINE_MARKS, 3, |n, column| [all[n].walls[0].x_mm, all[n].walls[0].y_mm, 1.0][column]);
        let image = DMatrix::from_fn(AFFINE_MARKS, 2, |n, column| [all[n].places[0].x, all[n].places[0].y][column]);
        Some(Self::Affine((wall.try_inverse()? * image).transpose()))
    }

    fn place(&self, point: WallPoint) -> Option<PxPoint> {
        let place = match self {
            Self::Full(projection) => projection.to_px(point),
            Self::Affine(matrix) => {
                let image = matrix * DVector::from_column_slice(&[point.x_mm, point.y_mm, 1.0]);
                PxPoint::new(image[0], image[1])
            }
        };
        (place.x.is_finite() && place.y.is_finite()).then_some(place)
    }
}

/// Marks on a line, or otherwise in a place where they fix nothing.
pub(super) fn degenerate(observations: &[Observation], camera: &CameraFacts) -> Refusal {
    let names: Vec<String> = observations.iter().map(observed_name).collect();
    let text = format!(
        "the {} marks found ({}) do not fix the wall: three or more of them lie on one line, or their places in the photo \
         cannot be a flat wall",
        observations.len(),
        names.join(", ")
    );
    let hint = match diagnose(observations, camera) {
        Some(Diagnosis::Exchanged(first, second)) => exchanged_hint(first, second),
        Some(Diagnosis::Mirrored) => MIRRORED_HINT.to_owned(),
        _ => "spread at least four marks over the wall so that no three are on one line, and compare their x_mm and y_mm \
              in the bay file with the wall"
            .to_owned(),
    };
    Refusal::new(FlagCode::BayMismatch, text, hint)
}

fn exchanged_hint(first: u32, second: u32) -> String {
    format!("marks {first} and {second} seem to be exchanged: compare their ids with the wall")
}

/// Refuses a picture that shows the wall mirrored.
pub(super) fn refuse_mirrored(fit: &Estimate, context: &Context) -> Result<(), Refusal> {
    // Wall y is up and picture y is down, so an unmirrored view turns the sense of rotation over.
    if fit.projection.wall_jacobian(context.frame.centre).determinant() < 0.0 {
        return Ok(());
    }
    let text = "the marks stand mirrored in the photo: left and right are exchanged against the bay file";
    Err(Refusal::new(FlagCode::BayMismatch, text, MIRRORED_HINT))
}

/// The sentence about a mark that was left out: how far it stands off, or what its size and turn are.
pub(super) fn displaced_text(observation: &Observation, fit: &Estimate, right_mm: f64, up_mm: f64) -> String {
    let name = capitalised(&observed_name(observation));
    if observation.is_by_hand {
        let at = fit.projection.to_px(observation.centre);
        let typed = observation.places.first().copied().unwrap_or(at);
        return format!(
            "{name} was given by hand {:.0} px from where the other marks put it, ({:.0}, {:.0}); it was left out. Check the X,Y \
             of --mark {}=X,Y.",
            typed.distance(at),
            at.x,
            at.y,
            observation.id
        );
    }
    if let (Some(shape), true) = (seen_shape(observation, &fit.projection), right_mm.hypot(up_mm) < IN_PLACE_MM) {
        return format!(
            "{name} stands in its place but looks {:.0} mm across and turned by {:.1}°, where the bay file says {:.0} mm \
             and upright; it was left out. Measure its size_mm again.",
            shape.size_mm, shape.turn_deg, shape.stated_mm
        );
    }
    format!(
        "{name} stands {:.0} mm from where the bay file says ({}); it was left out. Measure its x_mm and y_mm again.",
        right_mm.hypot(up_mm),
        shift_words(right_mm, up_mm)
    )
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What to do when a place that was typed does not fit the others.
fn check_typed(ids: &[u32]) -> String {
    let options: Vec<String> = ids.iter().map(|id| format!("--mark {id}=X,Y")).collect();
    format!(
        "check the X,Y of {}: pixels of the upright picture, from its upper left corner, at the mark's centre",
        options.join(" and ")
    )
}

/// One mark is off and the others alone are too few.
pub(super) fn too_weak_without(
    displaced: &Displaced,
    examined: &Examined,
    observations: &[Observation],
    sigma_mm: f64,
    limit_mm: f64,
) -> Refusal {
    let named = observations.iter().find(|observation| observation.index == displaced.index);
    let is_by_hand = named.is_some_and(|observation| observation.is_by_hand);
    let text = format!(
        "{} {} {:.0} mm from where the bay file says ({}), and the {} other marks alone place the beam only to \
         {sigma_mm:.0} mm, need {limit_mm:.0} mm",
        named.map_or_else(|| format!("mark {}", displaced.id), observed_name),
        if is_by_hand { "was given by hand" } else { "stands" },
        displaced.right_mm.hypot(displaced.up_mm),
        shift_words(displaced.right_mm, displaced.up_mm),
        examined.used.len()
    );
    let hint = if is_by_hand {
        check_typed(&[displaced.id])
    } else {
        format!("measure x_mm and y_mm of mark {} again, or put it back in its place", displaced.id)
    };
    Refusal::new(FlagCode::BayMismatch, text, hint)
}

/// The marks disagree and no single one is the cause.
pub(super) fn mismatch(
    fit: &Estimate,
    shifts: &[Option<Shift>],
    suspects: &[usize],
    observations: &[Observation],
    bay: &Bay,
    camera: &CameraFacts,
) -> Refusal {
    let residual = |observation: &Observation| {
        let count = observation.places.len() as f64;
        let pairs = observation.places.iter().zip(&observation.walls);
        let (px, mm) = pairs.fold((0.0, 0.0), |sum, (place, wall)| {
            let px = place.distance(fit.projection.to_px(*wall));
            let mm = fit.projection.to_wall(*place).distance_mm(*wall);
            (sum.0 + px * px / count, sum.1 + mm * mm / count)
        });
        (px.sqrt(), mm.sqrt())
    };
    let weight = |place: usize| shifts.get(place).copied().flatten().map_or(0.0, |shift| shift.chi2);
    let worst = (0..observations.len()).max_by(|a, b| weight(*a).total_cmp(&weight(*b))).unwrap_or(0);
    let accused = observations.get(worst).map_or_else(String::new, |observation| {
        let (px, mm) = residual(observation);
        format!(
            "; worst is {} (bay file: x_mm {:.0}, y_mm {:.0}), left over {mm:.0} mm or {px:.1} px",
            observed_name(observation),
            observation.centre.x_mm,
            observation.centre.y_mm
        )
    });
    let seeming = shifts.get(worst).copied().flatten().map_or_else(String::new, |shift| {
        format!("; against the others it seems to stand {}", shift_words(shift.mm.x, shift.mm.y))
    });
    let text = format!("the marks in the photo do not stand where the bay file says{accused}{seeming}");
    let named: Vec<String> = suspects.iter().filter_map(|place| observations.get(*place)).map(observed_name).collect();
    let worst = observations.get(worst).map(|observation| observation.index);
    let typed: Vec<u32> = observations
        .iter()
        .enumerate()
        .filter(|(place, observation)| {
            observation.is_by_hand && (suspects.contains(place) || Some(observation.index) == worst)
        })
        .map(|(_, observation)| observation.id)
        .collect();
    let hint = match (diagnose(observations, camera), named.as_slice()) {
        // A finger misses by more than a tape measure.
        _ if !typed.is_empty() => check_typed(&typed),
        (_, [_, _, ..]) => format!(
            "one of these is off, but which one cannot be told: {}; measure their x_mm and y_mm again, or add a mark",
            named.join(", ")
        ),
        (Some(Diagnosis::Exchanged(first, second)), _) => exchanged_hint(first, second),
        (Some(Diagnosis::Mirrored), _) => MIRRORED_HINT.to_owned(),
        (Some(Diagnosis::TagsScaled(ratio)), _) => format!(
            "all tags look {:.1} % {} than their size_mm: was the sheet scaled by the printer? Measure the black squares",
            100.0 * (ratio - 1.0).abs(),
            if ratio < 1.0 { "smaller" } else { "larger" }
        ),
        (None, _) => format!(
            "is this photo of bay {}? Compare x_mm, y_mm and size_mm of the marks in the bay file with the wall",
            bay.id
        ),
    };
    Refusal::new(FlagCode::BayMismatch, text, hint)
}
