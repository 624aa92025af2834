//! Reads a report's PDF back with another library: lines of text, sizes, fonts, pictures.

#![allow(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lopdf::content::Content;
use lopdf::{Dictionary, Document, Object, ObjectId};

pub(crate) const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// Lines of a page's text in the order in which they were drawn; a number is a line of its own.
pub(crate) fn lines(document: &Document, page: u32) -> Vec<String> {
    let text = document.extract_text(&[page]).unwrap();
    text.lines().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect()
}

/// Lines of all pages.
pub(crate) fn all_lines(document: &Document) -> Vec<String> {
    document.get_pages().keys().flat_map(|page| lines(document, *page)).collect()
}

/// Width and height of every page, points.
pub(crate) fn sizes(document: &Document) -> Vec<(f64, f64)> {
    let size = |page: &ObjectId| {
        let media = document.get_dictionary(*page).unwrap().get(b"MediaBox").unwrap().as_array().unwrap();
        let side = |place: usize| f64::from(media[place].as_float().unwrap());
        (side(2) - side(0), side(3) - side(1))
    };
    document.get_pages().values().map(size).collect()
}

fn dictionaries<'a>(document: &'a Document, key: &'a [u8], value: &'a [u8]) -> impl Iterator<Item = &'a Dictionary> {
    document.objects.values().filter_map(move |object| {
        let dictionary = match object {
            Object::Dictionary(dictionary) => dictionary,
            Object::Stream(stream) => &stream.dict,
            _ => return None,
        };
        (dictionary.get(key).ok()?.as_name().ok()? == value).then_some(dictionary)
    })
}

/// How many fonts there are, and how many of them lie in the file with a map back to text.
pub(crate) fn fonts(document: &Document) -> (usize, usize) {
    let of_type = |value: &'static [u8]| dictionaries(document, b"Type", value);
    let descriptors = of_type(b"FontDescriptor");
    let embedded = descriptors.filter(|font| font.has(b"FontFile2") || font.has(b"FontFile3")).count();
    let composite = || of_type(b"Font").filter(|font| font.has(b"DescendantFonts"));
    let mapped = composite().filter(|font| font.has(b"ToUnicode")).count();
    assert_eq!(mapped, embedded, "every font maps its glyphs back to text");
    (composite().count(), embedded)
}

/// The bytes of every JPEG in the file, as they lie there.
pub(crate) fn jpegs(document: &Document) -> Vec<Vec<u8>> {
    let streams = document.objects.values().filter_map(|object| object.as_stream().ok());
    let is_jpeg = |filter: &Object| match filter {
        Object::Name(name) => name == b"DCTDecode",
        Object::Array(filters) => filters.len() == 1 && filters[0].as_name().is_ok_and(|name| name == b"DCTDecode"),
        _ => false,
    };
    streams
        .filter(|stream| stream.dict.get(b"Filter").is_ok_and(is_jpeg))
        .map(|stream| stream.content.clone())
        .collect()
}

/// Pixels a point of paper when a code is drawn: a module of half a millimetre is some ten pixels.
const PX_PER_POINT: f64 = 6.0;
/// White around a code, px.
const RIM: f64 = 60.0;

type Matrix = [f64; 6];
/// A closed line: its corners, points of paper.
type Outline = Vec<(f64, f64)>;

fn times(a: Matrix, b: Matrix) -> Matrix {
    [
        a[0] * b[0] + a[1] * b[2],
        a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2],
        a[2] * b[1] + a[3] * b[3],
        a[4] * b[0] + a[5] * b[2] + b[4],
        a[4] * b[1] + a[5] * b[3] + b[5],
    ]
}

/// What a page's filled path of the most parts shows, and a reader of QR codes makes of it: black boxes on white, drawn from
/// the page's own operators.
pub(crate) fn qr_text(document: &Document, page: u32) -> String {
    let id = document.get_pages()[&page];
    let content = Content::decode(&document.get_page_content(id)).unwrap();
    let (mut now, mut kept) = ([1.0, 0.0, 0.0, 1.0, 0.0, 0.0], Vec::new());
    let (mut parts, mut best): (Vec<Outline>, Vec<Outline>) = (Vec::new(), Vec::new());
    for operation in &content.operations {
        let number = |n: usize| f64::from(operation.operands[n].as_float().unwrap());
        let at = |x: f64, y: f64| (x * now[0] + y * now[2] + now[4], x * now[1] + y * now[3] + now[5]);
        match operation.operator.as_str() {
            "q" => kept.push(now),
            "Q" => now = kept.pop().unwrap(),
            "cm" => now = times([number(0), number(1), number(2), number(3), number(4), number(5)], now),
            "m" => parts.push(vec![at(number(0), number(1))]),
            "l" => parts.last_mut().unwrap().push(at(number(0), number(1))),
            "re" => {
                let (x, y, width, height) = (number(0), number(1), number(2), number(3));
                parts.push(vec![at(x, y), at(x + width, y), at(x + width, y + height), at(x, y + height)]);
            }
            "f" | "f*" | "F" => {
                if parts.len() > best.len() {
                    best = std::mem::take(&mut parts);
                }
                parts.clear();
            }
            "n" | "S" | "s" | "B" | "b" => parts.clear(),
            _ => (),
        }
    }
    let ends = |of: fn(&(f64, f64)) -> f64, points: &[(f64, f64)]| {
        points.iter().map(of).fold((f64::MAX, f64::MIN), |(low, high), at| (low.min(at), high.max(at)))
    };
    let all: Vec<(f64, f64)> = best.iter().flatten().copied().collect();
    let ((left, right), (bottom, top)) = (ends(|at| at.0, &all), ends(|at| at.1, &all));
    let size = |from: f64, to: f64| ((to - from) * PX_PER_POINT + 2.0 * RIM) as usize;
    let (width, height) = (size(left, right), size(bottom, top));
    let mut pixels = vec![255_u8; width * height];
    for part in &best {
        let ((x0, x1), (y0, y1)) = (ends(|at| at.0, part), ends(|at| at.1, part));
        let column = |x: f64| ((x - left) * PX_PER_POINT + RIM).round() as usize;
        // Paper grows upwards, pixels downwards.
        let row = |y: f64| ((top - y) * PX_PER_POINT + RIM).round() as usize;
        for y in row(y1)..row(y0) {
            pixels[y * width + column(x0)..y * width + column(x1)].fill(0);
        }
    }
    let mut picture = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| pixels[y * width + x]);
    let codes = picture.detect_grids();
    assert_eq!(codes.len(), 1, "one code on a page");
    codes[0].decode().unwrap().1
}
