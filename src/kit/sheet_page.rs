//! A page to print, as a list of shapes in true millimetres.
//!
//! **Axes**: x right, y *down*, from the upper left corner of the paper, in millimetres; sizes of words are their em in
//! millimetres.

use ab_glyph::{Font, FontRef};
use std::sync::{Arc, LazyLock};

/// The fonts that are embedded; their licence lies beside them.
pub(crate) const REGULAR: &[u8] = include_bytes!("../draw/fonts/DejaVuSans.ttf");
pub(crate) const BOLD: &[u8] = include_bytes!("../draw/fonts/DejaVuSans-Bold.ttf");

static REGULAR_WIDTHS: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| FontRef::try_from_slice(REGULAR).ok());
static BOLD_WIDTHS: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| FontRef::try_from_slice(BOLD).ok());

/// Line pitch as a part of the em.
const LINE_PITCH: f64 = 1.3;
/// Control points of a quarter circle as a part of its radius (4/3·(sqrt 2 - 1); the circle is met to 0.03 %).
const QUARTER_CIRCLE: f64 = 0.552_284_749_8;

/// What is printed with.
#[cfg_attr(not(feature = "records"), allow(dead_code, reason = "reports alone need all of it"))]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ink {
    /// From 0 (black) to 255 (white).
    Grey(u8),
    /// Red, green, blue. No meaning may hang on it alone: many printers are black and white.
    Colour([u8; 3]),
}

/// Black print.
pub(crate) const BLACK: Ink = Ink::Grey(0);
/// Bare paper, on a fill.
pub(crate) const WHITE: Ink = Ink::Grey(255);
/// Lines that guide, and what is said beside the matter.
pub(crate) const DIM: Ink = Ink::Grey(90);
/// Lines that must not catch the eye.
pub(crate) const LIGHT: Ink = Ink::Grey(150);

/// Size of the paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 x 297 mm (ISO 216).
    A4,
    /// 8.5 x 11 in.
    Letter,
    /// 297 x 420 mm (ISO 216).
    A3,
}

impl Paper {
    /// Width and height upright, mm.
    pub const fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
            Self::A3 => (297.0, 420.0),
        }
    }

    /// The name for people.
    pub const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
            Self::A3 => "A3",
        }
    }
}

/// A place on the page, mm.
pub(crate) type Spot = (f64, f64);

/// One step of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Step {
    Move(Spot),
    Line(Spot),
    Curve(Spot, Spot, Spot),
    Close,
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pen {
    pub(crate) width: f64,
    pub(crate) ink: Ink,
    /// Length of a dash, and of the gap behind it.
    pub(crate) dash: Option<(f64, f64)>,
}

impl Pen {
    pub(crate) const fn solid(width: f64, ink: Ink) -> Self {
        Self { width, ink, dash: None }
    }

    pub(crate) const fn dashed(width: f64, ink: Ink) -> Self {
        Self { width, ink, dash: Some((2.0, 1.5)) }
    }
}

/// Where words stand against their place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// Looks of words.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Style {
    pub(crate) size: f64,
    pub(crate) is_bold: bool,
    pub(crate) ink: Ink,
    pub(crate) anchor: Anchor,
    /// Read from below to above, turned by 90 degrees.
    pub(crate) is_upward: bool,
}

impl Style {
    pub(crate) const fn regular(size: f64) -> Self {
        Self { size, is_bold: false, ink: BLACK, anchor: Anchor::Start, is_upward: false }
    }

    pub(crate) const fn bold(size: f64) -> Self {
        Self { is_bold: true, ..Self::regular(size) }
    }

    pub(crate) const fn anchored(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    pub(crate) const fn ink(self, ink: Ink) -> Self {
        Self { ink, ..self }
    }

    pub(crate) const fn upward(self) -> Self {
        Self { is_upward: true, ..self }
    }

    /// Smaller where the words would be wider than `width`.
    pub(crate) fn fitted(self, words: &str, width: f64) -> Self {
        let wide = self.width_of(words);
        if wide > width { Self { size: self.size * width / wide, ..self } } else { self }
    }

    /// Width of the words, mm.
    pub(crate) fn width_of(self, words: &str) -> f64 {
        let font = if self.is_bold { &BOLD_WIDTHS } else { &REGULAR_WIDTHS };
        let Some(font) = font.as_ref() else { return 0.0 };
        let Some(em) = font.units_per_em() else { return 0.0 };
        let units: f32 = words.chars().map(|letter| font.h_advance_unscaled(font.glyph_id(letter))).sum();
        self.size * f64::from(units) / f64::from(em)
    }
}

/// One shape.
#[cfg_attr(not(feature = "records"), allow(dead_code, reason = "reports alone need all of it"))]
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Item {
    Fill {
        outline: Vec<Step>,
        ink: Ink,
    },
    Stroke {
        outline: Vec<Step>,
        pen: Pen,
    },
    Words {
        at: Spot,
        words: String,
        style: Style,
    },
    /// A JPEG, its bytes as they are, over a rectangle.
    Picture {
        corner: Spot,
        size: Spot,
        jpeg: Arc<Vec<u8>>,
    },
    /// Shapes of another drawing, moved by `shift`, of which only the inside of the window is seen.
    Window {
        corner: Spot,
        size: Spot,
        shift: Spot,
        items: Vec<Item>,
    },
}

/// A page.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    pub(crate) width: f64,
    pub(crate) height: f64,
    pub(crate) items: Vec<Item>,
}

impl Page {
    /// An empty page, higher than wide.
    pub(crate) fn upright(paper: Paper) -> Self {
        let (width, height) = paper.size_mm();
        Self { width, height, items: Vec::new() }
    }

    /// An empty page, wider than high.
    pub(crate) fn lying(paper: Paper) -> Self {
        let (height, width) = paper.size_mm();
        Self { width, height, items: Vec::new() }
    }

    pub(crate) fn fill(&mut self, outline: Vec<Step>, ink: Ink) {
        self.items.push(Item::Fill { outline, ink });
    }

    pub(crate) fn rectangle(&mut self, corner: Spot, size: Spot, pen: Pen) {
        self.items.push(Item::Stroke { outline: rectangle(corner, size).to_vec(), pen });
    }

    pub(crate) fn line(&mut self, from: Spot, to: Spot, pen: Pen) {
        self.items.push(Item::Stroke { outline: vec![Step::Move(from), Step::Line(to)], pen });
    }

    pub(crate) fn words(&mut self, at: Spot, words: impl Into<String>, style: Style) {
        self.items.push(Item::Words { at, words: words.into(), style });
    }

    /// Words broken into lines of at most `width`; returns the baseline after the last one.
    pub(crate) fn paragraph(&mut self, at: Spot, width: f64, words: &str, style: Style) -> f64 {
        let mut y = at.1;
        for line in broken(words, width, style) {
            self.words((at.0, y), line, style);
            y += LINE_PITCH * style.size;
        }
        y
    }
}

#[cfg_attr(not(feature = "records"), allow(dead_code, reason = "reports alone need all of it"))]
impl Style {
    /// The lines of a paragraph of at most `width`.
    pub(crate) fn lines(self, words: &str, width: f64) -> Vec<String> {
        broken(words, width, self)
    }

    /// Height that a paragraph of at most `width` takes, mm.
    pub(crate) fn height_of(self, words: &str, width: f64) -> f64 {
        broken(words, width, self).len() as f64 * LINE_PITCH * self.size
    }
}

fn broken(words: &str, width: f64, style: Style) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace().flat_map(|word| pieces(word, width, style)) {
        match lines.last_mut() {
            Some(line) if style.width_of(&format!("{line} {word}")) <= width => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// A word that is wider than a line (a path, a code) in pieces that are not.
fn pieces(word: &str, width: f64, style: Style) -> Vec<String> {
    if style.width_of(word) <= width {
        return vec![word.to_owned()];
    }
    let mut pieces = vec![String::new()];
    for letter in word.chars() {
        if let Some(piece) = pieces.last_mut() {
            if piece.is_empty() || style.width_of(&format!("{piece}{letter}")) <= width {
                piece.push(letter);
            } else {
                pieces.push(letter.to_string());
            }
        }
    }
    pieces
}

/// The outline of a rectangle.
pub(crate) fn rectangle(corner: Spot, size: Spot) -> [Step; 5] {
    let (x, y) = corner;
    let (width, height) = size;
    [
        Step::Move((x, y)),
        Step::Line((x + width, y)),
        Step::Line((x + width, y + height)),
        Step::Line((x, y + height)),
        Step::Close,
    ]
}

/// A polygon's outline.
pub(crate) fn polygon(corners: &[Spot]) -> Vec<Step> {
    let mut outline: Vec<Step> = corners.iter().map(|corner| Step::Line(*corner)).collect();
    if let Some(first) = corners.first() {
        outline[0] = Step::Move(*first);
    }
    outline.push(Step::Close);
    outline
}

/// A quarter of a disc, towards `right` and `down` (each 1 or -1) of its centre.
pub(crate) fn quarter_disc(centre: Spot, radius: f64, right: f64, down: f64) -> [Step; 4] {
    let at = |x: f64, y: f64| (centre.0 + radius * right * x, centre.1 + radius * down * y);
    [
        Step::Move(centre),
        Step::Line(at(1.0, 0.0)),
        Step::Curve(at(1.0, QUARTER_CIRCLE), at(QUARTER_CIRCLE, 1.0), at(0.0, 1.0)),
        Step::Close,
    ]
}

/// A length for people: whole millimetres where it is one, else one decimal.
pub(crate) fn millimetres(length_mm: f64) -> String {
    let tenths = (10.0 * length_mm).round();
    if (tenths % 10.0).abs() < 0.5 { format!("{:.0}", tenths / 10.0) } else { format!("{:.1}", tenths / 10.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words_and_lengths_lose_needless_decimals() {
        let style = Style::regular(3.0);
        let lines = broken("one two three four", style.width_of("one two "), style);
        assert_eq!(lines, ["one two", "three", "four"]);
        assert_eq!(broken("a 0000", style.width_of("00"), style), ["a", "00", "00"]);
        assert_eq!([160.0, 160.04, 99.96, 12.5, -1800.0].map(millimetres), ["160", "160", "100", "12.5", "-1800"]);
    }

    /// Source: the font's figures share one width, so that columns of numbers stand under one another.
    #[test]
    fn words_are_measured() {
        let style = Style::bold(10.0);
        assert!((style.width_of("0000") - 4.0 * style.width_of("7")).abs() < 1e-6);
        assert!((style.fitted("0000", 5.0).width_of("0000") - 5.0).abs() < 1e-6);
        assert!((style.fitted("0", 50.0).size - 10.0).abs() < 1e-9);
    }
}
