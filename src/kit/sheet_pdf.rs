//! Pages become a PDF true to scale.
//!
//! **Takes** pages in millimetres. **Gives** the file's bytes: the same pages give the same bytes, without dates. Every
//! page carries one transform from millimetres to points (72 in an inch), so the numbers in the file are millimetres.

use super::sheet_page::{Anchor, BOLD, Ink, Item, Page, Pen, REGULAR, Spot, Step, Style};
use crate::error::Error;
use krilla::Document;
use krilla::color::{luma, rgb};
use krilla::geom::{Path, PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Paint, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};
use std::sync::Arc;

/// Points in a millimetre.
const POINTS_PER_MM: f64 = 72.0 / 25.4;

struct Fonts {
    regular: Font,
    bold: Font,
}

/// The file.
pub fn pdf(pages: &[Page], title: &str) -> Result<Vec<u8>, Error> {
    let fonts = Font::new(REGULAR.to_vec().into(), 0)
        .zip(Font::new(BOLD.to_vec().into(), 0))
        .map(|(regular, bold)| Fonts { regular, bold })
        .ok_or_else(|| cannot("its fonts cannot be read"))?;
    let mut document = Document::new();
    document.set_metadata(Metadata::new().title(title.to_owned()).creator("lampwright".to_owned()));
    for page in pages {
        let points = |mm: f64| (mm * POINTS_PER_MM) as f32;
        let settings = PageSettings::from_wh(points(page.width), points(page.height))
            .ok_or_else(|| cannot("a page has no size"))?;
        let mut sheet = document.start_page_with(settings);
        let mut surface = sheet.surface();
        surface.push_transform(&Transform::from_scale(POINTS_PER_MM as f32, POINTS_PER_MM as f32));
        for item in &page.items {
            draw(&mut surface, &fonts, item)?;
        }
        surface.pop();
        surface.finish();
        sheet.finish();
    }
    document.finish().map_err(|error| cannot(&format!("{error:?}")))
}

fn cannot(why: &str) -> Error {
    Error::usage(format!("the sheet cannot be made: {why}"), "report this together with the command")
}

fn draw(surface: &mut Surface<'_>, fonts: &Fonts, item: &Item) -> Result<(), Error> {
    match item {
        Item::Fill { outline, ink } => {
            if let Some(path) = path(outline) {
                surface.set_stroke(None);
                surface.set_fill(Some(Fill { paint: paint(*ink), ..Fill::default() }));
                surface.draw_path(&path);
            }
        }
        Item::Stroke { outline, pen } => {
            if let Some(path) = path(outline) {
                surface.set_fill(None);
                surface.set_stroke(Some(stroke(*pen)));
                surface.draw_path(&path);
            }
        }
        Item::Words { at, words, style } => draw_words(surface, fonts, *at, words, *style),
        Item::Picture { corner, size, jpeg } => picture(surface, *corner, *size, jpeg)?,
        Item::Window { corner, size, shift, items } => {
            if let Some(window) = path(&super::sheet_page::rectangle(*corner, *size)) {
                surface.push_clip_path(&window, &FillRule::NonZero);
                surface.push_transform(&Transform::from_translate(shift.0 as f32, shift.1 as f32));
                for item in items {
                    draw(surface, fonts, item)?;
                }
                surface.pop();
                surface.pop();
            }
        }
    }
    Ok(())
}

/// The picture's bytes go into the file as they are; nothing is encoded again.
fn picture(surface: &mut Surface<'_>, corner: Spot, size: Spot, jpeg: &Arc<Vec<u8>>) -> Result<(), Error> {
    let image =
        Image::from_jpeg(Arc::clone(jpeg).into(), true).map_err(|error| cannot(&format!("a picture: {error}")))?;
    let Some(size) = Size::from_wh(size.0 as f32, size.1 as f32) else { return Ok(()) };
    surface.push_transform(&Transform::from_translate(corner.0 as f32, corner.1 as f32));
    surface.draw_image(image, size);
    surface.pop();
    Ok(())
}

fn paint(ink: Ink) -> Paint {
    match ink {
        Ink::Grey(lightness) => luma::Color::new(lightness).into(),
        Ink::Colour([red, green, blue]) => rgb::Color::new(red, green, blue).into(),
    }
}

fn stroke(pen: Pen) -> Stroke {
    Stroke {
        paint: paint(pen.ink),
        width: pen.width as f32,
        dash: pen.dash.map(|(dash, gap)| StrokeDash { array: vec![dash as f32, gap as f32], offset: 0.0 }),
        ..Stroke::default()
    }
}

fn path(outline: &[Step]) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let at = |spot: Spot| (spot.0 as f32, spot.1 as f32);
    for step in outline {
        match *step {
            Step::Move(to) => builder.move_to(at(to).0, at(to).1),
            Step::Line(to) => builder.line_to(at(to).0, at(to).1),
            Step::Curve(a, b, to) => builder.cubic_to(at(a).0, at(a).1, at(b).0, at(b).1, at(to).0, at(to).1),
            Step::Close => builder.close(),
        }
    }
    builder.finish()
}

fn draw_words(surface: &mut Surface<'_>, fonts: &Fonts, at: Spot, words: &str, style: Style) {
    let back = match style.anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => 0.5 * style.width_of(words),
        Anchor::End => style.width_of(words),
    };
    let font = if style.is_bold { &fonts.bold } else { &fonts.regular };
    let quarter = if style.is_upward { -90.0 } else { 0.0 };
    let turned = Transform::from_rotate_at(quarter, at.0 as f32, at.1 as f32);
    surface.set_stroke(None);
    surface.set_fill(Some(Fill { paint: paint(style.ink), ..Fill::default() }));
    surface.push_transform(&turned);
    let start = Point::from_xy((at.0 - back) as f32, at.1 as f32);
    surface.draw_text(start, font.clone(), style.size as f32, words, false, TextDirection::LeftToRight);
    surface.pop();
}
