//! What a shop needs around the photo: the rules to read, the bay to survey and to watch.

pub mod bay_words;
pub mod control_chart;
pub mod control_log;
pub mod control_picture;
pub mod rule_check;
pub mod rule_picture;
pub mod rule_text;
pub mod survey;
pub mod survey_adjust;
pub mod survey_ask;
pub mod survey_bay;
pub mod survey_model;
pub mod survey_picture;
pub mod survey_result;
pub mod survey_text;
pub mod session;
pub mod session_text;
pub mod checklist;
pub mod vehicle;
