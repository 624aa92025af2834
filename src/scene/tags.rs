//! What is printed on the marks: tags of the family 36h11 and quadrant discs.
//!
//! **Takes** a place on the mark (mm from its centre, x right, y up). **Gives** whether paper or ink is there.
//! Codes 0 to 30 of the open family 36h11, read once from `OpenCV` 5.0.0 (`cv2.aruco.DICT_APRILTAG_36h11`,
//! `generateImageMarker(id, 8)`), kept apart from the table that the measuring code uses.

/// Codes of tags 0 to 30: six rows of six cells from the top left, highest bit first, 1 is white.
const CODES: [u64; 31] = [
    0x2_1a14_6bab,
    0x9_2d18_fe9b,
    0x7_0890_14bb,
    0x1_9397_9e27,
    0x4_4153_d3d7,
    0x3_5cd5_b8cf,
    0xa_10ba_56a0,
    0x2_b874_a608,
    0xb_57fb_8d44,
    0x4_e20b_5a64,
    0x6_1d89_7f2c,
    0xa_b346_9ffc,
    0x5_94ca_45c2,
    0xf_a1c2_d2e2,
    0x9_7c24_b972,
    0x7_5928_624a,
    0x1_caaf_e99a,
    0x3_236d_dc16,
    0x8_84e5_27d6,
    0x5_771a_8c7e,
    0xf_5292_5b81,
    0x2_e59c_c1a1,
    0x7_fa58_ab31,
    0xe_b433_84f9,
    0x3_913d_5345,
    0xd_79b1_a3b5,
    0x0_dfbe_768d,
    0x5_cd7a_031d,
    0xb_9c8f_7a4b,
    0x4_6987_e06b,
    0x6_e0c5_d527,
];
/// Cells along one edge of the black square.
const CELLS: f64 = 8.0;
/// Cells along one edge of the code.
const CODE_CELLS: i64 = 6;
/// The sheet's edge against the black square's edge.
const TAG_SHEET: f64 = 1.5;
/// The sheet's edge against the disc's diameter.
const DISC_SHEET: f64 = 1.4;

/// What covers the wall at a place of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Print {
    /// White paper.
    Paper,
    /// Black print.
    Ink,
}

/// Half of the sheet's edge, mm.
pub(super) fn sheet_half_mm(is_tag: bool, size_mm: f64) -> f64 {
    0.5 * size_mm * if is_tag { TAG_SHEET } else { DISC_SHEET }
}

/// The print at a place of a tag; `None` off the sheet.
pub(super) fn tag_print(id: u32, size_mm: f64, x: f64, y: f64) -> Option<Print> {
    let half = sheet_half_mm(true, size_mm);
    if x.abs() > half || y.abs() > half {
        return None;
    }
    let cell = size_mm / CELLS;
    let (column, row) = ((x / cell + 0.5 * CELLS).floor() as i64 - 1, (0.5 * CELLS - y / cell).floor() as i64 - 1);
    let is_in = |n: i64, low: i64, high: i64| (low..high).contains(&n);
    if is_in(column, 0, CODE_CELLS) && is_in(row, 0, CODE_CELLS) {
        let bit = CODE_CELLS * CODE_CELLS - 1 - (row * CODE_CELLS + column);
        let code = CODES.get(id as usize).copied().unwrap_or(0);
        return Some(if code >> bit & 1 == 1 { Print::Paper } else { Print::Ink });
    }
    let is_border = is_in(column, -1, CODE_CELLS + 1) && is_in(row, -1, CODE_CELLS + 1);
    Some(if is_border { Print::Ink } else { Print::Paper })
}

/// The print at a place of a quadrant mark: upper left and lower right black.
pub(super) fn quadrant_print(size_mm: f64, x: f64, y: f64) -> Option<Print> {
    let half = sheet_half_mm(false, size_mm);
    if x.abs() > half || y.abs() > half {
        return None;
    }
    let is_ink = x * y < 0.0 && x.hypot(y) <= 0.5 * size_mm;
    Some(if is_ink { Print::Ink } else { Print::Paper })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: the 36h11 family's own promise: any two codes, turned or not, differ in at least 11 bits.
    #[test]
    fn codes_keep_the_hamming_distance_of_the_family() {
        let turn = |code: u64| -> u64 {
            (0..36)
                .map(|place| (code >> (35 - place) & 1, place % 6 * 6 + (5 - place / 6)))
                .fold(0, |sum, (bit, to)| sum | bit << (35 - to))
        };
        for (i, &a) in CODES.iter().enumerate() {
            for (j, &b) in CODES.iter().enumerate() {
                let mut turned = b;
                for quarter in 0..4 {
                    if i != j || quarter != 0 {
                        assert!((a ^ turned).count_ones() >= 11, "tags {i} and {j}, {quarter} quarter turns");
                    }
                    turned = turn(turned);
                }
            }
        }
    }

    /// Source: `OpenCV` 5.0.0 draws tag 0 with the first code row 001000 and the last 101011.
    #[test]
    fn tag_zero_is_drawn_upright() {
        let read = |row: i32| -> Vec<bool> {
            let y = 40.0 - 10.0 * (f64::from(row) + 1.5);
            (0..6).map(|c| tag_print(0, 80.0, -40.0 + 10.0 * (f64::from(c) + 1.5), y) == Some(Print::Paper)).collect()
        };
        assert_eq!(read(0), [false, false, true, false, false, false]);
        assert_eq!(read(5), [true, false, true, false, true, true]);
        assert_eq!(tag_print(0, 80.0, -39.0, 39.0), Some(Print::Ink));
        assert_eq!(tag_print(0, 80.0, -45.0, 45.0), Some(Print::Paper));
        assert_eq!(tag_print(0, 80.0, -61.0, 0.0), None);
    }

    #[test]
    fn quadrant_is_black_upper_left_and_lower_right() {
        assert_eq!(quadrant_print(100.0, -10.0, 10.0), Some(Print::Ink));
        assert_eq!(quadrant_print(100.0, 10.0, -10.0), Some(Print::Ink));
        assert_eq!(quadrant_print(100.0, 10.0, 10.0), Some(Print::Paper));
        assert_eq!(quadrant_print(100.0, -45.0, 45.0), Some(Print::Paper));
        assert_eq!(quadrant_print(100.0, 71.0, 0.0), None);
    }
}
