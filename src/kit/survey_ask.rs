//! A survey asked question by question: what to ask next, and whether an answer is possible.
//!
//! **Takes** a [`Survey`] that may hold answers already and lines of text. **Gives** the survey with every answer that was
//! accepted; the caller writes it after each, so that nothing is lost. **Fails** never: an absurd answer is told why and the
//! same question comes again.

use super::survey::{
    AHEAD_MM, ALONG_MM, DistanceReading, HEIGHT_MM, INSTRUMENTS, LEVEL_MM, LevelReading, OFFSET_MM, PLACES, PLUMB_MM,
    PlumbReading, SIGMA_MM, SIZE_MM, SURVEY_SCHEMA, Survey, SurveyMark, TO_WALL_MM, WHEELBASE_MM,
};
use std::ops::RangeInclusive;

/// Size that is offered for a mark, mm.
const USUAL_SIZE_MM: f64 = 160.0;
/// Heights of the plumb line's two readings that are asked for, mm.
const PLUMB_HEIGHTS_MM: [f64; 2] = [200.0, 1800.0];
/// Marks that are asked for before the question whether there are more.
const MARKS_ASKED: usize = 4;

/// One question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ask {
    Id,
    Name,
    Date,
    Surveyor,
    Wheel(usize),
    LampsAhead,
    Wheelbase,
    ToWall(usize),
    Instrument,
    LevelSigma,
    Level(usize),
    Plumb(usize),
    MarkKind(usize),
    MarkId(usize),
    MarkSize(usize),
    MarkX(usize),
    MarkY(usize),
    MoreMarks(usize),
}

/// A question as it is put.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// What is asked, with the unit.
    pub text: String,
    /// What an empty answer means, when it may be empty.
    pub default: Option<String>,
    key: Ask,
    range: Option<RangeInclusive<f64>>,
}

/// A survey that is being asked for.
#[derive(Debug, Clone)]
pub struct Dialogue {
    /// What is known so far.
    pub survey: Survey,
    today: String,
    asked: Vec<Ask>,
    are_marks_complete: bool,
}

impl Dialogue {
    /// Goes on with what `survey` holds; `today` is offered as the date.
    pub fn new(mut survey: Survey, today: &str) -> Self {
        SURVEY_SCHEMA.clone_into(&mut survey.schema);
        Self { survey, today: today.to_owned(), asked: Vec::new(), are_marks_complete: false }
    }

    /// The next question; `None` when all is answered.
    pub fn next(&self) -> Option<Question> {
        let key = self.keys().into_iter().find(|key| !self.asked.contains(key) && !self.is_known(*key))?;
        Some(self.question(key))
    }

    fn keys(&self) -> Vec<Ask> {
        let mut keys = vec![Ask::Id, Ask::Name, Ask::Date, Ask::Surveyor];
        keys.extend((0..4).map(Ask::Wheel));
        keys.extend([Ask::LampsAhead, Ask::Wheelbase]);
        keys.extend([0, 1, 4].map(Ask::ToWall));
        keys.extend([Ask::Instrument, Ask::LevelSigma]);
        keys.extend((0..PLACES.len()).map(Ask::Level));
        keys.extend((0..PLUMB_HEIGHTS_MM.len()).map(Ask::Plumb));
        let marks = self.survey.mark.len();
        for mark in 0..marks {
            keys.extend([Ask::MarkId(mark), Ask::MarkSize(mark), Ask::MarkX(mark), Ask::MarkY(mark)]);
        }
        if marks < MARKS_ASKED {
            keys.push(Ask::MarkKind(marks));
        } else if !self.are_marks_complete {
            keys.push(Ask::MoreMarks(marks));
        }
        keys
    }

    fn is_known(&self, key: Ask) -> bool {
        let survey = &self.survey;
        let wheels = &survey.wheels;
        let mark = |n: usize| survey.mark.get(n).is_some_and(|mark| mark.x_mm.is_some() || mark.near_x_mm.is_some());
        match key {
            Ask::Id => survey.id.is_some(),
            Ask::Name => survey.name.is_some(),
            Ask::Date => survey.date.is_some(),
            Ask::Surveyor => survey.surveyor.is_some(),
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
            Ask::MarkId(n) | Ask::MarkSize(n) | Ask::MarkX(n) => mark(n),
            Ask::MarkY(n) => survey.mark.get(n).is_some_and(|mark| mark.y_mm.is_some() || mark.near_y_mm.is_some()),
            Ask::MarkKind(_) | Ask::MoreMarks(_) => false,
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
            Ask::MarkKind(n) => {
                ask(format!("mark number {}: tag36h11 or quadrant", n + 1), None, Some("tag36h11".into()))
            }
            Ask::MarkId(n) => ask(
                format!("  id of mark number {}", n + 1),
                Some(0.0..=586.0),
                self.mark_default(n, |m| f64::from(m.id)),
            ),
            Ask::MarkSize(n) => ask(
                "  edge of its black square, or diameter of the disc, mm".into(),
                Some(SIZE_MM),
                self.mark_default(n, |m| m.size_mm),
            ),
            Ask::MarkX(_) => {
                ask("  its centre right of the centreline, mm (left is negative)".into(), Some(ALONG_MM), None)
            }
            Ask::MarkY(_) => ask("  its centre above the floor below it, mm".into(), Some(HEIGHT_MM), None),
            Ask::MoreMarks(_) => ask("another mark? yes or no".into(), None, Some("no".into())),
        }
    }

    fn mark_default(&self, n: usize, of: fn(&SurveyMark) -> f64) -> Option<String> {
        self.survey.mark.get(n).map(|mark| of(mark).to_string())
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
        let one_of = |known: &[&str]| {
            let found = known.iter().find(|name| name.starts_with(&text.to_lowercase()));
            found.map(|name| (*name).to_owned()).ok_or_else(|| format!("need one of: {}", known.join(", ")))
        };
        let survey = &mut self.survey;
        let owned = || Some(text.to_owned());
        match key {
            Ask::Id => survey.id = owned(),
            Ask::Name => survey.name = owned(),
            Ask::Date => {
                crate::bay::parse_date(text, "date").map_err(|_| "write it as 2026-03-14".to_owned())?;
                survey.date = owned();
            }
            Ask::Surveyor => survey.surveyor = if is_default { None } else { owned() },
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
            Ask::Instrument => survey.level.instrument = Some(one_of(&INSTRUMENTS.map(|(name, _)| name))?),
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
            Ask::MarkKind(_) => self.add_mark(one_of(&["tag36h11", "quadrant"])?),
            Ask::MarkId(n) => {
                let given = number.unwrap_or(0.0);
                let id = given as u32;
                let is_taken = survey.mark.iter().enumerate().any(|(other, mark)| other != n && mark.id == id);
                if given.fract() > 0.0 || is_taken {
                    return Err(format!("id {given} is no whole number or is another mark's"));
                }
                survey.mark[n].id = id;
            }
            Ask::MarkSize(n) => survey.mark[n].size_mm = number.unwrap_or(USUAL_SIZE_MM),
            Ask::MarkX(n) => survey.mark[n].x_mm = number,
            Ask::MarkY(n) => survey.mark[n].y_mm = number,
            Ask::MoreMarks(_) => match one_of(&["no", "yes"])?.as_str() {
                "yes" => self.add_mark("tag36h11".to_owned()),
                _ => self.are_marks_complete = true,
            },
        }
        Ok(())
    }

    fn add_mark(&mut self, kind: String) {
        let id = (0..=self.survey.mark.len() as u32)
            .find(|id| self.survey.mark.iter().all(|mark| mark.id != *id))
            .unwrap_or_default();
        self.survey.mark.push(SurveyMark {
            kind,
            id,
            size_mm: USUAL_SIZE_MM,
            x_mm: None,
            y_mm: None,
            near_x_mm: None,
            near_y_mm: None,
            sigma_mm: None,
        });
    }
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
