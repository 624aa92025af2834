//! Words in the picture: their width, where they break, and their drawing.
//!
//! Sizes are the em in pixels. The fonts are `DejaVu` Sans and `DejaVu` Sans Bold, inside the program; their licence lies
//! beside them.

use super::canvas::Canvas;
use super::palette::{Ink, LINE_HEIGHT};
use super::plane::{Area, Spot};
use ab_glyph::{Font, FontRef, GlyphId, PxScale, ScaleFont};
use std::sync::LazyLock;

static REGULAR: LazyLock<Option<FontRef<'static>>> =
    LazyLock::new(|| FontRef::try_from_slice(include_bytes!("fonts/DejaVuSans.ttf")).ok());
static BOLD: LazyLock<Option<FontRef<'static>>> =
    LazyLock::new(|| FontRef::try_from_slice(include_bytes!("fonts/DejaVuSans-Bold.ttf")).ok());

/// Height of capitals as a part of the em (`DejaVu` Sans: 1493 of 2048).
pub(super) const CAPITALS: f32 = 0.729;

/// Which of the two fonts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// Words' looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Type {
    pub(super) weight: Weight,
    pub(super) size: f32,
}

impl Type {
    pub(super) const fn regular(size: f32) -> Self {
        Self { weight: Weight::Regular, size }
    }

    pub(super) const fn bold(size: f32) -> Self {
        Self { weight: Weight::Bold, size }
    }

    pub(super) fn line_height(self) -> f32 {
        LINE_HEIGHT * self.size
    }

    fn font(self) -> Option<&'static FontRef<'static>> {
        match self.weight {
            Weight::Regular => REGULAR.as_ref(),
            Weight::Bold => BOLD.as_ref(),
        }
    }

    /// Each glyph with the place where it starts, and where the last one ends.
    fn layout(self, text: &str) -> (Vec<(GlyphId, f32)>, f32) {
        let Some(font) = self.font() else { return (Vec::new(), 0.0) };
        let scaled = font.as_scaled(self.scale(font));
        let (mut glyphs, mut x, mut last) = (Vec::new(), 0.0, None);
        for letter in text.chars().filter(|letter| !letter.is_control()) {
            let id = font.glyph_id(letter);
            if let Some(last) = last {
                x += scaled.kern(last, id);
            }
            glyphs.push((id, x));
            x += scaled.h_advance(id);
            last = Some(id);
        }
        (glyphs, x)
    }

    /// The em in pixels becomes the scale of the font, which counts from ascent to descent.
    fn scale(self, font: &FontRef<'_>) -> PxScale {
        let per_em = font.units_per_em().unwrap_or_else(|| font.height_unscaled());
        PxScale::from(self.size * font.height_unscaled() / per_em)
    }

    /// Width of a text on one line.
    pub(super) fn width(self, text: &str) -> f32 {
        self.layout(text).1
    }

    /// Draws one line; `at` is the left end of its base line. Gives where it ends.
    pub(super) fn draw(self, canvas: &mut Canvas, text: &str, at: Spot, ink: Ink) -> f32 {
        let (glyphs, end) = self.layout(text);
        let Some(font) = self.font() else { return at.x };
        let scale = self.scale(font);
        for (id, x) in glyphs {
            let glyph = id.with_scale_and_position(scale, ab_glyph::point(at.x + x, at.y));
            let Some(outline) = font.outline_glyph(glyph) else { continue };
            let bounds = outline.px_bounds();
            let (left, top) = (bounds.min.x, bounds.min.y);
            let inside = canvas.pixels_of(Area::new(left, top, bounds.width(), bounds.height()));
            outline.draw(|dx, dy, coverage| {
                let (px, py) = (left + dx as f32, top + dy as f32);
                if px < 0.0 || py < 0.0 {
                    return;
                }
                let (px, py) = (px as u32, py as u32);
                let is_inside =
                    (inside.columns.0..inside.columns.1).contains(&px) && (inside.rows.0..inside.rows.1).contains(&py);
                if is_inside {
                    canvas.blend(px, py, ink, coverage);
                }
            });
        }
        at.x + end
    }

    /// Breaks a text into lines that fit; a word that is too long for a line is broken inside.
    pub(super) fn wrap(self, text: &str, width: f32) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in text.split_whitespace() {
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if self.width(&longer) <= width {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            let mut parts = self.broken(word, width);
            line = parts.pop().unwrap_or_default();
            lines.extend(parts);
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }

    fn broken(self, word: &str, width: f32) -> Vec<String> {
        let mut parts = vec![String::new()];
        for letter in word.chars() {
            let Some(part) = parts.last_mut() else { break };
            part.push(letter);
            if self.width(part) > width && part.chars().count() > 1 {
                part.pop();
                parts.push(letter.to_string());
            }
        }
        parts
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `DejaVu` Sans, units of 1/2048 em, read from the font's own tables with fontTools 4: "H" advances by 1540, " " by 651.
    #[test]
    fn fonts_load_and_widths_are_those_of_the_font() {
        assert!(REGULAR.is_some() && BOLD.is_some());
        let regular = Type::regular(2048.0);
        assert!((regular.width("H") - 1540.0).abs() < 0.5, "{}", regular.width("H"));
        assert!((regular.width(" ") - 651.0).abs() < 0.5, "{}", regular.width(" "));
    }

    #[test]
    fn lines_fit_and_lose_nothing() {
        let words = "Turn the screw named top counterclockwise, about three quarters of a turn";
        let long = "x".repeat(300);
        for text in [words, long.as_str(), "", "a  b"] {
            for width in [40.0, 200.0, 700.0] {
                let face = Type::bold(40.0);
                let lines = face.wrap(text, width);
                assert!(lines.iter().all(|line| face.width(line) <= width || line.chars().count() == 1));
                let kept: String = lines.concat().split_whitespace().collect();
                assert_eq!(kept, text.split_whitespace().collect::<String>());
            }
        }
    }

    #[test]
    fn words_are_drawn_where_asked() {
        let mut canvas = Canvas::new(200, 60, Ink::solid(0, 0, 0));
        let end = Type::bold(40.0).draw(&mut canvas, "HI", Spot::new(20.0, 50.0), Ink::solid(255, 255, 255));
        let inked: Vec<(u32, u32)> =
            canvas.picture.enumerate_pixels().filter(|(_, _, p)| p.0[0] > 128).map(|(x, y, _)| (x, y)).collect();
        assert!(!inked.is_empty());
        assert!(inked.iter().all(|(x, y)| *x >= 20 && (*x as f32) < end && (20..50).contains(y)), "{inked:?}");
    }
}
