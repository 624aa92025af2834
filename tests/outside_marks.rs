//! Outside: corners and map of a small picture against the `AprilTag` library and `OpenCV` (`fixtures/outside/marks`).

#![expect(clippy::unwrap_used, reason = "in a test file a failed unwrap is a failed test")]

use lampwright::bay::{Mark, MarkKind};
use lampwright::marks::{FindOptions, find};
use lampwright::photo::{Format, Photo, Pixels, ShotFacts, UprightMap};
use lampwright::units::{Mm, PxPoint, WallPoint};
use serde::Deserialize;
use std::path::Path;

/// The `AprilTag` library's corners lie 0.044 px rms per axis from the drawing (printed by make.py); this is 2.5 times
/// that as a distance.
const APRILTAG_PX: f64 = 0.15;
/// `OpenCV`'s corners lie 0.19 px rms from the drawing, nearly alike inwards; their mean over a tag is better.
const OPENCV_MEAN_PX: f64 = 0.12;
/// `OpenCV`'s map rests on sixteen of the library's corners.
const MAP_PX: f64 = 0.06;

#[derive(Deserialize)]
struct Outside {
    tool: String,
    picture: String,
    size_mm: f64,
    homography: [[f64; 3]; 3],
    tags: Vec<OutsideTag>,
}

#[derive(Deserialize)]
struct OutsideTag {
    id: u32,
    x_mm: f64,
    y_mm: f64,
    apriltag_corners: [[f64; 2]; 4],
    opencv_corners: [[f64; 2]; 4],
}

fn photo(path: &Path) -> Photo {
    let picture = image::open(path).unwrap().to_luma8();
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    Photo {
        file: "tags.png".into(),
        sha256: String::new(),
        format: Format::Png,
        pixels: Pixels::Gray8(picture.into_raw()),
        stored_width: width,
        stored_height: height,
        orientation: 1,
        upright: UprightMap::new(width, height, 1),
        shot: ShotFacts::default(),
        flags: Vec::new(),
        merged: Vec::new(),
    }
}

fn mean(corners: &[PxPoint; 4]) -> PxPoint {
    let sum = corners.iter().fold((0.0, 0.0), |sum, corner| (sum.0 + corner.x, sum.1 + corner.y));
    PxPoint::new(sum.0 / 4.0, sum.1 / 4.0)
}

fn assert_near(what: &str, tool: &str, ours: PxPoint, theirs: PxPoint, tolerance: f64) {
    let off = ours.distance(theirs);
    assert!(off <= tolerance, "{what}: ours {ours:?}, {tool} {theirs:?}, {off:.3} px apart, allowed {tolerance}");
}

#[test]
fn corners_agree_with_the_apriltag_library_and_with_opencv() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/outside/marks");
    let outside: Outside = toml::from_str(&std::fs::read_to_string(folder.join("tags.toml")).unwrap()).unwrap();
    let bay: Vec<Mark> = outside
        .tags
        .iter()
        .map(|tag| Mark {
            kind: MarkKind::Tag36h11,
            id: tag.id,
            size: Mm::new(outside.size_mm),
            centre: WallPoint::new(tag.x_mm, tag.y_mm),
        })
        .collect();
    let marks = find(&photo(&folder.join(&outside.picture)), &bay, &[], &FindOptions::default());
    assert!(marks.missing.is_empty(), "{:?}", marks.missing);
    for (mark, tag) in marks.found.iter().zip(&outside.tags) {
        let ours = mark.corners.unwrap();
        let theirs = tag.apriltag_corners.map(|[x, y]| PxPoint::new(x, y));
        for (ours, theirs) in ours.into_iter().zip(theirs) {
            assert_near(&format!("tag {} corner", tag.id), &outside.tool, ours, theirs, APRILTAG_PX);
        }
        let theirs = tag.opencv_corners.map(|[x, y]| PxPoint::new(x, y));
        assert_near(&format!("tag {} mean", tag.id), &outside.tool, mean(&ours), mean(&theirs), OPENCV_MEAN_PX);
        let [x, y, w] = outside.homography.map(|row| row[0] * tag.x_mm + row[1] * tag.y_mm + row[2]);
        assert_near(&format!("tag {} centre", tag.id), &outside.tool, mark.centre, PxPoint::new(x / w, y / w), MAP_PX);
    }
}
