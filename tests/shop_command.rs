//! What a shop asks beside the photo, from outside: rules, the checklist, how the vehicle stands, a floor's plane, sessions.

#![allow(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::bay::Bay;
use lampwright::kit::session::Session;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const BAY: &str = include_str!("../calib/bays/demo.bay.toml");
const SURVEY: &str = include_str!("../calib/bays/demo.survey.toml");
const BY_HEIGHT: &str = include_str!("../calib/rules/gb-inspection.toml");

/// A folder with the demo bay in it.
struct Shop(tempfile::TempDir);

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("bay.toml"), BAY).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Status, and everything that was printed.
    fn run(&self, line: &str) -> (i32, String) {
        let output = Command::new(env!("CARGO_BIN_EXE_lampwright"))
            .args(line.split_whitespace())
            .current_dir(self.0.path())
            .output()
            .unwrap();
        let text = [output.stdout, output.stderr].concat();
        (output.status.code().unwrap(), String::from_utf8_lossy(&text).into_owned())
    }

    fn good(&self, line: &str) -> String {
        let (status, text) = self.run(line);
        assert_eq!(status, 0, "{line}: {text}");
        text
    }

    fn bad(&self, line: &str, expected: &str) {
        let (status, text) = self.run(line);
        assert!(status == 2 && text.contains(expected) && text.contains("hint: "), "{line}: {status} {text}");
    }

    fn session(&self) -> Session {
        Session::parse(&fs::read_to_string(self.path("s.json")).unwrap(), "s.json").unwrap()
    }
}

/// A photo that is no wall at all: it is refused, and the reading says what it was judged by.
fn grey_photo(path: &Path) {
    image::GrayImage::from_pixel(1280, 960, image::Luma([90])).save(path).unwrap();
}

#[test]
fn rules_are_listed_shown_and_checked() {
    let shop = Shop::new();
    let list = shop.good("rules list");
    for word in ["shop-check", "practice", "unverified", "common practice, no source"] {
        assert!(list.contains(word), "{word}: {list}");
    }
    // Worked by hand: 2 in are 50.8 mm, which at 25 ft (7620 mm) are atan(50.8 / 7620) = 0.382 degrees; 1 % is 0.573 degrees.
    let shown = shop.good("rules show shop-check --distance-mm 7620");
    for words in ["-0.573 deg   -1.000 %     -76.2 mm    -3.00 in", "+0.382 deg   +0.667 %     +50.8 mm    +2.00 in"] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    shop.bad("rules show no-such-rule", "neither a built-in rule nor a file");
    fs::write(shop.path("mine.toml"), BY_HEIGHT).unwrap();
    shop.good("rules check mine.toml");
    fs::write(shop.path("mine.toml"), BY_HEIGHT.replace("2016-03-24", "2016-02")).unwrap();
    shop.bad("rules check mine.toml", "is no day");
    fs::write(shop.path("mine.toml"), BY_HEIGHT.replace("percent = -2.75", "percent = nan")).unwrap();
    shop.bad("rules check mine.toml", "is NaN, need a finite number");
}

#[test]
fn the_checklist_goes_by_rule_and_lamp() {
    let shop = Shop::new();
    let text = shop.good("prepare");
    assert!(text.contains("Park brake on") && text.contains("high voltage"), "{text}");
    assert!(!shop.good("prepare --lamp-kind led").contains("high voltage, also shortly after"));
    let items: Value = serde_json::from_str(&shop.good("prepare --json")).unwrap();
    let brake = items.as_array().unwrap().iter().find(|item| item["id"] == "brake").unwrap();
    assert_eq!(brake["is_stop"], true);
}

/// Worked by hand. Front axle 13 mm to the right, the rear one in the middle, 2600 mm apart: atan(13 / 2600) = 0.286 degrees;
/// 2 mm a wheel make 2 / 2600 = 0.044 degrees. A right hub 10 mm farther over 1500 mm: 0.382 degrees; 2 mm a hub make
/// 2 sqrt(2) / 1500 = 0.108 degrees, 0.5 mm a quarter of that.
#[test]
fn the_vehicle_s_yaw_has_the_tape_s_uncertainty() {
    let shop = Shop::new();
    let offsets = "--front-left-mm 737 --front-right-mm 763 --rear-left-mm 750 --rear-right-mm 750 --wheelbase-mm 2600";
    let text = shop.good(&format!("vehicle yaw {offsets}"));
    assert!(text.contains("--vehicle-yaw-deg 0.286 --vehicle-yaw-u-deg 0.044"), "{text}");
    let hubs = "vehicle yaw --hub-left-mm 9990 --hub-right-mm 10000 --track-mm 1500";
    for (more, expected) in [
        ("--wall-yaw-sigma-deg 0", "--vehicle-yaw-u-deg 0.108"),
        ("--wall-yaw-sigma-deg 0 --tape-sigma-mm 0.5", "--vehicle-yaw-u-deg 0.027"),
        // 0.108 and the 0.05 that is assumed of the wall.
        ("", "--vehicle-yaw-u-deg 0.119"),
    ] {
        let text = shop.good(&format!("{hubs} {more}"));
        assert!(text.contains("--vehicle-yaw-deg 0.382") && text.contains(expected), "{more}: {text}");
    }
    // A bay whose survey says how well its wall's yaw is known.
    fs::write(shop.path("s.toml"), SURVEY).unwrap();
    shop.good("bay survey --from s.toml --out surveyed.toml");
    let surveyed = Bay::parse(&fs::read_to_string(shop.path("surveyed.toml")).unwrap(), "b").unwrap();
    let sigma = surveyed.survey.unwrap().yaw_sigma_deg.unwrap();
    let text = shop.good(&format!("{hubs} --bay surveyed.toml"));
    assert!(text.contains(&format!("wall's own yaw {sigma:.3} (by the bay's survey)")), "{text}");
    assert!(text.contains(&format!("--vehicle-yaw-u-deg {:.3}", 0.108_04_f64.hypot(sigma))), "{text}");
    shop.bad(&format!("{hubs} --wall-yaw-sigma-deg nan"), "--wall-yaw-sigma-deg NaN: need 0 to 5");
    shop.bad("vehicle yaw", "nothing to work out the yaw from");
    assert!(shop.good("vehicle height --lower-edge-mm 600 --upper-edge-mm 700").contains("--height-mm 650.0"));
    // What is wrong about the option that takes it.
    grey_photo(&shop.path("p.png"));
    let measure = "measure p.png --bay bay.toml --lamp left --height-mm 650";
    shop.bad(&format!("{measure} --vehicle-yaw-deg 0.3 --vehicle-yaw-u-deg 9"), "--vehicle-yaw-u-deg 9: need 0 to 5");
    let (status, text) = shop.run(&format!("{measure} --vehicle-yaw-u-deg 0.1"));
    assert!(status == 2 && text.contains("--vehicle-yaw-deg"), "{text}");
}

/// Worked by hand. Wheels at 750 mm either side, 2500 mm apart; the floor rises 25 mm to the front and 12 mm to the right, and
/// the front left place lies 4 mm too low. Least squares share that out: 1 mm at each wheel; the front's mean loses 2 mm,
/// so does the left's: 23 / 2500 = 0.92 % and 14 / 1500 = 0.933 %.
#[test]
fn a_floor_s_plane_is_the_one_worked_by_hand() {
    let shop = Shop::new();
    let changes = [
        ("front_left_mm = 760.0", "front_left_mm = 750.0"),
        ("front_right_mm = 762.0", "front_right_mm = 750.0"),
        ("rear_left_mm = 755.0", "rear_left_mm = 750.0"),
        ("rear_right_mm = 757.0", "rear_right_mm = 750.0"),
        ("wheelbase_mm = 2640.0", "wheelbase_mm = 2500.0"),
        ("\"front left\", mm = 1209.8", "\"front left\", mm = 1210.0"),
        ("\"front right\", mm = 1206.3", "\"front right\", mm = 1194.0"),
        ("\"rear left\", mm = 1224.6", "\"rear left\", mm = 1231.0"),
        ("\"rear right\", mm = 1218.4", "\"rear right\", mm = 1219.0"),
    ];
    let text = changes.iter().fold(SURVEY.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    fs::write(shop.path("s.toml"), text).unwrap();
    shop.good("bay survey --from s.toml --out surveyed.toml");
    let bay = Bay::parse(&fs::read_to_string(shop.path("surveyed.toml")).unwrap(), "b").unwrap();
    let floor = bay.floor.unwrap();
    // The file is written to 0.001 %; wheels are adjusted by a fraction of a millimetre.
    assert!((floor.slope.get() - 0.92).abs() < 0.003, "{floor:?}");
    assert!((floor.cross.get() - 0.9333).abs() < 0.003, "{floor:?}");
    let flatness = bay.survey.unwrap().flatness_mm.unwrap();
    assert!((flatness - 1.0).abs() < 0.02, "{flatness}");
}

#[test]
fn every_beam_of_a_session_has_its_own_rule_pattern_and_edge() {
    let shop = Shop::new();
    let rule = BY_HEIGHT.replace("height = \"centre\"", "height = \"lower-edge\"");
    assert_ne!(rule, BY_HEIGHT);
    fs::write(shop.path("edge.toml"), rule).unwrap();
    let start = "aim start s.json --vehicle order-7 --bay bay.toml --height-mm 650 --lamps fog";
    // A rule that goes by the lower edge is told of it for the beams that it judges.
    shop.bad(&format!("{start} -- --rules edge.toml --traffic left"), "add --lower-edge-mm N");
    let fog = "--other-rules shop-check --other-pattern flat --other-height-mm 400 --other-lower-edge-mm 350";
    let text = shop.good(&format!(
        "{start} {fog} --lower-edge-mm 600 -- --rules edge.toml --traffic left --pattern kink --nominal-percent -1.2"
    ));
    assert!(text.contains("Checklist, not answered: brake, exhaust"), "{text}");
    let words: Vec<String> = shop.session().lamps.iter().map(|lamp| lamp.words.join(" ")).collect();
    let low = "--pattern kink --nominal-percent -1.2 --height-mm 650 --lower-edge-mm 600";
    let other = "--height-mm 400 --lower-edge-mm 350 --rules shop-check --pattern flat";
    assert_eq!(words, [low, low, other, other]);
    grey_photo(&shop.path("p.png"));
    for (lamp, rules, pattern, edge) in [("low", "gb-inspection", "kink", 600.0), ("fog", "shop-check", "flat", 350.0)]
    {
        let (status, text) = shop.run(&format!("aim photo s.json p.png --lamp left --beam {lamp}"));
        assert_eq!(status, 3, "{text}");
        let session = shop.session();
        let setup = &session.lamps.iter().find(|of| of.beam == lamp).unwrap().shots[0].reading.setup;
        assert_eq!((setup.rules.as_str(), setup.pattern.as_str(), setup.lower_edge_mm), (rules, pattern, Some(edge)));
        assert_eq!(setup.nominal_percent, (lamp == "low").then_some(-1.2));
    }
    let start = start.replace("s.json", "t.json").replace(" --lamps fog", "");
    shop.bad(&format!("{start} --other-rules shop-check"), "the session has low beams alone");
}

/// A session of an earlier version holds its rule and pattern among the common words alone.
#[test]
fn a_session_of_an_earlier_version_goes_on() {
    let shop = Shop::new();
    shop.good("aim start s.json --vehicle order-7 --bay bay.toml --height-mm 650 --lamps four -- --rules shop-check");
    let text = fs::read_to_string(shop.path("s.json")).unwrap();
    let mut session: Value = serde_json::from_str(&text).unwrap();
    session["common"].as_array_mut().unwrap().extend(["--pattern".into(), "spot".into()]);
    fs::write(shop.path("s.json"), session.to_string()).unwrap();
    grey_photo(&shop.path("p.png"));
    assert_eq!(shop.run("aim photo s.json p.png").0, 3);
    assert_eq!(shop.session().lamps[0].shots[0].reading.setup.pattern, "spot");
}

#[test]
fn numbers_that_are_none_are_named() {
    let shop = Shop::new();
    grey_photo(&shop.path("p.png"));
    let measure = "measure p.png --bay bay.toml --lamp left --height-mm 650";
    fs::write(
        shop.path("screws.toml"),
        include_str!("../calib/screws/two-screws.screws.toml").replacen("0.65", "inf", 1),
    )
    .unwrap();
    shop.bad(&format!("{measure} --screws screws.toml"), "deg_per_turn is inf, need a finite number");
    let lens = "schema = \"lampwright/lens/1\"\nmodel = \"opencv5\"\nwidth = 1280\nheight = 960\nfx = nan\nfy = 500.0\ncx = 320.0\n\
                cy = 240.0\nk1 = 0.0\nk2 = 0.0\np1 = 0.0\np2 = 0.0\nk3 = 0.0\n";
    fs::write(shop.path("lens.toml"), lens).unwrap();
    shop.bad(&format!("{measure} --lens lens.toml"), "fx is NaN, need a finite number");
    assert!(BAY.contains("slope_percent = "));
    let bay: Vec<&str> =
        BAY.lines().map(|line| if line.starts_with("slope_percent") { "slope_percent = nan" } else { line }).collect();
    fs::write(shop.path("bay.toml"), bay.join("\n")).unwrap();
    for line in [measure, "bay show bay.toml"] {
        shop.bad(line, "floor.slope_percent is NaN, need a finite number");
    }
}

#[test]
fn photos_of_no_board_are_refused_photos() {
    let shop = Shop::new();
    let photos = ["a.png", "b.png", "c.png"];
    for name in photos {
        grey_photo(&shop.path(name));
    }
    let lens = "lens a.png b.png c.png --columns 10 --rows 7 --square-mm 25 --out lens.toml";
    let (status, text) = shop.run(lens);
    assert!(status == 3 && text.contains("a.png: refused: ") && text.contains("take more photos"), "{status} {text}");
    assert!(!shop.path("lens.toml").exists());
    shop.bad(&lens.replace("a.png b.png c.png", "none.png"), "cannot be read");
}
