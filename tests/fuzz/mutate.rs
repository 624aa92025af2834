//! Mutations of bytes and of text, from a seed.

/// What a target's inputs are, which decides what is done to them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Bytes.
    Binary,
    /// Lines of text with numbers in them.
    Text,
}

/// Numbers at which code breaks.
const NUMBERS: [&str; 22] = [
    "0",
    "-0.0",
    "1",
    "-1",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "-1e308",
    "5e-324",
    "1e-9",
    "255",
    "256",
    "65535",
    "65536",
    "2147483648",
    "-2147483649",
    "4294967296",
    "9223372036854775807",
    "18446744073709551616",
    "0.1",
    "1e9",
];
/// Words of the files' languages.
const WORDS: [&str; 20] = [
    "[[marks]]",
    "[wall]",
    "\"",
    "\"\"\"",
    "'",
    "[",
    "]",
    "{",
    "}",
    "=",
    ",",
    ";",
    "\n",
    "\r\n",
    "\0",
    "\u{feff}",
    "é",
    "true",
    "\\u0000",
    "#",
];
/// Bytes and their groups at which parsers break.
const BYTES: [&[u8]; 12] = [
    &[0],
    &[0xFF],
    &[0x7F],
    &[0x80],
    &[0xFF, 0xD8],
    &[0xFF, 0xD9],
    &[0xFF, 0xDA],
    &[0, 0, 0, 0],
    &[0xFF; 4],
    &[0x7F, 0xFF, 0xFF, 0xFF],
    &[0x80, 0, 0, 0],
    &[0, 0, 0, 1],
];
/// Longest that an input grows.
const LONGEST: usize = 2 << 20;

/// A generator with a fixed sequence (`SplitMix64`, Steele, Lea and Flood 2014; from memory).
#[derive(Debug)]
pub(crate) struct Mutator(u64);

impl Mutator {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Below `end`; 0 when that is 0.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        self.next().checked_rem(end as u64).unwrap_or(0) as usize
    }

    pub(crate) fn pick<'a, T: ?Sized>(&mut self, list: &[&'a T]) -> &'a T {
        list[self.below(list.len())]
    }

    /// One of the seeds with one to sixteen changes; now and then none.
    pub(crate) fn mutated(&mut self, seeds: &[Vec<u8>], kind: Kind) -> Vec<u8> {
        let mut input = seeds[self.below(seeds.len())].clone();
        let changes = (1 << self.below(5)) - self.below(2);
        for _ in 0..changes {
            if kind == Kind::Text && self.below(4) > 0 {
                self.change_text(&mut input);
            } else {
                self.change_bytes(&mut input, seeds);
            }
        }
        input.truncate(LONGEST);
        input
    }

    fn range(&mut self, length: usize) -> std::ops::Range<usize> {
        let start = self.below(length + 1);
        // Short pieces are likelier than long ones.
        let most = 1 << self.below(14);
        start..(start + self.below(most)).min(length)
    }

    fn change_bytes(&mut self, input: &mut Vec<u8>, seeds: &[Vec<u8>]) {
        let length = input.len();
        let place = self.below(length + 1);
        match self.below(8) {
            0 | 1 if place < length => input[place] ^= 1 << self.below(8),
            2 if place < length => input[place] = self.next() as u8,
            3 => {
                let bytes = self.pick(&BYTES);
                let end = (place + bytes.len()).min(length);
                input.splice(place..end, bytes.iter().copied());
            }
            4 => drop(input.drain(self.range(length))),
            5 => {
                let piece = input[self.range(length)].to_vec();
                let times = 1 + self.below(4);
                input.splice(place..place, piece.repeat(times));
            }
            6 => {
                let other = &seeds[self.below(seeds.len())];
                let piece = other[self.range(other.len())].to_vec();
                input.splice(place..place, piece);
            }
            _ => input.truncate(place),
        }
    }

    fn change_text(&mut self, input: &mut Vec<u8>) {
        match self.below(6) {
            0..3 => {
                // A number becomes another.
                let is_number = |byte: &u8| byte.is_ascii_digit() || *byte == b'.' || *byte == b'-';
                let starts: Vec<usize> = (0..input.len())
                    .filter(|k| {
                        is_number(&input[*k]) && !k.checked_sub(1).is_some_and(|before| is_number(&input[before]))
                    })
                    .collect();
                if let Some(start) = starts.get(self.below(starts.len())).copied() {
                    let end = (start..input.len()).find(|k| !is_number(&input[*k])).unwrap_or(input.len());
                    input.splice(start..end, self.pick(&NUMBERS).bytes());
                }
            }
            3 => {
                let place = self.below(input.len() + 1);
                input.splice(place..place, self.pick(&WORDS).bytes());
            }
            // A line is lost, doubled, or put elsewhere.
            choice => {
                let mut lines: Vec<Vec<u8>> =
                    input.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
                if lines.is_empty() {
                    return;
                }
                let line = lines[self.below(lines.len())].clone();
                if choice == 4 {
                    lines.remove(self.below(lines.len()));
                } else {
                    let place = self.below(lines.len());
                    lines.insert(place, line);
                }
                *input = lines.concat();
            }
        }
    }
}
