//! Panels of words: the verdict and what to do above the photo, the small print below it.
//!
//! Every line is laid out before anything is drawn, so that the picture can be made as high as its words need.

use super::arrows::{icon, paint};
use super::badge::draw_badge;
use super::canvas::Canvas;
use super::palette::{
    ADVICE_SIZE, ASH, DETAIL_SIZE, HEADLINE_SIZE, Ink, MARGIN, MOVE, PAPER, PICTURE_WIDTH, SMALL_SIZE,
};
use super::plane::{Area, Spot};
use super::text::{CAPITALS, Type};
use super::words::{Rank, Sentence, Words};
use crate::aim::Direction;

/// Space between the badge and the verdict's word.
const GAP: f32 = 28.0;
/// Space between an arrow and its sentence.
const ICON_GAP: f32 = 20.0;
/// Most lines of one sentence; a longer one ends in an ellipsis. The reading has it in full.
const MOST_LINES: usize = 6;
/// Size of the record's line: an id, a day and a verdict fit on one.
const CAPTION_SIZE: f32 = 36.0;
/// Least size of the verdict's subject.
const SUBJECT_SIZE: f32 = 46.0;

/// One line, placed from the panel's upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub(super) text: String,
    pub(super) face: Type,
    /// Left end of the base line.
    pub(super) at: Spot,
    pub(super) ink: Ink,
}

/// A panel, laid out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Panel {
    pub(super) height: f32,
    pub(super) lines: Vec<Placed>,
    icons: Vec<(Area, Direction)>,
    badge: Option<Area>,
}

const WIDTH: f32 = PICTURE_WIDTH as f32;

/// The upper panel.
pub(super) fn headline(words: &Words) -> Panel {
    let head = Type::bold(HEADLINE_SIZE);
    let capitals = HEADLINE_SIZE * CAPITALS;
    let base = MARGIN + capitals + 8.0;
    let badge = Area::new(MARGIN, base - capitals - 8.0, capitals + 16.0, capitals + 16.0);
    let word_at = Spot::new(badge.right + GAP, base);
    let word = words.outcome.word();
    let mut panel = Panel { height: base + MARGIN, lines: Vec::new(), icons: Vec::new(), badge: Some(badge) };
    panel.lines.push(Placed { text: word.to_owned(), face: head, at: word_at, ink: words.outcome.ink() });
    let subject = Type::regular(SUBJECT_SIZE);
    let left = word_at.x + head.width(word) + 2.0 * GAP;
    for (n, text) in words.subject.iter().enumerate() {
        let at = Spot::new(left, base - (1.0 - n as f32) * subject.line_height());
        let text = fitted(subject, text, WIDTH - MARGIN - left);
        panel.lines.push(Placed { text, face: subject, at, ink: if n == 0 { PAPER } else { ASH } });
    }
    for sentence in &words.sentences {
        panel.add(sentence);
    }
    panel.height += 0.3 * MARGIN;
    panel
}

/// The lower panel.
pub(super) fn small_print(words: &Words) -> Panel {
    let mut panel = Panel { height: 0.6 * MARGIN, lines: Vec::new(), icons: Vec::new(), badge: None };
    if let Some(caption) = &words.caption {
        panel.add_lines(caption, Type::bold(CAPTION_SIZE), MARGIN, PAPER);
    }
    let face = Type::regular(SMALL_SIZE);
    for text in &words.small_print {
        panel.add_lines(text, face, MARGIN, ASH);
    }
    panel.height += 0.6 * MARGIN;
    panel
}

impl Panel {
    fn add(&mut self, sentence: &Sentence) {
        let (face, ink) = match sentence.rank {
            Rank::Finding => (Type::bold(ADVICE_SIZE), PAPER),
            Rank::Deed => (Type::regular(DETAIL_SIZE), PAPER),
            Rank::Numbers => (Type::regular(DETAIL_SIZE), ASH),
        };
        let mut left = MARGIN;
        if sentence.direction != Direction::None {
            let size = face.size;
            let top = self.height + 0.5 * (face.line_height() - size);
            self.icons.push((Area::new(left, top, size, size), sentence.direction));
            left += size + ICON_GAP;
        }
        self.add_lines(&sentence.text, face, left, ink);
    }

    fn add_lines(&mut self, text: &str, face: Type, left: f32, ink: Ink) {
        let room = WIDTH - MARGIN - left;
        let mut wrapped = face.wrap(text, room);
        if wrapped.len() > MOST_LINES {
            wrapped.truncate(MOST_LINES);
            if let Some(last) = wrapped.last_mut() {
                *last = fitted(face, &format!("{last} \u{2026}"), room);
            }
        }
        for line in wrapped {
            let base = self.height + 0.5 * (face.line_height() + face.size * CAPITALS);
            self.lines.push(Placed { text: line, face, at: Spot::new(left, base), ink });
            self.height += face.line_height();
        }
    }

    /// Draws the panel with its upper edge at `top`.
    pub(super) fn draw(&self, canvas: &mut Canvas, top: f32, words: &Words) {
        let down = |area: &Area| Area { top: area.top + top, bottom: area.bottom + top, ..*area };
        if let Some(badge) = &self.badge {
            draw_badge(canvas, down(badge), words.outcome);
        }
        for (area, direction) in &self.icons {
            paint(canvas, &icon(down(area), *direction), MOVE);
        }
        for line in &self.lines {
            line.face.draw(canvas, &line.text, line.at.moved(0.0, top), line.ink);
        }
    }
}

/// A text cut to a width, with an ellipsis.
fn fitted(face: Type, text: &str, width: f32) -> String {
    if face.width(text) <= width {
        return text.to_owned();
    }
    let mut kept: Vec<char> = text.trim_end_matches([' ', '\u{2026}']).chars().collect();
    loop {
        let cut: String = kept.iter().chain(['\u{2026}'].iter()).collect();
        if face.width(&cut) <= width || kept.pop().is_none() {
            return cut;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::badge::Outcome;

    fn words(outcome: Outcome, text: &str) -> Words {
        let sentence = |direction, rank| Sentence { direction, text: text.to_owned(), rank };
        Words {
            outcome,
            subject: [text.to_owned(), "North bay".to_owned()],
            sentences: vec![
                sentence(Direction::Down, Rank::Finding),
                sentence(Direction::None, Rank::Deed),
                sentence(Direction::Left, Rank::Numbers),
            ],
            caption: Some(text.to_owned()),
            small_print: vec![text.to_owned(), text.to_owned()],
        }
    }

    #[test]
    fn every_line_fits_its_panel() {
        let long = "the marks in the photo do not stand where the bay file says ".repeat(20);
        let unbroken = "w".repeat(4000);
        for outcome in Outcome::ALL {
            for text in ["Cutoff too high: move down 62 mm", long.as_str(), unbroken.as_str(), ""] {
                let words = words(outcome, text);
                for panel in [headline(&words), small_print(&words)] {
                    let mut last = 0.0;
                    for line in &panel.lines {
                        let end = line.at.x + line.face.width(&line.text);
                        assert!(end <= WIDTH - MARGIN + 0.5, "{outcome:?} {:?} ends at {end}", line.text);
                        assert!(line.at.y - line.face.size * CAPITALS >= 0.0 && line.at.y <= panel.height);
                        assert!(line.at.y >= last || line.at.x > 300.0, "{line:?}");
                        last = line.at.y;
                    }
                    assert!(panel.height < 2200.0, "{}", panel.height);
                }
            }
        }
    }

    #[test]
    fn a_text_that_is_cut_says_so() {
        let face = Type::regular(40.0);
        let cut = fitted(face, "a rather long name of a bay", 200.0);
        assert!(cut.ends_with('\u{2026}') && face.width(&cut) <= 200.0);
        assert_eq!(fitted(face, "short", 200.0), "short");
    }
}
