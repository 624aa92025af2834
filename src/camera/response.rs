//! A camera's response to light: the table from code to light, fitted to photos of one still wall at several exposures.
//!
//! **Takes** per photo its relative exposure and the [`Cells`] of its picture. **Gives** a [`Response`]: light of each code
//! 0..=255, 1 at 255, never falling, with its uncertainty.
//! **How**: P. Debevec and J. Malik, "Recovering high dynamic range radiance maps from photographs", SIGGRAPH 1997, equation
//! (3): ln of light and of every cell's irradiance from ln of the exposures by linear least squares, smooth. What is unknown
//! here is not the curve but its departure from sRGB, which most cameras start from: a natural cubic spline with few knots,
//! denser towards black and white (`response_spline`). Its slope and bend have a prior: where the photos say nothing it runs on
//! beside sRGB and its uncertainty grows. The irradiances are eliminated cell by cell; cells that do not fit the others (what
//! moved) lose weight. Exposures and the black level are shared by all cells and do not average away: each is moved by
//! one sigma and the fit asked again. Never falling by pooling adjacent violators (Ayer et al., Ann. Math. Statist. 26, 1955;
//! from memory).
//! **Weak when** the photos leave codes out: sigma grows there. **Cannot see** what a camera does place by place (local tone
//! mapping): such a camera must be switched to a mode without it.
//! **Fails when** exposures hardly differ or too few cells are steady (a usage error).

use super::response_cells::Cells;
use super::response_spline::{KNOTS, Spline};
use crate::error::Error;
use nalgebra::{Const, Dyn, OMatrix, SMatrix, SVector};

/// Codes of a sample.
pub const CODES: usize = 256;
/// Fewest photos.
pub const LEAST_PHOTOS: usize = 3;
/// Least ratio between the longest and the shortest exposure: two thirds of a step say too little about a curve.
const LEAST_RATIO: f64 = 1.5;
/// Fewest cells that two or more photos see, and fewest codes between the darkest and the brightest of them.
const LEAST_CELLS: usize = 100;
const LEAST_SPAN: f64 = 80.0;
/// Codes that are used: below, rounding and black level rule; above, coding rings about clipped places.
const USED: std::ops::RangeInclusive<f64> = 4.0..=251.0;
/// Code to which logarithms are relative, as in Debevec and Malik.
const ANCHOR: usize = 128;
/// How unsure a cell's mean is: codes, and a share of light (own judgement; the residuals scale both).
const CODE_SIGMA: f64 = 0.3;
const SHARE_SIGMA: f64 = 0.004;
/// How far all codes may be off together: black level, and rounding where the noise is too small to average it (own judgement).
const BLACK_SIGMA: f64 = 0.3;
/// Prior of the departure's slope and of its change, per square root of the spline's coordinate: the strongest of the usual curves
/// depart by 0.5 over its darkest unit and bend by as much (own judgement).
const SLOPE_SIGMA: f64 = 0.4;
const BEND_SIGMA: f64 = 0.8;
/// Weight of the anchor: light has no unit, and the departure is none there.
const ANCHOR_WEIGHT: f64 = 1e8;
/// Scale of the weights, sigmas (Cauchy's usual one).
const CAUCHY: f64 = 2.4;
/// Rounds of weighing and fitting; from the fourth on, misfits far off lose all influence (S. Geman and
/// D. `McClure`, 1985; from memory).
const ROUNDS: usize = 8;
const CAUCHY_ROUNDS: usize = 3;
/// What no such photo tells (coding, sharpening, veiling light, cells that share their errors), as share of light.
const MODEL_SIGMA: f64 = 0.015;
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

/// Readings of one cell: photo and code.
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
    for round in 0..ROUNDS {
        model.weigh(&sites, if round < CAUCHY_ROUNDS { 1 } else { 2 });
        model.solve(&sites).ok_or_else(|| {
            Error::usage("the photos' equations have no answer", "take the photos again, camera on a tripod")
        })?;
    }
    model.weigh(&sites, 1);
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

/// Cells that two or more photos see.
fn sites(photos: &[Exposed]) -> Result<Vec<Site>, Error> {
    let mut sites = Vec::new();
    for cell in 0..photos[0].cells.codes.len() {
        let code = |photo: &Exposed| photo.cells.codes[cell].map(f64::from);
        let site: Site = photos
            .iter()
            .enumerate()
            .filter_map(|(index, photo)| Some((index, code(photo).filter(|code| USED.contains(code))?)))
            .collect();
        if site.len() > 1 {
            sites.push(site);
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
    spline: Spline,
    /// The departure from sRGB at the knots.
    solved: SVector<f64, KNOTS>,
    covariance: SMatrix<f64, KNOTS, KNOTS>,
    /// Weight of each site: 1 as long as it fits.
    weights: Vec<f64>,
    /// Residuals against what is expected of them.
    scale: f64,
}

impl<'a> Model<'a> {
    fn new(photos: &'a [Exposed]) -> Self {
        Self {
            photos,
            spline: Spline::new(),
            solved: SVector::zeros(),
            covariance: SMatrix::zeros(),
            weights: Vec::new(),
            scale: 1.0,
        }
    }

    fn sigma(code: f64) -> f64 {
        (CODE_SIGMA * slope(code)).hypot(SHARE_SIGMA)
    }

    /// ln irradiance that a reading tells, as sRGB and the exposure have it, less the departure.
    fn expected(&self, (photo, code): (usize, f64)) -> f64 {
        self.photos[photo].exposure.ln() - ln_srgb(code)
    }

    /// Residuals of a site over their sigmas: each reading's ln irradiance against the weighted mean.
    fn residuals(&self, site: &[(usize, f64)]) -> Vec<f64> {
        let of = |reading: &(usize, f64)| {
            let irradiance = self.spline.row(reading.1).dot(&self.solved) - self.expected(*reading);
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

    /// Scale of the residuals by their median, and the sites' weights: Cauchy's to a power.
    fn weigh(&mut self, sites: &[Site], power: i32) {
        let misfits = self.misfits(sites);
        self.scale = (median(misfits.clone()) / MEDIAN_OF_NORMAL).max(f64::MIN_POSITIVE);
        let weight = |misfit: f64| (1.0 + (misfit / (CAUCHY * self.scale)).powi(2)).powi(-power);
        self.weights = misfits.into_iter().map(weight).collect();
    }

    fn solve(&mut self, sites: &[Site]) -> Option<()> {
        let count = self.photos.len();
        let mut normal = Spline::prior(SLOPE_SIGMA, BEND_SIGMA);
        let anchor = self.spline.row(ANCHOR as f64);
        normal += ANCHOR_WEIGHT * anchor * anchor.transpose();
        // What is expected, then what moves when an exposure grows by one in ln, and when all codes grow by one.
        let mut right = OMatrix::<f64, Const<KNOTS>, Dyn>::zeros(count + 2);
        for (site, site_weight) in sites.iter().zip(&self.weights) {
            let weight = |reading: &(usize, f64)| site_weight / (Self::sigma(reading.1) * self.scale).powi(2);
            let whole: f64 = site.iter().map(weight).sum();
            // The site's own irradiance is eliminated: rows count from their weighted mean.
            let mean = site.iter().fold(SVector::<f64, KNOTS>::zeros(), |sum, reading| {
                sum + weight(reading) * self.spline.row(reading.1)
            }) / whole;
            for reading in site {
                let row = self.spline.row(reading.1) - mean;
                let weighted = weight(reading) * row;
                normal += weighted * row.transpose();
                right.column_mut(0).axpy(self.expected(*reading), &weighted, 1.0);
                right.column_mut(1 + reading.0).axpy(1.0, &weighted, 1.0);
                right.column_mut(1 + count).axpy(-slope(reading.1), &weighted, 1.0);
            }
        }
        // Exposures are held and only their uncertainty is carried through: free, even within a narrow prior, they and the curve
        // would shrink together towards none, which makes every residual small.
        let solver = normal.cholesky()?;
        let moved = solver.solve(&right);
        self.solved = moved.column(0).into_owned();
        self.covariance = solver.inverse();
        let sigmas = self.photos.iter().map(|photo| photo.sigma_ln).chain([BLACK_SIGMA]);
        for (column, sigma) in moved.column_iter().skip(1).zip(sigmas) {
            self.covariance += sigma * sigma * column * column.transpose();
        }
        self.solved.iter().all(|value| value.is_finite()).then_some(())
    }

    fn response(&self) -> Response {
        let mut light = [0.0; CODES];
        let mut sigma_ln = [0.0; CODES];
        for code in 0..CODES {
            let row = self.spline.row(code as f64);
            light[code] = ln_srgb(code as f64) + row.dot(&self.solved);
            sigma_ln[code] = row.dot(&(self.covariance * row)).max(0.0).sqrt().hypot(MODEL_SIGMA);
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
