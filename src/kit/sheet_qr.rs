//! QR codes.

use super::sheet_page::{BLACK, Page, Spot, rectangle};
use crate::error::Error;
use qrcode::{Color, EcLevel, QrCode};

/// Draws the code of a text; `edge` is its side in millimetres, to which the caller leaves a white rim of four modules.
pub(crate) fn qr(page: &mut Page, text: &str, corner: Spot, edge: f64) -> Result<(), Error> {
    let code = QrCode::with_error_correction_level(text, EcLevel::Q)
        .map_err(|error| Error::usage(format!("the QR code cannot be made: {error}"), "report this"))?;
    let side = code.width();
    let module = edge / side as f64;
    let mut black = Vec::new();
    for (row, colours) in code.to_colors().chunks(side).enumerate() {
        let mut column = 0;
        while column < side {
            let run = colours[column..].iter().take_while(|colour| **colour == Color::Dark).count();
            if run > 0 {
                let at = (corner.0 + column as f64 * module, corner.1 + row as f64 * module);
                black.extend(rectangle(at, (run as f64 * module, module)));
            }
            column += run.max(1);
        }
    }
    page.fill(black, BLACK);
    Ok(())
}
