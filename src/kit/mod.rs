//! What a shop needs around the photo: rules to read, sheets to print for wall and floor, the bay to survey and to watch, the
//! vehicle to prepare, and sessions that lead from lamp to lamp.

pub mod bay_words;
pub mod control_chart;
pub mod control_log;
pub mod control_picture;
pub mod rule_check;
pub mod rule_text;
pub mod sheet_page;
pub mod sheet_pdf;
pub(crate) mod sheet_qr;
pub mod sheet_art;
mod sheet_ruler;
mod sheet_tiles;
pub mod sheet_marks;
mod sheet_plan;
pub mod sheet_wall;
pub mod sheet_floor;
pub mod sheet_label;
pub mod sheet_board;
pub mod survey;
pub mod survey_adjust;
pub mod survey_ask;
mod survey_ask_marks;
pub mod survey_bay;
pub mod survey_model;
pub mod survey_picture;
pub mod survey_result;
pub mod survey_text;
pub mod session;
pub mod session_state;
pub mod session_text;
#[cfg(test)]
mod session_tests;
pub mod checklist;
pub mod vehicle;
