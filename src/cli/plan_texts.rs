//! What a plan keeps for records: the texts that it was made of, the record it goes into, and its words without personal ones.

/// A file of the plan that is read as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Input {
    /// The bay file.
    Bay,
    /// The rule: a built-in one by its id, or a file.
    Rule,
    /// The screws file.
    Screws,
    /// The lens file.
    Lens,
    /// The response file.
    Response,
    /// The options file.
    Options,
}

/// The texts that a plan was made of, for records; the lens's stands in [`super::plan::Plan::lens_text`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanTexts {
    /// The bay file.
    pub bay: String,
    /// The rule file.
    pub rule: String,
    /// The screws file, when given.
    pub screws: Option<String>,
    /// The response file, when given.
    pub response: Option<String>,
}

/// What is printed on the annotated picture of a recorded reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caption {
    /// The record's id.
    pub record: String,
    /// Day of the record, `YYYY-MM-DD`.
    pub date: String,
}

/// Options that only say where and of whom a reading is recorded. They change no figure, and the reading's own command must not
/// hold what can be erased.
const RECORDING: [&str; 8] =
    ["--record", "--by", "--vehicle", "--plate", "--customer", "--prepared", "--corrects", "--reason"];

/// The words without those options and their values.
pub(super) fn without_recording(words: Vec<String>) -> Vec<String> {
    let mut kept = Vec::with_capacity(words.len());
    let mut words = words.into_iter();
    while let Some(word) = words.next() {
        if RECORDING.contains(&word.as_str()) {
            words.next();
        } else if !RECORDING.iter().any(|flag| word.strip_prefix(flag).is_some_and(|rest| rest.starts_with('='))) {
            kept.push(word);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_can_be_erased_are_left_out() {
        let words = "measure p.jpg --plate X --bay b.toml --customer=Y --record s --by Z --vehicle V --height-mm 650";
        let kept = without_recording(words.split(' ').map(str::to_owned).collect());
        assert_eq!(kept.join(" "), "measure p.jpg --bay b.toml --height-mm 650");
    }
}
