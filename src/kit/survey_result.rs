//! What follows from a survey: distance, slopes, yaw, tilt, marks, each with its standard uncertainty.
//!
//! **Takes** a [`Survey`]. **Gives** a [`Surveyed`]. **How**: all readings are adjusted at once (`survey_adjust.rs`,
//! `survey_model.rs`); a result is a function f of the unknowns and has the variance ∇f·C·∇fᵀ (GUM 5.2.2), which holds every
//! correlation between the readings' shares. When the readings scatter more than stated (chi-square beyond 1 in 1000), all
//! uncertainties are widened by √(chi²/freedom) (Birge ratio; from memory).
//! **Weak when** something was not measured: it is assumed, and said. **Fails when** too little was read.

use super::survey::Survey;
use super::survey_adjust::{LEAST_REDUNDANCY, Snooped, Suspect, Weighted, snoop};
use super::survey_model::{Model, Place, State};
use crate::error::Error;
use nalgebra::DVector;

/// Fewest marks of a bay.
const MIN_MARKS: usize = crate::bay::MIN_MARKS;
/// Normal deviate of a chi-square beyond which the readings scatter more than stated: once in 1000.
const SCATTER_SIGMAS: f64 = 3.09;

/// A result with its standard uncertainty (k = 1), same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub sigma: f64,
}

/// The floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurveyedFloor {
    /// Slope along, percent, rising towards the wall positive.
    pub slope_percent: Known,
    /// Slope across, percent, right side higher positive.
    pub cross_percent: Known,
    /// Floor at the wall minus floor under the lamps, mm.
    pub rise_mm: Known,
    /// Heights of the wheel places above the plane, mm: front left, front right, rear left, rear right.
    pub above_plane_mm: [f64; 4],
    /// Their standard uncertainty, mm.
    pub above_plane_sigma_mm: f64,
}

impl SurveyedFloor {
    /// The largest distance from the plane, mm.
    pub fn flatness_mm(&self) -> f64 {
        self.above_plane_mm.iter().fold(0.0, |most, above| most.max(above.abs()))
    }
}

/// A mark in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedMark {
    /// Kind as the bay file writes it.
    pub kind: String,
    /// Id.
    pub id: u32,
    /// Size, mm.
    pub size_mm: f64,
    /// Along the wall's level line, mm.
    pub x_mm: Known,
    /// Along its steepest line, above the floor at the wall, mm.
    pub y_mm: Known,
}

/// One reading after the adjustment.
#[derive(Debug, Clone, PartialEq)]
pub struct Residual {
    /// Its name, with the value.
    pub name: String,
    /// Its unit.
    pub unit: &'static str,
    /// Reading minus what fits best.
    pub residual: f64,
    /// Its standard uncertainty as stated.
    pub sigma: f64,
    /// Studentised residual; `None` when no other reading checks it.
    pub studentised: Option<f64>,
}

/// A surveyed bay.
#[derive(Debug, Clone)]
pub struct Surveyed {
    /// Lamps' plane to wall, mm.
    pub distance_mm: Known,
    /// Wall yaw, degrees.
    pub yaw_deg: Known,
    /// Wall tilt, degrees.
    pub tilt_deg: Known,
    /// The floor, when its heights were read.
    pub floor: Option<SurveyedFloor>,
    /// The marks, in the order of the file.
    pub marks: Vec<PlacedMark>,
    /// Where the wheels stand: x and z, mm.
    pub wheels: [(f64, f64); 4],
    /// Every reading.
    pub residuals: Vec<Residual>,
    /// Readings that do not fit and were left out, as sentences.
    pub left_out: Vec<String>,
    /// Readings any of which may be wrong, as sentences; not empty: nothing can be relied on.
    pub undecided: Vec<String>,
    /// What was assumed, as sentences.
    pub left_open: Vec<String>,
    /// Sum of squared weighted residuals and the readings beyond those needed.
    pub chi2: (f64, usize),
    /// Factor by which the uncertainties were widened, 1 or more.
    pub widened: f64,
}

impl Surveyed {
    /// Distance from the front wheel places' middle to the rear ones', mm.
    pub fn wheelbase_mm(&self) -> f64 {
        (self.wheels[0].1 - self.wheels[2].1).abs()
    }

    /// Distance between the front wheel places, the yaw's baseline, mm.
    pub fn baseline_mm(&self) -> f64 {
        (self.wheels[1].0 - self.wheels[0].0).abs()
    }
}

/// Works a survey out.
pub fn work_out(survey: &Survey) -> Result<Surveyed, Error> {
    if survey.mark.len() < MIN_MARKS {
        return Err(Error::usage(
            format!("the survey has {} marks, need at least {MIN_MARKS}", survey.mark.len()),
            "add the missing [[mark]] entries",
        ));
    }
    let model = Model::new(survey)?;
    let readings: Vec<Weighted> = model.readings.iter().map(|reading| reading.weighted).collect();
    let found = snoop(&readings, &model.start(), &|n, at| model.predict(n, at)).map_err(|open| model.open(open))?;
    let fit = &found.adjustment;
    let widened = widening(fit.chi2, fit.freedom);
    let spread = Spread { model: &model, found: &found, widened };
    let at = model.state(&fit.parameters);
    let floor = model.has_floor.then(|| SurveyedFloor {
        slope_percent: spread.known(&|state| state.plane().1),
        cross_percent: spread.known(&|state| state.plane().2),
        rise_mm: spread.known(&|state| state.rise_mm()),
        above_plane_mm: [0, 1, 2, 3].map(|wheel| above_plane(&at, wheel)),
        above_plane_sigma_mm: spread.known(&|state| above_plane(state, 0)).sigma,
    });
    let marks = survey.mark.iter().enumerate().map(|(n, mark)| PlacedMark {
        kind: mark.kind.clone(),
        id: mark.id,
        size_mm: mark.size_mm,
        x_mm: spread.known(&|state| state.point(n + 1).0),
        y_mm: spread.known(&|state| state.point(n + 1).1),
    });
    Ok(Surveyed {
        distance_mm: spread.known(&|state| state.distance_mm()),
        yaw_deg: spread.known(&|state| state.yaw_tilt_deg().0),
        tilt_deg: spread.known(&|state| state.yaw_tilt_deg().1),
        floor,
        marks: marks.collect(),
        wheels: [0, 1, 2, 3].map(|wheel| {
            let (x, z, _) = at.place(Place::Wheel(wheel));
            (x, z)
        }),
        residuals: residuals(&model, &found),
        left_out: found.left_out.iter().map(|suspect| accusation(&model, suspect)).collect(),
        undecided: found.undecided.iter().map(|suspect| accusation(&model, suspect)).collect(),
        left_open: model.left_open.clone(),
        chi2: (fit.chi2, fit.freedom),
        widened,
    })
}

fn above_plane(state: &State<'_>, wheel: usize) -> f64 {
    let (height, slope, cross) = state.plane();
    let (x, z, floor) = state.place(Place::Wheel(wheel));
    floor - height - (slope * z + cross * x) / 100.0
}

/// Propagates the readings' uncertainty into functions of the unknowns.
struct Spread<'a> {
    model: &'a Model,
    found: &'a Snooped,
    widened: f64,
}

impl Spread<'_> {
    fn known(&self, of: &dyn Fn(&State<'_>) -> f64) -> Known {
        /// Step of the central differences; every unknown is a mm, a degree or a percent.
        const PROBE: f64 = 1e-2;
        let at = &self.found.adjustment.parameters;
        let value_at = |at: &DVector<f64>| of(&self.model.state(at));
        let gradient = DVector::from_fn(at.len(), |place, _| {
            let (mut above, mut below) = (at.clone(), at.clone());
            above[place] += PROBE;
            below[place] -= PROBE;
            (value_at(&above) - value_at(&below)) / (above[place] - below[place])
        });
        let variance = gradient.dot(&(&self.found.adjustment.covariance * &gradient));
        Known { value: value_at(at), sigma: self.widened * variance.max(0.0).sqrt() }
    }
}

/// The Birge ratio where the chi-square is implausible, else 1. Wilson and Hilferty's cube root makes it a normal deviate.
fn widening(chi2: f64, freedom: usize) -> f64 {
    if freedom == 0 {
        return 1.0;
    }
    let freedom = freedom as f64;
    let spread = 2.0 / (9.0 * freedom);
    let deviate = ((chi2 / freedom).cbrt() - 1.0 + spread) / spread.sqrt();
    if deviate > SCATTER_SIGMAS { (chi2 / freedom).sqrt() } else { 1.0 }
}

fn residuals(model: &Model, found: &Snooped) -> Vec<Residual> {
    let fit = &found.adjustment;
    let list = model.readings.iter().enumerate().filter(|(_, reading)| !reading.weighted.is_assumed);
    list.map(|(n, reading)| {
        let left_out = found.left_out.iter().any(|suspect| suspect.index == n);
        let residual =
            if left_out { reading.weighted.value - model.predict(n, &fit.parameters) } else { fit.residuals[n] };
        let r = fit.redundancy[n];
        let sigma = reading.weighted.sigma;
        let studentised = (r > LEAST_REDUNDANCY && !left_out).then(|| residual / (sigma * r.sqrt()));
        Residual { name: reading.name.clone(), unit: reading.unit, residual, sigma, studentised }
    })
    .collect()
}

fn accusation(model: &Model, suspect: &Suspect) -> String {
    let reading = &model.readings[suspect.index];
    // The signs of the left wheels' places are the frame's, not the file's.
    let fits = if reading.name.contains("_left_mm") { -suspect.fits } else { suspect.fits };
    let off = reading.weighted.value - suspect.fits;
    format!(
        "{}: {fits:.1} {} would fit the others, it is {:.1} off ({:.0} times its uncertainty)",
        reading.name,
        reading.unit,
        off.abs(),
        off.abs() / reading.weighted.sigma
    )
}
