//! NOT YET SOUND: the table does not come back from rendered photos (tests/response_truth.rs); do not use it.
//!
//! A camera's response to light: the table from code to light, fitted to photos of one still wall at several exposures.
//!
//! **Takes** per photo its relative exposure and the [`Cells`] of its picture. **Gives** a [`Response`]: light of each code
//! 0..=255, 1 at 255, never falling, with its uncertainty.
//! **How**: P. Debevec and J. Malik, "Recovering high dynamic range radiance maps from photographs", SIGGRAPH 1997, equation
//! (3): ln of light and of every cell's irradiance from ln of the exposures by linear least squares, smooth. What is kept
//! smooth here is the difference to sRGB, not the curve itself, because sRGB is what most cameras start from; the irradiances
//! are eliminated cell by cell; the exposures' own uncertainty is carried through; cells that do not fit the others' (what moved)
//! lose weight (Cauchy). Never falling by pooling adjacent violators (Ayer et al., Ann. Math. Statist. 26, 1955; from memory).
//! **Weak when** the photos leave codes out: sigma grows there. **Cannot see** what a camera does place by place (local tone
//! mapping): such a camera must be switched to a mode without it.
//! **Fails when** exposures hardly differ or too few cells are steady (a usage error).

use super::response_cells::Cells;
use crate::error::Error;
use nalgebra::{DMatrix, DVector};

/// Codes of a sample.
pub const CODES: usize = 256;
/// Fewest photos.
pub const LEAST_PHOTOS: usize = 3;
/// Least ratio between the longest and the shortest exposure: two thirds of a step say too little about a curve.
const LEAST_RATIO: f64 = 1.5;
/// Fewest cells that two or more photos see, and fewest codes between the darkest and the brightest of them.
const LEAST_CELLS: usize = 200;
const LEAST_SPAN: f64 = 80.0;
/// Codes that are used: below, rounding and black level rule; above, coding rings about clipped places.
const USED: std::ops::RangeInclusive<f64> = 4.0..=250.0;
/// Code to which logarithms are relative, as in Debevec and Malik.
const ANCHOR: usize = 128;
/// How unsure a cell's mean is: codes, and a share of light (own judgement; the residuals scale both).
const CODE_SIGMA: f64 = 0.35;
const SHARE_SIGMA: f64 = 0.004;
/// Bend (second difference by code) of ln light against sRGB that a camera's curve has: a strong S-curve bends by 3e-4; more in
/// the dark, where a code is a larger share of the light.
const BEND_SIGMA: f64 = 1e-3;
const DARK_BEND_CODES: f64 = 24.0;
/// Cauchy's scale, sigmas.
const CAUCHY: f64 = 2.4;
/// Rounds of weighing and fitting.
const ROUNDS: usize = 8;
/// What no such photo tells (coding, sharpening, veiling light, cells that share their errors), as share of light.
const MODEL_SIGMA: f64 = 0.01;
/// Median of |normal| over its spread.
const MEDIAN_OF_NORMAL: f64 = 0.6745;

/// One photo of the still wall.
#[derive(Debug, Clone)]
pub struct Exposed {
    /// The photo's name.
    pub name: String,
    /// Exposure time times ISO over f-number squared; any common unit.
    pub exposure: f64,
    /// Standard uncertainty of its logarithm.
    pub sigma_ln: f64,
    /// The picture in cells.
    pub cells: Cells,
}

/// Light of each code.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// Light of each code, 1 at code 255; never falling.
    pub light: [f64; CODES],
    /// Standard uncertainty of ln light against that of code 128.
    pub sigma_ln: [f64; CODES],
}

/// A fitted response and how well it fits.
#[derive(Debug, Clone)]
pub struct FittedResponse {
    /// The response.
    pub response: Response,
    /// Usual (median-based) residual as a share of light.
    pub spread: f64,
    /// Share of the readings that did not fit the others: moved things, or local tone mapping.
    pub unfit_share: f64,
    /// Darkest and brightest code that the photos tell of.
    pub span: (f64, f64),
}

impl Response {
    /// Light of an encoded sample 0..=255, linear between codes.
    pub fn light_of_code(&self, code: f64) -> f64 {
        let below = (code.max(0.0) as usize).min(CODES - 2);
        let fraction = (code - below as f64).clamp(0.0, 1.0);
        self.light[below] + fraction * (self.light[below + 1] - self.light[below])
    }
}

/// ln of sRGB's light of a code (IEC 61966-2-1); code 0 counts as half a code.
fn ln_srgb(code: f64) -> f64 {
    let encoded = code.max(0.5) / 255.0;
    if encoded <= 0.040_45 { (encoded / 12.92).ln() } else { 2.4 * ((encoded + 0.055) / 1.055).ln() }
}

/// Slope of [`ln_srgb`] by code.
fn slope(code: f64) -> f64 {
    ln_srgb(code + 0.5) - ln_srgb((code - 0.5).max(0.5))
}

/// Readings of one channel of one cell: photo and code.
type Site = Vec<(usize, f64)>;

/// Fits the response of one camera.
pub fn fit(photos: &[Exposed]) -> Result<FittedResponse, Error> {
    check(photos)?;
    let sites = sites(photos)?;
    let codes = sites.iter().flatten().map(|reading| reading.1);
    let span = codes.fold((f64::MAX, f64::MIN), |(low, high), code| (low.min(code), high.max(code)));
    if span.1 - span.0 < LEAST_SPAN {
        return Err(Error::usage(
            format!("the photos show codes {:.0} to {:.0} of the wall, need a span of {LEAST_SPAN}", span.0, span.1),
            "photograph a wall with bright and dark parts (a lamp's beam on it), some photos darker, some brighter",
        ));
    }
    let mut model = Model::new(photos);
    for _ in 0..ROUNDS {
        model.weigh(&sites);
        model.solve(&sites).ok_or_else(|| {
            Error::usage("the photos' equations have no answer", "take the photos again, camera on a tripod")
        })?;
    }
    model.weigh(&sites);
    let response = model.response();
    Ok(FittedResponse { response, spread: model.spread(&sites), unfit_share: model.unfit_share(), span })
}

fn check(photos: &[Exposed]) -> Result<(), Error> {
    if photos.len() < LEAST_PHOTOS {
        return Err(Error::usage(
            format!("{} photos, need {LEAST_PHOTOS} or more of different exposure", photos.len()),
            "keep the camera still and halve and double the exposure time from photo to photo",
        ));
    }
    let exposures = photos.iter().map(|photo| photo.exposure);
    let (low, high) = exposures.fold((f64::MAX, f64::MIN), |(low, high), one| (low.min(one), high.max(one)));
    let is_apart = high / low >= LEAST_RATIO;
    if !is_apart {
        return Err(Error::usage(
            format!("the longest exposure is {:.2} times the shortest, need {LEAST_RATIO} times or more", high / low),
            "halve and double the exposure time from photo to photo",
        ));
    }
    let size = photos[0].cells.size();
    match photos.iter().find(|photo| photo.cells.size() != size) {
        Some(other) => Err(Error::file(
            other.name.as_str(),
            "has another size than the first photo",
            "all photos must be of one camera, standing still",
        )),
        None => Ok(()),
    }
}

/// Cells that two or more photos see, channel by channel.
fn sites(photos: &[Exposed]) -> Result<Vec<Site>, Error> {
    let mut sites = Vec::new();
    for cell in 0..photos[0].cells.codes.len() {
        for channel in 0..3 {
            let code = |photo: &Exposed| photo.cells.codes[cell].map(|codes| f64::from(codes[channel]));
            let site: Site = photos
                .iter()
                .enumerate()
                .filter_map(|(index, photo)| Some((index, code(photo).filter(|code| USED.contains(code))?)))
                .collect();
            if site.len() > 1 {
                sites.push(site);
            }
        }
    }
    if sites.len() < LEAST_CELLS {
        return Err(Error::usage(
            format!("{} even places are seen in two photos or more, need {LEAST_CELLS}", sites.len()),
            "photograph a plain wall, neither black nor white in neighbouring photos",
        ));
    }
    Ok(sites)
}

struct Model<'a> {
    photos: &'a [Exposed],
    /// Difference of ln light to sRGB by code, then each photo's correction of ln exposure, which stays 0.
    solved: DVector<f64>,
    covariance: DMatrix<f64>,
    /// Weight of each site: 1 as long as it fits.
    weights: Vec<f64>,
    /// Residuals against what is expected of them.
    scale: f64,
}

impl<'a> Model<'a> {
    fn new(photos: &'a [Exposed]) -> Self {
        let count = CODES + photos.len();
        Self {
            photos,
            solved: DVector::zeros(count),
            covariance: DMatrix::zeros(count, count),
            weights: Vec::new(),
            scale: 1.0,
        }
    }

    fn sigma(code: f64) -> f64 {
        (CODE_SIGMA * slope(code)).hypot(SHARE_SIGMA)
    }

    /// A reading's codes with their shares, and what sRGB and the exposure make of it.
    fn row(&self, (photo, code): (usize, f64)) -> ([(usize, f64); 3], f64) {
        let below = (code as usize).min(CODES - 2);
        let fraction = code - below as f64;
        let terms = [(below, 1.0 - fraction), (below + 1, fraction), (CODES + photo, -1.0)];
        (terms, self.photos[photo].exposure.ln() - ln_srgb(code))
    }

    /// Residuals of a site over their sigmas: each reading's ln irradiance against the weighted mean.
    fn residuals(&self, site: &[(usize, f64)]) -> Vec<f64> {
        let of = |reading: &(usize, f64)| {
            let (terms, expected) = self.row(*reading);
            let irradiance = terms.iter().map(|(at, share)| share * self.solved[*at]).sum::<f64>() - expected;
            (irradiance, Self::sigma(reading.1).powi(-2))
        };
        let list: Vec<(f64, f64)> = site.iter().map(of).collect();
        let whole: f64 = list.iter().map(|one| one.1).sum();
        let mean = list.iter().map(|one| one.0 * one.1).sum::<f64>() / whole;
        list.iter().map(|(irradiance, weight)| (irradiance - mean) * weight.sqrt()).collect()
    }

    /// Each site's root mean square residual over its degrees of freedom.
    fn misfits(&self, sites: &[Site]) -> Vec<f64> {
        let misfit = |site: &Site| {
            let squares: f64 = self.residuals(site).iter().map(|one| one * one).sum();
            (squares / (site.len() - 1) as f64).sqrt()
        };
        sites.iter().map(misfit).collect()
    }

    /// Scale of the residuals by their median, and the sites' weights.
    fn weigh(&mut self, sites: &[Site]) {
        let misfits = self.misfits(sites);
        self.scale = (median(misfits.clone()) / MEDIAN_OF_NORMAL).max(f64::MIN_POSITIVE);
        let weight = |misfit: f64| 1.0 / (1.0 + (misfit / (CAUCHY * self.scale)).powi(2));
        self.weights = misfits.into_iter().map(weight).collect();
    }

    fn solve(&mut self, sites: &[Site]) -> Option<()> {
        let count = self.solved.len();
        let (mut normal, mut right) = (DMatrix::<f64>::zeros(count, count), DVector::<f64>::zeros(count));
        for (site, site_weight) in sites.iter().zip(&self.weights) {
            let mut sums: Vec<(usize, f64)> = Vec::with_capacity(3 * site.len());
            let (mut whole, mut target) = (0.0, 0.0);
            for reading in site {
                let weight = site_weight / (Self::sigma(reading.1) * self.scale).powi(2);
                let (terms, expected) = self.row(*reading);
                for (at, share) in terms {
                    right[at] += weight * share * expected;
                    sums.push((at, weight * share));
                    for (other, other_share) in terms {
                        normal[(at, other)] += weight * share * other_share;
                    }
                }
                whole += weight;
                target += weight * expected;
            }
            // The site's own irradiance, eliminated.
            for (at, sum) in &sums {
                right[*at] -= sum * target / whole;
                for (other, other_sum) in &sums {
                    normal[(*at, *other)] -= sum * other_sum / whole;
                }
            }
        }
        for code in 1..CODES - 1 {
            let bend = BEND_SIGMA * (1.0 + DARK_BEND_CODES / (code as f64 + 1.0));
            for (at, share) in [(code - 1, 1.0), (code, -2.0), (code + 1, 1.0)] {
                for (other, other_share) in [(code - 1, 1.0), (code, -2.0), (code + 1, 1.0)] {
                    normal[(at, other)] += share * other_share / (bend * bend);
                }
            }
        }
        // The anchor: light has no unit.
        normal[(ANCHOR, ANCHOR)] += 1e8;
        // Exposures are held and only their uncertainty is carried through: free, even within a narrow prior, they and the curve
        // would shrink together towards none, which makes every residual small.
        let solver = normal.view((0, 0), (CODES, CODES)).clone_owned().cholesky()?;
        let codes = solver.solve(&right.rows(0, CODES).clone_owned());
        self.solved.rows_mut(0, CODES).copy_from(&codes);
        self.covariance = solver.inverse();
        for (index, photo) in self.photos.iter().enumerate() {
            let moved = solver.solve(&normal.view((0, CODES + index), (CODES, 1)).clone_owned()) * photo.sigma_ln;
            self.covariance += &moved * moved.transpose();
        }
        self.solved.iter().all(|value| value.is_finite()).then_some(())
    }

    fn response(&self) -> Response {
        let mut light = [0.0; CODES];
        let mut sigma_ln = [0.0; CODES];
        for code in 0..CODES {
            light[code] = ln_srgb(code as f64) + self.solved[code];
            sigma_ln[code] = self.covariance[(code, code)].max(0.0).sqrt().hypot(MODEL_SIGMA);
        }
        let rising = never_falling(&light);
        for (code, value) in light.iter_mut().enumerate() {
            *value = if code == 0 { 0.0 } else { (rising[code] - rising[CODES - 1]).exp() };
        }
        Response { light, sigma_ln }
    }

    fn spread(&self, sites: &[Site]) -> f64 {
        let residuals = sites
            .iter()
            .flat_map(|site| self.residuals(site).into_iter().zip(site.iter().map(|reading| Self::sigma(reading.1))));
        median(residuals.map(|(residual, sigma)| (residual * sigma).abs()).collect()) / MEDIAN_OF_NORMAL
    }

    /// Sites with less than a quarter of their weight: beyond four sigmas.
    fn unfit_share(&self) -> f64 {
        const LOST: f64 = 0.25;
        self.weights.iter().filter(|weight| **weight < LOST).count() as f64 / self.weights.len() as f64
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// The nearest sequence that never falls.
fn never_falling(values: &[f64]) -> Vec<f64> {
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for value in values {
        let mut pool = (*value, 1);
        while let Some(last) = pools.pop_if(|last| last.0 > pool.0) {
            let count = last.1 + pool.1;
            pool = ((last.0 * last.1 as f64 + pool.0 * pool.1 as f64) / count as f64, count);
        }
        pools.push(pool);
    }
    pools.into_iter().flat_map(|(value, count)| std::iter::repeat_n(value, count)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hand-worked: 3, 1 pool to 2, 2; 2 then 2 stays; 5, 4 pool to 4.5.
    #[test]
    fn falling_values_are_pooled() {
        let found = never_falling(&[0.0, 3.0, 1.0, 2.0, 5.0, 4.0]);
        assert_eq!(found, [0.0, 2.0, 2.0, 2.0, 4.5, 4.5]);
    }
}
