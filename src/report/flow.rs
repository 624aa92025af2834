//! Lines and tables that flow over as many pages as they need.

use super::ReportInput;
use super::look::{BOTTOM, LABEL, PALE, RULE_LINE, SIDE, TOP};
use crate::kit::sheet_page::{Anchor, DIM, Page, Paper, Pen, Style, rectangle};

/// Words of tables and lists.
const BODY: Style = Style::regular(2.8);
/// Room below the last line for the record's id and the log's head.
const FOOT: f64 = 9.0;
/// Where values begin in a list of fields.
const INDENT: f64 = 36.0;
const LINE: f64 = 3.9;
const HEAD: f64 = 8.0;

/// Pages in the making.
#[derive(Debug)]
pub(super) struct Flow {
    paper: Paper,
    pages: Vec<Page>,
    y: f64,
}

impl Flow {
    pub(super) fn new(paper: Paper) -> Self {
        let mut flow = Self { paper, pages: Vec::new(), y: 0.0 };
        flow.turn();
        flow
    }

    fn turn(&mut self) {
        self.pages.push(Page::upright(self.paper));
        self.y = TOP + HEAD;
    }

    fn bottom(&self) -> f64 {
        self.paper.size_mm().1 - BOTTOM - FOOT
    }

    fn width(&self) -> f64 {
        self.paper.size_mm().0 - 2.0 * SIDE
    }

    /// Begins a new page unless so much room is left.
    pub(super) fn keep(&mut self, height: f64) {
        if self.y + height > self.bottom() {
            self.turn();
        }
    }

    fn on_page(&mut self, draw: impl FnOnce(&mut Page, f64)) {
        let y = self.y;
        if let Some(page) = self.pages.last_mut() {
            draw(page, y);
        }
    }

    /// A part's title, with room for some of what follows.
    pub(super) fn title(&mut self, words: &str) {
        self.keep(28.0);
        self.y += 5.0;
        let right = SIDE + self.width();
        self.on_page(|page, y| {
            page.words((SIDE, y), words, Style::bold(4.4));
            page.line((SIDE, y + 1.6), (right, y + 1.6), Pen::solid(0.4, DIM));
        });
        self.y += 6.0;
    }

    /// A smaller title.
    pub(super) fn heading(&mut self, words: &str) {
        self.keep(20.0);
        self.y += 2.0;
        self.on_page(|page, y| page.words((SIDE, y), words, Style::bold(3.2)));
        self.y += 4.4;
    }

    /// A field and its value, which may take several lines.
    pub(super) fn field(&mut self, name: &str, value: &str) {
        let width = self.width() - INDENT;
        for (n, line) in BODY.lines(value, width).into_iter().enumerate() {
            self.keep(LINE);
            self.on_page(|page, y| {
                if n == 0 {
                    page.words((SIDE, y), name, BODY.ink(DIM).fitted(name, INDENT - 2.0));
                }
                page.words((SIDE + INDENT, y), line, BODY);
            });
            self.y += LINE;
        }
    }

    /// A table: the first column stands left, the others right; `first` is the first one's part of the width. Its head comes
    /// again on a new page.
    pub(super) fn table(&mut self, first: f64, head: &[&str], rows: &[Vec<String>]) {
        self.keep(4.0 * LINE);
        self.table_head(first, head);
        for row in rows {
            if self.y + LINE > self.bottom() {
                self.turn();
                self.table_head(first, head);
            }
            self.cells(first, row.iter().map(String::as_str), BODY);
            let right = SIDE + self.width();
            self.on_page(|page, y| page.line((SIDE, y + 1.2), (right, y + 1.2), Pen::solid(0.1, RULE_LINE)));
            self.y += LINE;
        }
        self.y += 2.0;
    }

    fn table_head(&mut self, first: f64, head: &[&str]) {
        let width = self.width();
        self.on_page(|page, y| page.fill(rectangle((SIDE, y - 2.9), (width, LINE + 0.1)).to_vec(), PALE));
        self.cells(first, head.iter().copied(), Style { is_bold: true, ..BODY });
        self.y += LINE + 0.3;
    }

    fn cells<'a>(&mut self, first: f64, cells: impl ExactSizeIterator<Item = &'a str>, style: Style) {
        let others = (cells.len().max(2) - 1) as f64;
        let (first_width, width) = (first * self.width(), self.width());
        let column = (width - first_width) / others;
        self.on_page(|page, y| {
            for (n, cell) in cells.enumerate() {
                if n == 0 {
                    page.words((SIDE + 1.0, y), cell, style.fitted(cell, first_width - 2.0));
                } else {
                    let right = SIDE + first_width + column * n as f64 - 1.0;
                    page.words((right, y), cell, style.fitted(cell, column - 1.5).anchored(Anchor::End));
                }
            }
        });
    }

    /// The pages, each with what it belongs to; `before` pages come in front of them.
    pub(super) fn finish(mut self, input: &ReportInput<'_>, name: &str) -> Vec<Page> {
        let count = self.pages.len();
        for (n, page) in self.pages.iter_mut().enumerate() {
            let right = page.width - SIDE;
            page.words((SIDE, TOP + 3.0), name, Style::bold(3.3).ink(DIM));
            let place = format!("Record {}, table page {} of {count}", input.stored.number, n + 1);
            page.words((right, TOP + 3.0), place, BODY.ink(DIM).anchored(Anchor::End));
            let line = page.height - BOTTOM - FOOT + 2.2;
            page.line((SIDE, line), (right, line), Pen::solid(0.2, RULE_LINE));
            let both = [("Record", input.stored.inspection.id.clone()), ("Log head", input.head.to_string())];
            for (n, (name, value)) in both.into_iter().enumerate() {
                let y = line + 3.3 + 3.5 * n as f64;
                page.words((SIDE, y), name, LABEL);
                page.words((SIDE + 14.0, y), value.as_str(), Style::regular(2.6).fitted(&value, right - SIDE - 14.0));
            }
        }
        self.pages
    }
}
