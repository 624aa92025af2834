//! The annotated picture of a measurement: the photo of the wall with what was found on it, the verdict and the advice
//! in words that can be read on a phone, and small print for the record.
//!
//! The picture reads what the stages found and measures nothing itself.

mod canvas;
mod palette;
mod polygon;
mod text;
mod plane;
mod viewport;
mod backdrop;
mod place;
mod labels;
mod grid_lines;
mod mark_outlines;
mod beam_lines;
mod known;
mod limits;
mod dark_zone;
mod arrows;
mod badge;
mod units_shown;
pub mod place_words;
mod words;
mod panel;
mod chart;
mod sketch;
pub mod rule_wall;
mod stage_grid;
pub mod stages;
pub mod annotate;
pub mod encode;
pub mod about;
pub mod views;

pub use about::{About, encode_about};
pub use annotate::{AnnotateInput, annotate, annotate_known};
pub use encode::{PictureFormat, encode};
pub use known::Known;
pub use place_words::without_pixels;
pub use rule_wall::{SeenFrom, rule_picture, rule_svg};
pub use views::views;

#[cfg(test)]
mod tests;
