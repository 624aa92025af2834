//! What the server says of itself, on standard error: one line an event, UTC, nothing that could forge a line.

use jiff::Timestamp;
use std::io::Write;

/// Longest line.
const MOST_CHARS: usize = 400;

/// Writes one event.
pub(super) fn log(event: &str) {
    // A closed standard error is no reason to stop serving.
    let _ = writeln!(anstream::stderr(), "{}", line(Timestamp::now(), event));
}

/// The line of an event. What could forge a line, steer a terminal or turn the order of letters round is escaped: a name from
/// outside is seen as what it is.
fn line(time: Timestamp, event: &str) -> String {
    let mut line = format!("{time:.0} ");
    for character in event.chars().take(MOST_CHARS) {
        if is_plain(character) { line.push(character) } else { line.extend(character.escape_unicode()) }
    }
    line
}

/// Neither a control character, nor one that parts lines, nor one that turns the direction of writing (Unicode's `Bidi_Control`).
fn is_plain(character: char) -> bool {
    !character.is_control()
        && !matches!(character, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Line ends of every kind, ANSI escapes in both forms, and what shows `gpj.exe` as `exe.jpg`.
    #[test]
    fn nothing_from_outside_forges_a_line_or_steers_a_terminal() {
        let time: Timestamp = "2026-11-26T08:00:00Z".parse().unwrap();
        let forged =
            "a\r\n2026-11-26T08:00:00Z let in\u{1b}[2J\u{9b}2J\u{0}\t\u{7f}\u{85}\u{2028}\u{2029}\u{202e}gpj\u{2066}";
        let line = line(time, forged);
        assert_eq!(
            line,
            "2026-11-26T08:00:00Z a\\u{d}\\u{a}2026-11-26T08:00:00Z let in\\u{1b}[2J\\u{9b}2J\\u{0}\\u{9}\\u{7f}\\u{85}\
             \\u{2028}\\u{2029}\\u{202e}gpj\\u{2066}"
        );
        assert_eq!(super::line(time, "Müller, 650 mm"), "2026-11-26T08:00:00Z Müller, 650 mm", "letters stay letters");
    }

    #[test]
    fn a_line_is_never_longer_than_it_may_be() {
        let time: Timestamp = "2026-11-26T08:00:00Z".parse().unwrap();
        assert_eq!(line(time, &"ä".repeat(10_000)).chars().count(), MOST_CHARS + 21);
    }
}
