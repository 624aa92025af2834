//! A drawing of few shapes that is written as SVG or as pixels, the same in both.
//!
//! **Takes** shapes in units of the drawing, y down. **Gives** an SVG text, or a picture of one pixel a unit.

use super::canvas::{Canvas, dashed};
use super::palette::Ink;
use super::plane::{Area, Spot};
use super::text::Type;
use image::RgbImage;
use std::fmt::Write as _;

/// Between two lines of a hatching, units.
const HATCH_STEP: f32 = 22.0;
/// Width of a hatching's lines, units.
const HATCH_WIDTH: f32 = 3.0;
/// Strokes of words that are laid under them, so that they can be read on lines: width, units.
const HALO: f32 = 5.0;

/// Where words stand about their place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Start,
    Middle,
    End,
}

impl Side {
    const fn svg(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// Which way a hatching runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Slant {
    Rising,
    Falling,
}

/// One shape.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    Fill {
        area: Area,
        ink: Ink,
    },
    Hatch {
        area: Area,
        ink: Ink,
        slant: Slant,
    },
    Line {
        from: Spot,
        to: Spot,
        ink: Ink,
        width: f32,
        dash: Option<(f32, f32)>,
    },
    /// With `halo` the ground's colour lies under the letters.
    Words {
        at: Spot,
        text: String,
        size: f32,
        ink: Ink,
        side: Side,
        halo: Option<Ink>,
    },
}

/// A drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sketch {
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) title: String,
    pub(super) ground: Ink,
    pub(super) shapes: Vec<Shape>,
}

/// A hatching's lines, each inside the area.
fn hatching(area: Area, slant: Slant) -> Vec<(Spot, Spot)> {
    let (width, height) = (area.width(), area.height());
    let count = ((width + height) / HATCH_STEP).floor().max(0.0) as usize;
    let across = |along: f32| match slant {
        Slant::Falling => area.left + along,
        Slant::Rising => area.right - along,
    };
    (1..=count)
        .map(|n| {
            let reach = n as f32 * HATCH_STEP - height;
            let from = (reach.max(0.0), (-reach).max(0.0));
            let length = (width - from.0).min(height - from.1);
            let spot = |along: f32| Spot::new(across(from.0 + along), area.top + from.1 + along);
            (spot(0.0), spot(length))
        })
        .collect()
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn colour(ink: Ink) -> String {
    let [red, green, blue] = ink.rgb;
    format!("#{red:02x}{green:02x}{blue:02x}")
}

impl Sketch {
    /// As SVG.
    pub(super) fn to_svg(&self) -> String {
        let (width, height) = (self.width, self.height);
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
             font-family=\"DejaVu Sans, sans-serif\" role=\"img\">\n<title>{}</title>\n<rect width=\"{width}\" \
             height=\"{height}\" fill=\"{}\"/>\n",
            escaped(&self.title),
            colour(self.ground)
        );
        for shape in &self.shapes {
            // Writing to a String cannot fail.
            let _ = match shape {
                Shape::Fill { area, ink } => writeln!(
                    svg,
                    "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{}\"/>",
                    area.left,
                    area.top,
                    area.width(),
                    area.height(),
                    colour(*ink)
                ),
                Shape::Hatch { area, ink, slant } => {
                    let lines = hatching(*area, *slant).into_iter().fold(String::new(), |mut path, (from, to)| {
                        let _ = write!(path, "M{:.1} {:.1}L{:.1} {:.1}", from.x, from.y, to.x, to.y);
                        path
                    });
                    writeln!(
                        svg,
                        "<path class=\"hatch\" d=\"{lines}\" stroke=\"{}\" stroke-width=\"{HATCH_WIDTH}\"/>",
                        colour(*ink)
                    )
                }
                Shape::Line { from, to, ink, width, dash } => writeln!(
                    svg,
                    "<path d=\"M{:.1} {:.1}L{:.1} {:.1}\" stroke=\"{}\" stroke-width=\"{width}\"{}/>",
                    from.x,
                    from.y,
                    to.x,
                    to.y,
                    colour(*ink),
                    dash.map(|(on, off)| format!(" stroke-dasharray=\"{on} {off}\"")).unwrap_or_default()
                ),
                Shape::Words { at, text, size, ink, side, halo } => writeln!(
                    svg,
                    "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{size}\" text-anchor=\"{}\" fill=\"{}\"{}>{}</text>",
                    at.x,
                    at.y,
                    side.svg(),
                    colour(*ink),
                    halo.map(|halo| {
                        format!(" stroke=\"{}\" stroke-width=\"{HALO}\" paint-order=\"stroke\"", colour(halo))
                    })
                    .unwrap_or_default(),
                    escaped(text)
                ),
            };
        }
        svg + "</svg>\n"
    }

    /// As pixels.
    pub(super) fn to_picture(&self) -> RgbImage {
        let mut canvas = Canvas::new(self.width, self.height, self.ground);
        for shape in &self.shapes {
            match shape {
                Shape::Fill { area, ink } => canvas.fill(*area, *ink),
                Shape::Hatch { area, ink, slant } => {
                    let lines: Vec<Vec<Spot>> =
                        hatching(*area, *slant).into_iter().map(|(from, to)| vec![from, to]).collect();
                    canvas.stroke(&lines, HATCH_WIDTH, *ink);
                }
                Shape::Line { from, to, ink, width, dash } => {
                    let line = vec![*from, *to];
                    let lines = dash.map_or_else(|| vec![line.clone()], |dash| dashed(&line, dash));
                    canvas.stroke(&lines, *width, *ink);
                }
                Shape::Words { at, text, size, ink, side, halo } => {
                    let face = Type::regular(*size);
                    let width = face.width(text);
                    let start = match side {
                        Side::Start => *at,
                        Side::Middle => at.moved(-0.5 * width, 0.0),
                        Side::End => at.moved(-width, 0.0),
                    };
                    if let Some(halo) = halo {
                        let plate = Area::new(start.x, start.y - 0.8 * size, width, size * 0.95).grown(0.5 * HALO);
                        canvas.fill(plate, *halo);
                    }
                    face.draw(&mut canvas, text, start, *ink);
                }
            }
        }
        canvas.picture
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: the area's diagonal lines stay in it, and pixels outside the shapes keep the ground's colour.
    #[test]
    fn shapes_are_where_they_are_said_to_be_in_both_forms() {
        let area = Area::new(20.0, 30.0, 60.0, 40.0);
        for slant in [Slant::Rising, Slant::Falling] {
            let lines = hatching(area, slant);
            assert!(lines.len() == 4 && lines.iter().all(|(from, to)| area.has(*from) && area.has(*to)), "{lines:?}");
        }
        let ink = Ink::solid(10, 20, 30);
        let sketch = Sketch {
            width: 100,
            height: 90,
            title: "A & B".to_owned(),
            ground: Ink::solid(255, 255, 255),
            shapes: vec![
                Shape::Fill { area, ink },
                Shape::Words {
                    at: Spot::new(50.0, 20.0),
                    text: "<0>".to_owned(),
                    size: 12.0,
                    ink,
                    side: Side::Middle,
                    halo: None,
                },
            ],
        };
        let svg = sketch.to_svg();
        assert!(svg.contains("<title>A &amp; B</title>") && svg.contains("&lt;0&gt;"), "{svg}");
        assert!(svg.contains("<rect x=\"20.0\" y=\"30.0\" width=\"60.0\" height=\"40.0\" fill=\"#0a141e\"/>"), "{svg}");
        let picture = sketch.to_picture();
        assert_eq!(picture.get_pixel(50, 50).0, [10, 20, 30]);
        assert_eq!(picture.get_pixel(90, 50).0, [255, 255, 255]);
        assert!((40..60).any(|x| picture.get_pixel(x, 16).0[0] < 128), "the words are missing");
    }
}
