//! How the camera moved between two photos of the same wall in different light.
//!
//! **Takes** two photos from (nearly) the same place: lamp on and lamp off, dark and with the room's light on.
//! **Gives** the movement of the picture from the first to the second, with its uncertainty, or why it cannot be told.
//! **How**: marks, joints, the floor line and the wall's texture look alike in both once shading is taken out; patches of
//! them are found again by normalised correlation, placed to a fraction of a pixel and fitted by one movement
//! (`pair_match.rs`, `pair_fit.rs`). What only one photo has (the beam, a shadow) agrees with nothing.
//! **Weak when** little but the beam is visible in the dark photo: few patches, a larger sigma.
//! **Fails when** the photos differ in size or orientation, show too little in common, or were taken from elsewhere:
//! [`PairShift::NotRecoverable`] with the reason.

use super::image::Photo;
use super::options::PhotoOptions;
use super::pair_fit::{Fit, Movement, fit};
use super::pair_match::find_matches;
use crate::units::PxPoint;

/// The movement between two photos.
#[derive(Debug, Clone, PartialEq)]
pub enum PairShift {
    /// The movement was found; it may well be zero.
    Found(FoundShift),
    /// The photos do not tell.
    NotRecoverable {
        /// Why, with the numbers in it.
        reason: String,
    },
}

/// A movement of the picture from the first photo to the second, upright pixels, x right, y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundShift {
    /// Shift at the picture's centre to the right, pixels.
    pub dx_px: f64,
    /// Shift at the picture's centre downwards, pixels.
    pub dy_px: f64,
    /// Standard uncertainty of `dx_px`.
    pub sigma_x_px: f64,
    /// Standard uncertainty of `dy_px`.
    pub sigma_y_px: f64,
    /// Rotation about the centre, degrees, clockwise as seen positive; 0 when the photos show none.
    pub rotation_deg: f64,
    /// Change of scale about the centre; 1 when the photos show none.
    pub scale: f64,
    /// The picture's centre.
    pub centre: PxPoint,
    /// Patches that agree with the movement.
    pub agreeing: usize,
    /// Patches that were tried.
    pub tried: usize,
}

impl FoundShift {
    /// Where a place of the first photo stands in the second.
    pub fn place_in_second(&self, place: PxPoint) -> PxPoint {
        let [dx, dy] = self.movement().shift_at(place);
        PxPoint::new(place.x + dx, place.y + dy)
    }

    /// Where a place of the second photo stands in the first.
    pub fn place_in_first(&self, place: PxPoint) -> PxPoint {
        let movement = self.movement();
        // place = c + t + M (first - c), with M = [1 + s, -r; r, 1 + s].
        let (s, r) = (1.0 + movement.parameters[2], movement.parameters[3]);
        let (x, y) = (place.x - self.centre.x - self.dx_px, place.y - self.centre.y - self.dy_px);
        let square = s * s + r * r;
        PxPoint::new(self.centre.x + (s * x + r * y) / square, self.centre.y + (s * y - r * x) / square)
    }

    /// The longest shift within a picture of the given size, which is at one of its corners; pixels.
    pub fn largest_px(&self, width: f64, height: f64) -> f64 {
        let corners = [(0.0, 0.0), (width, 0.0), (0.0, height), (width, height)];
        let lengths = corners.map(|(x, y)| {
            let [dx, dy] = self.movement().shift_at(PxPoint::new(x, y));
            dx.hypot(dy)
        });
        lengths.into_iter().fold(0.0, f64::max)
    }

    fn movement(&self) -> Movement {
        let rotation = self.rotation_deg.to_radians();
        let (scaled, turned) = (self.scale * rotation.cos() - 1.0, self.scale * rotation.sin());
        Movement { centre: self.centre, parameters: [self.dx_px, self.dy_px, scaled, turned].into() }
    }
}

/// The movement of the picture from photo `a` to photo `b`.
pub fn shift_between(a: &Photo, b: &Photo, options: &PhotoOptions) -> PairShift {
    let not_recoverable = |reason: String| PairShift::NotRecoverable { reason };
    let sizes = [a, b].map(|photo| (photo.width(), photo.height()));
    if sizes[0] != sizes[1] {
        let [(w, h), (w2, h2)] = sizes;
        return not_recoverable(format!("the photos have different sizes, {w} x {h} and {w2} x {h2} pixels"));
    }
    if a.orientation != b.orientation {
        let (first, second) = (a.orientation, b.orientation);
        return not_recoverable(format!(
            "the camera was turned between the photos (EXIF orientation {first} and {second})"
        ));
    }
    let found = find_matches(a, b, options);
    let centre = PxPoint::new(a.width() as f64 / 2.0, a.height() as f64 / 2.0);
    let needed =
        options.pair.least_agreeing.max((options.pair.least_share * found.matches.len() as f64).ceil() as usize);
    let Some(fit) = fit(&found.matches, centre, options).filter(|_| found.matches.len() >= options.pair.least_agreeing)
    else {
        let (matched, tried, least) = (found.matches.len(), found.tried, options.pair.least_agreeing);
        return not_recoverable(format!(
            "only {matched} of {tried} places look alike in both photos, need {least}: marks, joints or the floor \
             line must be visible in both"
        ));
    };
    if fit.agreeing < needed {
        let (agreeing, matched) = (fit.agreeing, found.matches.len());
        return not_recoverable(format!("only {agreeing} of {matched} places moved alike, need {needed}"));
    }
    judged(&fit, centre, found.tried, options)
}

fn judged(fit: &Fit, centre: PxPoint, tried: usize, options: &PhotoOptions) -> PairShift {
    let sigma = |axis: usize| fit.covariance[(axis, axis)].max(0.0).sqrt().max(options.pair.sigma_floor_px);
    let p = &fit.movement.parameters;
    let shift = FoundShift {
        dx_px: p[0],
        dy_px: p[1],
        sigma_x_px: sigma(0),
        sigma_y_px: sigma(1),
        rotation_deg: p[3].atan2(1.0 + p[2]).to_degrees(),
        scale: (1.0 + p[2]).hypot(p[3]),
        centre,
        agreeing: fit.agreeing,
        tried,
    };
    let most = options.pair.most_roll_deg;
    if shift.rotation_deg.abs() > most {
        let reason = format!(
            "the camera was turned by {:.1} degrees and moved by {:.0} px between them, need {most} degrees or less: \
             it was not left in its place",
            shift.rotation_deg.abs(),
            shift.dx_px.hypot(shift.dy_px)
        );
        return PairShift::NotRecoverable { reason };
    }
    let (across, down) = (shift.sigma_x_px, shift.sigma_y_px);
    if across.max(down) > options.pair.most_sigma_px {
        let reason = format!(
            "the shift is known to {across:.1} px across and {down:.1} px down only, need {}",
            options.pair.most_sigma_px
        );
        return PairShift::NotRecoverable { reason };
    }
    PairShift::Found(shift)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::testing::{Noise, photo_of};

    const WIDTH: usize = 1200;
    const HEIGHT: usize = 900;

    /// Value noise: random values on a lattice, smooth between them.
    fn lattice(x: f64, y: f64, seed: u64) -> f64 {
        let corner = |i: f64, j: f64| {
            let key = (i as i64 as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (j as i64 as u64).rotate_left(32) ^ seed;
            let mut noise = Noise(key.wrapping_mul(0xD6E8_FEB8_6659_FD93));
            noise.uniform();
            noise.uniform()
        };
        let (i, j) = (x.floor(), y.floor());
        let ease = |t: f64| t * t * (3.0 - 2.0 * t);
        let (u, v) = (ease(x - i), ease(y - j));
        let above = corner(i, j) + u * (corner(i + 1.0, j) - corner(i, j));
        let below = corner(i, j + 1.0) + u * (corner(i + 1.0, j + 1.0) - corner(i, j + 1.0));
        above + v * (below - above) - 0.5
    }

    fn step(t: f64) -> f64 {
        1.0 / (1.0 + (-t / 0.7).exp())
    }

    /// Reflectance of an invented wall: plaster, four marks, and a floor line; at a place of the first photo.
    fn reflectance(x: f64, y: f64, plaster: f64) -> f64 {
        let mut wall = 0.7 + plaster * (lattice(x / 6.0, y / 6.0, 1) + lattice(x / 17.0, y / 17.0, 2));
        for (i, (mark_x, mark_y)) in
            [(210.0, 240.0), (940.0, 260.0), (230.0, 560.0), (960.0, 540.0)].into_iter().enumerate()
        {
            let (u, v) = (x - mark_x, y - mark_y);
            let inside = |half: f64| step(half - u.abs()) * step(half - v.abs());
            let core = 10.0 + 3.0 * i as f64;
            wall *= 1.0 - 0.9 * inside(32.0) + 0.9 * inside(core) * step(u + 4.0);
        }
        wall * (1.0 - 0.6 * step(y - 780.0 - 0.01 * x))
    }

    /// The lamp's light: bright below a cutoff with a kink, a hot spot; `dark` is the room's.
    fn lamp_light(x: f64, y: f64, dark: f64) -> f64 {
        let below = y - 430.0 + 0.25 * (x - 600.0).max(0.0);
        dark + step(below / 3.0) * 0.8 * (-((x - 640.0) / 500.0).powi(2) - ((y - 480.0) / 250.0).powi(2)).exp()
    }

    fn room_light(x: f64, y: f64) -> f64 {
        0.55 - 0.0002 * x + 0.1 * (y / 300.0).sin()
    }

    /// A photo of the wall after the camera moved.
    fn shot(movement: &Movement, light: impl Fn(f64, f64) -> f64, plaster: f64, seed: u64) -> Photo {
        let mut noise = Noise(seed);
        let shift = FoundShift {
            dx_px: movement.parameters[0],
            dy_px: movement.parameters[1],
            sigma_x_px: 0.0,
            sigma_y_px: 0.0,
            rotation_deg: movement.parameters[3].to_degrees(),
            scale: 1.0 + movement.parameters[2],
            centre: movement.centre,
            agreeing: 0,
            tried: 0,
        };
        photo_of(WIDTH, HEIGHT, |x, y| {
            let place = shift.place_in_first(PxPoint::new(x as f64 + 0.5, y as f64 + 0.5));
            let level = light(place.x, place.y) * reflectance(place.x, place.y, plaster);
            // The lamp's light stays on the wall, and the wall moves with the picture.
            let code = 255.0 * level.clamp(0.0, 1.0).powf(1.0 / 2.2) + 1.5 * noise.gauss();
            code.round().clamp(0.0, 255.0) as u8
        })
    }

    fn moved(dx: f64, dy: f64, scale: f64, rotation_deg: f64) -> Movement {
        let centre = PxPoint::new(WIDTH as f64 / 2.0, HEIGHT as f64 / 2.0);
        Movement { centre, parameters: [dx, dy, scale, rotation_deg.to_radians()].into() }
    }

    /// Truth: the wall is rendered at the moved places. Tolerance 0.2 px, which is asked of the method, and four sigma.
    #[test]
    fn shifts_are_found_from_lamp_to_room_light() {
        let lamp = shot(&moved(0.0, 0.0, 0.0, 0.0), |x, y| lamp_light(x, y, 0.03), 0.1, 1);
        for (dx, dy) in [(0.0, 0.0), (0.35, -0.6), (7.4, -3.25), (-28.3, 17.7)] {
            let room = shot(&moved(dx, dy, 0.0, 0.0), room_light, 0.1, 2);
            let PairShift::Found(found) = shift_between(&lamp, &room, &PhotoOptions::default()) else {
                panic!("{:?}", shift_between(&lamp, &room, &PhotoOptions::default()))
            };
            let (ex, ey) = (found.dx_px - dx, found.dy_px - dy);
            assert!(ex.abs() < 0.2 && ey.abs() < 0.2, "{dx} {dy}: {found:?}");
            assert!(ex.abs() < 4.0 * found.sigma_x_px && ey.abs() < 4.0 * found.sigma_y_px, "{dx} {dy}: {found:?}");
        }
    }

    #[test]
    fn a_small_rotation_is_found() {
        let truth = moved(5.2, -2.4, 0.0, 0.4);
        let lamp = shot(&moved(0.0, 0.0, 0.0, 0.0), |x, y| lamp_light(x, y, 0.05), 0.1, 3);
        let room = shot(&truth, room_light, 0.1, 4);
        let PairShift::Found(found) = shift_between(&lamp, &room, &PhotoOptions::default()) else {
            panic!("{:?}", shift_between(&lamp, &room, &PhotoOptions::default()))
        };
        assert!((found.rotation_deg - 0.4).abs() < 0.02, "{found:?}");
        for place in [PxPoint::new(200.0, 250.0), PxPoint::new(950.0, 550.0)] {
            let [dx, dy] = truth.shift_at(place);
            let seen = found.place_in_second(place);
            assert!(seen.distance(PxPoint::new(place.x + dx, place.y + dy)) < 0.3, "{found:?}");
            assert!(found.place_in_first(seen).distance(place) < 1e-9);
        }
        assert!(found.largest_px(WIDTH as f64, HEIGHT as f64) > 8.0);
    }

    /// A smooth wall: only marks and the floor line are common.
    #[test]
    fn marks_and_floor_are_enough() {
        let lamp = shot(&moved(0.0, 0.0, 0.0, 0.0), |x, y| lamp_light(x, y, 0.05), 0.0, 5);
        let room = shot(&moved(-6.7, 9.2, 0.0, 0.0), room_light, 0.0, 6);
        let PairShift::Found(found) = shift_between(&lamp, &room, &PhotoOptions::default()) else {
            panic!("{:?}", shift_between(&lamp, &room, &PhotoOptions::default()))
        };
        assert!((found.dx_px + 6.7).abs() < 0.2 && (found.dy_px - 9.2).abs() < 0.2, "{found:?}");
    }

    /// Truth: the wall is rendered turned. Half of the limit is measured, twice the limit is refused, either way round.
    #[test]
    fn a_camera_that_was_taken_up_is_refused() {
        let lamp = shot(&moved(0.0, 0.0, 0.0, 0.0), |x, y| lamp_light(x, y, 0.05), 0.1, 10);
        for turn in [-1.0, 1.0] {
            let little = shot(
                &moved(9.0, -6.0, 0.0, turn * 0.5 * PhotoOptions::default().pair.most_roll_deg),
                room_light,
                0.1,
                11,
            );
            assert!(matches!(shift_between(&lamp, &little, &PhotoOptions::default()), PairShift::Found(_)));
            let much = shot(
                &moved(9.0, -6.0, 0.0, turn * 2.0 * PhotoOptions::default().pair.most_roll_deg),
                room_light,
                0.1,
                12,
            );
            assert!(reason(&lamp, &much).contains("need"), "{}", reason(&lamp, &much));
        }
    }

    fn reason(a: &Photo, b: &Photo) -> String {
        match shift_between(a, b, &PhotoOptions::default()) {
            PairShift::NotRecoverable { reason } => reason,
            PairShift::Found(found) => panic!("{found:?}"),
        }
    }

    #[test]
    fn what_cannot_be_known_is_said() {
        let lamp = shot(&moved(0.0, 0.0, 0.0, 0.0), |x, y| lamp_light(x, y, 0.05), 0.1, 7);
        // Moved beyond the search; another wall altogether; black but for noise.
        let far = shot(&moved(170.0, -90.0, 0.0, 0.0), room_light, 0.1, 8);
        assert!(reason(&lamp, &far).contains("need"));
        let mut noise = Noise(9);
        let black = photo_of(WIDTH, HEIGHT, |_, _| (4.0 + 2.0 * noise.gauss()).clamp(0.0, 255.0) as u8);
        assert!(reason(&lamp, &black).contains("look alike"));
        assert!(reason(&black, &lamp).contains("look alike"));
        let flat = photo_of(WIDTH, HEIGHT, |_, _| 100);
        assert!(reason(&flat, &flat).contains("look alike"));
        assert!(reason(&lamp, &photo_of(900, 1200, |_, _| 9)).contains("different sizes"));
        let turned = Photo { orientation: 3, ..lamp.clone() };
        assert!(reason(&lamp, &turned).contains("orientation 1 and 3"));
        let tiny = photo_of(20, 10, |x, _| x as u8);
        assert!(reason(&tiny, &tiny).contains("look alike"));
    }

    /// Level joints alone leave the shift along them open.
    #[test]
    fn edges_of_one_direction_are_not_enough() {
        let joints = |shift: f64, seed: u64| {
            let mut noise = Noise(seed);
            photo_of(WIDTH, HEIGHT, |_, y| {
                let line = ((y as f64 - shift) / 9.0).sin().powi(4);
                (90.0 + 60.0 * line + noise.gauss()).round() as u8
            })
        };
        assert!(reason(&joints(0.0, 1), &joints(3.0, 2)).contains("px across"));
    }
}
