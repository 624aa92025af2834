//! What the server says of itself, on standard error: one line an event, UTC, nothing that could forge a line.

use std::io::Write;

/// Longest line.
const MOST_CHARS: usize = 400;

/// Writes one event. Control characters are escaped, so that a name from outside can neither forge a line nor steer a terminal.
pub(super) fn log(event: &str) {
    let mut line = String::with_capacity(event.len() + 24);
    for character in event.chars().take(MOST_CHARS) {
        if character.is_control() { line.extend(character.escape_default()) } else { line.push(character) }
    }
    // A closed standard error is no reason to stop serving.
    let _ = writeln!(anstream::stderr(), "{:.0} {line}", jiff::Timestamp::now());
}
