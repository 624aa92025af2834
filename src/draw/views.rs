//! Finds the views in an annotated picture again: the wall, and below it the close-up of the beam.
//!
//! **Takes** an annotated picture, also one that was kept as a JPEG. **Gives** each view's first row and the row behind its
//! last, from above; views are as wide as the picture. **How**: panels and gaps are of one colour, so a view is a run of rows
//! that are not, higher than any line of words. Nothing is found in a picture that is none of ours.

use super::palette::NIGHT;
use image::RgbImage;

/// Least height of a view by the picture's width: views are never flatter than 0.34, lines of words are under 0.1.
const LEAST_SHAPE: f64 = 0.25;
/// How far a JPEG may move a panel's colour.
const SLACK: u8 = 8;
/// Share of a row that must be of the panel's colour: noise beside a view may spill over.
const PLAIN_SHARE: f64 = 0.99;

/// Rows of each view.
pub fn views(picture: &RgbImage) -> Vec<(u32, u32)> {
    let width = picture.width() as usize;
    let is_plain = |row: &[u8]| {
        let plain = row
            .chunks_exact(3)
            .filter(|pixel| pixel.iter().zip(NIGHT.rgb).all(|(seen, night)| seen.abs_diff(night) <= SLACK));
        plain.count() as f64 >= PLAIN_SHARE * width as f64
    };
    let least = (LEAST_SHAPE * width as f64) as u32;
    let (mut found, mut first) = (Vec::new(), None);
    let mut close = |first: &mut Option<u32>, end: u32| {
        if let Some(start) = first.take()
            && end - start >= least
        {
            found.push((start, end));
        }
    };
    for (y, row) in (0..).zip(picture.as_raw().chunks_exact((3 * width).max(1))) {
        if is_plain(row) {
            close(&mut first, y);
        } else if first.is_none() {
            first = Some(y);
        }
    }
    close(&mut first, picture.height());
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// Truth: two views between panels with lines of words.
    #[test]
    fn views_are_found_between_panels() {
        let night = Rgb(NIGHT.rgb);
        let light = |y: u32| (100..400).contains(&y) || (410..650).contains(&y);
        let picture = RgbImage::from_fn(600, 700, |x, y| match (x, y) {
            (_, y) if light(y) => Rgb([(x % 90) as u8, 60, 80]),
            (20..300, 30..70) => Rgb([240, 240, 240]),
            _ => night,
        });
        assert_eq!(views(&picture), [(100, 400), (410, 650)]);
        assert_eq!(views(&RgbImage::from_pixel(600, 700, night)), []);
        assert_eq!(views(&RgbImage::new(0, 0)), []);
    }
}
