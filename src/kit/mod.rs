//! What a shop needs around the photo: the rules to read, and sheets to print for the wall and the floor.

pub mod rule_check;
pub mod rule_picture;
pub mod rule_text;
pub mod sheet_page;
pub mod sheet_pdf;
pub mod sheet_art;
mod sheet_ruler;
mod sheet_tiles;
pub mod sheet_marks;
mod sheet_plan;
pub mod sheet_wall;
pub mod sheet_floor;
pub mod sheet_label;
pub mod sheet_board;
pub mod session;
pub mod session_text;
pub mod checklist;
pub mod vehicle;
