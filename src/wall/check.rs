//! The search for a mark that does not stand where the bay file says.
//!
//! **Takes** the observations. **Gives** the fit to go on with, which marks it uses, and the mark that was left out.
//! **How**: a fit of all marks is held against its chi-square and each mark's shift against its covariance (data snooping).
//! When something is off, every mark is left out in turn; the mark whose absence leaves the best fit is off, provided that
//! the others then agree and that no other mark explains it nearly as well. Point noise that is larger than stated is
//! recognised as what even the best of these fits leaves over, and widens the image's share instead of accusing a mark.
//! With a known focal length a second pass uses it as a further witness (`camera_tie.rs`).
//! **Fails when** the marks disagree and no single mark is the cause (`bay-mismatch`).

use crate::bay::Bay;
use crate::error::Refusal;
use crate::wall::estimate::{Context, Estimate, Shift, estimate};
use crate::wall::fit::{CameraFacts, FitOptions};
use crate::wall::observation::Observation;
use crate::wall::projection::PLANE_PARAMETERS;
use crate::wall::refusal;

/// A fit's chi-square is implausible when it corresponds to a normal deviate above this: one in 60,000.
const CHI2_SIGMAS: f64 = 4.2;
/// Least advantage in chi-square of the accused mark over every other explanation: odds of e^(6/2) = 20 to 1. Where two
/// explanations are nearly as good, the shift is small, and either leaves marks that agree.
const LEAST_ADVANTAGE: f64 = 6.0;
/// Largest factor by which the stated noise of the mark points may be widened; beyond it something else is wrong.
const LARGEST_NOISE_FACTOR: f64 = 5.0;
/// Fewest degrees of freedom from which a noise factor is taken; below it is too uncertain.
const LEAST_FREEDOM: usize = 6;
/// A mark that the focal length alone accuses must be off by this much, mm: smaller shifts do no harm to the aim.
const LEAST_TIED_SHIFT_MM: f64 = 8.0;
/// Marks count as checked when a shift of each would be known to this standard uncertainty, mm: an error of 50 mm, a
/// slip of the tape, then raises the alarm on a mark at three sigma of it.
const CHECKED_SIGMA_MM: f64 = 40.0;

/// A mark that was left out because it does not stand where the bay file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Displaced {
    /// Its place in [`Bay::marks`].
    pub index: usize,
    /// Its id.
    pub id: u32,
    /// How far it stands right of the bay file's place, mm.
    pub right_mm: f64,
    /// How far it stands above the bay file's place, mm.
    pub up_mm: f64,
    /// What was found, as a sentence.
    pub text: String,
}

/// What the examination gives.
#[derive(Debug, Clone)]
pub struct Examined {
    /// The fit to go on with.
    pub estimate: Estimate,
    /// Places in the observations of the marks that it uses.
    pub used: Vec<usize>,
    /// The mark that was left out.
    pub displaced: Option<Displaced>,
    /// Whether an error of any used mark would be noticed.
    pub is_checked: bool,
    /// Factor on the stated noise of the mark points, 1 or more.
    pub noise_factor: f64,
}

/// One candidate: the fit without one mark.
struct Candidate {
    left_out: usize,
    estimate: Estimate,
}

impl Candidate {
    /// Chi-square above expectation.
    fn excess(&self) -> f64 {
        self.estimate.solution.chi2 + self.estimate.solution.prior_chi2 - self.estimate.freedom as f64
    }
}

struct Examiner<'a> {
    context: &'a Context,
    observations: &'a [Observation],
    options: &'a FitOptions,
}

impl Examiner<'_> {
    fn without(&self, left_out: Option<usize>) -> Vec<&Observation> {
        let kept = self.observations.iter().enumerate().filter(|(place, _)| Some(*place) != left_out);
        kept.map(|(_, observation)| observation).collect()
    }

    fn fit(&self, left_out: Option<usize>, noise_factor: f64, is_tied: bool) -> Option<Estimate> {
        estimate(self.context, &self.without(left_out), noise_factor, is_tied)
    }

    fn shifts(&self, fit: &Estimate, left_out: Option<usize>) -> Vec<Option<Shift>> {
        self.without(left_out).iter().enumerate().map(|(place, observation)| fit.shift(place, observation)).collect()
    }

    /// Whether no mark of the fit is off and the whole is plausible.
    fn is_clean(&self, fit: &Estimate, left_out: Option<usize>) -> bool {
        let worst = self.shifts(fit, left_out).iter().flatten().map(|shift| shift.chi2).fold(0.0, f64::max);
        worst <= self.options.alarm_chi2 && fit.is_plausible(CHI2_SIGMAS)
    }

    fn candidates(&self, noise_factor: f64, is_tied: bool) -> Vec<Candidate> {
        (0..self.observations.len())
            .filter(|place| {
                let rest = self.without(Some(*place));
                rest.iter().map(|observation| observation.coordinates()).sum::<usize>() >= PLANE_PARAMETERS
            })
            .filter_map(|left_out| {
                let estimate = self.fit(Some(left_out), noise_factor, is_tied)?;
                Some(Candidate { left_out, estimate })
            })
            .collect()
    }

    /// The marks any of which, left out, explains everything nearly as well as the best; empty when none does.
    fn suspects(&self, mut candidates: Vec<Candidate>) -> Vec<Candidate> {
        candidates.sort_by(|a, b| a.excess().total_cmp(&b.excess()));
        let Some(best) = candidates.first() else { return Vec::new() };
        if !self.is_clean(&best.estimate, Some(best.left_out)) {
            return Vec::new();
        }
        let limit = best.excess() + LEAST_ADVANTAGE;
        candidates.retain(|candidate| candidate.excess() <= limit);
        candidates
    }

    /// How much noisier the points are than stated: what even the best fit leaves over.
    fn noise_factor(full: &Estimate, candidates: &[Candidate]) -> f64 {
        let fits = candidates.iter().map(|candidate| &candidate.estimate).chain([full]);
        let least = fits
            .filter(|fit| fit.freedom >= LEAST_FREEDOM)
            .map(|fit| if fit.is_plausible(CHI2_SIGMAS) { 1.0 } else { fit.solution.chi2 / fit.freedom as f64 })
            .fold(f64::INFINITY, f64::min);
        if least.is_finite() { least.sqrt().clamp(1.0, LARGEST_NOISE_FACTOR) } else { 1.0 }
    }
}

/// Examines the marks: see the module page.
pub fn examine(
    context: &Context,
    observations: &[Observation],
    bay: &Bay,
    camera: &CameraFacts,
    options: &FitOptions,
) -> Result<Examined, Refusal> {
    let examiner = Examiner { context, observations, options };
    let full = examiner.fit(None, 1.0, false).ok_or_else(|| refusal::degenerate(observations))?;
    if examiner.is_clean(&full, None) {
        refusal::refuse_mirrored(&full, context)?;
        let accused = tied_culprit(&examiner, 1.0);
        return match accused {
            Some(place) => conclude_without(&examiner, place, 1.0),
            None => Ok(conclude(&examiner, full, None, 1.0)),
        };
    }
    let candidates = examiner.candidates(1.0, false);
    let noise_factor = Examiner::noise_factor(&full, &candidates);
    let (full, candidates) = if noise_factor > 1.0 {
        let refit = examiner.fit(None, noise_factor, false).ok_or_else(|| refusal::degenerate(observations))?;
        (refit, examiner.candidates(noise_factor, false))
    } else {
        (full, candidates)
    };
    if noise_factor > 1.0 && examiner.is_clean(&full, None) {
        return Ok(conclude(&examiner, full, None, noise_factor));
    }
    let suspects: Vec<usize> = examiner.suspects(candidates).iter().map(|suspect| suspect.left_out).collect();
    let culprit = if let [only] = suspects[..] { Some(only) } else { tied_culprit(&examiner, noise_factor) };
    if let Some(place) = culprit {
        return conclude_without(&examiner, place, noise_factor);
    }
    let shifts = examiner.shifts(&full, None);
    Err(refusal::mismatch(&full, &shifts, &suspects, observations, bay, camera))
}

/// The mark that is accused when the focal length is a witness; `None` when all is well or nothing is certain.
fn tied_culprit(examiner: &Examiner<'_>, noise_factor: f64) -> Option<usize> {
    examiner.context.tie?;
    let full = examiner.fit(None, noise_factor, true)?;
    if examiner.is_clean(&full, None) {
        return None;
    }
    let suspects = examiner.suspects(examiner.candidates(noise_factor, true));
    let [best] = &suspects[..] else { return None };
    let shift = seen_shift(&best.estimate, &examiner.observations[best.left_out]);
    (shift.0.hypot(shift.1) >= LEAST_TIED_SHIFT_MM).then_some(best.left_out)
}

/// Where a mark is seen against the bay file, mm right and up.
fn seen_shift(fit: &Estimate, observation: &Observation) -> (f64, f64) {
    let count = observation.places.len() as f64;
    observation.places.iter().zip(&observation.walls).fold((0.0, 0.0), |sum, (place, wall)| {
        let seen = fit.projection.to_wall(*place);
        (sum.0 + (seen.x_mm - wall.x_mm) / count, sum.1 + (seen.y_mm - wall.y_mm) / count)
    })
}

fn conclude_without(examiner: &Examiner<'_>, place: usize, noise_factor: f64) -> Result<Examined, Refusal> {
    let observation = &examiner.observations[place];
    let fit =
        examiner.fit(Some(place), noise_factor, false).ok_or_else(|| refusal::degenerate(examiner.observations))?;
    let (right_mm, up_mm) = seen_shift(&fit, observation);
    let text = refusal::displaced_text(observation, &fit, right_mm, up_mm);
    let displaced = Displaced { index: observation.index, id: observation.id, right_mm, up_mm, text };
    let mut examined = conclude(examiner, fit, Some(place), noise_factor);
    examined.displaced = Some(displaced);
    Ok(examined)
}

fn conclude(examiner: &Examiner<'_>, fit: Estimate, left_out: Option<usize>, noise_factor: f64) -> Examined {
    let limit = CHECKED_SIGMA_MM * CHECKED_SIGMA_MM;
    let is_checked = examiner
        .shifts(&fit, left_out)
        .iter()
        .all(|shift| shift.is_some_and(|shift| shift.covariance.symmetric_eigenvalues().max() < limit));
    let used = (0..examiner.observations.len()).filter(|place| Some(*place) != left_out).collect();
    Examined { estimate: fit, used, displaced: None, is_checked, noise_factor }
}
