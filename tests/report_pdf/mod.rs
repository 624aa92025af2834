//! Reads a report's PDF back with another library: lines of text, sizes, fonts, pictures.

#![allow(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

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
