//! The residuals of a calibration as SVG: where each corner was found against where the lens puts it, exaggerated.
//!
//! Arrows of one photo share a colour. A sound calibration shows short arrows every which way; arrows that point inwards
//! or outwards together want another `--model`, arrows of one photo that turn together a board that is bent.

use super::fit::{BoardView, Calibrated};
use std::fmt::Write as _;

/// Width of the drawn picture and of the list beside it, SVG units.
const PICTURE: f64 = 900.0;
const LIST: f64 = 330.0;
const MARGIN: f64 = 30.0;
const TOP: f64 = 80.0;
/// What the root mean square residual is drawn as, SVG units.
const RMS_LENGTH: f64 = 14.0;
/// Height of a line of the list.
const LINE: f64 = 18.0;
/// Steps of the hue from photo to photo, degrees: the golden angle keeps neighbours apart.
const HUE_STEP: f64 = 137.5;

/// A factor of 1, 2 or 5 times a power of ten that is not above `most`.
fn plain_factor(most: f64) -> f64 {
    let decade = 10_f64.powf(most.max(1e-9).log10().floor());
    [5.0, 2.0, 1.0].into_iter().find(|step| step * decade <= most).unwrap_or(1.0) * decade
}

/// The picture; `views` are those that were fitted.
pub fn picture(found: &Calibrated, views: &[BoardView]) -> String {
    let lens = &found.lens;
    let scale = PICTURE / f64::from(lens.width);
    let (width, high) = (PICTURE + LIST + 3.0 * MARGIN, scale * f64::from(lens.height));
    let height = (TOP + high + MARGIN).max(TOP + LINE * (views.len() as f64 + 2.0) + MARGIN);
    let factor = plain_factor(RMS_LENGTH / (scale * found.rms_px.max(1e-6)));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" font-family=\"sans-serif\" \
         font-size=\"14\" role=\"img\">\n<title>Residuals of the lens calibration</title>\n<rect width=\"100%\" height=\"100%\" \
         fill=\"#ffffff\"/>\n<text x=\"{MARGIN}\" y=\"34\" font-size=\"22\">Residuals of the lens calibration</text>\n<text \
         x=\"{MARGIN}\" y=\"58\" fill=\"#555555\">found minus fitted place of each corner, {factor} times its size; rms {:.3} px; \
         model {}</text>\n<rect x=\"{MARGIN}\" y=\"{TOP}\" width=\"{PICTURE}\" height=\"{high:.1}\" fill=\"none\" \
         stroke=\"#888888\"/>\n",
        found.rms_px,
        found.model.as_str()
    );
    let (x, y) = (MARGIN + scale * lens.cx, TOP + scale * lens.cy);
    let _ = writeln!(
        svg,
        "<path d=\"M{:.1} {y:.1}h16M{x:.1} {:.1}v16\" stroke=\"#000000\"><title>principal point</title></path>",
        x - 8.0,
        y - 8.0
    );
    for (photo, view) in views.iter().enumerate() {
        let colour = format!("hsl({:.0} 80% 38%)", (HUE_STEP * photo as f64) % 360.0);
        let mut path = String::new();
        for (place, off) in view.places.iter().zip(&found.residuals[photo]) {
            let from = (MARGIN + scale * (place.x - off.x), TOP + scale * (place.y - off.y));
            let arrow = off * factor * scale;
            let _ = write!(path, "M{:.1} {:.1}l{:.1} {:.1}", from.0, from.1, arrow.x, arrow.y);
            let _ = write!(path, "m-1.5 0a1.5 1.5 0 1 0 3 0a1.5 1.5 0 1 0 -3 0");
        }
        let name = view.name.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        let _ = writeln!(
            svg,
            "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.2\"><title>{name}</title></path>\n<text \
             x=\"{:.0}\" y=\"{:.1}\" fill=\"{colour}\">{:.3} px  {name}</text>",
            PICTURE + 2.0 * MARGIN,
            TOP + LINE * (photo as f64 + 1.0),
            found.rms_of(photo)
        );
    }
    svg + "</svg>\n"
}
