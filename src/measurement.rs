//! The driver: one photo through every stage, in order, with everything kept for those who show or store it.
//!
//! Photos -> marks -> wall -> angle grid -> beam -> verdict -> advice. A stage that cannot go on gives a [`Refusal`], which
//! ends the run as a finding, not as an error.

mod bracket;
mod observer;
mod photos;

use crate::aim::{Advice, AppliedRule, AxisVerdict, DarkZoneFinding, Feature, Screws, Verdict, advise, judge};
use crate::bay::{Bay, LampSetup, Traffic};
use crate::beam;
use crate::beam::{BeamFeatures, BeamInput, BeamSeen, Pattern, ToneCurve, ToneKnowledge, tone};
use crate::camera::{Lens, LensProfile, ResponseProfile, profile::focal_px};
use crate::error::{Error, Refusal};
use crate::flag::{Flag, FlagCode};
use crate::grid::{AngleGrid, far_field, resample::resample, take_off_black};
use crate::marks::{Marks, TriedList};
use crate::options::Options;
use crate::photo::linear::linear_to_srgb;
use crate::photo::{
    Bands, BlackClip, DecodeOptions, Format, LinearImage, NoiseCurve, Photo, PhotoOptions, bands, decode, level_bands,
};
use crate::units::{AnglePoint, PxPoint};
use crate::wall::{self, CameraFacts, WallView};
pub use observer::{Observer, StageView, Unobserved};
use photos::{find_marks, linear_image, unusable};

/// A photo file's bytes and its name.
#[derive(Debug, Clone, Copy)]
pub struct NamedBytes<'a> {
    /// Name as the user gave it.
    pub name: &'a str,
    /// The file's bytes.
    pub bytes: &'a [u8],
}

/// Everything one measurement needs; nothing is left to default.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    /// The beam on the wall.
    pub photo: NamedBytes<'a>,
    /// Further photos of the same still scene at other exposures, which are merged with the first.
    pub bracket: &'a [NamedBytes<'a>],
    /// Photo that the marks are read from, when not the first.
    pub marks_photo: Option<NamedBytes<'a>>,
    /// Photo of the room's light, lamp off.
    pub ambient_photo: Option<NamedBytes<'a>>,
    /// The bay.
    pub bay: &'a Bay,
    /// The lamp in it.
    pub setup: &'a LampSetup,
    /// What is looked for.
    pub pattern: Pattern,
    /// Side of the road.
    pub traffic: Traffic,
    /// The rule, applied to the lamp.
    pub rule: &'a AppliedRule,
    /// The screws, when described.
    pub screws: Option<&'a Screws>,
    /// Path and text of a lens file.
    pub lens: Option<(&'a str, &'a str)>,
    /// Path and content of a response file.
    pub response: Option<(&'a str, &'a ResponseProfile)>,
    /// Tunables of the stages.
    pub options: &'a Options,
    /// Marks given by hand.
    pub marks_by_hand: &'a [(u32, PxPoint)],
}

/// What was measured and what follows from it.
#[derive(Debug, Clone)]
pub struct Findings {
    /// The beam's features.
    pub features: BeamFeatures,
    /// The verdict.
    pub verdict: Verdict,
    /// What to do.
    pub advice: Advice,
}

/// Every intermediate of one measurement.
#[derive(Debug)]
pub struct Measurement {
    /// The photo of the beam.
    pub photo: Photo,
    /// The marks, in the photo of the beam.
    pub marks: Marks,
    /// The wall, once it was fitted.
    pub view: Option<WallView>,
    /// The findings, or why there are none.
    pub outcome: Result<Findings, Refusal>,
    /// Flags of the stages between photo and beam.
    pub flags: Vec<Flag>,
}

/// Runs every stage on one photo.
pub fn measure(request: &Request<'_>, observer: &mut dyn Observer) -> Result<Measurement, Error> {
    let options = DecodeOptions::default();
    let photo = decode(request.photo.bytes, request.photo.name, &options)?;
    let marks_photo = request.marks_photo.map(|p| decode(p.bytes, p.name, &options)).transpose()?;
    let ambient_photo = request.ambient_photo.map(|p| decode(p.bytes, p.name, &options)).transpose()?;
    check_marks_by_hand(request, marks_photo.as_ref().unwrap_or(&photo))?;
    let lens = lens(request, &photo)?;
    let (photo, bracket, unmerged) = bracketed(request, photo)?;
    observer.stage("decode", StageView::Decode { photo: &photo });
    let mut run = Measurement {
        photo,
        marks: Marks::default(),
        view: None,
        outcome: Err(Refusal::new(FlagCode::NoBeam, "", "")),
        flags: Vec::new(),
    };
    if let Some(refusal) = unmerged {
        run.marks = marks_alone(request, &run.photo);
        run.outcome = Err(refusal);
        return Ok(run);
    }
    run.flags.extend(bracket.iter().flat_map(|bracket| bracket.flags.iter().cloned()));
    if let Some((path, _)) = request.lens.filter(|_| run.photo.shot.focal_35mm.is_none()) {
        let text = format!(
            "the photo states no focal length, so {path} was taken for its lens by the picture's size alone; give the photo as the \
             camera wrote it"
        );
        run.flags.push(Flag::new(FlagCode::LensNotChecked, text));
    }
    run.outcome = stages(
        request,
        &mut run.marks,
        &mut run.view,
        &mut run.flags,
        &run.photo,
        &Extra {
            marks_photo: marks_photo.as_ref(),
            ambient_photo: ambient_photo.as_ref(),
            bracket: bracket.as_ref(),
            lens,
        },
        observer,
    );
    Ok(run)
}

/// A mark that was pointed at beside the picture is a slip of the hand, not a finding.
fn check_marks_by_hand(request: &Request<'_>, photo: &Photo) -> Result<(), Error> {
    let (width, height) = (photo.width() as f64, photo.height() as f64);
    let is_outside = |place: &PxPoint| !(0.0..=width).contains(&place.x) || !(0.0..=height).contains(&place.y);
    match request.marks_by_hand.iter().find(|(_, place)| is_outside(place)) {
        Some((id, place)) => Err(Error::usage(
            format!(
                "mark {id} was given at ({}, {}), beside the picture of {width} x {height} pixels",
                place.x, place.y
            ),
            "give X and Y in pixels of the upright picture, from its upper left corner",
        )),
        None => Ok(()),
    }
}

/// The marks that a photo shows by itself: said of it when it cannot be brought together with the others.
fn marks_alone(request: &Request<'_>, photo: &Photo) -> Marks {
    let by_hand = request.marks_by_hand;
    crate::marks::find_telling(photo, &request.bay.marks, by_hand, &request.options.marks, &TriedList::default())
}

struct Extra<'a> {
    marks_photo: Option<&'a Photo>,
    ambient_photo: Option<&'a Photo>,
    bracket: Option<&'a bracket::Exposures>,
    lens: Option<Lens>,
}

/// The photo, merged with the others of its bracket where there are any; or unmerged, with the reason.
fn bracketed(
    request: &Request<'_>,
    photo: Photo,
) -> Result<(Photo, Option<bracket::Exposures>, Option<Refusal>), Error> {
    if request.bracket.is_empty() {
        return Ok((photo, None, None));
    }
    let mut photos = vec![photo];
    for other in request.bracket {
        photos.push(decode(other.bytes, other.name, &DecodeOptions::default())?);
    }
    let known = request.response.map(|(_, profile)| profile);
    Ok(match bracket::merged(&photos, known, &request.options.photo)? {
        Ok((photo, exposures)) => (photo, Some(exposures), None),
        Err(refusal) => (photos.swap_remove(0), None, Some(refusal)),
    })
}

fn stages(
    request: &Request<'_>,
    marks: &mut Marks,
    view: &mut Option<WallView>,
    flags: &mut Vec<Flag>,
    photo: &Photo,
    extra: &Extra<'_>,
    observer: &mut dyn Observer,
) -> Result<Findings, Refusal> {
    let tried = TriedList::new(observer.is_looking());
    let found = find_marks(request, photo, extra, flags, &tried);
    match &found {
        Ok(found) => marks.clone_from(found),
        // What the other photo shows has no place in this one any more.
        Err(_) => *marks = marks_alone(request, photo),
    }
    let marks_view = StageView::Marks {
        photo: extra.marks_photo.unwrap_or(photo),
        marks,
        tried: &tried.into_sorted(),
        is_elsewhere: extra.marks_photo.is_some(),
    };
    observer.stage("marks", marks_view);
    found?;
    if let Some(refusal) = unusable(extra.marks_photo.unwrap_or(photo), marks, &request.options.photo) {
        return Err(refusal);
    }
    let camera = CameraFacts {
        width: photo.width(),
        height: photo.height(),
        focal_35mm: photo.shot.focal_35mm,
        lens: extra.lens,
    };
    let fitted = wall::fit(marks, request.bay, &camera, &request.options.wall)?;
    flags.extend(fitted.flags.iter().cloned());
    let fitted = view.insert(fitted);
    observer.stage("wall", StageView::Wall { photo, marks, view: fitted });
    let is_elsewhere = extra.marks_photo.is_some();
    let image = linear_image(photo, extra.ambient_photo, flags, &request.options.photo)?;
    // The room's light and the lamp's add up before the camera's tone curve: what is subtracted must be true light. The marks
    // tell the curve under any light, so they are read in the photo as it is.
    // A raw photo has no tone curve that a response could undo.
    let known = request.response.filter(|_| photo.format != Format::Dng).map(|(path, profile)| {
        flags.extend(response_flags(path, profile, photo));
        profile
    });
    let told = extra.ambient_photo.filter(|_| known.is_none()).map(|_| {
        tone_curve(&LinearImage::new(photo), marks, fitted, request.bay, is_elsewhere, flags, request.options)
    });
    // A bracket was merged in true light already, when its response is known.
    let (is_merged, response) = match extra.bracket {
        Some(bracket) => (true, bracket.response.as_ref()),
        None => (false, known.map(|profile| &profile.response)),
    };
    let image = match (known, &told) {
        _ if is_merged => image,
        (None, None) => image,
        (Some(profile), _) => {
            image.through(&|level| profile.response.light_of_code(f64::from(linear_to_srgb(level))) as f32)
        }
        (None, Some(tone)) => {
            let curve = ToneCurve::new(tone.strength);
            image.through(&|level| curve.level(level))
        }
    };
    let bands = seen_bands(&image, fitted, request.pattern, &request.options.photo);
    flags.extend(bands.map(banding));
    let (grid, tone) = rayon::join(
        || resample(&image, fitted, request.setup, request.bay, &request.options.grid),
        || match (response, told) {
            (Some(response), _) => tone::of_response(response),
            (None, Some(tone)) => tone.once_taken_off(),
            // Photos of different brightness bend the marks differently: merged, they tell nothing.
            (None, None) => {
                tone_curve(&image, marks, fitted, request.bay, is_elsewhere || is_merged, flags, request.options)
            }
        },
    );
    let focal_35mm = photo.shot.focal_35mm.unwrap_or(request.options.photo.assumed_focal_35mm);
    let focal = focal_px(focal_35mm, photo.width() as f64, photo.height() as f64);
    let centre_px = (photo.width() as f64 / 2.0, photo.height() as f64 / 2.0);
    let black = black_clip(&image, extra);
    let grid = without_black(grid, black.as_ref());
    let options = &request.options.grid;
    let far = far_field(&image, fitted, request.setup, request.bay, (focal, centre_px), black.as_ref(), options);
    observer.stage("grid", StageView::Grid { grid: &grid, tone: &tone });
    let input = BeamInput {
        options: &request.options.beam,
        far: &far,
        view: fitted,
        setup: request.setup,
        pattern: request.pattern,
        traffic: request.traffic,
        tone,
        bands,
        is_ambient_subtracted: extra.ambient_photo.is_some(),
        // A photo of its own for the marks may be sharper or softer than the beam's.
        blur_px: marks.blur_px.filter(|_| !is_elsewhere),
        focal_px: focal,
        centre_px,
    };
    let mut seen = BeamSeen::default();
    let features = beam::measure_seen(&grid, &input, observer.is_looking().then_some(&mut seen))
        .map_err(|refusal| beam::absence::explain(refusal, &image, fitted, request.setup, &photo.shot));
    observer.stage("beam", StageView::Beam { grid: &grid, seen: &seen, features: features.as_ref().ok() });
    let features = features?;
    flags.extend(outside_marks(&features, fitted, request.setup));
    let verdict = judge(&features, request.rule);
    flags.extend(zone_missing(&features, &verdict, request));
    flags.extend(verdict.dark_zone.and_then(DarkZoneFinding::flag));
    let advice = advise(&verdict, request.screws, request.setup.distance);
    observer.stage("aim", StageView::Aim { verdict: &verdict });
    Ok(Findings { features, verdict, advice })
}

/// Noise of the photo that reaches black. What a difference or a merger of photos is clipped to is another matter, and a raw
/// photo keeps what is below black.
fn black_clip(image: &LinearImage<'_>, extra: &Extra<'_>) -> Option<BlackClip> {
    let is_plain = extra.ambient_photo.is_none() && extra.bracket.is_none() && image.photo().format != Format::Dng;
    is_plain.then(|| NoiseCurve::measure(image)).flatten().and_then(|noise| BlackClip::from_noise(&noise))
}

fn without_black(mut grid: AngleGrid, black: Option<&BlackClip>) -> AngleGrid {
    if let Some(black) = black {
        take_off_black(&mut grid, black);
    }
    grid
}

fn lens(request: &Request<'_>, photo: &Photo) -> Result<Option<Lens>, Error> {
    let Some((path, text)) = request.lens else { return Ok(None) };
    let lens = LensProfile::parse(text, path)?;
    let (width, height) = (photo.stored_width as u32, photo.stored_height as u32);
    Ok(Some(lens.for_picture(width, height, photo.shot.focal_35mm, path)?.upright(photo.orientation)))
}

/// What is said of a response file that was used: that it was, and what does not fit the photo.
fn response_flags(path: &str, profile: &ResponseProfile, photo: &Photo) -> Vec<Flag> {
    let used = Flag::new(FlagCode::ToneCurve, format!("the camera's tone curve was read from {path}; taken off"));
    let (width, height) = (photo.stored_width as u32, photo.stored_height as u32);
    let other = profile.mismatch(width, height, photo.shot.focal_35mm).map(|found| {
        let text = format!("{found}; if it is another camera, leave --response out or calibrate this one");
        Flag::new(FlagCode::ResponseMismatch, text)
    });
    [Some(used), other].into_iter().flatten().collect()
}

/// Names the features whose place on the wall the marks do not enclose.
fn outside_marks(features: &BeamFeatures, view: &WallView, setup: &LampSetup) -> Option<Flag> {
    let cutoff = features.cutoff.as_ref().map(|c| ("cutoff", AnglePoint { h: c.scan_h, v: c.v.value }));
    let elbow = features.elbow.as_ref().map(|e| ("elbow", AnglePoint { h: e.h.value, v: e.v.value }));
    let spot = features.hot_spot.as_ref().map(|s| ("hot spot", AnglePoint { h: s.h.value, v: s.v.value }));
    let is_outside = |place: AnglePoint| wall::geometry::wall_point(setup, place).is_some_and(|at| !view.encloses(at));
    let names: Vec<&str> = [cutoff, elbow, spot]
        .into_iter()
        .flatten()
        .filter(|(_, place)| is_outside(*place))
        .map(|(name, _)| name)
        .collect();
    if names.is_empty() {
        return None;
    }
    let (names, verb) = (names.join(" and "), if names.len() > 1 { "lie" } else { "lies" });
    Some(Flag::new(
        FlagCode::OutsideMarks,
        format!(
            "{names} {verb} outside the area that the marks enclose, which costs accuracy (in u); hang marks around them"
        ),
    ))
}

/// Says why a rule that judges by the bright zone's edges has nothing to judge.
fn zone_missing(features: &BeamFeatures, verdict: &Verdict, request: &Request<'_>) -> Option<Flag> {
    let is_missing = |feature: Feature, axis: &AxisVerdict| {
        matches!(feature, Feature::ZoneTop | Feature::ZoneLeft) && *axis == AxisVerdict::NotMeasured
    };
    let rule = request.rule;
    let any = is_missing(rule.vertical_feature, &verdict.vertical)
        || is_missing(rule.horizontal_feature, &verdict.horizontal);
    let why = match (request.pattern, &features.hot_spot) {
        (Pattern::Spot, Some(spot)) if spot.is_clipped => {
            "the hot spot is overexposed; expose less and photograph again"
        }
        (Pattern::Spot, Some(_)) => "the light around the hot spot does not fall steeply enough on the visible wall",
        (Pattern::Spot, None) => "the hot spot was not measured",
        _ => "it is looked for with --pattern spot only, and this rule is for lamps without a cutoff",
    };
    any.then(|| {
        Flag::new(FlagCode::BrightZoneNotMeasured, format!("the bright zone's edges could not be measured: {why}"))
    })
}

/// What is said of the bands of a pulsed lamp.
fn banding(seen: Bands) -> Flag {
    Flag::new(
        FlagCode::Banding,
        format!(
            "the lamp's light is pulsed and leaves bands in the photo, about {:.0} % deep and {:.0} in all; they may move hot \
             spot and cutoff beyond the stated uncertainty: expose for 1/50 s or longer (lower ISO, phone held still) and \
             photograph again",
            100.0 * seen.depth,
            seen.count
        ),
    )
}

/// Bands of a pulsed lamp: along the wall's height in a turned photo, across the floor else.
fn seen_bands(image: &LinearImage<'_>, view: &WallView, pattern: Pattern, options: &PhotoOptions) -> Option<Bands> {
    /// The wall's plane this far under the floor shows floor, clear of the joint, mm.
    const UNDER_FLOOR_MM: f64 = 60.0;
    let is_floor = |place: PxPoint| view.to_wall(place).y_mm < -UNDER_FLOOR_MM;
    // A beam without a cutoff lights the floor itself in waves.
    let level = || if pattern == Pattern::Spot { None } else { level_bands(image, &is_floor, options) };
    bands(image, options).or_else(level)
}

/// The camera's tone curve, told by the marks in the photo of the beam itself.
fn tone_curve(
    image: &LinearImage<'_>,
    marks: &Marks,
    view: &WallView,
    bay: &Bay,
    is_marks_elsewhere: bool,
    flags: &mut Vec<Flag>,
    options: &Options,
) -> ToneKnowledge {
    if image.photo().format == Format::Dng {
        return ToneKnowledge::RAW;
    }
    // A photo of its own for the marks means that they are hard to see in this one.
    let seen = if is_marks_elsewhere { &Marks::default() } else { marks };
    let found = tone::estimate(image, seen, view, bay, &options.beam);
    if found.strength > options.photo.flagged_tone.max(options.photo.flagged_tone_sigmas * found.sigma) {
        flags.push(Flag::new(
            FlagCode::ToneCurve,
            format!(
                "the camera put an S-shaped tone curve on the photo: strength {:.2} ± {:.2} (0: none), told by the marks; taken off",
                found.strength, 2.0 * found.sigma
            ),
        ));
    }
    found
}
