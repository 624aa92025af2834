//! `lampwright sheet` from outside: sizes in the PDF, pages, what is refused. The PDF is read with another library.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

use lopdf::content::Content;
use lopdf::{Document, Object, ObjectId};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What a shop measures with a steel rule, mm.
const RULE_MM: f64 = 0.1;
const POINTS_PER_MM: f64 = 72.0 / 25.4;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn demo_bay() -> String {
    root().join("calib/bays/demo.bay.toml").display().to_string()
}

/// Exit status, standard output, standard error.
fn sheet(folder: &Path, words: &[&str]) -> (i32, String, String) {
    let output =
        Command::new(env!("CARGO_BIN_EXE_lampwright")).current_dir(folder).arg("sheet").args(words).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

/// Makes a sheet that must succeed.
fn made(folder: &Path, words: &[&str]) -> Vec<u8> {
    let (status, _, stderr) = sheet(folder, &[words, &["--out", "sheet.pdf"]].concat());
    assert_eq!((status, stderr.as_str()), (0, ""), "{words:?}");
    fs::read(folder.join("sheet.pdf")).unwrap()
}

/// x, y, width, height in millimetres from the paper's upper left corner, y down.
type Rectangle = [f64; 4];

/// Matrix of the page: a b c d e f, as the PDF standard writes it.
type Matrix = [f64; 6];

fn times(inner: Matrix, outer: Matrix) -> Matrix {
    let [a, b, c, d, e, f] = inner;
    let [g, h, i, j, k, l] = outer;
    [a * g + b * i, a * h + b * j, c * g + d * i, c * h + d * j, e * g + f * i + k, e * h + f * j + l]
}

fn page_size_mm(document: &Document, page: ObjectId) -> (f64, f64) {
    let media = document.get_dictionary(page).unwrap().get(b"MediaBox").unwrap().as_array().unwrap();
    let side = |place: usize| f64::from(media[place].as_float().unwrap()) / POINTS_PER_MM;
    (side(2) - side(0), side(3) - side(1))
}

/// Each black fill of a page that consists of level rectangles alone.
fn black_fills(document: &Document, page: ObjectId) -> Vec<Vec<Rectangle>> {
    let content = Content::decode(&document.get_page_content(page)).unwrap();
    let height = page_size_mm(document, page).1;
    let mut matrix: Matrix = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];
    let mut is_black = true;
    let (mut saved, mut found, mut corners) = (Vec::new(), Vec::new(), Vec::<Vec<(f64, f64)>>::new());
    for operation in &content.operations {
        let numbers: Vec<f64> =
            operation.operands.iter().filter_map(|operand| operand.as_float().ok()).map(f64::from).collect();
        match operation.operator.as_str() {
            "q" => saved.push((matrix, is_black)),
            "Q" => (matrix, is_black) = saved.pop().unwrap(),
            "cm" => matrix = times(numbers.clone().try_into().unwrap(), matrix),
            "g" | "sc" | "scn" => is_black = numbers == [0.0],
            "m" => corners.push(vec![placed(matrix, &numbers, height)]),
            "l" => corners.last_mut().unwrap().push(placed(matrix, &numbers, height)),
            // A curve is no rectangle: five corners keep it from being taken for one.
            "c" => corners.last_mut().unwrap().extend([placed(matrix, &numbers[4..], height); 5]),
            "re" => {
                let (x, y, w, h) = (numbers[0], numbers[1], numbers[2], numbers[3]);
                let all = [[x, y], [x + w, y], [x + w, y + h], [x, y + h]];
                corners.push(all.iter().map(|corner| placed(matrix, corner, height)).collect());
            }
            "f" | "F" | "f*" => {
                let rectangles: Option<Vec<Rectangle>> = corners.iter().map(|outline| rectangle(outline)).collect();
                found.extend(rectangles.filter(|_| is_black));
                corners.clear();
            }
            "S" | "s" | "n" | "B" | "b" => corners.clear(),
            _ => {}
        }
    }
    found
}

fn placed(matrix: Matrix, place: &[f64], height_mm: f64) -> (f64, f64) {
    let [a, b, c, d, e, f] = matrix;
    let (x, y) = (place[0] * a + place[1] * c + e, place[0] * b + place[1] * d + f);
    (x / POINTS_PER_MM, height_mm - y / POINTS_PER_MM)
}

fn rectangle(outline: &[(f64, f64)]) -> Option<Rectangle> {
    let [a, b, c, d] = outline else { return None };
    let near = |p: f64, q: f64| (p - q).abs() < 1e-3;
    let is_level = near(a.1, b.1) && near(b.0, c.0) && near(c.1, d.1) && near(d.0, a.0);
    is_level.then(|| [a.0.min(c.0), a.1.min(c.1), (a.0 - c.0).abs(), (a.1 - c.1).abs()])
}

/// Left, top, right, bottom of all.
fn bounds(rectangles: &[Rectangle]) -> [f64; 4] {
    rectangles.iter().fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, [x, y, w, h]| {
        [b[0].min(*x), b[1].min(*y), b[2].max(x + w), b[3].max(y + h)]
    })
}

/// The fill with the most rectangles: a tag, a board or a QR code; arrows are no rectangles.
fn largest(fills: Vec<Vec<Rectangle>>) -> Vec<Rectangle> {
    fills.into_iter().max_by_key(Vec::len).unwrap()
}

fn outside(name: &str) -> toml::Table {
    toml::from_str(&fs::read_to_string(root().join("fixtures/outside/sheet").join(name)).unwrap()).unwrap()
}

fn number(table: &toml::Value, key: &str) -> f64 {
    let value = &table[key];
    value.as_float().or_else(|| value.as_integer().map(|n| n as f64)).unwrap()
}

/// Reads a tag's six rows of six modules from its rectangles.
fn code(rectangles: &[Rectangle]) -> u64 {
    let [left, top, right, _] = bounds(rectangles);
    let module = (right - left) / 8.0;
    (0..36).fold(0, |code, place| {
        let (x, y) = (left + module * (f64::from(place % 6) + 1.5), top + module * (f64::from(place / 6) + 1.5));
        let is_black = rectangles.iter().any(|[rx, ry, w, h]| (*rx..rx + w).contains(&x) && (*ry..ry + h).contains(&y));
        code << 1 | u64::from(!is_black)
    })
}

/// Outside: every one of the family's 587 tags, as it stands in the PDF, against `OpenCV`'s own print.
/// Truth: the black square is 160 mm on each side, and the black modules sum up to their count.
#[test]
fn all_tags_are_the_family_s_and_have_their_size() {
    let folder = tempfile::tempdir().unwrap();
    let ids: Vec<String> = (0..587).map(|id| id.to_string()).collect();
    let mut words = vec!["marks", "--kind", "tag36h11", "--size-mm", "160"];
    words.extend(ids.iter().flat_map(|id| ["--id", id.as_str()]));
    let document = Document::load_mem(&made(folder.path(), &words)).unwrap();
    let codes = outside("codes.toml")["codes"].as_array().unwrap().clone();
    let pages = document.get_pages();
    assert_eq!((pages.len(), codes.len()), (587, 587));
    for ((page, number), expected) in pages.values().zip(1..).zip(&codes) {
        let tag = largest(black_fills(&document, *page));
        assert_eq!(format!("{:09x}", code(&tag)), expected.as_str().unwrap(), "page {number}");
        let [left, top, right, bottom] = bounds(&tag);
        assert!((right - left - 160.0).abs() < RULE_MM && (bottom - top - 160.0).abs() < RULE_MM, "page {number}");
        let area: f64 = tag.iter().map(|[_, _, w, h]| w * h).sum();
        // 28 of the border, and what is black among the 36 inner ones.
        let modules = 28 + 36 - code(&tag).count_ones();
        // A tenth of a millimetre on each of the square's sides.
        assert!((area - f64::from(modules) * 400.0).abs() < 2.0 * 160.0 * RULE_MM, "page {number}: {area}");
    }
}

/// Outside: ids and corners that `OpenCV` read on the rasterised pages, against the rectangles in the PDF.
#[test]
fn detected_tags_stand_where_the_pdf_says() {
    let folder = tempfile::tempdir().unwrap();
    let detected = outside("detected.toml");
    let tags = detected["tags"].as_array().unwrap();
    assert!(tags.len() >= 50);
    // Sub-pixel corners of a raster of 0.17 mm.
    let tolerance_mm = 0.1;
    for paper in ["a4", "letter", "a3"] {
        let those: Vec<&toml::Value> = tags.iter().filter(|tag| tag["paper"].as_str() == Some(paper)).collect();
        let ids: Vec<String> = those.iter().map(|tag| number(tag, "printed").to_string()).collect();
        let size = number(those[0], "size_mm").to_string();
        let mut words = vec!["marks", "--kind", "tag36h11", "--size-mm", &size, "--paper", paper];
        words.extend(ids.iter().flat_map(|id| ["--id", id.as_str()]));
        let document = Document::load_mem(&made(folder.path(), &words)).unwrap();
        for (tag, page) in those.iter().zip(document.get_pages().values()) {
            assert_eq!(tag["printed"], tag["read"], "{paper}");
            let [left, top, right, bottom] = bounds(&largest(black_fills(&document, *page)));
            let printed = [[left, top], [right, top], [right, bottom], [left, bottom]];
            for (corner, seen) in printed.iter().zip(tag["corners"].as_array().unwrap()) {
                for axis in 0..2 {
                    let off = corner[axis] - seen[axis].as_float().unwrap();
                    assert!(off.abs() < tolerance_mm, "{paper}, {}: {off}", tag["printed"]);
                }
            }
        }
    }
}

/// Outside: the board's inner corners as `OpenCV` finds them; truth: each of the black squares has 25 mm.
#[test]
fn checkerboard_has_its_squares() {
    let folder = tempfile::tempdir().unwrap();
    let document = Document::load_mem(&made(folder.path(), &["checkerboard"])).unwrap();
    let page = document.get_pages()[&1];
    let (width, height) = page_size_mm(&document, page);
    assert!((width - 297.0).abs() < RULE_MM && (height - 210.0).abs() < RULE_MM);
    let squares = largest(black_fills(&document, page));
    assert_eq!(squares.len(), 27);
    assert!(squares.iter().all(|[_, _, w, h]| (w - 25.0).abs() < RULE_MM && (h - 25.0).abs() < RULE_MM));
    let [left, top, right, bottom] = bounds(&squares);
    let board = &outside("detected.toml")["checkerboard"];
    let ends = [[left + 25.0, top + 25.0], [right - 25.0, bottom - 25.0]];
    for (corner, seen) in
        ends.iter().flatten().zip(board["ends"].as_array().unwrap().iter().flat_map(|end| end.as_array().unwrap()))
    {
        assert!((corner - seen.as_float().unwrap()).abs() < 0.1, "{corner} {seen}");
    }
}

/// Truth: page sizes of ISO 216 and of Letter, 8.5 x 11 in; fonts are inside; no dates; the same bytes again.
#[test]
fn pages_have_the_paper_s_size_and_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let bay = demo_bay();
    for (paper, width, height) in [("a4", 210.0, 297.0), ("letter", 215.9, 279.4), ("a3", 297.0, 420.0)] {
        for words in [
            vec!["marks", "--bay", bay.as_str()],
            vec!["wall", "--bay", bay.as_str(), "--height-mm", "650"],
            vec!["floor", "--bay", bay.as_str()],
            vec!["label", "--bay", bay.as_str(), "--survey-date", "2026-03-31", "--next-check", "2028-03-31"],
            vec!["checkerboard"],
        ] {
            let words = [words, vec!["--paper", paper]].concat();
            let bytes = made(folder.path(), &words);
            assert_eq!(bytes, made(folder.path(), &words), "{words:?}");
            let document = Document::load_mem(&bytes).unwrap();
            for page in document.get_pages().values() {
                let (w, h) = page_size_mm(&document, *page);
                let (short, long) = (w.min(h), w.max(h));
                assert!((short - width).abs() < RULE_MM && (long - height).abs() < RULE_MM, "{words:?}: {w} x {h}");
            }
            let holds = |key: &[u8]| document.objects.values().any(|object| dictionary_has(object, key));
            assert!(holds(b"FontFile2") || holds(b"FontFile3"), "{words:?}: fonts are not inside");
            assert!(!holds(b"CreationDate") && !holds(b"ModDate"), "{words:?}: a date");
        }
    }
}

fn dictionary_has(object: &Object, key: &[u8]) -> bool {
    object.as_dict().is_ok_and(|dictionary| dictionary.has(key))
}

/// A tag larger than the paper: each page shows a part, and their union is the tag in its size.
#[test]
fn large_marks_are_tiled_in_their_size() {
    let folder = tempfile::tempdir().unwrap();
    let words = ["marks", "--kind", "tag36h11", "--id", "5", "--size-mm", "300", "--out", "large.pdf"];
    let (status, stdout, _) = sheet(folder.path(), &words);
    assert_eq!(status, 0);
    assert!(stdout.contains("4 pages of A4") && stdout.contains("2 across and 2 down"), "{stdout}");
    let document = Document::load_mem(&fs::read(folder.path().join("large.pdf")).unwrap()).unwrap();
    for page in document.get_pages().values() {
        let [left, top, right, bottom] = bounds(&largest(black_fills(&document, *page)));
        assert!((right - left - 300.0).abs() < RULE_MM && (bottom - top - 300.0).abs() < RULE_MM);
    }
}

/// Outside: the QR code as `OpenCV` read it, against the sum that `sha256sum` prints of the same bay file.
#[test]
fn label_names_the_bay_file() {
    use sha2::{Digest, Sha256};
    use std::fmt::Write as _;
    let label = &outside("detected.toml")["label"];
    let bay = fs::read(root().join(label["bay"].as_str().unwrap())).unwrap();
    let digest = Sha256::digest(&bay).iter().fold(String::new(), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    });
    assert_eq!(label["read"].as_str().unwrap(), digest, "the bay file changed: run fixtures/outside/sheet/detect.py");
}

#[test]
fn what_cannot_be_printed_is_refused_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let bay = demo_bay();
    let tag = ["marks", "--kind", "tag36h11", "--id"];
    let cases: Vec<(Vec<&str>, &str)> = vec![
        ([&tag[..], &["587", "--size-mm", "160"]].concat(), "0 to 586"),
        ([&tag[..], &["1", "--size-mm", "60", "--distance-mm", "10000"]].concat(), "at least 84 mm, better 150 mm"),
        ([&tag[..], &["1", "--size-mm", "nan"]].concat(), "need 10 to 5000 mm"),
        ([&tag[..], &["1", "--size-mm", "4000"]].concat(), "can be joined well"),
        (vec!["label", "--bay", &bay, "--survey-date", "2026-02-30"], "is not a date"),
        (vec!["label", "--bay", &bay, "--survey-date", "2026-03-01", "--next-check", "2025-03-01"], "is not after"),
        (vec!["checkerboard", "--square-mm", "60"], "does not fit on A4"),
        (vec!["wall", "--bay", &bay, "--height-mm", "5"], "height"),
        (vec!["floor", "--bay", &bay, "--track-mm", "5"], "--track-mm"),
        (vec!["wall", "--bay", "no.toml"], "no.toml"),
    ];
    for (words, said) in cases {
        let (status, _, stderr) = sheet(folder.path(), &[&words[..], &["--out", "x.pdf"]].concat());
        assert_eq!(status, 2, "{words:?}");
        assert!(stderr.contains(said) && stderr.contains("hint: "), "{words:?}: {stderr}");
    }
    fs::copy(&bay, folder.path().join("bay.toml")).unwrap();
    let (status, _, stderr) = sheet(folder.path(), &["wall", "--bay", "bay.toml", "--out", "bay.toml"]);
    assert!(status == 2 && stderr.contains("would overwrite"), "{stderr}");
    let (status, _, stderr) = sheet(folder.path(), &["wall", "--bay", "bay.toml", "--out", "plan.png"]);
    assert!(status == 2 && stderr.contains("end its name in .pdf"), "{stderr}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}
