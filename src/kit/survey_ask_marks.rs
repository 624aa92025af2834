//! The questions about the marks on the wall: by tape along and up the wall, or by tapes from points that stand already.
//!
//! A tape's length is held against the rough places as soon as it is given: a slip is asked again while the tape still hangs.

use super::survey::{ALONG_MM, HEIGHT_MM, SIZE_MM, Survey, SurveyMark, TAPE_MM, TapeReading};
use super::survey_ask::{Ask, Dialogue, Question, one_of};
use std::ops::RangeInclusive;

/// Size that is offered for a mark, mm.
const USUAL_SIZE_MM: f64 = 160.0;
/// Marks that are asked for before the question whether there are more.
pub(super) const MARKS_ASKED: usize = 4;
/// How a mark's place is measured.
const WAYS: [&str; 2] = ["heights", "tapes"];
/// Tapes that place a mark: two fix it, a third shows a slip.
const TAPES_NEEDED: usize = 2;
const TAPES_ASKED: usize = 3;
/// How far a tape may be off the distance of the rough places, mm: each is to a hand's breadth or better.
const ROUGH_MM: f64 = 400.0;
/// The same between places that were both measured, mm: more is no error of a tape but a slip.
const MEASURED_MM: f64 = 100.0;
/// Tapes between marks that are asked for at most.
const DIAGONALS_ASKED: usize = 6;
/// An answer that ends a list.
const NO_MORE: &str = "no more";

/// One question about a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum MarkAsk {
    Kind,
    Id,
    Size,
    /// How its place is measured.
    Way,
    X,
    Y,
    NearX,
    NearY,
    /// From where a tape runs to it.
    TapeFrom(usize),
    TapeLength(usize),
    /// Whether there is another one.
    More,
}

/// What is known of the marks and stands in no survey file yet.
#[derive(Debug, Clone, Default)]
pub(super) struct MarkState {
    /// Marks that tapes place, by their place in the list.
    by_tapes: Vec<usize>,
    /// Where the next tape starts.
    from: Option<String>,
    /// Where it ends, when it is one between two marks.
    to: Option<String>,
    /// Marks to which no further tape runs.
    tapes_done: Vec<usize>,
    is_complete: bool,
    are_diagonals_done: bool,
}

/// A point's place, measured or rough, and whether it was measured.
fn place(survey: &Survey, name: &str) -> Option<(f64, f64, bool)> {
    if name == "foot" {
        return Some((0.0, 0.0, true));
    }
    let known = |measured: (Option<f64>, Option<f64>), near: (Option<f64>, Option<f64>)| match (measured, near) {
        ((Some(x), Some(y)), _) => Some((x, y, true)),
        (_, (Some(x), Some(y))) => Some((x, y, false)),
        _ => None,
    };
    let mark = survey.mark.iter().find(|mark| mark_name(mark) == name);
    let reference = survey.reference.iter().find(|reference| reference.name == name);
    mark.and_then(|m| known((m.x_mm, m.y_mm), (m.near_x_mm, m.near_y_mm)))
        .or_else(|| reference.and_then(|r| known((r.x_mm, r.y_mm), (r.near_x_mm, r.near_y_mm))))
}

fn mark_name(mark: &SurveyMark) -> String {
    format!("mark {}", mark.id)
}

impl Dialogue {
    /// Every question about marks, in order, as far as the survey has got.
    pub(super) fn mark_keys(&self) -> Vec<Ask> {
        let mut keys = Vec::new();
        let marks = self.survey.mark.len();
        for n in 0..marks {
            let one = |ask| Ask::Mark(n, ask);
            keys.extend([MarkAsk::Id, MarkAsk::Size, MarkAsk::Way].map(one));
            if !self.is_by_tapes(n) {
                keys.extend([MarkAsk::X, MarkAsk::Y].map(one));
                continue;
            }
            keys.extend([MarkAsk::NearX, MarkAsk::NearY].map(one));
            // A file of one's own may place it with a level besides; only who is asked is asked for tapes.
            if self.marks.by_tapes.contains(&n) || self.tapes_to(n) > 0 {
                keys.extend((0..TAPES_ASKED).flat_map(|k| [MarkAsk::TapeFrom(k), MarkAsk::TapeLength(k)]).map(one));
            }
        }
        if marks < MARKS_ASKED {
            keys.push(Ask::Mark(marks, MarkAsk::Kind));
        } else if !self.marks.is_complete {
            keys.push(Ask::Mark(marks, MarkAsk::More));
        } else if !self.marks.are_diagonals_done {
            let taken = self.diagonals();
            keys.extend((taken..DIAGONALS_ASKED).flat_map(|k| [Ask::Diagonal(k), Ask::DiagonalLength(k)]));
        }
        keys
    }

    fn is_by_tapes(&self, n: usize) -> bool {
        self.survey.mark.get(n).is_some_and(|mark| mark.near_x_mm.is_some()) || self.marks.by_tapes.contains(&n)
    }

    /// Tapes from points that stand before it in the list to this mark.
    fn tapes_to(&self, n: usize) -> usize {
        let Some(mark) = self.survey.mark.get(n) else { return 0 };
        let name = mark_name(mark);
        self.survey
            .tape
            .reading
            .iter()
            .filter(|tape| tape.to == name && self.points_before(n).contains(&tape.from))
            .count()
    }

    /// Tapes between marks whose places were measured otherwise.
    fn diagonals(&self) -> usize {
        let is_measured = |name: &str| place(&self.survey, name).is_some_and(|place| place.2);
        self.survey.tape.reading.iter().filter(|tape| is_measured(&tape.from) && is_measured(&tape.to)).count()
    }

    /// Points from which a tape to this mark can run: they have a place already.
    fn points_before(&self, n: usize) -> Vec<String> {
        let marks = self.survey.mark.iter().take(n).map(mark_name);
        let references = self.survey.reference.iter().map(|reference| reference.name.clone());
        std::iter::once("foot".to_owned())
            .chain(marks)
            .chain(references)
            .filter(|name| place(&self.survey, name).is_some())
            .collect()
    }

    pub(super) fn is_mark_known(&self, n: usize, ask: MarkAsk) -> bool {
        let Some(mark) = self.survey.mark.get(n) else { return false };
        match ask {
            MarkAsk::Id | MarkAsk::Size | MarkAsk::Way => mark.x_mm.is_some() || mark.near_x_mm.is_some(),
            MarkAsk::X => mark.x_mm.is_some(),
            MarkAsk::Y => mark.y_mm.is_some(),
            MarkAsk::NearX => mark.near_x_mm.is_some(),
            MarkAsk::NearY => mark.near_y_mm.is_some(),
            MarkAsk::TapeFrom(k) | MarkAsk::TapeLength(k) => self.tapes_to(n) > k || self.marks.tapes_done.contains(&n),
            MarkAsk::Kind | MarkAsk::More => false,
        }
    }

    pub(super) fn are_diagonals_known(&self) -> bool {
        self.marks.are_diagonals_done
    }

    pub(super) fn mark_question(&self, n: usize, ask: MarkAsk) -> Question {
        let key = Ask::Mark(n, ask);
        let put = |text: String, range: Option<RangeInclusive<f64>>, default: Option<String>| Question {
            text,
            default,
            key,
            range,
        };
        let from = self.marks.from.as_deref().unwrap_or("there");
        match ask {
            MarkAsk::Kind => put(format!("mark number {}: tag36h11 or quadrant", n + 1), None, Some("tag36h11".into())),
            MarkAsk::Id => {
                put(format!("  id of mark number {}", n + 1), Some(0.0..=586.0), self.mark_default(n, |m| f64::from(m.id)))
            }
            MarkAsk::Size => put(
                "  edge of its black square, or diameter of the disc, mm".into(),
                Some(SIZE_MM),
                self.mark_default(n, |m| m.size_mm),
            ),
            MarkAsk::Way => put(
                "  how its place is measured: heights (along the wall and up from the floor) or tapes (from points that stand)"
                    .into(),
                None,
                Some(WAYS[usize::from(n > 0 && self.is_by_tapes(n - 1))].into()),
            ),
            MarkAsk::X => {
                put("  its centre right of the centreline, mm (left is negative)".into(), Some(ALONG_MM), None)
            }
            MarkAsk::Y => put("  its centre above the floor below it, mm".into(), Some(HEIGHT_MM), None),
            MarkAsk::NearX => put(
                "  roughly, its centre right of the centreline, mm (to a hand's breadth; left is negative)".into(),
                Some(ALONG_MM),
                None,
            ),
            MarkAsk::NearY => put("  roughly, its centre above the floor below it, mm".into(), Some(HEIGHT_MM), None),
            MarkAsk::TapeFrom(k) => put(
                format!(
                    "  tape number {} to its centre runs from ({}; foot is where the centreline meets the wall at the floor)",
                    k + 1,
                    self.points_before(n).join(", ")
                ),
                None,
                (k >= TAPES_NEEDED).then(|| NO_MORE.to_owned()),
            ),
            MarkAsk::TapeLength(_) => put(format!("  its length from {from}, mm"), Some(TAPE_MM), None),
            MarkAsk::More => put("another mark? yes or no".into(), None, Some("no".into())),
        }
    }

    pub(super) fn diagonal_question(&self, key: Ask) -> Question {
        let (text, range, default) = match (key, &self.marks.from, &self.marks.to) {
            (Ask::DiagonalLength(_), Some(from), Some(to)) => {
                (format!("  length of the tape from {from} to {to}, mm"), Some(TAPE_MM), None)
            }
            _ => (
                "a tape between two marks that checks their places (a diagonal), by their ids as 0-2".to_owned(),
                None,
                Some(NO_MORE.to_owned()),
            ),
        };
        Question { text, default, key, range }
    }

    fn mark_default(&self, n: usize, of: fn(&SurveyMark) -> f64) -> Option<String> {
        self.survey.mark.get(n).map(|mark| of(mark).to_string())
    }

    pub(super) fn take_mark(&mut self, n: usize, ask: MarkAsk, text: &str, number: Option<f64>) -> Result<(), String> {
        match ask {
            MarkAsk::Kind => self.add_mark(one_of(text, &["tag36h11", "quadrant"])?),
            MarkAsk::Id => {
                let given = number.unwrap_or(0.0);
                let id = given as u32;
                let is_taken = self.survey.mark.iter().enumerate().any(|(other, mark)| other != n && mark.id == id);
                if given.fract() > 0.0 || is_taken {
                    return Err(format!("id {given} is no whole number or is another mark's"));
                }
                self.survey.mark[n].id = id;
            }
            MarkAsk::Size => self.survey.mark[n].size_mm = number.unwrap_or(USUAL_SIZE_MM),
            MarkAsk::Way => {
                if one_of(text, &WAYS)? == WAYS[1] {
                    if self.points_before(n).len() < TAPES_NEEDED {
                        return Err("tapes need two points that stand already: measure this mark by heights".to_owned());
                    }
                    self.marks.by_tapes.push(n);
                }
            }
            MarkAsk::X => self.survey.mark[n].x_mm = number,
            MarkAsk::Y => self.survey.mark[n].y_mm = number,
            MarkAsk::NearX => self.survey.mark[n].near_x_mm = number,
            MarkAsk::NearY => self.survey.mark[n].near_y_mm = number,
            MarkAsk::TapeFrom(k) => {
                if k >= TAPES_NEEDED && text == NO_MORE {
                    self.marks.tapes_done.push(n);
                    return Ok(());
                }
                let points = self.points_before(n);
                let known: Vec<&str> = points.iter().map(String::as_str).collect();
                let asked = if let Ok(id) = text.parse::<u32>() { format!("mark {id}") } else { text.to_owned() };
                let spelled = points.iter().find(|point| point.eq_ignore_ascii_case(&asked)).cloned();
                let from = spelled.ok_or_else(|| format!("need one of: {}", known.join(", ")))?;
                let to = mark_name(&self.survey.mark[n]);
                if self.is_taped(&from, &to) {
                    return Err(format!("the tape from {from} is there already: take another point"));
                }
                (self.marks.from, self.marks.to) = (Some(from), Some(to));
            }
            MarkAsk::TapeLength(_) => self.add_tape(number)?,
            MarkAsk::More => match one_of(text, &["no", "yes"])?.as_str() {
                "yes" => self.add_mark("tag36h11".to_owned()),
                _ => self.marks.is_complete = true,
            },
        }
        Ok(())
    }

    pub(super) fn take_diagonal(&mut self, key: Ask, text: &str, number: Option<f64>) -> Result<(), String> {
        if matches!(key, Ask::DiagonalLength(_)) {
            return self.add_tape(number);
        }
        if text == NO_MORE || text == "no" {
            self.marks.are_diagonals_done = true;
            return Ok(());
        }
        let ids: Vec<Option<u32>> =
            text.split(['-', ' ']).filter(|id| !id.is_empty()).map(|id| id.parse().ok()).collect();
        let [Some(one), Some(other)] = ids[..] else { return Err("give the ids of two marks, as 0-2".to_owned()) };
        let (from, to) = (format!("mark {one}"), format!("mark {other}"));
        let is_mark = |name: &String| self.survey.mark.iter().any(|mark| mark_name(mark) == *name);
        if one == other || ![&from, &to].into_iter().all(is_mark) {
            return Err(format!("{one}-{other} are not two of the marks"));
        }
        if self.is_taped(&from, &to) {
            return Err(format!("the tape from {from} to {to} is there already"));
        }
        (self.marks.from, self.marks.to) = (Some(from), Some(to));
        Ok(())
    }

    fn is_taped(&self, from: &str, to: &str) -> bool {
        let mut readings = self.survey.tape.reading.iter();
        readings.any(|tape| (tape.from == from && tape.to == to) || (tape.from == to && tape.to == from))
    }

    /// Takes a tape's length when the places of its ends allow it.
    fn add_tape(&mut self, number: Option<f64>) -> Result<(), String> {
        let (Some(mm), Some(from), Some(to)) = (number, self.marks.from.clone(), self.marks.to.clone()) else {
            return Err("please answer".to_owned());
        };
        if let (Some(a), Some(b)) = (place(&self.survey, &from), place(&self.survey, &to)) {
            let expected = (a.0 - b.0).hypot(a.1 - b.1);
            let most = if a.2 && b.2 { MEASURED_MM } else { ROUGH_MM };
            if (mm - expected).abs() > most {
                return Err(format!(
                    "{mm} mm cannot be: by the places that were given {from} and {to} are {expected:.0} mm apart; read it again, or \
                     stop and mend the place in the survey file"
                ));
            }
        }
        self.survey.tape.reading.push(TapeReading { from, to, mm, sigma_mm: None });
        (self.marks.from, self.marks.to) = (None, None);
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
