//! What a shop needs around the photo: the rules to read, and more as it is built.

pub mod rule_check;
pub mod rule_picture;
pub mod rule_text;
pub mod session;
pub mod session_text;
pub mod checklist;
pub mod vehicle;
