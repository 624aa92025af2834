//! Outside: the lens and the wall's homography against values that `OpenCV` computed (`fixtures/outside/wall/make.py`).

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a failed check must stop the test, and each test prints the figures that it judges"
)]

use lampwright::bay::Bay;
use lampwright::camera::{Lens, Ray};
use lampwright::marks::{FoundMark, Marks};
use lampwright::units::{PxPoint, WallPoint};
use lampwright::wall::{CameraFacts, FitOptions, fit};
use serde::Deserialize;
use std::fmt::Write as _;

#[derive(Deserialize)]
struct Outside {
    tool: String,
    lens: Vec<LensCase>,
    homography: Vec<HomographyCase>,
}

#[derive(Deserialize)]
struct LensCase {
    fx: f64,
    fy: f64,
    cx: f64,
    cy: f64,
    k1: f64,
    k2: f64,
    p1: f64,
    p2: f64,
    k3: f64,
    rays: Vec<[f64; 2]>,
    places: Vec<[f64; 2]>,
    undistorted: Vec<[f64; 2]>,
}

#[derive(Deserialize)]
struct HomographyCase {
    wall: Vec<[f64; 2]>,
    places: Vec<[f64; 2]>,
    probes: Vec<[f64; 2]>,
    expected: Vec<[f64; 2]>,
}

fn outside() -> Outside {
    toml::from_str(include_str!("../fixtures/outside/wall/opencv.toml")).expect("made by make.py")
}

#[test]
fn the_lens_agrees_with_opencv() {
    let outside = outside();
    for case in &outside.lens {
        let lens = Lens {
            width: 4000,
            height: 3000,
            fx: case.fx,
            fy: case.fy,
            cx: case.cx,
            cy: case.cy,
            k1: case.k1,
            k2: case.k2,
            p1: case.p1,
            p2: case.p2,
            k3: case.k3,
        };
        for ((ray, place), back) in case.rays.iter().zip(&case.places).zip(&case.undistorted) {
            let (place, found) = (PxPoint::new(place[0], place[1]), lens.distort(Ray::new(ray[0], ray[1])));
            // Both compute the same closed form in double precision; the file keeps twelve decimals.
            assert!(found.distance(place) < 1e-8, "{}: {place:?}, here {found:?}", outside.tool);
            let found = lens.undistort(place);
            let gap = (found - Ray::new(back[0], back[1])).norm();
            // OpenCV iterates to 1e-14 px or 200 rounds of a slowly converging scheme.
            assert!(gap < 1e-7, "{}: {back:?}, here {found}", outside.tool);
        }
    }
}

/// With marks placed exactly and no distortion allowed, the fit minimises the same sum of squares as `findHomography`.
#[test]
fn the_homography_agrees_with_opencv() {
    let outside = outside();
    for case in &outside.homography {
        let mut text = String::from(
            "schema = \"lampwright/bay/1\"\nid = \"b\"\nname = \"B\"\n[wall]\ndistance_mm = 10000.0\n[uncertainty]\nmarks_mm = 0.0\n",
        );
        for [x, y] in &case.wall {
            let _ = writeln!(text, "[[marks]]\nkind = \"quadrant\"\nsize_mm = 150.0\nx_mm = {x:?}\ny_mm = {y:?}");
        }
        let bay = Bay::parse(&text, "b").expect("sound");
        let found = case.places.iter().enumerate().map(|(index, place)| FoundMark {
            index,
            id: index as u32,
            centre: PxPoint::new(place[0], place[1]),
            centre_sigma_px: 1.0,
            corners: None,
            corner_sigma_px: 0.0,
            is_by_hand: false,
        });
        let marks = Marks { found: found.collect(), missing: Vec::new(), blur_px: None };
        let camera = CameraFacts { width: 4000, height: 3000, focal_35mm: Some(26.0), lens: None };
        let options = FitOptions { radial_sigma: 1e-9, strong_radial_sigma: 1e-9, ..FitOptions::default() };
        let view = fit(&marks, &bay, &camera, &options).expect("sound marks");
        for (probe, expected) in case.probes.iter().zip(&case.expected) {
            let found = view.to_px(WallPoint::new(probe[0], probe[1]));
            let expected = PxPoint::new(expected[0], expected[1]);
            // OpenCV stops its refinement when a step gets small; 1e-3 px is a hundredth of the noise of a good mark.
            assert!(found.distance(expected) < 1e-3, "{}: {expected:?}, here {found:?}", outside.tool);
        }
    }
}
