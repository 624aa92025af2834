//! `record init`, `key`, `verify` and `backup`.

use super::super::exit::ExitStatus;
use super::args::{KeyArgs, VerifyArgs};
use super::correct::not_empty;
use crate::error::Error;
use crate::record::{
    Head, PublicKey, Store, Verified, VerifyOptions, backup as copied, key::KEY_FILE, verify as verified,
};
use std::fmt::Write as _;
use std::path::Path;

/// Most findings that are printed.
const MOST: usize = 50;

pub(super) fn init(folder: &Path) -> Result<(String, ExitStatus), Error> {
    Store::create(folder)?;
    let text = format!(
        "store {} made\nRecord with: lampwright measure PHOTO ... --record {0} --by NAME --vehicle REF\n\
         On request, `lampwright record key {0}` makes a key that signs every head of the log.\n",
        folder.display()
    );
    Ok((text, ExitStatus::Good))
}

pub(super) fn key(args: &KeyArgs) -> Result<(String, ExitStatus), Error> {
    let folder = args.store.as_path();
    let mut store = Store::open(folder)?;
    if let (true, Some(by), Some(reason)) = (args.replace, &args.by, &args.reason) {
        not_empty(&[("--by", Some(by)), ("--reason", Some(reason))])?;
        let changed = store.change_key(by, reason)?;
        let text = format!(
            "public key {}\nIt follows {}, which signed it: entry {} says so, and either key verifies the whole log.\n\
             Keep the new line outside the store. The old secret is gone; keep a copy of the new one, {}, in a safe place.\n\
             Log head {}\n",
            changed.new,
            changed.old,
            changed.appended.number,
            folder.join(KEY_FILE).display(),
            changed.appended.head
        );
        return Ok((text, ExitStatus::Good));
    }
    let public = store.make_key()?;
    let text = format!(
        "public key {public}\nKeep this line outside the store: `lampwright record verify --public-key` takes it.\n\
         The secret key lies in {}, readable by its owner alone; it is in no backup, so keep a copy of it in a safe place.\n",
        folder.join(KEY_FILE).display()
    );
    Ok((text, ExitStatus::Good))
}

pub(super) fn verify(args: &VerifyArgs) -> Result<(String, ExitStatus), Error> {
    let wrong =
        |flag: &str, found: String| Error::usage(format!("{flag}: {found}"), "copy the whole line as it was printed");
    let head =
        args.head.as_ref().map(|text| text.parse::<Head>()).transpose().map_err(|found| wrong("--head", found))?;
    let public_keys = args.public_key.iter().map(|text| text.parse::<PublicKey>()).collect::<Result<Vec<_>, _>>();
    let public_keys = public_keys.map_err(|found| wrong("--public-key", found))?;
    let options = VerifyOptions { head, public_keys, is_without_photos: args.without_photos };
    let outcome = verified(&Store::read(&args.store)?, &options)?;
    let status = if outcome.findings.is_empty() { ExitStatus::Good } else { ExitStatus::Finding };
    Ok((words(&outcome, &options), status))
}

fn words(outcome: &Verified, options: &VerifyOptions) -> String {
    let mut text = String::new();
    if outcome.findings.is_empty() {
        text += "WHOLE: nothing was changed, moved or taken out\n";
    } else {
        let count = outcome.findings.len();
        // Writing to a String cannot fail.
        let _ = writeln!(text, "NOT WHOLE: {count} {}", if count == 1 { "finding" } else { "findings" });
        for finding in outcome.findings.iter().take(MOST) {
            let _ = writeln!(text, "  {}: {}", finding.place, finding.found);
        }
        if count > MOST {
            let _ = writeln!(text, "  and {} more", count - MOST);
        }
        text += "Do not record into this store. Copy the whole folder as it is, then go back to the last backup.\n";
    }
    let _ = writeln!(
        text,
        "{} entries, {} parameters, {} photos and pictures",
        outcome.head.size, outcome.parameters, outcome.photos
    );
    if options.is_without_photos {
        text += "photos and pictures were left out\n";
    }
    match &outcome.signed {
        Some((head, key)) => {
            let _ = writeln!(text, "signed up to entry {} by {key}", head.size - 1);
        }
        None => text += "not signed\n",
    }
    for (number, old, new) in &outcome.key_changes {
        let _ = writeln!(text, "entry {number} changed the key: {old} signed {new}");
    }
    if options.head.is_none() && options.public_keys.is_empty() {
        text += "no head and no key from outside were given: a tail that was cut off on purpose could not show\n";
    }
    for note in &outcome.notes {
        let _ = writeln!(text, "note: {note}");
    }
    let _ = writeln!(text, "head {}", outcome.head);
    text
}

pub(super) fn backup(folder: &Path, to: &Path) -> Result<(String, ExitStatus), Error> {
    let store = Store::read(folder)?;
    let outcome = copied(&store, to)?;
    let status = if outcome.findings.is_empty() { ExitStatus::Good } else { ExitStatus::Finding };
    let text = words(&outcome, &VerifyOptions { head: Some(outcome.head), ..VerifyOptions::default() });
    Ok((format!("copied to {}; the copy was verified:\n{text}The station's key is not in it.\n", to.display()), status))
}
