//! JPEG bytes to pixels, so that a damaged or cut file is an error and never a picture with an invented part.
//!
//! **Takes** the file's bytes. **Gives** 8-bit samples as stored, grey or RGB.
//! **How**: the structure is walked first ([`super::jpeg_walk`]); the decoder then gets the needed parts alone, in its
//! strict mode. Of a baseline file it does not get the end marker, because a decoder that meets that marker too early
//! makes up the rest; without it, it runs out of data and says so. How far the coded data was read is watched, so data
//! that is left over (a picture that filled up too early because bytes in it were lost or overwritten) is noticed too.
//! **Weak when** damage changes neither the length of the coded data nor the structure: JPEG has no checksum.
//! **Fails when** the walk fails, the decoder fails, data is short or left over, or the lower part is one flat colour.

use super::decode::{DecodeOptions, Defect, Picture, check_memory, check_size, guarded};
use super::image::Pixels;
use super::jpeg_walk::{Frame, JpegFile, damaged, empty_picture, walk};
use std::cell::Cell;
use zune_core::bytestream::{ZByteIoError, ZByteReaderTrait, ZSeekFrom};
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

/// Zero bytes after the coded data: the decoder reads up to eight bytes ahead of the bits that it uses, and a whole
/// picture must not meet the end there. Eight bytes are less than a row of blocks of any photo.
const READ_AHEAD_BYTES: usize = 8;
/// Bytes that may be left over: some cameras pad their data by a few bytes (common practice, no source), while a hole
/// or a lost stretch leaves hundreds and more.
const LEFT_OVER_LIMIT_BYTES: usize = 64;
/// Lowest and highest code of the grey (128, give or take rounding) that decoders put where data is missing.
const FILLER_GREY: (u8, u8) = (126, 130);
/// Codes within which flat colour is suspicious; blacker or whiter can be a dark floor or a blown-out wall.
const FLAT_CODES: (u8, u8) = (4, 251);
/// Share of the height that may be filler grey at the bottom.
const GREY_BOTTOM_SHARE: f64 = 0.02;
/// Share of the height that may be any other flat colour at the bottom: sensor noise never leaves a tenth flat.
const FLAT_BOTTOM_SHARE: f64 = 0.1;
/// Rows that the bottom must exceed in any case: one row of blocks with halved colour.
const FLAT_BOTTOM_ROWS: usize = 16;
/// Bytes of one coefficient in the decoder's buffers.
const COEFFICIENT_BYTES: usize = 2;
/// Blocks of the padding at the right and lower edge are counted in by rounding up to this many pixels.
const PADDING_PX: usize = 32;

/// Decodes the first picture of a JPEG file.
pub(super) fn decode_jpeg(bytes: &[u8], options: &DecodeOptions) -> Result<Picture, Defect> {
    let file = walk(bytes, options.max_scans)?;
    let channels = check_frame(&file, options)?;
    let frame = &file.frame;
    let samples = decode_samples(bytes, &file, channels)?;
    if options.refuse_flat_bottom {
        check_bottom(&samples, frame.width * channels, channels)?;
    }
    let pixels = if channels == 1 { Pixels::Gray8(samples) } else { Pixels::Rgb8(samples) };
    let exif = file.exif.map(<[u8]>::to_vec);
    Ok(Picture { width: frame.width, height: frame.height, pixels, exif, container_orientation: None })
}

/// Judges the header; returns the number of channels.
fn check_frame(file: &JpegFile<'_>, options: &DecodeOptions) -> Result<usize, Defect> {
    let frame = &file.frame;
    if frame.width == 0 || frame.height == 0 {
        return Err(empty_picture(frame.width, frame.height));
    }
    let channels = match frame.components.len() {
        1 => 1,
        3 => 3,
        4 => {
            let hint = "save the photo in ordinary colour (RGB), or give the camera's own file";
            return Err(Defect::new("JPEG with four colours (CMYK), need grey or RGB", hint));
        }
        count => return Err(damaged(&format!("JPEG with {count} colour channels, need 1 or 3"))),
    };
    check_sampling(frame)?;
    check_scans(file)?;
    let max_pixels = if frame.is_progressive { options.max_progressive_pixels } else { options.max_pixels };
    let kind = if frame.is_progressive { "progressive JPEG" } else { "JPEG" };
    let pixels = check_size(frame.width, frame.height, kind, max_pixels, options)?;
    let output = pixels.checked_mul(channels);
    // A picture in several scans is collected as coefficients before it becomes pixels.
    let collected = if frame.is_progressive || file.scans > 1 { coefficient_bytes(frame) } else { Some(0) };
    check_memory(output.zip(collected).and_then(|(a, b)| a.checked_add(b)), options)?;
    Ok(channels)
}

fn coefficient_bytes(frame: &Frame) -> Option<usize> {
    let (h_max, v_max) = frame.max_sampling();
    let width = frame.width.div_ceil(PADDING_PX) * PADDING_PX;
    let height = frame.height.div_ceil(PADDING_PX) * PADDING_PX;
    frame.components.iter().try_fold(0_usize, |sum, component| {
        let samples = (width * component.horizontal / h_max).checked_mul(height * component.vertical / v_max)?;
        sum.checked_add(samples.checked_mul(COEFFICIENT_BYTES)?)
    })
}

/// Only the samplings that are checked against another decoder (4:4:4, 4:2:2, 4:4:0, 4:2:0) are let through.
fn check_sampling(frame: &Frame) -> Result<(), Defect> {
    let factors: Vec<_> = frame.components.iter().map(|c| (c.horizontal, c.vertical)).collect();
    let is_known = match factors[..] {
        [luma, blue, red] => luma.0 <= 2 && luma.1 <= 2 && blue == (1, 1) && red == (1, 1),
        _ => true,
    };
    if is_known {
        return Ok(());
    }
    let found = format!("JPEG with colour sampling {factors:?}, need 4:4:4, 4:2:2, 4:4:0 or 4:2:0");
    Err(Defect::new(found, "save the photo as an ordinary JPEG, or as PNG"))
}

/// A baseline picture comes in one scan, or in one for each colour; the latter the decoder reads at full colour only.
fn check_scans(file: &JpegFile<'_>) -> Result<(), Defect> {
    let is_full = file.frame.max_sampling() == (1, 1);
    if file.frame.is_progressive || file.scans == 1 || (is_full && file.scans == file.frame.components.len()) {
        return Ok(());
    }
    let found = format!("baseline JPEG in {} scans with halved or mixed colour, need one scan", file.scans);
    Err(Defect::new(found, "save the photo as an ordinary JPEG, or as PNG"))
}

fn decode_samples(bytes: &[u8], file: &JpegFile<'_>, channels: usize) -> Result<Vec<u8>, Defect> {
    let frame = &file.frame;
    let stream = stripped(bytes, file);
    let data_end = stream.len() - READ_AHEAD_BYTES;
    let color = if channels == 1 { ColorSpace::Luma } else { ColorSpace::RGB };
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(frame.width)
        .set_max_height(frame.height)
        .jpeg_set_max_scans(file.scans + 1)
        .jpeg_set_out_colorspace(color);
    let mut samples = vec![0; frame.width * frame.height * channels];
    let read_to = Cell::new(0);
    let outcome = guarded(|| {
        let reader = WatchedReader { bytes: &stream, at: 0, read_to: &read_to };
        JpegDecoder::new_with_options(reader, options).decode_into(&mut samples).map_err(|error| error.to_string())
    });
    match outcome {
        None => Err(damaged("its data leads the decoder astray")),
        Some(Err(why)) => {
            Err(damaged(&format!("its data cannot be decoded ({}); part of it may be missing", why.trim())))
        }
        Some(Ok(())) => {
            let left_over = data_end.saturating_sub(read_to.get());
            if !frame.is_progressive && left_over > LEFT_OVER_LIMIT_BYTES {
                return Err(damaged(&format!("the picture was full with {left_over} bytes of data left over")));
            }
            Ok(samples)
        }
    }
}

/// The needed parts in one piece. A progressive decoder insists on the end marker; its scans were counted in the walk.
fn stripped(bytes: &[u8], file: &JpegFile<'_>) -> Vec<u8> {
    let length: usize = file.needed.iter().map(ExactSizeIterator::len).sum();
    let mut stream = Vec::with_capacity(length + READ_AHEAD_BYTES);
    for part in &file.needed {
        let from = stream.len();
        stream.extend_from_slice(&bytes[part.clone()]);
        // Where fill bytes stood before the marker, the byte before its code is one of them: 0xFF all the same.
        stream[from] = 0xFF;
    }
    let tail = if file.frame.is_progressive { [0xFF, 0xD9, 0, 0, 0, 0, 0, 0] } else { [0; READ_AHEAD_BYTES] };
    stream.extend_from_slice(&tail);
    stream
}

/// A truncated file that some program has completed and saved again shows as a flat part at the end of the stored rows.
fn check_bottom(samples: &[u8], row: usize, channels: usize) -> Result<(), Defect> {
    let Some(last) = samples.len().checked_sub(channels).map(|at| &samples[at..]) else { return Ok(()) };
    let within = |codes: (u8, u8)| last.iter().all(|&code| (codes.0..=codes.1).contains(&code));
    let share = match (within(FILLER_GREY), within(FLAT_CODES)) {
        (true, _) => GREY_BOTTOM_SHARE,
        (false, true) => FLAT_BOTTOM_SHARE,
        (false, false) => return Ok(()),
    };
    let is_flat = |line: &&[u8]| line.chunks_exact(channels).all(|pixel| pixel == last);
    let flat = samples.rchunks_exact(row).take_while(is_flat).count();
    let height = samples.len() / row;
    if flat <= FLAT_BOTTOM_ROWS || flat as f64 <= share * height as f64 {
        return Ok(());
    }
    let found = format!("photo incomplete: the last {flat} of its {height} rows are one flat colour");
    Err(Defect::new(found, "take the photo again or copy the file again, and give it unedited"))
}

/// A reader over bytes in memory that notes how far the coded data was read.
struct WatchedReader<'a> {
    bytes: &'a [u8],
    at: usize,
    /// End of the last read by four bytes or without an error: the two ways in which coded data is read. The search for
    /// a marker at the end reads single bytes with an error.
    read_to: &'a Cell<usize>,
}

/// Bytes that the decoder takes at once from coded data.
const CODED_READ_BYTES: usize = 4;

impl ZByteReaderTrait for WatchedReader<'_> {
    #[inline]
    fn read_byte_no_error(&mut self) -> u8 {
        let byte = self.bytes.get(self.at).copied().unwrap_or(0);
        self.at += 1;
        self.read_to.set(self.at);
        byte
    }

    #[inline]
    fn read_exact_bytes(&mut self, buf: &mut [u8]) -> Result<(), ZByteIoError> {
        self.peek_exact_bytes(buf)?;
        self.at += buf.len();
        if buf.len() == CODED_READ_BYTES {
            self.read_to.set(self.at);
        }
        Ok(())
    }

    #[inline]
    fn read_bytes(&mut self, buf: &mut [u8]) -> Result<usize, ZByteIoError> {
        let length = self.peek_bytes(buf)?;
        self.at += length;
        Ok(length)
    }

    #[inline]
    fn peek_bytes(&mut self, buf: &mut [u8]) -> Result<usize, ZByteIoError> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let length = rest.len().min(buf.len());
        buf[..length].copy_from_slice(&rest[..length]);
        Ok(length)
    }

    #[inline]
    fn peek_exact_bytes(&mut self, buf: &mut [u8]) -> Result<(), ZByteIoError> {
        let wanted = buf.len();
        match self.bytes.get(self.at..).and_then(|rest| rest.get(..wanted)) {
            Some(found) => {
                buf.copy_from_slice(found);
                Ok(())
            }
            None => Err(ZByteIoError::NotEnoughBytes(self.bytes.len().saturating_sub(self.at), wanted)),
        }
    }

    #[inline]
    fn z_seek(&mut self, from: ZSeekFrom) -> Result<u64, ZByteIoError> {
        let (base, offset) = match from {
            ZSeekFrom::Start(place) => (0, place as i64),
            ZSeekFrom::End(offset) => (self.bytes.len(), offset),
            ZSeekFrom::Current(offset) => (self.at, offset),
        };
        let place = base.checked_add_signed(offset as isize).ok_or(ZByteIoError::SeekError("before the start"))?;
        self.at = place;
        Ok(place as u64)
    }

    #[inline]
    fn is_eof(&mut self) -> Result<bool, ZByteIoError> {
        Ok(self.at >= self.bytes.len())
    }

    #[inline]
    fn z_position(&mut self) -> Result<u64, ZByteIoError> {
        Ok(self.at as u64)
    }

    fn read_remaining(&mut self, sink: &mut Vec<u8>) -> Result<usize, ZByteIoError> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        sink.extend_from_slice(rest);
        self.at = self.bytes.len();
        Ok(rest.len())
    }
}
