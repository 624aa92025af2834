//! What stands in for a session's record in a program that was built without records.

use super::aim_start::StartArgs;
use super::measure::{PhotoFiles, Produced};
use super::plan::Plan;
use crate::error::Error;
use crate::kit::session::{Movement, Session};

/// Never made.
#[derive(Debug)]
pub(super) struct Recorder;

#[expect(clippy::unnecessary_wraps, reason = "the same shape as with records")]
pub(super) fn begin_record(_: &StartArgs, _: &mut Session) -> Result<String, Error> {
    Ok(String::new())
}

/// A session that is recorded must not go on unrecorded.
pub(super) fn go_on(session: &Session, _: &mut Plan) -> Result<Option<Recorder>, Error> {
    match &session.recorded {
        None => Ok(None),
        Some(recorded) => Err(Error::usage(
            format!("this session is recorded in {}, and this program was built without records", recorded.store),
            "use one that was built with them",
        )),
    }
}

#[expect(clippy::unnecessary_wraps, reason = "the same shape as with records")]
pub(super) fn record(
    _: Option<Recorder>,
    _: &Plan,
    _: &PhotoFiles,
    _: &Produced,
    _: &[Movement],
) -> Result<String, Error> {
    Ok(String::new())
}
