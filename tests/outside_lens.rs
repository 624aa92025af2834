//! Outside: the calibration of a lens against `OpenCV`'s on the same points (`fixtures/outside/lens/make.py`).

#![allow(clippy::expect_used, reason = "a failed check must stop the test")]

use lampwright::camera::fit::{BoardView, FitModel, fit};
use lampwright::camera::{BoardShape, Calibrated};
use lampwright::units::PxPoint;
use serde::Deserialize;

#[derive(Deserialize)]
struct Outside {
    tool: String,
    columns: usize,
    rows: usize,
    square_mm: f64,
    width: u32,
    height: u32,
    case: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    model: String,
    rms_px: f64,
    truth: [f64; 9],
    opencv: [f64; 9],
    opencv_sigma: [f64; 9],
    photos: Vec<Vec<[f64; 2]>>,
}

fn outside() -> Outside {
    toml::from_str(include_str!("../fixtures/outside/lens/opencv.toml")).expect("made by make.py")
}

fn fitted(outside: &Outside, case: &Case) -> Calibrated {
    let shape = BoardShape { columns: outside.columns, rows: outside.rows, square_mm: outside.square_mm };
    let view = |photo: &Vec<[f64; 2]>| BoardView {
        name: "photo".to_owned(),
        board: shape.points(),
        places: photo.iter().map(|place| PxPoint::new(place[0], place[1])).collect(),
    };
    let views: Vec<BoardView> = case.photos.iter().map(view).collect();
    let models = [FitModel::K1, FitModel::K1K2, FitModel::Full];
    let model = models.into_iter().find(|model| model.as_str() == case.model).expect("a model of this program");
    fit(&views, (outside.width, outside.height), model).expect("sound points")
}

fn values(found: &Calibrated) -> [f64; 9] {
    let lens = found.lens;
    [lens.fx, lens.fy, lens.cx, lens.cy, lens.k1, lens.k2, lens.p1, lens.p2, lens.k3]
}

/// Both minimise the same sum of squares; `OpenCV` reads single-precision places (2e-4 px), which is far below the noise of
/// 0.15 px that the sigmas come from: a hundredth of a sigma, and a millionth of the focal length.
#[test]
fn lens_and_sigmas_agree_with_opencv() {
    let outside = outside();
    assert_eq!(outside.case.len(), 3);
    for case in &outside.case {
        let found = fitted(&outside, case);
        let own = values(&found);
        for (index, (here, there)) in own.into_iter().zip(case.opencv).enumerate() {
            let sigma = case.opencv_sigma[index];
            let message = format!(
                "{}, {} {index}: {there} ± {sigma}, here {here} ± {}",
                outside.tool, case.model, found.sigmas[index]
            );
            assert!((here - there).abs() <= 0.01 * sigma + 1e-9, "{message}");
            // OpenCV divides by the readings less the unknowns too, its unknowns being the same.
            assert!((found.sigmas[index] - sigma).abs() <= 0.02 * sigma + 1e-12, "{message}");
        }
        assert!((own[0] / case.opencv[0] - 1.0).abs() < 1e-3 && (own[4] - case.opencv[4]).abs() < 1e-3);
        assert!((found.rms_px - case.rms_px).abs() < 1e-4, "{}: {} px, here {}", case.model, case.rms_px, found.rms_px);
    }
}

/// Truth: the lens that `OpenCV` projected the points with comes back within its uncertainty. 3.5 sigma: 9 + 6 + 5 values, of
/// which one in 2,000 may lie beyond.
#[test]
fn the_lens_behind_the_points_comes_back() {
    let outside = outside();
    for case in &outside.case {
        let found = fitted(&outside, case);
        for ((here, truth), sigma) in values(&found).into_iter().zip(case.truth).zip(found.sigmas) {
            assert!((here - truth).abs() <= 3.5 * sigma + 1e-12, "{}: {truth}, here {here} ± {sigma}", case.model);
        }
    }
}
