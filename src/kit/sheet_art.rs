//! What is printed black on a mark: tags of the family 36h11 and quadrant discs.
//!
//! **Gives** one outline in millimetres. All of a mark is one shape, so that no viewer draws seams between its modules.

use super::sheet_page::{Spot, Step, quarter_disc, rectangle};
use crate::bay::MarkKind;
use crate::error::Error;
use crate::marks::tag_family::{CODE_COUNT, CODE_SIDE, SQUARE_SIDE, code_of, is_white};

/// White around a disc as a part of its diameter.
const DISC_RIM: f64 = 0.2;

/// A mark to print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrintedMark {
    /// Its kind.
    pub kind: MarkKind,
    /// A tag's code, or the number of a disc.
    pub id: u32,
    /// Edge of the black square, or diameter of the disc.
    pub size_mm: f64,
}

impl PrintedMark {
    /// White that must stay around it: one module around a tag (the least with which detectors find it), a fifth of the
    /// diameter around a disc.
    pub(super) fn rim_mm(self) -> f64 {
        match self.kind {
            MarkKind::Tag36h11 => self.size_mm / SQUARE_SIDE as f64,
            MarkKind::Quadrant => DISC_RIM * self.size_mm,
        }
    }

    /// Edge of the mark with its white rim.
    pub(super) fn outer_mm(self) -> f64 {
        self.size_mm + 2.0 * self.rim_mm()
    }

    pub(super) const fn kind_name(self) -> &'static str {
        match self.kind {
            MarkKind::Tag36h11 => "tag 36h11",
            MarkKind::Quadrant => "quadrant disc",
        }
    }

    /// What of the mark is given in its size.
    pub(super) const fn what_is_measured(self) -> &'static str {
        match self.kind {
            MarkKind::Tag36h11 => "black square",
            MarkKind::Quadrant => "disc",
        }
    }

    /// Fails where the family has no such tag.
    pub fn check(self) -> Result<Self, Error> {
        if self.kind == MarkKind::Tag36h11 && code_of(self.id).is_none() {
            return Err(Error::usage(
                format!("tag id {} does not exist, the family 36h11 has 0 to {}", self.id, CODE_COUNT - 1),
                "choose another id",
            ));
        }
        Ok(self)
    }

    /// The black of the mark, drawn with `edge` millimetres (its size, or less on a plan) around `centre`.
    pub(super) fn ink(self, centre: Spot, edge: f64) -> Vec<Step> {
        match self.kind {
            MarkKind::Tag36h11 => tag(self.id, (centre.0 - 0.5 * edge, centre.1 - 0.5 * edge), edge),
            MarkKind::Quadrant => {
                [quarter_disc(centre, 0.5 * edge, -1.0, -1.0), quarter_disc(centre, 0.5 * edge, 1.0, 1.0)].concat()
            }
        }
    }
}

/// A tag's black modules, each row's neighbours joined.
fn tag(id: u32, corner: Spot, edge: f64) -> Vec<Step> {
    let module = edge / SQUARE_SIDE as f64;
    let code = code_of(id).unwrap_or(0);
    let inner = 1..=CODE_SIDE;
    let is_black = |row: usize, column: usize| {
        !(inner.contains(&row) && inner.contains(&column) && is_white(code, row - 1, column - 1))
    };
    let mut outline = Vec::new();
    for row in 0..SQUARE_SIDE {
        let mut column = 0;
        while column < SQUARE_SIDE {
            let run = (column..SQUARE_SIDE).take_while(|&at| is_black(row, at)).count();
            if run > 0 {
                let start = (corner.0 + column as f64 * module, corner.1 + row as f64 * module);
                outline.extend(rectangle(start, (run as f64 * module, module)));
            }
            column += run.max(1);
        }
    }
    outline
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_end_where_the_family_does() {
        let mark = |id| PrintedMark { kind: MarkKind::Tag36h11, id, size_mm: 160.0 };
        assert!(mark(586).check().is_ok());
        let error = mark(587).check().unwrap_err().to_string();
        assert!(error.contains("587") && error.contains("0 to 586"), "{error}");
        assert!(PrintedMark { kind: MarkKind::Quadrant, ..mark(999) }.check().is_ok());
    }

    #[test]
    fn upper_row_of_a_tag_is_one_bar() {
        let ink = PrintedMark { kind: MarkKind::Tag36h11, id: 0, size_mm: 80.0 }.ink((40.0, 40.0), 80.0);
        assert_eq!(ink[..2], [Step::Move((0.0, 0.0)), Step::Line((80.0, 0.0))]);
    }
}
