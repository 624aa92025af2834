//! Names the commit that the program is built from, for `software.commit` of the reading; `unknown` outside a clone.

use std::path::Path;
use std::process::Command;

/// Digits of the commit's hash that are kept.
const DIGITS: &str = "--short=12";

fn main() {
    println!("cargo:rustc-env=LAMPWRIGHT_COMMIT={}", commit().unwrap_or_else(|| "unknown".to_owned()));
    // HEAD names the branch, its log grows with every commit. The index is left alone: a mere `git status` rewrites it,
    // and each run of this script builds the program anew.
    for name in ["HEAD", "logs/HEAD"] {
        if let Some(path) = git(&["rev-parse", "--git-path", name]).filter(|path| Path::new(path).exists()) {
            println!("cargo:rerun-if-changed={path}");
        }
    }
    for path in ["build.rs", "Cargo.toml", "Cargo.lock", "src", "calib"] {
        println!("cargo:rerun-if-changed={path}");
    }
}

/// The commit, with `-dirty` where a tracked file differs from it.
fn commit() -> Option<String> {
    // An archive unpacked inside some other clone must not take that one's commit: the top level is this folder.
    let top = Path::new(&git(&["rev-parse", "--show-toplevel"])?).canonicalize().ok()?;
    // Asked when it runs, not when it is compiled: a target folder may be shared by several clones.
    if top != Path::new(&std::env::var_os("CARGO_MANIFEST_DIR")?).canonicalize().ok()? {
        return None;
    }
    let hash = git(&["rev-parse", DIGITS, "HEAD"])?;
    let is_dirty = !git(&["--no-optional-locks", "status", "--porcelain", "--untracked-files=no"])?.is_empty();
    Some(if is_dirty { format!("{hash}-dirty") } else { hash })
}

fn git(words: &[&str]) -> Option<String> {
    let output = Command::new("git").args(words).output().ok().filter(|output| output.status.success())?;
    Some(String::from_utf8(output.stdout).ok()?.trim().to_owned())
}
