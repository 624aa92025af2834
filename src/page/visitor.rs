//! Who may come in: one-time codes, what they are swapped for, and how often somebody may guess.

use crate::error::Error;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt::Write as _;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Bytes of a code and of a cookie: 256 bit.
const SECRET_BYTES: usize = 32;
/// How long a one-time code holds.
const CODE_LIFE: Duration = Duration::from_mins(5);
/// How long a phone stays in: a long working day.
const VISIT_LIFE: Duration = Duration::from_hours(14);
/// Phones at once, and desks at once; the oldest of them goes when another comes, and no phone goes for a desk.
const MOST_VISITS: usize = 500;
/// Wrong codes of one address in a minute.
const MOST_WRONG: u32 = 20;
const MINUTE: Duration = Duration::from_mins(1);
/// Addresses whose guesses are counted; forgotten a minute later.
const MOST_ADDRESSES: usize = 10_000;

/// What came of a code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Entered {
    /// Right: the cookie's value.
    Visit(String),
    /// Used, too old or never given.
    Wrong,
    /// Too many wrong ones.
    TooOften,
}

/// Who comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Device {
    /// This machine, without a code.
    Desk,
    /// Another device, with a code.
    Phone,
}

#[derive(Debug, Default)]
struct Inside {
    /// SHA-256 of each code, and until when it holds. What is kept could not be used by who reads the memory's dump.
    codes: HashMap<[u8; 32], Instant>,
    visits: HashMap<[u8; 32], (Instant, Device)>,
    wrong: HashMap<IpAddr, (u32, Instant)>,
}

/// Codes and visits.
#[derive(Debug, Default)]
pub(super) struct Visitors(Mutex<Inside>);

/// Random bytes of the operating system, as hexadecimal text.
pub(super) fn secret() -> Result<String, Error> {
    random_hex(SECRET_BYTES)
}

/// So many random bytes as hexadecimal text.
pub(super) fn random_hex(count: usize) -> Result<String, Error> {
    let mut bytes = vec![0_u8; count];
    getrandom::fill(&mut bytes).map_err(|error| {
        Error::usage(format!("the system gives no random numbers: {error}"), "nothing can be served without; try again")
    })?;
    Ok(hex(&bytes))
}

/// Bytes as hexadecimal text.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn digest(text: &str) -> [u8; 32] {
    Sha256::digest(text.as_bytes()).into()
}

/// What a form of this visit carries; whoever knows it knows nothing of the cookie.
pub(super) fn form_token(cookie: &str) -> String {
    hex(&Sha256::new().chain_update(b"form\0").chain_update(cookie.as_bytes()).finalize()[..16])
}

impl Visitors {
    fn inside<T>(&self, act: impl FnOnce(&mut Inside) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// A new one-time code.
    pub(super) fn new_code(&self) -> Result<String, Error> {
        let code = secret()?;
        self.inside(|inside| {
            let now = Instant::now();
            inside.codes.retain(|_, until| *until > now);
            inside.codes.insert(digest(&code), now + CODE_LIFE);
        });
        Ok(code)
    }

    /// Swaps a code for a visit.
    pub(super) fn enter(&self, code: &str, from: IpAddr) -> Result<Entered, Error> {
        let now = Instant::now();
        let is_right = self.inside(|inside| {
            if inside.wrong.len() > MOST_ADDRESSES {
                inside.wrong.retain(|_, (_, until)| *until > now);
            }
            let (count, until) = inside.wrong.entry(from).or_insert((0, now + MINUTE));
            if *until <= now {
                (*count, *until) = (0, now + MINUTE);
            }
            if *count >= MOST_WRONG {
                return None;
            }
            let is_right = inside.codes.remove(&digest(code)).is_some_and(|until| until > now);
            if !is_right {
                *count += 1;
            }
            Some(is_right)
        });
        match is_right {
            None => Ok(Entered::TooOften),
            Some(false) => Ok(Entered::Wrong),
            Some(true) => self.new_visit(Device::Phone).map(Entered::Visit),
        }
    }

    /// A new visit: the cookie's value.
    pub(super) fn new_visit(&self, device: Device) -> Result<String, Error> {
        let cookie = secret()?;
        self.inside(|inside| {
            let now = Instant::now();
            inside.visits.retain(|_, (until, _)| *until > now);
            let like = || inside.visits.iter().filter(|(_, (_, other))| *other == device);
            if like().count() >= MOST_VISITS
                && let Some(oldest) = like().min_by_key(|(_, (until, _))| *until).map(|(key, _)| *key)
            {
                inside.visits.remove(&oldest);
            }
            inside.visits.insert(digest(&cookie), (now + VISIT_LIFE, device));
        });
        Ok(cookie)
    }

    /// Whether a cookie is of a visit.
    pub(super) fn is_visit(&self, cookie: &str) -> bool {
        let now = Instant::now();
        self.inside(|inside| inside.visits.get(&digest(cookie)).is_some_and(|(until, _)| *until > now))
    }

    /// Ends the life of every code and visit, for tests of what happens then.
    #[cfg(test)]
    fn age(&self) {
        self.inside(|inside| {
            let now = Instant::now();
            for until in inside.codes.values_mut().chain(inside.visits.values_mut().map(|(until, _)| until)) {
                *until = now;
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    const PHONE: IpAddr = IpAddr::V4(Ipv4Addr::new(192, 0, 2, 7));

    #[test]
    fn a_code_lets_in_once_and_not_when_it_is_old() {
        let visitors = Visitors::default();
        let code = visitors.new_code().unwrap();
        assert_eq!(code.len(), 64, "256 bit");
        let Entered::Visit(cookie) = visitors.enter(&code, PHONE).unwrap() else { panic!("not let in") };
        assert_ne!(cookie, code, "a new secret at login");
        assert!(visitors.is_visit(&cookie) && !visitors.is_visit(&code));
        assert_eq!(visitors.enter(&code, PHONE).unwrap(), Entered::Wrong, "second use");
        let old = visitors.new_code().unwrap();
        visitors.age();
        assert_eq!(visitors.enter(&old, PHONE).unwrap(), Entered::Wrong, "expired");
        assert!(!visitors.is_visit(&cookie), "expired");
    }

    #[test]
    fn who_guesses_is_stopped_and_others_are_not() {
        let visitors = Visitors::default();
        let code = visitors.new_code().unwrap();
        let came: Vec<Entered> = (0..100).map(|n| visitors.enter(&format!("{n}"), PHONE).unwrap()).collect();
        assert_eq!(came.iter().filter(|came| **came == Entered::Wrong).count(), MOST_WRONG as usize);
        assert_eq!(came[99], Entered::TooOften);
        assert_eq!(visitors.enter(&code, PHONE).unwrap(), Entered::TooOften, "also the right one");
        let other = IpAddr::V4(Ipv4Addr::LOCALHOST);
        assert!(matches!(visitors.enter(&code, other).unwrap(), Entered::Visit(_)));
    }

    #[test]
    fn visits_are_bounded() {
        let visitors = Visitors::default();
        let phone = visitors.new_visit(Device::Phone).unwrap();
        let first = visitors.new_visit(Device::Desk).unwrap();
        for _ in 0..MOST_VISITS {
            visitors.new_visit(Device::Desk).unwrap();
        }
        assert!(!visitors.is_visit(&first));
        assert!(visitors.is_visit(&phone), "no desk drives a phone out");
        assert_eq!(visitors.inside(|inside| inside.visits.len()), MOST_VISITS + 1);
    }
}
