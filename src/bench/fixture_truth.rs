//! What is known of a photo independently of the program: read from a file, held against what is looked for.
//!
//! **Takes** `lampwright/truth/1` (JSON, as the scene renderer writes it) or `lampwright/hand-truth/1` (TOML, written by
//! hand). **Gives** a [`Truth`], degrees, as far as it is known. **Fails when** the file has another shape, a number is
//! none that a headlamp can have, or the truth does not fit the pattern: then it could never be compared.

use super::fixture_manifest::Truth;
use crate::bay::Traffic;
use crate::beam::Pattern;
use crate::error::Error;
use crate::scene::TRUTH_SCHEMA;
use serde::Deserialize;
use std::ops::RangeInclusive;

/// Schema of a truth written by hand.
pub const HAND_TRUTH_SCHEMA: &str = "lampwright/hand-truth/1";
/// Directions in which any part of a beam is looked for, degrees.
const DIRECTION_DEG: RangeInclusive<f64> = -20.0..=20.0;
/// Standard uncertainties of a truth that is worth holding a reading against, degrees.
const SIGMA_DEG: RangeInclusive<f64> = 0.0..=1.0;
/// Where the cutoff of a kink is read, from the elbow to its flat side, degrees.
const KINK_READ_DEG: (f64, f64) = (1.0, 3.5);
const EXACT: &str = "exact: the renderer's own noise-free intensity";
const HINT: &str = "see \"Add a photo of your own\" in fixtures/README.md for both formats";

/// A truth, and what the file says besides.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StatedTruth {
    /// The truth; empty where nothing is known.
    pub truth: Truth,
    /// `measured` or `refused`, where the file says so.
    pub expect: Option<String>,
    /// What is to be looked for, where the file says so.
    pub pattern: Option<String>,
    /// Side of the road, where the file says so.
    pub traffic: Option<String>,
    /// Side on which the cutoff is flat, where the file says so.
    pub flat_side: Option<i32>,
    /// Where a rendered scene comes from.
    pub origin: Option<String>,
}

#[derive(Debug, Deserialize)]
struct SceneTruth {
    schema: String,
    family: Option<String>,
    name: Option<String>,
    expect: String,
    pattern: String,
    traffic: String,
    flat_side: Option<i32>,
    cutoff: Option<Listed>,
    elbow: Option<Place>,
    hot_spot: Option<Place>,
}

#[derive(Debug, Deserialize)]
struct Listed {
    h_deg: Vec<f64>,
    v_deg: Vec<f64>,
}

#[derive(Debug, Deserialize)]
struct Place {
    h_deg: f64,
    v_deg: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct HandTruth {
    schema: String,
    known: Option<String>,
    flat_side: Option<i32>,
    cutoff: Option<HandCutoff>,
    elbow: Option<HandPlace>,
    hot_spot: Option<HandPlace>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct HandCutoff {
    h_deg: Vec<f64>,
    v_deg: Vec<f64>,
    sigma_deg: Option<f64>,
    known: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct HandPlace {
    h_deg: f64,
    v_deg: f64,
    sigma_h_deg: Option<f64>,
    sigma_v_deg: Option<f64>,
    known: Option<String>,
}

/// Reads a truth; JSON by its first character, else TOML. `known` is what the command line says, and goes before the
/// file's own words.
pub fn read_truth(text: &str, file: &str, known: Option<&str>) -> Result<StatedTruth, Error> {
    let mut stated =
        if text.trim_start().starts_with('{') { scene_truth(text, file)? } else { hand_truth(text, file)? };
    if let Some(known) = known {
        known.clone_into(&mut stated.truth.known);
    }
    check_numbers(&stated.truth).map_err(|found| Error::file(file, found, HINT))?;
    if !stated.truth.is_empty() && stated.truth.known.trim().is_empty() {
        let hint = "say it with --known or `known` in the file: with what it was measured, and how well";
        return Err(Error::file(file, "does not say how the truth is known", hint));
    }
    Ok(stated)
}

fn scene_truth(text: &str, file: &str) -> Result<StatedTruth, Error> {
    let read: SceneTruth = serde_json::from_str(text).map_err(|error| Error::file(file, error.to_string(), HINT))?;
    check_schema(&read.schema, TRUTH_SCHEMA, file)?;
    let place = |at: &Place| [at.h_deg, at.v_deg];
    let cutoff = read.cutoff.unwrap_or(Listed { h_deg: Vec::new(), v_deg: Vec::new() });
    let truth = Truth {
        known: EXACT.to_owned(),
        flat_side: read.flat_side.unwrap_or(0),
        cutoff_h_deg: cutoff.h_deg,
        cutoff_v_deg: cutoff.v_deg,
        // A beam has its elbow whatever is looked for; only a kink's is read.
        elbow: read.elbow.as_ref().map(place).filter(|_| read.pattern == Pattern::Kink.as_str()),
        hot_spot: read.hot_spot.as_ref().map(place),
        ..Truth::default()
    };
    let seed = read.name.as_deref().and_then(|name| name.rsplit('-').next()).and_then(|end| end.parse::<u64>().ok());
    let origin = read.family.zip(seed).map(|(family, seed)| {
        format!("rendered by this project: lampwright scene --family {family} --seed {seed}; invented scene")
    });
    Ok(StatedTruth {
        truth,
        expect: Some(read.expect),
        pattern: Some(read.pattern),
        traffic: Some(read.traffic),
        flat_side: read.flat_side,
        origin,
    })
}

fn hand_truth(text: &str, file: &str) -> Result<StatedTruth, Error> {
    let read: HandTruth = toml::from_str(text).map_err(|error| Error::file(file, error.to_string(), HINT))?;
    check_schema(&read.schema, HAND_TRUTH_SCHEMA, file)?;
    let parts = [
        ("cutoff", read.cutoff.as_ref().and_then(|part| part.known.clone())),
        ("elbow", read.elbow.as_ref().and_then(|part| part.known.clone())),
        ("hot spot", read.hot_spot.as_ref().and_then(|part| part.known.clone())),
    ];
    let mut known: Vec<String> = read.known.into_iter().collect();
    known.extend(parts.into_iter().filter_map(|(name, known)| Some(format!("{name}: {}", known?))));
    let place = |at: &HandPlace| [at.h_deg, at.v_deg];
    let sigma = |at: &HandPlace| {
        let is_stated = at.sigma_h_deg.is_some() || at.sigma_v_deg.is_some();
        is_stated.then(|| [at.sigma_h_deg.unwrap_or(0.0), at.sigma_v_deg.unwrap_or(0.0)])
    };
    let cutoff_sigma_deg = read.cutoff.as_ref().and_then(|part| part.sigma_deg);
    let (cutoff_h_deg, cutoff_v_deg) = read.cutoff.map(|part| (part.h_deg, part.v_deg)).unwrap_or_default();
    let truth = Truth {
        known: known.join("; "),
        flat_side: read.flat_side.unwrap_or(0),
        cutoff_h_deg,
        cutoff_v_deg,
        cutoff_sigma_deg,
        elbow: read.elbow.as_ref().map(place),
        elbow_sigma_deg: read.elbow.as_ref().and_then(sigma),
        hot_spot: read.hot_spot.as_ref().map(place),
        hot_spot_sigma_deg: read.hot_spot.as_ref().and_then(sigma),
    };
    Ok(StatedTruth { truth, flat_side: read.flat_side, ..StatedTruth::default() })
}

fn check_schema(found: &str, needed: &str, file: &str) -> Result<(), Error> {
    if found == needed {
        return Ok(());
    }
    Err(Error::file(
        file,
        format!("schema {found:?}, need {TRUTH_SCHEMA:?} (JSON) or {HAND_TRUTH_SCHEMA:?} (TOML)"),
        HINT,
    ))
}

fn check_numbers(truth: &Truth) -> Result<(), String> {
    let (h, v) = (&truth.cutoff_h_deg, &truth.cutoff_v_deg);
    if h.len() != v.len() || h.len() == 1 {
        return Err(format!("the cutoff is listed at {} H with {} V, need two or more of each", h.len(), v.len()));
    }
    // Written so that a NaN is no order either.
    if !h.windows(2).all(|pair| pair[0] < pair[1]) {
        return Err("the cutoff's H do not run from left to right".to_owned());
    }
    let places = [truth.elbow, truth.hot_spot].into_iter().flatten().flatten();
    if let Some(wrong) = places.chain(h.iter().chain(v).copied()).find(|deg| !DIRECTION_DEG.contains(deg)) {
        return Err(format!("an angle of {wrong} degrees, need -20 to 20"));
    }
    let sigmas = [truth.elbow_sigma_deg, truth.hot_spot_sigma_deg].into_iter().flatten().flatten();
    if let Some(wrong) = sigmas.chain(truth.cutoff_sigma_deg).find(|sigma| !SIGMA_DEG.contains(sigma)) {
        return Err(format!("a standard uncertainty of {wrong} degrees, need 0 to 1"));
    }
    if !(-1..=1).contains(&truth.flat_side) {
        return Err(format!("flat_side {}, need -1 (left), 0 (both) or 1 (right)", truth.flat_side));
    }
    Ok(())
}

/// The side on which a pattern's cutoff is flat: -1 left, 1 right, 0 both.
fn flat_side_of(pattern: Pattern, traffic: Traffic) -> i32 {
    match (pattern, traffic) {
        (Pattern::Kink, Traffic::Right) | (Pattern::LeftCutoff, _) => -1,
        (Pattern::Kink, Traffic::Left) | (Pattern::RightCutoff, _) => 1,
        (Pattern::Flat | Pattern::Spot, _) => 0,
    }
}

/// The truth with its flat side filled in, once nothing in it contradicts what the photo is measured for.
pub fn fit_to_pattern(stated: &StatedTruth, pattern: Pattern, traffic: Traffic, file: &str) -> Result<Truth, Error> {
    contradiction(stated, pattern, traffic).map_or_else(
        || Ok(Truth { flat_side: flat_side_of(pattern, traffic), ..stated.truth.clone() }),
        |found| {
            let hint =
                "put the truth right, or give --pattern, --beam and --traffic behind \"--\" as the photo needs them";
            Err(Error::file(file, found, hint))
        },
    )
}

fn contradiction(stated: &StatedTruth, pattern: Pattern, traffic: Traffic) -> Option<String> {
    let (truth, name) = (&stated.truth, pattern.as_str());
    let road = if traffic == Traffic::Right { "right" } else { "left" };
    let side = flat_side_of(pattern, traffic);
    let differs = |what: &str, truth: &str, measured: &str| {
        Some(format!("the truth is of {what} {truth}, but the photo is measured for {what} {measured}"))
    };
    if let Some(other) = stated.pattern.as_deref().filter(|other| *other != name) {
        return differs("pattern", other, name);
    }
    if let Some(other) = stated.traffic.as_deref().filter(|other| *other != road) {
        return differs("traffic", other, road);
    }
    if let Some(other) = stated.flat_side.filter(|other| *other != side) {
        return differs("flat side", &other.to_string(), &side.to_string());
    }
    if pattern == Pattern::Spot && !truth.cutoff_h_deg.is_empty() {
        return Some(format!("the truth states a cutoff, but pattern {name} has none"));
    }
    if pattern != Pattern::Kink && truth.elbow.is_some() {
        return Some(format!("the truth states an elbow, but pattern {name} has none"));
    }
    let (first, last) = (truth.cutoff_h_deg.first()?, truth.cutoff_h_deg.last()?);
    let (from, to) = read_window(pattern, truth.elbow, side)?;
    (*last < from || to < *first).then(|| {
        format!("the cutoff is listed from H {first} to {last}, but it is read somewhere from {from:.1} to {to:.1}")
    })
}

/// Where the cutoff is read; `None` where that depends on an elbow that is not known.
fn read_window(pattern: Pattern, elbow: Option<[f64; 2]>, side: i32) -> Option<(f64, f64)> {
    match pattern {
        Pattern::Kink => {
            let ends = [KINK_READ_DEG.0, KINK_READ_DEG.1].map(|from_elbow| f64::from(side) * from_elbow);
            elbow.map(|[h, _]| (h + ends[0].min(ends[1]), h + ends[0].max(ends[1])))
        }
        // Each within a degree of its place.
        Pattern::LeftCutoff => Some((-3.5, -1.5)),
        Pattern::RightCutoff => Some((1.0, 3.0)),
        Pattern::Flat => Some((-1.0, 1.0)),
        Pattern::Spot => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::{render, sample};

    const HAND: &str = "schema = \"lampwright/hand-truth/1\"\nknown = \"bay of the trial\"\n[cutoff]\nh_deg = [-4.0, -1.0]\n\
                        v_deg = [-0.60, -0.58]\nsigma_deg = 0.03\nknown = \"photometer on a slide\"\n";

    fn hand(text: &str) -> Result<StatedTruth, Error> {
        read_truth(text, "t.toml", None)
    }

    fn wrong(text: &str, part: &str) {
        let error = hand(text).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    }

    #[test]
    fn hand_written_truth_may_be_partial() {
        let truth = hand(HAND).unwrap().truth;
        assert_eq!((truth.cutoff_sigma_deg, truth.elbow, truth.hot_spot), (Some(0.03), None, None));
        assert_eq!(truth.known, "bay of the trial; cutoff: photometer on a slide");
        assert_eq!(read_truth(HAND, "t", Some("tape")).unwrap().truth.known, "tape");
        let spot = "schema = \"lampwright/hand-truth/1\"\nknown = \"lux meter\"\n[hot_spot]\nh_deg = 1\nv_deg = -1.5\nsigma_v_deg = 0.1\n";
        assert_eq!(hand(spot).unwrap().truth.hot_spot_sigma_deg, Some([0.0, 0.1]));
    }

    #[test]
    fn what_no_headlamp_has_is_an_error() {
        wrong(&HAND.replace("-0.60, ", ""), "two or more");
        wrong(&HAND.replace("[-4.0, -1.0]", "[-1.0, -4.0]"), "left to right");
        wrong(&HAND.replace("-4.0", "nan"), "left to right");
        wrong(&HAND.replace("-0.60", "-60.0"), "-20 to 20");
        wrong(&HAND.replace("sigma_deg = 0.03", "sigma_deg = -0.03"), "need 0 to 1");
        wrong(&HAND.replace("sigma_deg", "sigma"), "unknown field");
        wrong(&HAND.replace("hand-truth/1", "hand-truth/2"), "need \"lampwright/truth/1\"");
        let unknown =
            HAND.replace("known = \"bay of the trial\"\n", "").replace("known = \"photometer on a slide\"\n", "");
        wrong(&unknown, "how the truth is known");
    }

    #[test]
    fn truth_that_contradicts_the_pattern_is_an_error() {
        let mut stated = hand(HAND).unwrap();
        let fit = |stated: &StatedTruth, pattern| fit_to_pattern(stated, pattern, Traffic::Right, "t");
        assert_eq!(fit(&stated, Pattern::Kink).unwrap().flat_side, -1);
        assert!(fit(&stated, Pattern::LeftCutoff).is_ok());
        assert!(fit(&stated, Pattern::RightCutoff).unwrap_err().to_string().contains("it is read somewhere"));
        assert!(fit(&stated, Pattern::Spot).unwrap_err().to_string().contains("pattern spot has none"));
        stated.truth.elbow = Some([0.0, -0.6]);
        assert!(fit(&stated, Pattern::Kink).is_ok());
        assert!(fit(&stated, Pattern::LeftCutoff).unwrap_err().to_string().contains("an elbow"));
        stated.truth.elbow = Some([-6.0, -0.6]);
        assert!(fit(&stated, Pattern::Kink).is_err(), "the list lies on the rising side");
        stated.flat_side = Some(1);
        assert!(fit(&stated, Pattern::Kink).unwrap_err().to_string().contains("flat side 1"));
    }

    #[test]
    fn the_renderers_truth_is_read_whole() {
        let spec = sample("typical", 2, Some((400, 300))).unwrap();
        let text = render(&spec).unwrap().truth_json;
        let stated = read_truth(&text, "t.json", None).unwrap();
        assert_eq!(stated.truth.cutoff_h_deg.len(), 47);
        assert!(stated.truth.elbow.is_some() && stated.truth.hot_spot.is_some() && stated.truth.known == EXACT);
        assert!(
            stated.origin.as_deref().is_some_and(|origin| origin.contains("--family typical --seed 2;")),
            "{stated:?}"
        );
        assert!(fit_to_pattern(&stated, Pattern::Flat, Traffic::Right, "t").is_err());
        let missing = text.replace("lampwright/truth/1", "other/1");
        assert!(read_truth(&missing, "t.json", None).unwrap_err().to_string().contains("schema \"other/1\""));
    }
}
