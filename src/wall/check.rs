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
use crate::wall::fit::CameraFacts;
use crate::wall::observation::Observation;
use crate::wall::options::FitOptions;
use crate::wall::projection::PLANE_PARAMETERS;
use crate::wall::refusal;

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
    /// Whether the marks have spare ones among them, so that an error of any can be noticed.
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
        worst <= self.options.alarm_chi2 && fit.is_plausible(self.options.check.chi2_sigmas)
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
        let limit = best.excess() + self.options.check.least_advantage;
        candidates.retain(|candidate| candidate.excess() <= limit);
        candidates
    }

    /// How much noisier the points are than stated: what even the best fit leaves over, or what all leave over when no
    /// mark's absence makes much of a difference.
    fn noise_factor(full: &Estimate, candidates: &[Candidate], options: &FitOptions) -> f64 {
        let excess = |fit: &Estimate| {
            if fit.is_plausible(options.check.chi2_sigmas) { 1.0 } else { fit.solution.chi2 / fit.freedom as f64 }
        };
        let fits = candidates.iter().map(|candidate| &candidate.estimate).chain([full]);
        let least =
            fits.filter(|fit| fit.freedom >= options.check.least_freedom).map(excess).fold(f64::INFINITY, f64::min);
        if !least.is_finite() {
            return 1.0;
        }
        let of_all = excess(full);
        let is_common = least > 1.0 && of_all < options.check.common_noise_ratio * least;
        (if is_common { of_all } else { least }).sqrt().clamp(1.0, options.check.largest_noise_factor)
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
    let lost = || refusal::degenerate(observations, camera);
    let first = examiner.fit(None, 1.0, false);
    if let Some(full) = first.as_ref().filter(|full| examiner.is_clean(full, None)) {
        refusal::refuse_mirrored(full, context)?;
        return match tied_culprit(&examiner, full, 1.0) {
            Some(place) => conclude_without(&examiner, place, 1.0).ok_or_else(lost),
            None => Ok(widened(&examiner, full).unwrap_or_else(|| conclude(&examiner, full.clone(), None, 1.0))),
        };
    }
    let mut candidates = examiner.candidates(1.0, false);
    let noise_factor = first.as_ref().map_or(1.0, |full| Examiner::noise_factor(full, &candidates, options));
    let full = if noise_factor > 1.0 {
        candidates = examiner.candidates(noise_factor, false);
        examiner.fit(None, noise_factor, false)
    } else {
        first
    };
    if let Some(full) = full.as_ref().filter(|full| examiner.is_clean(full, None)) {
        return Ok(conclude(&examiner, full.clone(), None, noise_factor));
    }
    let suspects: Vec<usize> = examiner.suspects(candidates).iter().map(|suspect| suspect.left_out).collect();
    let witness = || {
        let accused = tied_culprit(&examiner, full.as_ref()?, noise_factor)?;
        (suspects.is_empty() || suspects.contains(&accused)).then_some(accused)
    };
    let culprit = if let [only] = suspects[..] { Some(only) } else { witness() };
    if let Some(place) = culprit {
        return conclude_without(&examiner, place, noise_factor).ok_or_else(lost);
    }
    let full = full.ok_or_else(lost)?;
    let shifts = examiner.shifts(&full, None);
    if let Some(noisy) = noisy_throughout(&examiner, &full, &shifts, noise_factor) {
        return Ok(noisy);
    }
    Err(refusal::mismatch(&full, &shifts, &suspects, observations, bay, camera))
}

/// The fit of sound marks with wider noise, when the residuals are larger than usual though not implausible.
fn widened(examiner: &Examiner<'_>, full: &Estimate) -> Option<Examined> {
    if full.freedom < examiner.options.check.least_freedom || full.is_plausible(examiner.options.check.usual_sigmas) {
        return None;
    }
    let wider = (full.solution.chi2 / full.freedom as f64).sqrt();
    examiner.fit(None, wider, false).map(|fit| conclude(examiner, fit, None, wider))
}

/// The fit of all marks with wider noise, when no mark seems to stand off by a harmful amount.
fn noisy_throughout(
    examiner: &Examiner<'_>,
    full: &Estimate,
    shifts: &[Option<Shift>],
    noise_factor: f64,
) -> Option<Examined> {
    let largest = shifts.iter().flatten().map(|shift| shift.mm.norm()).fold(0.0, f64::max);
    if full.freedom < examiner.options.check.least_freedom || largest > examiner.options.check.harmless_shift_mm {
        return None;
    }
    let wider = noise_factor * (full.solution.chi2 / full.freedom as f64).sqrt().max(1.0);
    if wider > examiner.options.check.largest_noise_factor {
        return None;
    }
    let fit = examiner.fit(None, wider, false)?;
    examiner.is_clean(&fit, None).then(|| conclude(examiner, fit, None, wider))
}

/// The mark that is accused when the focal length is a witness; `None` when all is well or nothing is certain.
fn tied_culprit(examiner: &Examiner<'_>, free: &Estimate, noise_factor: f64) -> Option<usize> {
    examiner.context.tie?;
    let full = examiner.fit(None, noise_factor, true)?;
    if examiner.is_clean(&full, None) {
        return None;
    }
    let suspects = examiner.suspects(examiner.candidates(noise_factor, true));
    let [best] = &suspects[..] else { return None };
    let observation = &examiner.observations[best.left_out];
    let (right_mm, up_mm) = seen_shift(&best.estimate, observation);
    let own = free.shift(best.left_out, observation)?;
    let (free_right_mm, free_up_mm) =
        examiner.fit(Some(best.left_out), noise_factor, false).map_or((0.0, 0.0), |fit| seen_shift(&fit, observation));
    let shift_mm = right_mm.hypot(up_mm).min(free_right_mm.hypot(free_up_mm));
    let is_off =
        shift_mm >= examiner.options.check.least_tied_shift_mm && own.chi2 >= examiner.options.check.least_tied_chi2;
    is_off.then_some(best.left_out)
}

/// Where a mark is seen against the bay file, mm right and up.
fn seen_shift(fit: &Estimate, observation: &Observation) -> (f64, f64) {
    let count = observation.places.len() as f64;
    observation.places.iter().zip(&observation.walls).fold((0.0, 0.0), |sum, (place, wall)| {
        let seen = fit.projection.to_wall(*place);
        (sum.0 + (seen.x_mm - wall.x_mm) / count, sum.1 + (seen.y_mm - wall.y_mm) / count)
    })
}

fn conclude_without(examiner: &Examiner<'_>, place: usize, noise_factor: f64) -> Option<Examined> {
    let observation = &examiner.observations[place];
    let fit = examiner.fit(Some(place), noise_factor, false)?;
    let (right_mm, up_mm) = seen_shift(&fit, observation);
    let text = refusal::displaced_text(observation, &fit, right_mm, up_mm);
    let displaced = Displaced { index: observation.index, id: observation.id, right_mm, up_mm, text };
    let mut examined = conclude(examiner, fit, Some(place), noise_factor);
    examined.displaced = Some(displaced);
    Some(examined)
}

fn conclude(examiner: &Examiner<'_>, fit: Estimate, left_out: Option<usize>, noise_factor: f64) -> Examined {
    let is_checked = examiner.shifts(&fit, left_out).iter().all(Option::is_some);
    let used = (0..examiner.observations.len()).filter(|place| Some(*place) != left_out).collect();
    Examined { estimate: fit, used, displaced: None, is_checked, noise_factor }
}
