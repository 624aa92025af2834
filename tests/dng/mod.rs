//! Writes uncompressed DNG files (TIFF 6.0; DNG specification 1.7.1.0), for the tests.

/// How the sensor's colours lie.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Layout {
    /// Colours of the upper and the lower row's two: 0 red, 1 green, 2 blue.
    Mosaic([u8; 4]),
    /// All three at each pixel.
    #[allow(dead_code, reason = "used where DNG is read")]
    FullColour,
}

/// A file to be.
#[derive(Debug)]
pub(crate) struct Dng {
    width: u32,
    height: u32,
    /// Light behind the white balance, 1: full scale.
    light: Vec<[f64; 3]>,
    pub(crate) layout: Layout,
    pub(crate) orientation: u16,
    pub(crate) compression: u16,
    pub(crate) black: u16,
    pub(crate) white: u16,
    /// Bytes that the directory states for the picture, where they are not the true ones.
    pub(crate) stated_bytes: Option<u32>,
}

/// Colour of white as the sensor sees it, in thousandths.
const NEUTRAL: [u32; 3] = [500, 1000, 625];

/// An entry of a directory: tag, type of TIFF 6.0, number of values, their bytes.
type Entry = (u16, u16, u32, Vec<u8>);

fn bytes(tag: u16, values: &[u8]) -> Entry {
    (tag, 1, values.len() as u32, values.to_vec())
}

fn shorts(tag: u16, values: &[u16]) -> Entry {
    (tag, 3, values.len() as u32, values.iter().flat_map(|value| value.to_le_bytes()).collect())
}

fn long(tag: u16, value: u32) -> Entry {
    (tag, 4, 1, value.to_le_bytes().to_vec())
}

fn ratios(tag: u16, values: &[(u32, u32)]) -> Entry {
    let four = |value: &u32| value.to_le_bytes();
    (tag, 5, values.len() as u32, values.iter().flat_map(|(up, down)| [four(up), four(down)].concat()).collect())
}

/// A directory that begins at `start`, with the values that do not fit into its entries behind it.
fn directory(start: usize, entries: &[Entry]) -> Vec<u8> {
    let mut head = (entries.len() as u16).to_le_bytes().to_vec();
    let mut tail: Vec<u8> = Vec::new();
    let tail_at = start + 2 + 12 * entries.len() + 4;
    for (tag, kind, count, values) in entries {
        head.extend([&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes()].concat());
        if values.len() <= 4 {
            head.extend(values);
            head.resize(head.len() + 4 - values.len(), 0);
        } else {
            head.extend(((tail_at + tail.len()) as u32).to_le_bytes());
            tail.extend(values);
            tail.resize(tail.len().next_multiple_of(2), 0);
        }
    }
    [head, vec![0; 4], tail].concat()
}

impl Dng {
    pub(crate) fn new(width: u32, height: u32, light: Vec<[f64; 3]>, layout: Layout) -> Self {
        assert_eq!(light.len(), (width * height) as usize);
        Self {
            width,
            height,
            light,
            layout,
            orientation: 1,
            compression: 1,
            black: 1024,
            white: 16_383,
            stated_bytes: None,
        }
    }

    /// The sensor's sample of a colour.
    fn sample(&self, light: f64, colour: usize) -> u16 {
        let scale = f64::from(self.white) - f64::from(self.black);
        (f64::from(self.black) + scale * light * f64::from(NEUTRAL[colour]) / 1000.0).round() as u16
    }

    fn samples(&self) -> Vec<u16> {
        let Layout::Mosaic(pattern) = self.layout else {
            let of = |pixel: &[f64; 3]| [0, 1, 2].map(|colour| self.sample(pixel[colour], colour));
            return self.light.iter().flat_map(of).collect();
        };
        let width = self.width as usize;
        let of = |(i, pixel): (usize, &[f64; 3])| {
            let colour = usize::from(pattern[i % width % 2 + 2 * (i / width % 2)]).min(2);
            self.sample(pixel[colour], colour)
        };
        self.light.iter().enumerate().map(of).collect()
    }

    pub(crate) fn bytes(&self) -> Vec<u8> {
        let picture: Vec<u8> = self.samples().iter().flat_map(|sample| sample.to_le_bytes()).collect();
        let shot =
            [ratios(0x829A, &[(1, 50)]), ratios(0x829D, &[(18, 10)]), shorts(0x8827, &[400]), shorts(0xA405, &[26])];
        let planes = if matches!(self.layout, Layout::FullColour) { 3 } else { 1 };
        let build = |shot_at: usize, picture_at: usize| {
            let mut entries = vec![
                long(254, 0),
                long(256, self.width),
                long(257, self.height),
                shorts(258, &vec![16; planes]),
                shorts(259, &[self.compression]),
                shorts(262, &[if planes == 3 { 34_892 } else { 32_803 }]),
                long(273, picture_at as u32),
                shorts(274, &[self.orientation]),
                shorts(277, &[planes as u16]),
                long(278, self.height),
                long(279, self.stated_bytes.unwrap_or(picture.len() as u32)),
                shorts(284, &[1]),
            ];
            if let Layout::Mosaic(pattern) = self.layout {
                entries.extend([shorts(33_421, &[2, 2]), bytes(33_422, &pattern)]);
            }
            entries.extend([
                long(0x8769, shot_at as u32),
                bytes(50_706, &[1, 4, 0, 0]),
                shorts(50_714, &vec![self.black; planes]),
                shorts(50_717, &vec![self.white; planes]),
                ratios(50_728, &NEUTRAL.map(|value| (value, 1000))),
            ]);
            directory(8, &entries)
        };
        // Lengths do not depend on the places.
        let shot_at = 8 + build(0, 0).len();
        let shot = directory(shot_at, &shot);
        let head = build(shot_at, shot_at + shot.len());
        [&b"II*\0\x08\0\0\0"[..], &head, &shot, &picture].concat()
    }
}
