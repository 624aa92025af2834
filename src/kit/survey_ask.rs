//! A survey asked question by question: what to ask next, and whether an answer is possible.
//!
//! **Takes** a [`Survey`] that may hold answers already and lines of text. **Gives** the survey with every answer that was
//! accepted; the caller writes it after each, so that nothing is lost. **Fails** never: an absurd answer is told why and the
//! same question comes again.

use super::survey::{
    AHEAD_MM, DistanceReading, INSTRUMENTS, LEVEL_MM, LevelReading, OFFSET_MM, PLACES, PLUMB_MM, PlumbReading,
    SIGMA_MM, SURVEY_SCHEMA, Survey, TO_WALL_MM, WHEELBASE_MM,
};
use super::survey_ask_marks::{MarkAsk, MarkState};
use crate::bay::{DEFAULT_RECHECK_MONTHS, months_after, parse_date};
use std::ops::RangeInclusive;

/// Heights of the plumb line's two readings that are asked for, mm.
const PLUMB_HEIGHTS_MM: [f64; 2] = [200.0, 1800.0];
/// Intervals between surveys that can be meant, months.
const RECHECK_MONTHS: RangeInclusive<f64> = 1.0..=120.0;

/// One question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ask {
    Id,
    Name,
    Date,
    Surveyor,
    RecheckMonths,
    FlatnessLimit,
    Wheel(usize),
    LampsAhead,
    Wheelbase,
    ToWall(usize),
    Instrument,
    LevelSigma,
    Level(usize),
    Plumb(usize),
    Mark(usize, MarkAsk),
    /// Between which marks a tape runs that checks them.
    Diagonal(usize),
    DiagonalLength(usize),
}

/// A question as it is put.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// What is asked, with the unit.
    pub text: String,
    /// What an empty answer means, when it may be empty.
    pub default: Option<String>,
    pub(super) key: Ask,
    pub(super) range: Option<RangeInclusive<f64>>,
}

/// A survey that is being asked for.
#[derive(Debug, Clone)]
pub struct Dialogue {
    /// What is known so far.
    pub survey: Survey,
    today: String,
    asked: Vec<Ask>,
    pub(super) marks: MarkState,
}

impl Dialogue {
    /// Goes on with what `survey` holds; `today` is offered as the date.
    pub fn new(mut survey: Survey, today: &str) -> Self {
        SURVEY_SCHEMA.clone_into(&mut survey.schema);
        Self { survey, today: today.to_owned(), asked: Vec::new(), marks: MarkState::default() }
    }

    /// The next question; `None` when all is answered.
    pub fn next(&self) -> Option<Question> {
        let key = self.keys().into_iter().find(|key| !self.asked.contains(key) && !self.is_known(*key))?;
        Some(self.question(key))
    }

    fn keys(&self) -> Vec<Ask> {
        let mut keys = vec![Ask::Id, Ask::Name, Ask::Date, Ask::Surveyor, Ask::RecheckMonths, Ask::FlatnessLimit];
        keys.extend((0..4).map(Ask::Wheel));
        keys.extend([Ask::LampsAhead, Ask::Wheelbase]);
        keys.extend([0, 1, 4].map(Ask::ToWall));
        keys.extend([Ask::Instrument, Ask::LevelSigma]);
        keys.extend((0..PLACES.len()).map(Ask::Level));
        keys.extend((0..PLUMB_HEIGHTS_MM.len()).map(Ask::Plumb));
        keys.extend(self.mark_keys());
        keys
    }

    fn is_known(&self, key: Ask) -> bool {
        let survey = &self.survey;
        let wheels = &survey.wheels;
        match key {
            Ask::Id => survey.id.is_some(),
            Ask::Name => survey.name.is_some(),
            Ask::Date => survey.date.is_some(),
            Ask::Surveyor => survey.surveyor.is_some(),
            Ask::RecheckMonths => survey.recheck_months.is_some(),
            Ask::FlatnessLimit => survey.flatness_limit_mm.is_some(),
            Ask::Wheel(wheel) => {
                [wheels.front_left_mm, wheels.front_right_mm, wheels.rear_left_mm, wheels.rear_right_mm][wheel]
                    .is_some()
            }
            Ask::LampsAhead => wheels.lamps_ahead_mm.is_some(),
            Ask::Wheelbase => wheels.wheelbase_mm.is_some(),
            Ask::ToWall(place) => survey.distance.reading.iter().any(|reading| reading.from == PLACES[place]),
            Ask::Instrument => survey.level.instrument.is_some(),
            Ask::LevelSigma => survey.level.sigma_mm.is_some(),
            Ask::Level(place) => survey.level.reading.iter().any(|reading| reading.at == PLACES[place]),
            Ask::Plumb(n) => survey.plumb.reading.len() > n,
            Ask::Mark(n, ask) => self.is_mark_known(n, ask),
            Ask::Diagonal(_) | Ask::DiagonalLength(_) => self.are_diagonals_known(),
        }
    }

    fn question(&self, key: Ask) -> Question {
        let wheels = ["front left", "front right", "rear left", "rear right"];
        let ask = |text: String, range: Option<RangeInclusive<f64>>, default: Option<String>| Question {
            text,
            default,
            key,
            range,
        };
        let none = || Some("not measured".to_owned());
        match key {
            Ask::Id => ask("short id of the bay, such as bay-1".into(), None, None),
            Ask::Name => ask("name of the bay".into(), None, None),
            Ask::Date => ask("date of the survey, YYYY-MM-DD".into(), None, Some(self.today.clone())),
            Ask::Surveyor => ask("initials of the surveyor".into(), None, Some("none".into())),
            Ask::RecheckMonths => ask(
                "months until the bay is surveyed again".into(),
                Some(RECHECK_MONTHS),
                Some(DEFAULT_RECHECK_MONTHS.to_string()),
            ),
            Ask::FlatnessLimit => ask(
                "how far a wheel place may lie off the floor's plane, mm (3 mm is common)".into(),
                Some(SIGMA_MM),
                Some("no limit".into()),
            ),
            Ask::Wheel(wheel) => {
                let text = format!("distance of the {} wheel place from the centreline, mm", wheels[wheel]);
                ask(text, Some(OFFSET_MM), None)
            }
            Ask::LampsAhead => {
                ask("how far the lamps' plane stands ahead of the front wheel centres, mm".into(), Some(AHEAD_MM), None)
            }
            Ask::Wheelbase => ask("distance between front and rear wheel places, mm".into(), Some(WHEELBASE_MM), None),
            Ask::ToWall(place) => {
                let text = format!("shortest level distance from {} to the wall, mm", PLACES[place]);
                ask(text, Some(TO_WALL_MM), (PLACES[place] == "lamps").then(|| "from the front wheels".into()))
            }
            Ask::Instrument => {
                let known = INSTRUMENTS.map(|(name, _)| name).join(", ");
                ask(format!("what the floor's heights are read with: {known}"), None, Some("laser level".into()))
            }
            Ask::LevelSigma => {
                let usual = INSTRUMENTS.iter().find(|(name, _)| Some(*name) == self.survey.level.instrument.as_deref());
                let usual = usual.map_or(1.0, |(_, sigma)| *sigma);
                ask("standard uncertainty of one such reading, mm".into(), Some(SIGMA_MM), Some(usual.to_string()))
            }
            Ask::Level(place) => ask(
                format!(
                    "reading of the scale standing on the floor at {}, mm (larger where the floor is lower)",
                    PLACES[place]
                ),
                Some(LEVEL_MM),
                (place >= 4).then(|| "not measured".to_owned()),
            ),
            Ask::Plumb(n) => {
                let text =
                    format!("level distance from a plumb line to the wall at {} mm height, mm", PLUMB_HEIGHTS_MM[n]);
                ask(text, Some(PLUMB_MM), none())
            }
            Ask::Mark(n, ask) => self.mark_question(n, ask),
            Ask::Diagonal(_) | Ask::DiagonalLength(_) => self.diagonal_question(key),
        }
    }

    /// Takes an answer; the error says why it is none.
    pub fn answer(&mut self, question: &Question, line: &str) -> Result<(), String> {
        let line = line.trim();
        let is_default = line.is_empty();
        let text = match (&question.default, is_default) {
            (None, true) => return Err("please answer".to_owned()),
            (Some(default), true) => default.clone(),
            (_, false) => line.to_owned(),
        };
        let number = match &question.range {
            None => None,
            // The default of an optional number is a word.
            Some(_) if is_default && text.parse::<f64>().is_err() => None,
            Some(range) => Some(number(&text, range)?),
        };
        self.take(question.key, &text, number, is_default)?;
        self.asked.push(question.key);
        Ok(())
    }

    fn take(&mut self, key: Ask, text: &str, number: Option<f64>, is_default: bool) -> Result<(), String> {
        match key {
            Ask::Mark(n, ask) => return self.take_mark(n, ask, text, number),
            Ask::Diagonal(_) | Ask::DiagonalLength(_) => return self.take_diagonal(key, text, number),
            _ => {}
        }
        let survey = &mut self.survey;
        let owned = || Some(text.to_owned());
        match key {
            Ask::Id => survey.id = owned(),
            Ask::Name => survey.name = owned(),
            Ask::Date => {
                parse_date(text, "date").map_err(|_| "write it as 2026-03-14".to_owned())?;
                survey.date = owned();
            }
            Ask::Surveyor => survey.surveyor = if is_default { None } else { owned() },
            Ask::RecheckMonths => {
                let months = number.unwrap_or_else(|| f64::from(DEFAULT_RECHECK_MONTHS));
                if months.fract() > 0.0 {
                    return Err(format!("{months}: need whole months"));
                }
                let date = survey.date.as_deref().and_then(|date| parse_date(date, "date").ok());
                if date.is_some_and(|date| months_after(date, months as u32).is_err()) {
                    return Err(format!("{months} months after the survey is no date: read it again"));
                }
                survey.recheck_months = Some(months as u32);
            }
            Ask::FlatnessLimit => survey.flatness_limit_mm = number,
            Ask::Wheel(0) => survey.wheels.front_left_mm = number,
            Ask::Wheel(1) => survey.wheels.front_right_mm = number,
            Ask::Wheel(2) => survey.wheels.rear_left_mm = number,
            Ask::Wheel(_) => survey.wheels.rear_right_mm = number,
            Ask::LampsAhead => survey.wheels.lamps_ahead_mm = number,
            Ask::Wheelbase => survey.wheels.wheelbase_mm = number,
            Ask::ToWall(place) => survey.distance.reading.extend(number.map(|mm| DistanceReading {
                from: PLACES[place].to_owned(),
                mm,
                height_mm: None,
                sigma_mm: None,
            })),
            Ask::Instrument => survey.level.instrument = Some(one_of(text, &INSTRUMENTS.map(|(name, _)| name))?),
            Ask::LevelSigma => survey.level.sigma_mm = number,
            Ask::Level(place) => survey.level.reading.extend(number.map(|mm| LevelReading {
                at: PLACES[place].to_owned(),
                mm,
                x_mm: None,
                setup: None,
                sigma_mm: None,
            })),
            Ask::Plumb(n) => survey.plumb.reading.extend(number.map(|offset_mm| PlumbReading {
                line: None,
                height_mm: PLUMB_HEIGHTS_MM[n],
                offset_mm,
                sigma_mm: None,
            })),
            Ask::Mark(..) | Ask::Diagonal(_) | Ask::DiagonalLength(_) => {}
        }
        Ok(())
    }
}

/// The first of the known words that begins as the answer does.
pub(super) fn one_of(text: &str, known: &[&str]) -> Result<String, String> {
    let found = known.iter().find(|name| name.starts_with(&text.to_lowercase()));
    found.map(|name| (*name).to_owned()).ok_or_else(|| format!("need one of: {}", known.join(", ")))
}

fn number(text: &str, range: &RangeInclusive<f64>) -> Result<f64, String> {
    let number: f64 = text.replace(',', ".").parse().map_err(|_| format!("\"{text}\" is no number"))?;
    let (from, to) = (range.start(), range.end());
    if range.contains(&number) {
        Ok(number)
    } else {
        Err(format!("{number} cannot be: need {from} to {to}; read it again"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_absurd_answer_is_asked_again_and_a_stop_loses_nothing() {
        let mut dialogue = Dialogue::new(Survey::default(), "2026-03-14");
        let give = |dialogue: &mut Dialogue, line: &str| {
            let question = dialogue.next().unwrap();
            (question.text.clone(), dialogue.answer(&question, line))
        };
        assert!(give(&mut dialogue, "").1.is_err());
        for line in ["bay-1", "North bay", "", "AB"] {
            assert!(give(&mut dialogue, line).1.is_ok());
        }
        for (absurd, why, line) in [("6.5", "whole months", "6"), ("-2", "cannot be", "2.5")] {
            assert!(give(&mut dialogue, absurd).1.unwrap_err().contains(why));
            assert!(give(&mut dialogue, line).1.is_ok());
        }
        assert_eq!((dialogue.survey.recheck_months, dialogue.survey.flatness_limit_mm), (Some(6), Some(2.5)));
        let (text, refused) = give(&mut dialogue, "76");
        assert!(text.contains("front left wheel"), "{text}");
        assert!(refused.unwrap_err().contains("need 300 to 1500"));
        assert!(give(&mut dialogue, "760,5").1.is_ok());
        let kept = dialogue.survey.to_text().unwrap();
        let survey = Survey::parse(&kept, "kept.toml").unwrap();
        assert_eq!(survey, dialogue.survey);
        assert_eq!(survey.wheels.front_left_mm, Some(760.5));
        assert_eq!(survey.date.as_deref(), Some("2026-03-14"));
        let again = Dialogue::new(survey, "2026-03-15");
        assert!(again.next().unwrap().text.contains("front right wheel"));
    }
}
