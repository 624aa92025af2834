//! Truth: marks in rendered pictures are found where they were drawn, and their sigma is honest.

#![expect(clippy::unwrap_used, reason = "in a test file a failed unwrap is a failed test")]

mod render_marks;

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageFormat};
use lampwright::bay::Mark;
use lampwright::marks::{FindOptions, FoundMark, Marks, find};
use lampwright::photo::{Photo, Pixels};
use lampwright::units::PxPoint;
use render_marks::{Camera, Printed, Random, Shot, gray, quadrant, tag};

fn find_all(photo: &Photo, printed: &[Printed]) -> Marks {
    let bay: Vec<Mark> = printed.iter().map(|printed| printed.mark).collect();
    find(photo, &bay, &[], &FindOptions::default())
}

/// Four tags near the corners of a wall part.
fn four_tags(size_mm: f64) -> Vec<Printed> {
    vec![
        tag(3, size_mm, -400.0, 300.0),
        tag(77, size_mm, 420.0, 280.0),
        tag(200, size_mm, 390.0, -310.0),
        tag(586, size_mm, -410.0, -290.0),
    ]
}

fn four_quadrants(size_mm: f64) -> Vec<Printed> {
    let tags = four_tags(size_mm);
    tags.iter()
        .enumerate()
        .map(|(k, tag)| quadrant(k as u32, size_mm, tag.mark.centre.x_mm, tag.mark.centre.y_mm))
        .collect()
}

/// Root mean square distance per axis, pixels.
fn rms(pairs: impl Iterator<Item = (PxPoint, PxPoint)>) -> f64 {
    let squares: Vec<f64> = pairs.map(|(a, b)| a.distance(b).powi(2) / 2.0).collect();
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

fn corner_rms(marks: &Marks, printed: &[Printed], camera: &Camera) -> f64 {
    rms(marks.found.iter().flat_map(|mark| {
        let truth = printed[mark.index].corners(camera);
        mark.corners.unwrap().into_iter().zip(truth).collect::<Vec<_>>()
    }))
}

fn centre_rms(found: &[FoundMark], printed: &[Printed], camera: &Camera) -> f64 {
    rms(found.iter().map(|mark| (mark.centre, printed[mark.index].centre(camera))))
}

/// The spread and the mean of errors over sigma must be those of a standard normal: 0.8 to 1.25 for under 400 pulls.
fn assert_pulls(pulls: &[f64], what: &str) {
    let mean = pulls.iter().sum::<f64>() / pulls.len() as f64;
    let spread = (pulls.iter().map(|pull| pull * pull).sum::<f64>() / pulls.len() as f64).sqrt();
    let bounds = if pulls.len() >= 400 { 0.75..1.15 } else { 0.7..1.25 };
    assert!(
        bounds.contains(&spread) && mean.abs() < 0.2,
        "{what}: n {} spread {spread:.3} mean {mean:.3}",
        pulls.len()
    );
}

fn axes(found: PxPoint, truth: PxPoint, sigma: f64) -> [f64; 2] {
    [(found.x - truth.x) / sigma, (found.y - truth.y) / sigma]
}

#[test]
fn tags_in_many_poses_are_placed_to_a_twentieth_pixel_with_honest_sigma() {
    let (mut centres, mut corners, mut worst) = (Vec::new(), Vec::new(), 0.0f64);
    for seed in 0..50 {
        let mut random = Random::new(seed + 1);
        let printed = four_tags(100.0);
        let turns = [random.between(-40.0, 40.0), random.between(-25.0, 25.0), random.between(-25.0, 25.0)];
        let camera = Camera::new((390.0, 330.0), random.between(0.42, 0.6), 2500.0, turns);
        let level = random.between(0.05, 0.8);
        let shot = Shot {
            width: 780,
            height: 660,
            camera,
            light: &|x, y| level * (1.0 + 0.0006 * x - 0.0007 * y),
            blur_px: random.between(0.6, 1.1),
            noise_codes: 2.0,
            seed: seed + 1000,
        };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(marks.missing.is_empty(), "seed {seed}: {:?}", marks.missing);
        worst = worst.max(corner_rms(&marks, &printed, &camera));
        for mark in &marks.found {
            let truth = printed[mark.index];
            centres.extend(axes(mark.centre, truth.centre(&camera), mark.centre_sigma_px));
            for (corner, truth) in mark.corners.unwrap().into_iter().zip(truth.corners(&camera)) {
                corners.extend(axes(corner, truth, mark.corner_sigma_px));
            }
        }
    }
    // The aim for tags of 40 to 60 px in moderate noise; dim pictures of this set lie near it.
    assert!(worst < 0.08, "worst corner rms {worst:.3} px");
    assert_pulls(&centres, "centres");
    assert_pulls(&corners, "corners");
}

#[test]
fn every_code_is_read_in_every_rotation() {
    const SIDE: usize = 6;
    let camera = Camera::new((190.0, 190.0), 1.0, 5000.0, [0.0, 0.0, 3.0]);
    for quarter_turns in 0..4 {
        for first in (0..587).step_by(SIDE * SIDE) {
            let ids = first..(first + (SIDE * SIDE) as u32).min(587);
            let printed: Vec<Printed> = ids
                .enumerate()
                .map(|(k, id)| {
                    let place = |k: usize| 58.0 * (k as f64 - 2.5);
                    Printed { quarter_turns, ..tag(id, 34.0, place(k % SIDE), place(k / SIDE)) }
                })
                .collect();
            let shot =
                Shot { width: 380, height: 380, camera, light: &|_, _| 0.4, blur_px: 0.7, noise_codes: 1.0, seed: 1 };
            let marks = find_all(&shot.photo(&printed), &printed);
            assert!(marks.missing.is_empty(), "turned {quarter_turns}: {:?}", marks.missing);
            assert!(corner_rms(&marks, &printed, &camera) < 0.1, "corners must be those of the wall, not of the code");
        }
    }
}

#[test]
fn tags_of_24_px_under_blur_and_noise_are_found() {
    let printed = four_tags(60.0);
    for seed in 0..6 {
        let camera = Camera::new((220.0, 180.0), 0.4, 3000.0, [5.0, -4.0, 4.0 * seed as f64 - 10.0]);
        let shot = Shot { width: 440, height: 360, camera, light: &|_, _| 0.3, blur_px: 0.8, noise_codes: 2.0, seed };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(marks.missing.is_empty(), "seed {seed}: {:?}", marks.missing);
        assert!(centre_rms(&marks.found, &printed, &camera) < 0.06);
    }
}

#[test]
fn tags_seen_from_60_degrees_are_found() {
    let printed = four_tags(110.0);
    let camera = Camera::new((280.0, 280.0), 0.5, 3000.0, [58.0, 0.0, 5.0]);
    let shot = Shot { width: 560, height: 560, camera, light: &|_, _| 0.3, blur_px: 0.7, noise_codes: 2.0, seed: 5 };
    let marks = find_all(&shot.photo(&printed), &printed);
    assert!(marks.missing.is_empty(), "{:?}", marks.missing);
    assert!(corner_rms(&marks, &printed, &camera) < 0.12);
}

/// Linear white of 0.004 of full scale: code 13 on 3.
#[test]
fn dim_tags_are_found() {
    let printed = four_tags(100.0);
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [8.0, -5.0, 2.0]);
    for seed in 0..4 {
        let shot =
            Shot { width: 560, height: 440, camera, light: &|_, _| 0.0047, blur_px: 0.8, noise_codes: 1.5, seed };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(marks.missing.is_empty(), "seed {seed}: {:?}", marks.missing);
        assert!(centre_rms(&marks.found, &printed, &camera) < 0.12);
    }
}

/// A cutoff that crosses two tags: thirty times the light, at its steepest 0.019 decades a millimetre, which is G =
/// 0.32 at 10 m and so sharper than most lamps.
#[test]
fn a_cutoff_across_tags_neither_hides_nor_shifts_them() {
    let printed = four_tags(120.0);
    let camera = Camera::new((280.0, 230.0), 0.5, 3000.0, [6.0, 5.0, -3.0]);
    for edge_mm in [-340.0, -310.0, -280.0] {
        let light = |_: f64, y: f64| 0.02 * 30f64.powf(1.0 / (1.0 + ((y - edge_mm) / 20.0).exp()));
        let shot = Shot { width: 560, height: 460, camera, light: &light, blur_px: 0.8, noise_codes: 1.5, seed: 3 };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(marks.missing.is_empty(), "edge {edge_mm}: {:?}", marks.missing);
        for mark in &marks.found {
            let error = mark.centre.distance(printed[mark.index].centre(&camera));
            assert!(error < 0.1_f64.max(4.0 * mark.centre_sigma_px), "edge {edge_mm}: {error:.3} px, {mark:?}");
        }
    }
}

/// The hard shadow of something in the room, an eighth of the light, slanting across a tag.
#[test]
fn a_hard_shadow_across_a_tag_does_not_hide_it() {
    let printed = four_tags(110.0);
    let camera = Camera::new((280.0, 230.0), 0.5, 3000.0, [6.0, 5.0, -3.0]);
    for shift in [-40.0, -15.0, 10.0, 35.0] {
        let light = |x: f64, y: f64| if x - 390.0 + 0.5 * (y + 310.0) > shift { 0.05 } else { 0.4 };
        let shot = Shot { width: 560, height: 460, camera, light: &light, blur_px: 0.8, noise_codes: 1.5, seed: 3 };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(marks.missing.is_empty(), "shift {shift}: {:?}", marks.missing);
        for mark in &marks.found {
            let error = mark.centre.distance(printed[mark.index].centre(&camera));
            assert!(error < 0.1_f64.max(4.0 * mark.centre_sigma_px), "shift {shift}: {error:.3} px, {mark:?}");
        }
    }
}

/// White at twice full scale: only the lower part of each edge is seen.
#[test]
fn clipped_white_does_not_move_corners() {
    let printed = four_tags(110.0);
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [10.0, 6.0, 4.0]);
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 2.4, blur_px: 0.9, noise_codes: 1.5, seed: 3 };
    let marks = find_all(&shot.photo(&printed), &printed);
    assert!(marks.missing.is_empty(), "{:?}", marks.missing);
    assert!(centre_rms(&marks.found, &printed, &camera) < 0.03);
    for mark in &marks.found {
        let truth = printed[mark.index].corners(&camera);
        for (corner, truth) in mark.corners.unwrap().into_iter().zip(truth) {
            assert!(corner.distance(truth) < 4.0 * mark.corner_sigma_px, "{} {mark:?}", corner.distance(truth));
        }
    }
}

/// Bluish light through a JPEG file, whose colour is stored at half resolution.
#[test]
fn coloured_light_and_jpeg_coding_do_no_harm() {
    let printed = four_tags(90.0);
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [12.0, -6.0, -4.0]);
    let channel = |part: f64, seed: u64| {
        let light = move |x: f64, _: f64| part * (0.2 + 0.0003 * x);
        Shot { width: 560, height: 440, camera, light: &light, blur_px: 0.8, noise_codes: 2.0, seed }.codes(&printed)
    };
    let (red, green, blue) = (channel(0.5, 1), channel(0.8, 2), channel(1.3, 3));
    let rgb: Vec<u8> = red.iter().zip(&green).zip(&blue).flat_map(|((&r, &g), &b)| [r, g, b]).collect();
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, 85).encode(&rgb, 560, 440, ExtendedColorType::Rgb8).unwrap();
    let decoded = image::load_from_memory_with_format(&file, ImageFormat::Jpeg).unwrap().to_rgb8().into_raw();
    let photo = Photo { pixels: Pixels::Rgb8(decoded), ..gray(Vec::new(), 560, 440, 1) };
    let marks = find_all(&photo, &printed);
    assert!(marks.missing.is_empty(), "{:?}", marks.missing);
    assert!(corner_rms(&marks, &printed, &camera) < 0.06);
}

#[test]
fn orientation_of_the_file_does_not_matter() {
    let printed = four_tags(100.0);
    let camera = Camera::new((281.0, 221.0), 0.5, 3000.0, [8.0, -5.0, 2.0]);
    let shot = Shot { width: 561, height: 443, camera, light: &|_, _| 0.3, blur_px: 0.8, noise_codes: 1.0, seed: 9 };
    let codes = shot.codes(&printed);
    for orientation in 1..=8 {
        let (w, h) = if orientation < 5 { (561, 443) } else { (443, 561) };
        let map = lampwright::photo::UprightMap::new(w, h, orientation);
        let mut stored = vec![0; codes.len()];
        for (at, code) in codes.iter().enumerate() {
            stored[map.index(at % 561, at / 561)] = *code;
        }
        let bay: Vec<Mark> = printed.iter().map(|printed| printed.mark).collect();
        let options = FindOptions { search_side_px: 280, ..FindOptions::default() };
        let marks = find(&gray(stored, w, h, orientation), &bay, &[], &options);
        assert!(marks.missing.is_empty() && corner_rms(&marks, &printed, &camera) < 0.06, "orientation {orientation}");
    }
}

#[test]
fn a_covered_tag_is_missing_and_its_place_is_told() {
    let mut printed = four_tags(100.0);
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [15.0, -10.0, 5.0]);
    printed[1].is_covered = true;
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 0.3, blur_px: 0.8, noise_codes: 1.5, seed: 2 };
    let marks = find_all(&shot.photo(&printed), &printed);
    assert_eq!(marks.found.len(), 3);
    assert_eq!((marks.missing[0].index, marks.missing[0].id), (1, 77));
    // Three tags' corners extrapolate their own hundredths of a pixel by ten times their size.
    assert!(marks.missing[0].expected.unwrap().distance(printed[1].centre(&camera)) < 3.0);
}

#[test]
fn a_tag_of_another_bay_is_not_taken() {
    let printed = four_tags(100.0);
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [0.0, 0.0, 0.0]);
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 0.3, blur_px: 0.8, noise_codes: 1.5, seed: 2 };
    let mut asked = printed.clone();
    asked[2].mark.id = 201;
    let marks = find_all(&shot.photo(&printed), &asked);
    assert_eq!(marks.found.iter().map(|mark| mark.index).collect::<Vec<_>>(), [0, 1, 3]);
}

#[test]
fn places_by_hand_go_before() {
    let printed = four_tags(100.0);
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [0.0, 0.0, 0.0]);
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 0.3, blur_px: 0.8, noise_codes: 1.5, seed: 2 };
    let bay: Vec<Mark> = printed.iter().map(|printed| printed.mark).collect();
    let hand = PxPoint::new(401.0, 99.0);
    let marks = find(&shot.photo(&printed), &bay, &[(77, hand), (5, hand)], &FindOptions::default());
    assert_eq!(marks.found.len(), 4);
    let mark = &marks.found[1];
    assert!(mark.is_by_hand && mark.centre == hand && mark.corners.is_none() && mark.centre_sigma_px > 0.5);
}

#[test]
fn quadrant_marks_are_placed_with_honest_sigma_up_to_40_degrees() {
    let mut pulls = Vec::new();
    for seed in 0..40 {
        let mut random = Random::new(seed + 1);
        let printed = four_quadrants(100.0);
        let turns = [random.between(-35.0, 35.0), random.between(-20.0, 20.0), random.between(-40.0, 40.0)];
        let camera = Camera::new((390.0, 390.0), random.between(0.42, 0.55), 2500.0, turns);
        let level = random.between(0.02, 0.8);
        let shot = Shot {
            width: 780,
            height: 780,
            camera,
            light: &|x, y| level * (1.0 + 0.0006 * x - 0.0007 * y),
            blur_px: random.between(0.6, 1.1),
            noise_codes: 2.0,
            seed: seed + 1000,
        };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(marks.missing.is_empty(), "seed {seed} turns {turns:?}: {:?}", marks.missing);
        for mark in &marks.found {
            pulls.extend(axes(mark.centre, printed[mark.index].centre(&camera), mark.centre_sigma_px));
        }
        assert!(centre_rms(&marks.found, &printed, &camera) < 0.1, "seed {seed}");
    }
    assert_pulls(&pulls, "quadrant centres");
}

#[test]
fn which_quadrant_mark_is_which_does_not_depend_on_their_order() {
    let mut printed = four_quadrants(80.0);
    printed.push(quadrant(9, 100.0, 30.0, 250.0));
    let camera = Camera::new((280.0, 220.0), 0.45, 3000.0, [20.0, -10.0, 12.0]);
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 0.2, blur_px: 0.8, noise_codes: 2.0, seed: 6 };
    let photo = shot.photo(&printed);
    for turn in 0..printed.len() {
        printed.rotate_left(1);
        let marks = find_all(&photo, &printed);
        assert!(marks.missing.is_empty() && centre_rms(&marks.found, &printed, &camera) < 0.1, "turn {turn}");
    }
}

#[test]
fn a_covered_quadrant_mark_is_missing_and_its_place_is_told() {
    let mut printed = four_quadrants(90.0);
    printed[2].is_covered = true;
    let camera = Camera::new((280.0, 220.0), 0.5, 3000.0, [15.0, -10.0, 5.0]);
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 0.3, blur_px: 0.8, noise_codes: 1.5, seed: 2 };
    let marks = find_all(&shot.photo(&printed), &printed);
    assert_eq!(marks.found.iter().map(|mark| mark.index).collect::<Vec<_>>(), [0, 1, 3]);
    // Three centres fix no perspective: 15 degrees over 800 mm from 3 m shift the fourth by up to a tenth of the
    // layout.
    assert!(marks.missing[0].expected.unwrap().distance(printed[2].centre(&camera)) < 45.0);
}

#[test]
fn small_and_dim_quadrant_marks_are_found() {
    let printed = four_quadrants(60.0);
    let camera = Camera::new((280.0, 220.0), 0.42, 3000.0, [5.0, -5.0, 3.0]);
    for (seed, level) in [(1, 0.3), (2, 0.0047), (3, 0.02)] {
        let shot = Shot { width: 560, height: 440, camera, light: &|_, _| level, blur_px: 0.8, noise_codes: 1.5, seed };
        let marks = find_all(&shot.photo(&printed), &printed);
        assert!(
            marks.missing.is_empty() && centre_rms(&marks.found, &printed, &camera) < 0.25,
            "level {level}: {marks:?}"
        );
    }
}

#[test]
fn a_mixed_bay_uses_its_tags_to_name_quadrant_marks() {
    let mut printed = four_tags(100.0);
    printed[0] = quadrant(0, 90.0, -400.0, 300.0);
    printed[2] = quadrant(2, 90.0, 390.0, -310.0);
    let camera = Camera::new((280.0, 220.0), 0.45, 3000.0, [20.0, -10.0, -8.0]);
    let shot = Shot { width: 560, height: 440, camera, light: &|_, _| 0.2, blur_px: 0.8, noise_codes: 2.0, seed: 6 };
    let marks = find_all(&shot.photo(&printed), &printed);
    assert!(marks.missing.is_empty(), "{:?}", marks.missing);
    assert!(centre_rms(&marks.found, &printed, &camera) < 0.06);
}

#[test]
fn pictures_without_marks_give_none_and_do_no_harm() {
    let mut bay: Vec<Mark> = four_tags(100.0).iter().map(|printed| printed.mark).collect();
    bay.extend(four_quadrants(100.0).iter().map(|printed| printed.mark));
    for (w, h) in [(1, 1), (1, 40), (40, 1), (2, 3), (64, 48), (300, 200)] {
        let mut random = Random::new(7);
        let noise: Vec<u8> = (0..w * h).map(|_| (256.0 * random.unit()) as u8).collect();
        for codes in [vec![0; w * h], vec![255; w * h], noise] {
            for orientation in [1, 6] {
                let marks = find(&gray(codes.clone(), w, h, orientation), &bay, &[], &FindOptions::default());
                assert_eq!((marks.found.len(), marks.missing.len()), (0, 8));
            }
        }
    }
    assert_eq!(find(&gray(vec![9; 4], 2, 2, 1), &[], &[], &FindOptions::default()), Marks::default());
}
