//! Outside values: the worked examples of JCGM 100:2008 (GUM) annex H and of JCGM 106:2012.
//!
//! Tolerance everywhere: half a unit of the last printed digit, the most that rounding for print can hide.

use lampwright::aim::{AxisLimits, conformance_probability};
use lampwright::measured::{LineFit, Series, correlation, covariance, effective_freedom};
use lampwright::units::Deg;

fn assert_printed(what: &str, ours: f64, printed: f64, half_digit: f64) {
    // The small allowance is for values that end on the half digit in binary.
    assert!((ours - printed).abs() <= half_digit * 1.000_001, "{what}: ours {ours}, printed {printed} ± {half_digit}");
}

fn uncorrelated(_: usize, _: usize) -> f64 {
    0.0
}

/// GUM H.1, end gauge: components 25, 9.7, 2.9, 16.6 nm, combined 31.66 (printed 32) nm, effective freedom 16.
/// Inputs and results as reproduced by the open code <https://github.com/MSLNZ/GTC> (`docs/API/GUM_H1.rst`).
#[test]
fn gum_h1_end_gauge() {
    let (standard_nm, expansion_per_k) = (50_000_623.0, 11.5e-6);
    let difference = [(5.8, Some(24.0)), (3.9, Some(5.0)), (6.7, Some(8.0))];
    let difference_sigma = difference.iter().map(|(s, _)| s * s).sum::<f64>().sqrt();
    assert_printed("u(d), nm", difference_sigma, 9.7, 0.05);
    // The temperature deviation is -0.1 K on average; d(alpha) is rectangular ±1e-6, d(theta) rectangular ±0.05 K.
    let sensitivities = [1.0, 1.0, standard_nm * 0.1, standard_nm * expansion_per_k];
    let sigmas = [25.0, difference_sigma, 1e-6 / 3f64.sqrt(), 0.05 / 3f64.sqrt()];
    assert_printed("share of d(alpha), nm", sensitivities[2] * sigmas[2], 2.9, 0.05);
    assert_printed("share of d(theta), nm", sensitivities[3] * sigmas[3], 16.6, 0.05);
    let variance = covariance(&sensitivities, &sensitivities, &sigmas, uncorrelated).unwrap();
    assert_printed("combined, nm", variance.sqrt(), 31.66, 0.005);
    // The freedom of the difference is itself combined; H.1.6 goes on with 25.6, we with the number rounded down.
    let difference_freedom = effective_freedom(&difference).unwrap();
    assert_eq!(difference_freedom, 25);
    let shares: Vec<f64> = sensitivities.iter().zip(sigmas).map(|(c, u)| c * u).collect();
    let freedom = effective_freedom(&[
        (shares[0], Some(18.0)),
        (shares[1], Some(difference_freedom as f64)),
        (shares[2], Some(50.0)),
        (shares[3], Some(2.0)),
    ]);
    assert_eq!(freedom, Some(16), "printed: 16.7, rounded down");
    assert_printed("with second-order terms, nm", (variance + 11.7f64.powi(2) + 1.7f64.powi(2)).sqrt(), 33.8, 0.05);
    assert_printed("expanded (k = 2.92), nm", 2.92 * variance.sqrt(), 93.0, 0.5 + 0.05);
}

const VOLT: [f64; 5] = [5.007, 4.994, 5.005, 4.990, 4.999];
const MILLIAMPERE: [f64; 5] = [19.663, 19.639, 19.640, 19.685, 19.678];
const RADIAN: [f64; 5] = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];

/// GUM H.2, resistance and reactance from simultaneous observations: means, scatter, correlations.
/// Data from memory of table H.2; the results agree with them by computation.
#[test]
fn gum_h2_observations() {
    let [v, i, phi] = [&VOLT, &MILLIAMPERE, &RADIAN].map(|data| Series::of(data).unwrap());
    assert_printed("V", v.mean, 4.9990, 0.000_05);
    assert_printed("I", i.mean, 19.6610, 0.000_05);
    assert_printed("phi", phi.mean, 1.044_46, 0.000_005);
    assert_printed("s(V)", v.sigma_of_mean, 0.0032, 0.000_05);
    assert_printed("s(I)", i.sigma_of_mean, 0.0095, 0.000_05);
    assert_printed("s(phi)", phi.sigma_of_mean, 0.000_75, 0.000_005);
    assert_printed("r(V,I)", correlation(&VOLT, &MILLIAMPERE).unwrap(), -0.36, 0.005);
    assert_printed("r(V,phi)", correlation(&VOLT, &RADIAN).unwrap(), 0.86, 0.005);
    assert_printed("r(I,phi)", correlation(&MILLIAMPERE, &RADIAN).unwrap(), -0.65, 0.005);
}

/// GUM H.2, results: R, X, Z with their uncertainties and correlations (table H.4). For u(X) the print has 0.295,
/// which follows from rounded inputs; unrounded it is 0.2956, so the check is against 0.296.
#[test]
fn gum_h2_results() {
    let data = [&VOLT, &MILLIAMPERE, &RADIAN];
    let [v, i, phi] = data.map(|data| Series::of(data).unwrap());
    let (volt, ampere, angle) = (v.mean, i.mean / 1000.0, phi.mean);
    let sigmas = [v.sigma_of_mean, i.sigma_of_mean / 1000.0, phi.sigma_of_mean];
    let r = |a: usize, b: usize| correlation(data[a], data[b]).unwrap();
    let z = volt / ampere;
    let of = |factor: f64, by_angle: f64| [factor / ampere, -factor * volt / ampere / ampere, by_angle];
    let resistance = of(angle.cos(), -z * angle.sin());
    let reactance = of(angle.sin(), z * angle.cos());
    let impedance = of(1.0, 0.0);
    let sigma = |c: &[f64; 3]| covariance(c, c, &sigmas, r).unwrap().sqrt();
    let correlated = |a: &[f64; 3], b: &[f64; 3]| covariance(a, b, &sigmas, r).unwrap() / sigma(a) / sigma(b);
    assert_printed("R, ohm", z * angle.cos(), 127.732, 0.0005);
    assert_printed("X, ohm", z * angle.sin(), 219.847, 0.0005);
    assert_printed("Z, ohm", z, 254.260, 0.0005);
    assert_printed("u(R)", sigma(&resistance), 0.071, 0.0005);
    assert_printed("u(X)", sigma(&reactance), 0.296, 0.0005);
    assert_printed("u(Z)", sigma(&impedance), 0.236, 0.0005);
    assert_printed("r(R,X)", correlated(&resistance, &reactance), -0.588, 0.0005);
    assert_printed("r(R,Z)", correlated(&resistance, &impedance), -0.485, 0.0005);
    assert_printed("r(X,Z)", correlated(&reactance, &impedance), 0.993, 0.0005);
}

/// GUM H.3, calibration line of a thermometer, reference temperature 20 °C, as reproduced by
/// <https://github.com/MSLNZ/GTC> (`docs/API/GUM_H3.rst`).
#[test]
fn gum_h3_calibration_line() {
    let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let fit = LineFit::of(&t.map(|t| t - 20.0), &b).unwrap();
    assert_printed("y1", fit.intercept, -0.1712, 0.000_05);
    assert_printed("u(y1)", fit.intercept_sigma, 0.0029, 0.000_05);
    assert_printed("y2", fit.slope, 0.002_18, 0.000_005);
    assert_printed("u(y2)", fit.slope_sigma, 0.000_67, 0.000_005);
    assert_printed("r", fit.correlation, -0.930, 0.0005);
    assert_printed("s", fit.residual_sd, 0.0035, 0.000_05);
    let (at_30, sigma_30) = fit.at(10.0);
    assert_printed("b(30)", at_30, -0.1494, 0.000_05);
    assert_printed("u(b(30))", sigma_30, 0.0041, 0.000_05);
    let without = LineFit { correlation: 0.0, ..fit }.at(10.0).1;
    assert_printed("u(b(30)) if the correlation were forgotten", without, 0.0073, 0.000_05);
}

/// JCGM 106:2012 worked examples (inputs from memory, results recomputed with the normal law), and guard-band
/// values of the same law.
#[test]
fn jcgm_106_conformance() {
    let p = |value: f64, sigma: f64, lower: Option<f64>, upper: Option<f64>| {
        let limits = AxisLimits { nominal: None, lower: lower.map(Deg::new), upper: upper.map(Deg::new) };
        conformance_probability(Deg::new(value), Deg::new(sigma), &limits).unwrap()
    };
    assert_printed("upper limit", p(-5.47, 0.05, None, Some(-5.40)), 0.919, 0.0005);
    assert_printed("lower limit", p(509.7, 8.6, Some(490.0), None), 0.989, 0.0005);
    assert_printed("two limits", p(13.6, 1.8, Some(12.5), Some(16.3)), 0.663, 0.0005);
    assert_printed("at the guarded limit, k = 2", p(-0.20, 0.1, None, Some(0.0)), 0.977_25, 0.000_005);
    for (y, printed) in [(-0.25, 0.9938), (-0.20, 0.9772), (-0.15, 0.9332), (0.10, 0.1587), (0.25, 0.0062)] {
        assert_printed("zones", p(y, 0.1, None, Some(0.0)), printed, 0.000_05);
    }
    for (z, printed) in [(0.84, 0.80), (1.28, 0.90), (1.64, 0.95), (2.33, 0.99), (3.09, 0.999)] {
        // z is printed with two digits; half of the last one moves p by at most 0.005 · phi(z) < 0.0015.
        assert_printed("z table", p(0.0, 1.0, None, Some(z)), printed, 0.0015);
    }
}
