//! `lampwright record`: the store of inspections from the command line.

mod args;
mod correct;
mod entry;
mod export;
mod keep;
mod names;
mod replay;
mod show;

pub use args::{RecordAction, RecordArgs, RecordOptions};
pub(crate) use entry::{Recorder, caption, not_prepared};

use super::exit::ExitStatus;
use super::measure::cannot_print;
use crate::error::Error;
use std::io::Write;

/// Runs it.
pub fn run(args: &RecordArgs, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let (text, status) = match &args.action {
        RecordAction::Init { store } => keep::init(store)?,
        RecordAction::Key(args) => keep::key(args)?,
        RecordAction::List(args) => show::list(args)?,
        RecordAction::Find(args) => show::find(args)?,
        RecordAction::Show(args) => show::show(args)?,
        RecordAction::Export(args) => export::export(args)?,
        RecordAction::Schema => export::schema()?,
        RecordAction::Verify(args) => keep::verify(args)?,
        RecordAction::Replay { store, record } => replay::replay(store, record)?,
        RecordAction::Backup { store, to } => keep::backup(store, to)?,
        RecordAction::Erase(args) => correct::erase(args)?,
        RecordAction::Correct(args) => correct::correct(args)?,
    };
    stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()).map_err(|error| cannot_print(&error))?;
    Ok(status)
}
