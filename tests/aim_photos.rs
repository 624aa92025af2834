//! An aiming session from its first photo to its last: two rendered lamps whose screws nobody told the program about.
//!
//! Truth: the screws are simulated here (what each does to both axes, and the play that a reversal takes up), the photos are
//! rendered for where they leave the beam, and what counts at the end is where the renderer says that cutoff and elbow are.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

use lampwright::kit::session::{Movement, ScrewName, Session};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Most movements of a lamp, learning ones counted: a movement is what is turned between two photos.
const MOST_MOVES: usize = 3;
/// Limits of the shop check, degrees: 2 in at 25 ft about -1 % and straight ahead (common practice, no source).
const LIMIT_DEG: f64 = 0.382;
const NOMINAL_V_DEG: f64 = -0.573;

/// A lamp's two screws and where its beam points.
struct Adjusters {
    /// Degrees right and up of one turn clockwise.
    vertical: (f64, f64),
    horizontal: (f64, f64),
    /// Turns that do nothing after a reversal.
    play: f64,
    /// Last direction of each, vertical first.
    last: [f64; 2],
    aim: (f64, f64),
}

impl Adjusters {
    fn turn(&mut self, movement: &Movement) {
        let (number, effect) = match movement.screw {
            ScrewName::Vertical => (0, self.vertical),
            ScrewName::Horizontal => (1, self.horizontal),
        };
        let turns = movement.quarter_turns / 4.0;
        let is_reversal = turns * self.last[number] < 0.0;
        let lost = if is_reversal { self.play.min(turns.abs()) } else { 0.0 };
        let effective = turns - lost.copysign(turns);
        self.last[number] = turns;
        self.aim = (self.aim.0 + effective * effect.0, self.aim.1 + effective * effect.1);
    }
}

fn run(folder: &Path, words: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_lampwright")).current_dir(folder).args(words).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let status = output.status.code().unwrap();
    assert!(status <= 1, "{words:?}: {status}\n{}{}", text(&output.stdout), text(&output.stderr));
    text(&output.stdout)
}

/// Renders a lamp's photo; gives the path of photo and bay without their ends. Every scene bears the same name, so that all
/// show the same wall.
fn render(folder: &Path, number: usize, side: &str, aim: (f64, f64)) -> PathBuf {
    let inside = folder.join(format!("photo-{number}"));
    fs::create_dir(&inside).unwrap();
    let scene = format!(
        "family = \"shop\"\nextends = \"clean\"\n[picture]\norientation = 1\n[setup]\nlamp = \"{side}\"\n\
         traffic = \"right\"\nheight_mm = 650.0\noffset_mm = 580.0\ndistance_mm = 10000.0\nvehicle_yaw_deg = 0.0\n\
         marks_sigma_mm = 0.6\n[camera]\nx_mm = 0.0\n[beam]\nshape = \"kink15\"\naim_h_deg = {:?}\naim_v_deg = {:?}\n",
        aim.0, aim.1
    );
    fs::write(inside.join("shop.toml"), scene).unwrap();
    run(&inside, &["scene", "--family", "shop.toml", "--n", "1", "--seed", "7", "--size", "2mp", "--out", "."]);
    inside.join("shop-007")
}

fn with(path: &Path, end: &str) -> String {
    format!("{}.{end}", path.display())
}

fn session(folder: &Path) -> Session {
    Session::parse(&fs::read_to_string(folder.join("s.json")).unwrap(), "s.json").unwrap()
}

#[test]
fn two_unknown_lamps_end_within_limits() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut lamps = [
        (
            "left",
            Adjusters { vertical: (0.08, -0.7), horizontal: (0.6, 0.06), play: 0.15, last: [1.0; 2], aim: (0.9, -1.5) },
        ),
        (
            "right",
            Adjusters { vertical: (-0.1, 0.9), horizontal: (-0.55, 0.1), play: 0.2, last: [1.0; 2], aim: (-0.8, 0.1) },
        ),
    ];
    let mut photos = 0;
    for (place, (side, adjusters)) in lamps.iter_mut().enumerate() {
        let mut moves = 0;
        let mut is_told = "--not-turned";
        loop {
            let at = render(folder, photos, side, adjusters.aim);
            photos += 1;
            if photos == 1 {
                let start = ["aim", "start", "s.json", "--vehicle", "order 7", "--bay", &with(&at, "bay.toml")];
                run(folder, &[&start[..], &["--height-mm", "650", "--offset-mm", "580"]].concat());
            }
            assert_eq!(session(folder).next(), Some(place), "{side} is next");
            run(folder, &["aim", "photo", "s.json", &with(&at, "jpg"), is_told]);
            let now = session(folder);
            if now.next() != Some(place) {
                let truth: Value = serde_json::from_str(&fs::read_to_string(with(&at, "truth.json")).unwrap()).unwrap();
                let (h, v) = (truth["elbow"]["h_deg"].as_f64().unwrap(), truth["elbow"]["v_deg"].as_f64().unwrap());
                assert!(h.abs() < LIMIT_DEG, "{side}: elbow at {h}");
                assert!((v - NOMINAL_V_DEG).abs() < LIMIT_DEG, "{side}: cutoff at {v}");
                assert!(moves > 0, "{side} was far out at first");
                break;
            }
            let proposed = &now.lamps[place].proposed;
            is_told = if proposed.is_empty() { "--not-turned" } else { "--as-told" };
            if !proposed.is_empty() {
                moves += 1;
                assert!(
                    moves <= MOST_MOVES,
                    "{side}: {} movements were not enough, aim {:?}",
                    moves - 1,
                    adjusters.aim
                );
            }
            for movement in proposed {
                adjusters.turn(movement);
            }
        }
    }
    assert_eq!(session(folder).next(), None);
    let summary = run(folder, &["aim", "summary", "s.json"]);
    for words in ["left", "right", "pass"] {
        assert!(summary.to_lowercase().contains(words), "{words} is missing in {summary}");
    }
}
