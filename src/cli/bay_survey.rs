//! `lampwright bay survey`: from a survey file, or asked for, to a bay file and a picture.

use super::bay::{SurveyArgs, today};
use super::exit::ExitStatus;
use super::plan;
use super::write::{Staged, check_ending};
use crate::error::Error;
use crate::kit::survey::Survey;
use crate::kit::survey_ask::Dialogue;
use crate::kit::survey_bay::bay_text;
use crate::kit::survey_picture::picture;
use crate::kit::survey_result::work_out;
use crate::kit::survey_text::report;
use std::fmt::Write as _;
use std::io::{BufRead, Write};
use std::path::Path;

/// Runs it; the text is for standard output, questions go to `stderr`.
pub(super) fn run(
    args: &SurveyArgs,
    stdin: &mut dyn BufRead,
    stderr: &mut dyn Write,
) -> Result<(String, ExitStatus), Error> {
    let from = args.from.clone().unwrap_or_else(|| args.out.with_extension("survey.toml"));
    check_places(args, &from)?;
    if let Some(picture) = &args.picture {
        check_ending("--picture", picture, "svg")?;
    }
    let survey =
        if args.interactive { asked(args, &from, stdin, stderr)? } else { plan::read_parsed(&from, Survey::parse)? };
    let at = |error: Error| match error {
        Error::Usage { found, hint } => Error::file(from.display().to_string(), found, hint),
        other => other,
    };
    let surveyed = work_out(&survey).map_err(at)?;
    let mut text = report(&surveyed);
    let bay = bay_text(&survey, &surveyed).map_err(at)?;
    if let Some(path) = &args.picture {
        let name = survey.name.as_deref().or(survey.id.as_deref()).unwrap_or("bay");
        Staged::new(path, picture(name, &surveyed).as_bytes())?.commit()?;
    }
    // Writing to a String cannot fail.
    if !surveyed.undecided.is_empty() {
        let _ = writeln!(text, "\n{} was not written: readings disagree", args.out.display());
        return Ok((text, ExitStatus::Finding));
    }
    Staged::new(&args.out, bay.as_bytes())?.commit()?;
    let _ = writeln!(text, "\nbay file written to {}", args.out.display());
    if let Some(path) = &args.picture {
        let _ = writeln!(text, "picture written to {}", path.display());
    }
    let limit = survey.flatness_limit_mm.zip(surveyed.floor).filter(|(limit, floor)| floor.flatness_mm() > *limit);
    if let Some((limit, floor)) = limit {
        let _ = writeln!(text, "NOT FLAT: {:.1} mm off the plane, limit {limit:.1} mm", floor.flatness_mm());
    }
    let is_good = surveyed.left_out.is_empty() && limit.is_none() && surveyed.widened <= 1.0;
    Ok((text, if is_good { ExitStatus::Good } else { ExitStatus::Finding }))
}

/// No output may overwrite the survey or the other output.
fn check_places(args: &SurveyArgs, from: &Path) -> Result<(), Error> {
    let places: Vec<&Path> =
        [Some(from), Some(args.out.as_path()), args.picture.as_deref()].into_iter().flatten().collect();
    for (n, place) in places.iter().enumerate() {
        if places[..n].iter().any(|other| plan::resolved(other) == plan::resolved(place)) {
            return Err(Error::usage(
                format!("{} is named twice", place.display()),
                "give survey, bay and picture names of their own",
            ));
        }
    }
    Ok(())
}

/// Asks for what the file at `kept` does not hold yet, and writes it after every answer.
fn asked(args: &SurveyArgs, kept: &Path, stdin: &mut dyn BufRead, stderr: &mut dyn Write) -> Result<Survey, Error> {
    let survey = if kept.exists() { plan::read_parsed(kept, Survey::parse)? } else { Survey::default() };
    let mut dialogue = Dialogue::new(survey, &today(args.today.as_deref())?.to_string());
    let closed = |error: std::io::Error| Error::usage(format!("nobody can be asked: {error}"), "run it on a terminal");
    writeln!(stderr, "answers are kept in {}; an empty line takes what stands in [ ]", kept.display())
        .map_err(closed)?;
    while let Some(question) = dialogue.next() {
        let default = question.default.as_ref().map_or(String::new(), |default| format!(" [{default}]"));
        write!(stderr, "{}{default}: ", question.text).and_then(|()| stderr.flush()).map_err(closed)?;
        let mut line = String::new();
        if stdin.read_line(&mut line).map_err(closed)? == 0 {
            return Err(Error::usage(
                format!("the questions ended early; what was answered is kept in {}", kept.display()),
                "run the same command again to go on",
            ));
        }
        match dialogue.answer(&question, &line) {
            Ok(()) => Staged::new(kept, dialogue.survey.to_text()?.as_bytes())?.commit()?,
            Err(why) => writeln!(stderr, "  {why}").map_err(closed)?,
        }
    }
    Ok(dialogue.survey)
}
