//! The structure of a JPEG file, walked marker by marker, before any of it is decoded.
//!
//! **Takes** the file's bytes. **Gives** the frame header, the Exif block, and the parts of the file that a decoder needs,
//! up to the end marker of the first picture; what follows that marker (further pictures, gain maps) does not count.
//! **How**: marker syntax of ITU-T T.81 annex B; metadata segments are left out, so that no decoder ever inflates them.
//! **Fails when** the end marker is not reached (incomplete), or the structure is damaged or of a kind that no camera
//! writes (found and needed are in the message).

use super::decode::{DecodeOptions, Defect};
use crate::error::Error;
use std::ops::Range;

/// Metadata that begins farther into the file than this is not read.
const METADATA_LIMIT_BYTES: usize = 1 << 20;
/// A block is 8 x 8 samples (T.81, A.1.1).
const BLOCK_PX: usize = 8;
/// Coefficients of a block.
const COEFFICIENTS: usize = 64;
/// Greatest sampling factor (T.81, B.2.2).
const MAX_SAMPLING: u8 = 4;
/// Marks a coefficient of which no scan has told anything yet; larger than any bit position.
const NOT_SEEN: u8 = u8::MAX;

const RETAKE: &str = "take the photo again or copy the file again, and give it unedited";
const USE_PLAIN_JPEG: &str = "save the photo as an ordinary 8-bit JPEG in colour, or as PNG";

/// One component of the frame.
#[derive(Debug, Clone)]
pub(super) struct Component {
    id: u8,
    /// Horizontal sampling factor.
    pub(super) horizontal: usize,
    /// Vertical sampling factor.
    pub(super) vertical: usize,
    /// Per coefficient, the lowest bit that a scan has sent; 0 is complete.
    lowest_bit: [u8; COEFFICIENTS],
}

/// The frame header.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) is_progressive: bool,
    pub(super) components: Vec<Component>,
}

impl Frame {
    /// The greatest sampling factors, horizontal and vertical.
    pub(super) fn max_sampling(&self) -> (usize, usize) {
        let horizontal = self.components.iter().map(|c| c.horizontal).max().unwrap_or(1);
        let vertical = self.components.iter().map(|c| c.vertical).max().unwrap_or(1);
        (horizontal, vertical)
    }

    /// Number of coded units in a scan of the given components (T.81, A.2).
    fn units(&self, of: &[usize]) -> usize {
        let (h_max, v_max) = self.max_sampling();
        let (across, down) = match of {
            [only] => {
                let component = &self.components[*only];
                let width = (self.width * component.horizontal).div_ceil(h_max);
                let height = (self.height * component.vertical).div_ceil(v_max);
                (width.div_ceil(BLOCK_PX), height.div_ceil(BLOCK_PX))
            }
            _ => (self.width.div_ceil(BLOCK_PX * h_max), self.height.div_ceil(BLOCK_PX * v_max)),
        };
        across * down
    }
}

/// One segment of the first picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct JpegSegment {
    /// Its marker's second byte.
    pub(crate) marker: u8,
    /// From its marker to the next one: a scan with its coded data.
    pub(crate) place: Range<usize>,
}

/// The first picture of a JPEG file.
#[derive(Debug)]
pub(super) struct JpegFile<'a> {
    pub(super) frame: Frame,
    /// The TIFF structure of the first Exif block.
    pub(super) exif: Option<&'a [u8]>,
    /// The parts that a decoder needs, in order, without the end marker.
    pub(super) needed: Vec<Range<usize>>,
    /// Number of scans.
    pub(super) scans: usize,
    /// All segments, those that a decoder does not need among them.
    pub(super) segments: Vec<JpegSegment>,
    /// Where the end marker ends.
    pub(super) end: usize,
}

/// Every segment of the first picture between its start and end markers, and where the latter ends; `file` is the name
/// as the user gave it.
pub(crate) fn jpeg_segments(
    bytes: &[u8],
    file: &str,
    options: &DecodeOptions,
) -> Result<(Vec<JpegSegment>, usize), Error> {
    let found = walk(bytes, options.max_scans).map_err(|defect| defect.in_file(file))?;
    Ok((found.segments, found.end))
}

/// Walks the first picture to its end marker.
pub(super) fn walk(bytes: &[u8], max_scans: usize) -> Result<JpegFile<'_>, Defect> {
    let mut walker = Walker::new(bytes, max_scans);
    let mut at = 2;
    walker.needed.push(0..2);
    let end = loop {
        let (marker, body) = next_marker(bytes, at)?;
        at = match marker {
            0xD9 => break body,
            // Markers without a segment have no business between segments; they carry nothing and are passed over.
            0x01 | 0xD0..=0xD7 => body,
            _ => {
                let next = walker.segment(marker, body)?;
                // The marker's own two bytes stand before its length; fill bytes are left out.
                walker.segments.push(JpegSegment { marker, place: body - 2..next });
                next
            }
        };
    };
    walker.finish(end)
}

/// A file that ends before its picture does.
pub(super) fn incomplete(bytes: usize) -> Defect {
    Defect::new(format!("photo incomplete: the file ends after {bytes} bytes, before its picture does"), RETAKE)
}

/// A file whose structure is damaged.
pub(super) fn damaged(what: &str) -> Defect {
    Defect::new(format!("photo damaged: {what}"), RETAKE)
}

/// The marker at `at` and where its body begins; fill bytes before it are passed over (T.81, B.1.1.2).
fn next_marker(bytes: &[u8], at: usize) -> Result<(u8, usize), Defect> {
    let short = || incomplete(bytes.len());
    if *bytes.get(at).ok_or_else(short)? != 0xFF {
        return Err(damaged(&format!("no JPEG marker at byte {at}, where one is needed")));
    }
    let fill = bytes[at..].iter().position(|&byte| byte != 0xFF).ok_or_else(short)?;
    Ok((bytes[at + fill], at + fill + 1))
}

struct Walker<'a> {
    bytes: &'a [u8],
    max_scans: usize,
    frame: Option<Frame>,
    exif: Option<&'a [u8]>,
    needed: Vec<Range<usize>>,
    segments: Vec<JpegSegment>,
    scans: usize,
    restart_interval: usize,
}

impl<'a> Walker<'a> {
    fn new(bytes: &'a [u8], max_scans: usize) -> Self {
        Self {
            bytes,
            max_scans,
            frame: None,
            exif: None,
            needed: Vec::new(),
            segments: Vec::new(),
            scans: 0,
            restart_interval: 0,
        }
    }

    /// Takes in the segment whose two length bytes are at `at`; returns where the next marker is.
    fn segment(&mut self, marker: u8, at: usize) -> Result<usize, Defect> {
        let bytes = self.bytes;
        let length = bytes.get(at..at + 2).ok_or_else(|| incomplete(bytes.len()))?;
        let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
        if length < 2 {
            return Err(damaged(&format!("a segment of {length} bytes at byte {at}, need 2 or more")));
        }
        let end = at + length;
        let body = bytes.get(at + 2..end).ok_or_else(|| incomplete(bytes.len()))?;
        let mut next = end;
        match marker {
            0xC0..=0xC2 => self.frame_header(marker, body)?,
            0xDD => self.restart_interval = be16(body, 0).ok_or_else(|| damaged("short restart segment"))?,
            0xDA => next = self.scan(body, end)?,
            // Huffman and quantisation tables, and the Adobe segment that names the colour transform.
            0xC4 | 0xDB | 0xEE => {}
            0xE1 => {
                self.note_exif(at, body);
                return Ok(end);
            }
            _ => return other_segment(marker, end),
        }
        // The marker's own two bytes stand before its length; fill bytes are left out.
        self.needed.push(at - 2..next);
        Ok(next)
    }

    fn note_exif(&mut self, at: usize, body: &'a [u8]) {
        if self.exif.is_none() && at < METADATA_LIMIT_BYTES {
            self.exif = body.strip_prefix(b"Exif\0\0");
        }
    }

    fn frame_header(&mut self, marker: u8, body: &[u8]) -> Result<(), Defect> {
        if self.frame.is_some() {
            return Err(damaged("a second frame header within one picture"));
        }
        let short = || damaged("short frame header");
        let precision = *body.first().ok_or_else(short)?;
        if precision != 8 {
            return Err(Defect::new(format!("JPEG with {precision} bits a sample, need 8"), USE_PLAIN_JPEG));
        }
        let (height, width) = (be16(body, 1).ok_or_else(short)?, be16(body, 3).ok_or_else(short)?);
        let count = usize::from(*body.get(5).ok_or_else(short)?);
        if body.len() < 6 + 3 * count {
            return Err(short());
        }
        let mut components = Vec::with_capacity(count);
        for entry in body[6..6 + 3 * count].chunks_exact(3) {
            let (horizontal, vertical) = (entry[1] >> 4, entry[1] & 0x0F);
            if !(1..=MAX_SAMPLING).contains(&horizontal) || !(1..=MAX_SAMPLING).contains(&vertical) {
                return Err(damaged(&format!("sampling factors {horizontal} x {vertical}, need 1 to 4")));
            }
            components.push(Component {
                id: entry[0],
                horizontal: usize::from(horizontal),
                vertical: usize::from(vertical),
                lowest_bit: [NOT_SEEN; COEFFICIENTS],
            });
        }
        self.frame = Some(Frame { width, height, is_progressive: marker == 0xC2, components });
        Ok(())
    }

    /// Takes in a scan's header and its coded data from `at`; returns where the next marker is.
    fn scan(&mut self, header: &[u8], at: usize) -> Result<usize, Defect> {
        self.scans += 1;
        if self.scans > self.max_scans {
            let found = format!("JPEG with more than {} scans", self.max_scans);
            return Err(Defect::new(found, "save the photo as an ordinary (baseline) JPEG"));
        }
        let Some(frame) = self.frame.as_mut() else {
            return Err(damaged("a scan before the frame header"));
        };
        // Sizes are judged by the caller; nothing more can be learnt from a picture without area.
        if frame.width == 0 || frame.height == 0 {
            return Err(empty_picture(frame.width, frame.height));
        }
        let members = note_scan(frame, header)?;
        let (next, restarts) = coded_data(self.bytes, at)?;
        if self.restart_interval > 0 {
            let needed = frame.units(&members).div_ceil(self.restart_interval).saturating_sub(1);
            if restarts < needed {
                return Err(damaged(&format!("{restarts} restart markers in a scan, need {needed}")));
            }
        }
        Ok(next)
    }

    fn finish(self, end: usize) -> Result<JpegFile<'a>, Defect> {
        let Some(frame) = self.frame else {
            return Err(damaged("no frame header before the end marker"));
        };
        let complete = frame.components.iter().all(|c| c.lowest_bit.iter().all(|&bit| bit == 0));
        if self.scans == 0 || !complete {
            let found = format!("photo incomplete: {} scans, and some of the picture's detail is in none", self.scans);
            return Err(Defect::new(found, RETAKE));
        }
        let Self { exif, needed, scans, segments, .. } = self;
        Ok(JpegFile { frame, exif, needed, scans, segments, end })
    }
}

/// A picture with no rows or no columns.
pub(super) fn empty_picture(width: usize, height: usize) -> Defect {
    Defect::new(format!("a picture of {width} x {height} pixels, need at least one row and one column"), RETAKE)
}

fn be16(bytes: &[u8], at: usize) -> Option<usize> {
    let pair = bytes.get(at..at + 2)?;
    Some(usize::from(u16::from_be_bytes([pair[0], pair[1]])))
}

/// Segments that are left out, and those that no plain decoder can follow.
fn other_segment(marker: u8, end: usize) -> Result<usize, Defect> {
    let kind = match marker {
        0xC3 | 0xCB => "lossless",
        0xC5..=0xC7 | 0xCD..=0xCF => "hierarchical",
        0xC9 | 0xCA | 0xCC => "arithmetic-coded",
        _ => return Ok(end),
    };
    Err(Defect::new(format!("{kind} JPEG, need baseline or progressive"), USE_PLAIN_JPEG))
}

/// Notes what a scan tells of which component (T.81, B.2.3 and G.1.1.1); returns the components' places in the frame.
fn note_scan(frame: &mut Frame, header: &[u8]) -> Result<Vec<usize>, Defect> {
    let short = || damaged("short scan header");
    let count = usize::from(*header.first().ok_or_else(short)?);
    if count == 0 || header.len() < 4 + 2 * count {
        return Err(short());
    }
    let tail = &header[1 + 2 * count..];
    let (first, last, lowest_bit) = if frame.is_progressive {
        (usize::from(tail[0]), usize::from(tail[1]), tail[2] & 0x0F)
    } else {
        (0, COEFFICIENTS - 1, 0)
    };
    if first > last || last >= COEFFICIENTS {
        return Err(damaged(&format!("a scan of coefficients {first} to {last}, need an order within 0 to 63")));
    }
    let mut members = Vec::with_capacity(count);
    for entry in header[1..=2 * count].chunks_exact(2) {
        let Some(place) = frame.components.iter().position(|component| component.id == entry[0]) else {
            return Err(damaged("a scan of a component that the frame does not have"));
        };
        members.push(place);
        for bit in &mut frame.components[place].lowest_bit[first..=last] {
            *bit = lowest_bit.min(*bit);
        }
    }
    Ok(members)
}

/// Passes over coded data from `at`: the place of the marker that ends it, and the number of restart markers in it.
fn coded_data(bytes: &[u8], at: usize) -> Result<(usize, usize), Defect> {
    let mut at = at;
    let mut restarts = 0;
    loop {
        let found = bytes.get(at..).and_then(|rest| rest.iter().position(|&byte| byte == 0xFF));
        let Some(step) = found else { return Err(incomplete(bytes.len())) };
        at += step;
        match bytes.get(at + 1) {
            None => return Err(incomplete(bytes.len())),
            Some(0x00) => at += 2,
            Some(0xFF) => at += 1,
            Some(&marker @ 0xD0..=0xD7) => {
                if usize::from(marker - 0xD0) != restarts % 8 {
                    return Err(damaged("restart markers out of order"));
                }
                restarts += 1;
                at += 2;
            }
            Some(_) => return Ok((at, restarts)),
        }
    }
}
