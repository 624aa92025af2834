//! A session's record: begun with its lamps, and continued with every photo, before anything is shown.

use super::aim::{absolute, plan_of};
use super::aim_start::StartArgs;
use super::measure::{PhotoFiles, Produced};
use super::plan::Plan;
use super::record::{Recorder, caption};
use crate::error::Error;
use crate::kit::session::{Movement, Session, SessionRecord};
use std::path::Path;

/// Begins the record of a session with its lamps in their order; gives what is to be shown.
pub(super) fn begin_record(args: &StartArgs, session: &mut Session) -> Result<String, Error> {
    let (Some(folder), Some(first)) = (&args.recording.record, session.lamps.first()) else { return Ok(String::new()) };
    let plan = plan_of(session, first, Path::new("photo.jpg"), None)?;
    let caption = caption();
    let mut recorder = Recorder::begin(&plan, &args.recording, &caption.record, &session.vehicle)?;
    for lamp in &session.lamps {
        recorder.add_lamp(&lamp.side, &lamp.beam);
    }
    let store = absolute(folder)?;
    let text = recorder.commit()?;
    session.recorded = Some(SessionRecord { store, id: caption.record });
    Ok(text)
}

/// Opens the record of a session, when it has one, and names the new record on the plan's pictures.
pub(super) fn go_on(session: &Session, plan: &mut Plan) -> Result<Option<Recorder>, Error> {
    let Some(recorded) = &session.recorded else { return Ok(None) };
    let caption = caption();
    let recorder = Recorder::go_on(Path::new(&recorded.store), &recorded.id, &caption.record)?;
    plan.caption = Some(caption);
    Ok(Some(recorder))
}

/// Records a photo of a session; gives what is to be shown.
pub(super) fn record(
    recorder: Option<Recorder>,
    plan: &Plan,
    photos: &PhotoFiles,
    produced: &Produced,
    turned: &[Movement],
) -> Result<String, Error> {
    let Some(mut recorder) = recorder else { return Ok(String::new()) };
    recorder.add(plan, photos, produced, turned.to_vec())?;
    recorder.commit()
}
