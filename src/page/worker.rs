//! A worker: measures one photo in a process of its own, which has limits and holds no store, no port and no cookie.
//!
//! **Takes** an [`Errand`] on standard input, to its end. **Gives** an [`Outcome`] on standard output. What a hostile photo does
//! to it ends here: the server sees an answer or none.

use super::errand::{Errand, Names, Outcome, pack, unpack};
use super::pictures::reduced;
use crate::cli::ExitStatus;
use crate::cli::drive;
use crate::cli::given::Given;
use crate::cli::plan::Caption;
use crate::cli::serve::PageWorkerArgs;
use crate::draw::{PictureFormat, encode};
use crate::error::Error;
use crate::photo::{DecodeOptions, decode};
use std::io::{Read, Write};

/// Does one errand.
pub fn worker(args: &PageWorkerArgs, stdin: &mut dyn Read, stdout: &mut dyn Write) -> Result<ExitStatus, Error> {
    let broken = |found: String| Error::usage(found, "`lampwright serve` starts this itself");
    bound(args).map_err(|error| broken(format!("the limits cannot be set: {error}")))?;
    let mut message = Vec::new();
    stdin.read_to_end(&mut message).map_err(|error| broken(format!("the errand cannot be read: {error}")))?;
    let (errand, blocks) = unpack(&message).ok_or_else(|| broken("that is no errand".to_owned()))?;
    drop(message);
    let (outcome, picture) = done(errand, blocks).unwrap_or_else(|error| (failed(error), Vec::new()));
    let answer = pack(&outcome, &[&picture])
        .map_err(|error| broken(format!("the answer cannot be written as JSON: {error}")))?;
    let sent = stdout.write_all(&answer).and_then(|()| stdout.flush());
    sent.map_err(|error| broken(format!("the answer cannot be sent: {error}")))?;
    Ok(ExitStatus::Good)
}

fn done(errand: Errand, blocks: Vec<Vec<u8>>) -> Result<(Outcome, Vec<u8>), Error> {
    match errand {
        Errand::Measure { given, caption, names } => measured(&given, caption, names, blocks),
        Errand::Upright { name } => {
            let bytes = blocks.into_iter().next().unwrap_or_default();
            let photo = decode(&bytes, &name, &DecodeOptions::default())?;
            Ok((Outcome::Picture, encode(&reduced(&photo), PictureFormat::Jpeg)?))
        }
    }
}

fn measured(
    given: &Given,
    (record, date): (String, String),
    names: Names,
    blocks: Vec<Vec<u8>>,
) -> Result<(Outcome, Vec<u8>), Error> {
    let photos = names.with(blocks).ok_or_else(|| Error::usage("photos are missing", "send them with it"))?;
    let mut plan = given.plan()?;
    plan.caption = Some(Caption { record, date });
    // The page says it, from all photos of the lamp.
    plan.is_turn_told = false;
    let produced = drive::drive(&plan, &photos)?;
    Ok((Outcome::Measured(Box::new(produced.reading)), produced.filed.unwrap_or_default()))
}

fn failed(error: Error) -> Outcome {
    match error {
        Error::File { path, found, hint } => Outcome::Failed { file: Some(path), found, hint },
        Error::Usage { found, hint } => Outcome::Failed { file: None, found, hint },
    }
}

/// Memory and processor time end the process, not the machine; it writes no file, not even a dump of itself.
#[cfg(unix)]
fn bound(args: &PageWorkerArgs) -> std::io::Result<()> {
    use rustix::process::{Resource, Rlimit, setrlimit};
    // What is used is counted on Linux; elsewhere what is reserved.
    let memory = if cfg!(target_os = "linux") { Resource::Data } else { Resource::As };
    let limits = [(memory, args.mib << 20), (Resource::Cpu, args.seconds), (Resource::Fsize, 0), (Resource::Core, 0)];
    for (resource, most) in limits {
        setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) })?;
    }
    Ok(())
}

/// Elsewhere the server's own clock is the only limit.
#[cfg(not(unix))]
fn bound(_: &PageWorkerArgs) -> std::io::Result<()> {
    Ok(())
}
