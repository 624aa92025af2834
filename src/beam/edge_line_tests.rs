//! A straight stretch of the cutoff against closed forms: level, blurred, under joints.

use super::edge::Scan;
use super::edge_line::{Expected, fit_line};
use super::options::BeamOptions;

/// Closed form: a logistic edge with level stray light has its cutoff at v0 + (s/2)·ln(H/L) (edge algebra).
fn scans(v0: f64, tilt: f64, s: f64, ratio: f64, joints: bool) -> Vec<Scan> {
    (0..11)
        .map(|i| {
            let h = -3.0 + 0.2 * f64::from(i);
            let mut scan = Scan { h_deg: h, ..Scan::default() };
            for k in 0..220 {
                let v = -3.0 + 0.02 * f64::from(k);
                let x = v - v0 - tilt * (h + 2.0);
                let light = 0.4 * (1.0 / ratio + (1.0 - 1.0 / ratio) / (1.0 + (x / s).exp()));
                let joint = joints && (k % 28) < 3;
                scan.v_deg.push(v);
                scan.level.push((light + 0.004) * if joint { 0.6 } else { 1.0 });
                scan.sigma.push(2e-4);
                scan.factor.push(1.0);
                scan.room.push(0.004);
                scan.clipped_at.push(0.0);
            }
            scan
        })
        .collect()
}

fn expected(v0: f64) -> Expected {
    Expected { h0_deg: -2.0, v0_deg: v0, slope: 0.0, slope_sigma: 0.03, softness_deg: 0.12, softness_ln_sigma: 0.5 }
}

#[test]
fn logistic_edge_gives_its_closed_form_cutoff() {
    for (s, ratio) in [(0.079, 40.0f64), (0.111, 40.0), (0.15, 30.0), (0.212, 20.0)] {
        let line = fit_line(&scans(-0.6, 0.01, s, ratio, false), &expected(-0.4), &BeamOptions::default()).unwrap();
        let truth = -0.6 + s / 2.0 * ratio.ln();
        // The window holds 0.04 degree means of a curve, which shifts a place by far less than 0.003 degrees.
        assert!((line.v0_deg - truth).abs() < 0.003, "{} against {truth} for s = {s}", line.v0_deg);
        assert!((line.slope - 0.01).abs() < 0.002);
    }
}

/// Truth by numerical convolution of the closed form: the photo's blur moves the cutoff up, and it comes back to within twice
/// the uncertainty that says so.
#[test]
fn a_blurred_edge_is_read_as_the_lamp_has_it() {
    for (s, ratio, blur) in [(0.111, 40.0f64, 0.02), (0.15, 30.0, 0.045), (0.15, 50.0, 0.03), (0.079, 40.0, 0.02)] {
        let mut seen = scans(-0.6, 0.0, s, ratio, false);
        for scan in &mut seen {
            scan.blur_deg = blur;
            for (level, v) in scan.level.iter_mut().zip(&scan.v_deg) {
                let edge = |x: f64| 0.4 * (1.0 / ratio + (1.0 - 1.0 / ratio) / (1.0 + (x / s).exp()));
                let (sum, weights) = (-50..=50).fold((0.0, 0.0), |(sum, weights), k| {
                    let z = 0.1 * f64::from(k);
                    let weight = (-0.5 * z * z).exp();
                    (sum + weight * edge(v + 0.6 - z * blur), weights + weight)
                });
                *level = sum / weights + 0.004;
            }
        }
        let line = fit_line(&seen, &expected(-0.4), &BeamOptions::default()).unwrap();
        let truth = -0.6 + s / 2.0 * ratio.ln();
        let error = line.v0_deg - truth;
        assert!(error.abs() < 2.0 * line.sigma_deg, "{error} for s = {s}, blur {blur}, sigma {}", line.sigma_deg);
    }
}

#[test]
fn joints_along_the_edge_hardly_move_it() {
    let clean = fit_line(&scans(-0.6, 0.0, 0.12, 40.0, false), &expected(-0.4), &BeamOptions::default()).unwrap();
    let brick = fit_line(&scans(-0.6, 0.0, 0.12, 40.0, true), &expected(-0.4), &BeamOptions::default()).unwrap();
    assert!((clean.v0_deg - brick.v0_deg).abs() < 0.02, "{} {}", clean.v0_deg, brick.v0_deg);
    assert!(brick.texture_sigma_deg > clean.texture_sigma_deg);
}
