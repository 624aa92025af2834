//! The photos of one measurement brought together: the marks of one, the room's light of another.

use super::{Extra, Request};
use crate::error::Refusal;
use crate::flag::{Flag, FlagCode};
use crate::marks::{self, Marks, TriedList};
use crate::photo::{
    AmbientAlignment, FoundShift, LinearImage, PairShift, Photo, PhotoOptions, edge_spread_px, shift_between,
    white_share,
};

/// Finds the marks; with a marks photo, there, and brings them over by the camera's movement between the two.
pub(super) fn find_marks(
    request: &Request<'_>,
    photo: &Photo,
    extra: &Extra<'_>,
    flags: &mut Vec<Flag>,
    tried: &TriedList,
) -> Result<Marks, Refusal> {
    let marks_photo = extra.marks_photo;
    let source = marks_photo.unwrap_or(photo);
    let find = |photo: &Photo, tried: &TriedList| {
        marks::find_telling(photo, &request.bay.marks, request.marks_by_hand, &request.options.marks, tried)
    };
    let mut found = find(source, tried);
    if let Some(bracket) = extra.bracket.filter(|_| marks_photo.is_none()) {
        found = bracket.marks_at_every_brightness(found, photo, &|photo| find(photo, &TriedList::default()));
    }
    if found.found.iter().any(|mark| mark.is_by_hand) {
        flags.push(Flag::plain(FlagCode::MarkByHand));
    }
    if marks_photo.is_none() {
        return Ok(found);
    }
    let movement = movement(source, photo, "marks", &request.options.photo)?;
    let shift = movement.dx_px.hypot(movement.dy_px);
    if shift > request.options.photo.flagged_shift_px {
        flags.push(Flag::new(
            FlagCode::PairShifted,
            format!("the camera moved by {shift:.1} px between the two photos; corrected"),
        ));
    }
    let sigma = movement.sigma_x_px.max(movement.sigma_y_px);
    for mark in found.found.iter_mut().filter(|mark| !mark.is_by_hand) {
        mark.centre = movement.place_in_second(mark.centre);
        mark.centre_sigma_px = mark.centre_sigma_px.hypot(sigma);
        if let Some(corners) = &mut mark.corners {
            for corner in corners {
                *corner = movement.place_in_second(*corner);
            }
            mark.corner_sigma_px = mark.corner_sigma_px.hypot(sigma);
        }
    }
    Ok(found)
}

/// Why marks are missing, when it is the whole photo that does not allow to see them.
pub(super) fn unusable(photo: &Photo, marks: &Marks, options: &PhotoOptions) -> Option<Refusal> {
    /// Marks that the wall's fit needs.
    const NEEDED_MARKS: usize = 4;
    const PERCENT: f64 = 100.0;
    if marks.found.len() >= NEEDED_MARKS {
        return None;
    }
    let white = white_share(photo);
    if white > options.white_share {
        let found = format!("{:.0} % of the photo is white (overexposed)", PERCENT * white);
        return Some(Refusal::new(
            FlagCode::AllWhite,
            format!("{found}, need {:.0} % or less; no marks can be seen in it", PERCENT * options.white_share),
            "expose less: tap on the bright part of the beam, or lower the exposure, and take the photo again",
        ));
    }
    let blur = marks.blur_px.or_else(|| edge_spread_px(photo, options)).filter(|blur| *blur > options.blur_px)?;
    Some(Refusal::new(
        FlagCode::Blurred,
        format!(
            "the photo is blurred: even sharp edges are spread over {blur:.0} px, need {:.0} px or less; {} of the \
             bay's marks were found",
            options.blur_px,
            marks.found.len()
        ),
        "rest the phone on something, tap on the wall to focus, clean the lens and take the photo again",
    ))
}

pub(super) fn movement(
    first: &Photo,
    second: &Photo,
    which: &str,
    options: &PhotoOptions,
) -> Result<FoundShift, Refusal> {
    match shift_between(first, second, options) {
        PairShift::Found(shift) => Ok(shift),
        PairShift::NotRecoverable { reason } => Err(Refusal::new(
            FlagCode::PairMoved,
            format!("the {which} photo does not fit the photo of the beam: {reason}"),
            "rest the phone on something and take both photos without moving it",
        )),
    }
}

/// The photo as light, the room's light taken off when it was photographed.
pub(super) fn linear_image<'a>(
    photo: &'a Photo,
    ambient: Option<&'a Photo>,
    flags: &mut Vec<Flag>,
    options: &PhotoOptions,
) -> Result<LinearImage<'a>, Refusal> {
    let Some(ambient) = ambient else { return Ok(LinearImage::new(photo)) };
    let shift = movement(photo, ambient, "ambient", options)?;
    let scale = exposure(photo).zip(exposure(ambient)).map_or(1.0, |(lamp, room)| lamp / room);
    if (scale - 1.0).abs() > options.same_exposure {
        flags.push(Flag::new(
            FlagCode::AmbientPhotoDiffers,
            format!("the ambient photo's exposure differs by a factor of {scale:.2}; it was scaled"),
        ));
    }
    flags.push(Flag::plain(FlagCode::AmbientPhotoUsed));
    Ok(LinearImage::with_ambient(photo, ambient, &AmbientAlignment { dx_px: shift.dx_px, dy_px: shift.dy_px, scale }))
}

/// Light gathered per scene light: exposure time x ISO / f-number², where the file states them.
pub(super) fn exposure(photo: &Photo) -> Option<f64> {
    let shot = &photo.shot;
    let f_number = shot.f_number.unwrap_or(1.0);
    Some(shot.exposure_s? * f64::from(shot.iso?) / (f_number * f_number))
}
