//! Pictures and photos out of the store. What came from outside is never shown as anything but a picture: the type is ours,
//! and the answer may neither be guessed at nor run anything.

use super::answer::Failure;
use super::errand::{Errand, Outcome};
use super::guard::Visit;
use super::inspection::Open;
use super::shop::Shop;
use super::work::aside;
use crate::photo::Photo;
use crate::record::FiledFile;
use axum::Extension;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use image::{Rgb, RgbImage};
use std::sync::Arc;

/// Longest side of the picture that marks are tapped on: fine enough to see a tag's centre, small enough for a phone.
const TAP_SIDE_PX: usize = 2400;
/// Dark rooms are shown lighter, so that marks can be seen: exponent on the codes.
const LIFT: f32 = 0.6;

/// How a file out of the store is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Given {
    /// To be looked at.
    Shown,
    /// To be kept.
    Saved,
}

fn answer(bytes: Vec<u8>, kind: &'static str, name: &str, given: Given) -> Response {
    let how = if given == Given::Shown { "inline" } else { "attachment" };
    // The name is made of ids and hexadecimal digits alone.
    let disposition =
        HeaderValue::from_str(&format!("{how}; filename=\"{name}\"")).unwrap_or(HeaderValue::from_static("attachment"));
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        (header::CONTENT_DISPOSITION, disposition),
        (
            header::CONTENT_SECURITY_POLICY,
            HeaderValue::from_static("default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"),
        ),
    ];
    (headers, bytes).into_response()
}

/// A file to keep.
pub(super) fn saved(bytes: Vec<u8>, kind: &'static str, name: &str) -> Response {
    answer(bytes, kind, name, Given::Saved)
}

fn type_of(name: &str) -> &'static str {
    match name.rsplit('.').next() {
        Some("jpg" | "jpeg") => "image/jpeg",
        Some("png") => "image/png",
        Some("heic" | "heif") => "image/heic",
        _ => "application/octet-stream",
    }
}

async fn filed(
    shop: Arc<Shop>,
    id: String,
    lamp: String,
    n: usize,
    pick: impl FnOnce(&crate::record::RecordedReading) -> Option<FiledFile> + Send + 'static,
) -> Result<(FiledFile, Vec<u8>), Failure> {
    aside(move || {
        let open = Open::load(&shop, &id)?;
        let file = open.reading(&lamp, n).and_then(pick).ok_or(Failure::NotFound)?;
        let bytes = shop.records()?.photo_bytes(&file.sha256).map_err(|error| Failure::inside(&error))?;
        Ok((file, bytes))
    })
    .await
}

/// The annotated picture.
pub(super) async fn annotated(
    State(shop): State<Arc<Shop>>,
    Extension(_): Extension<Visit>,
    Path((id, lamp, n)): Path<(String, String, usize)>,
) -> Result<Response, Failure> {
    let name = format!("{lamp}-{}.jpg", n + 1);
    let (_, bytes) = filed(shop, id, lamp, n, |reading| reading.annotated.clone()).await?;
    Ok(answer(bytes, "image/jpeg", &name, Given::Shown))
}

/// The photo as the camera wrote it, to keep.
pub(super) async fn original(
    State(shop): State<Arc<Shop>>,
    Path((id, lamp, n)): Path<(String, String, usize)>,
) -> Result<Response, Failure> {
    let (file, bytes) = filed(shop, id, lamp, n, |reading| Some(reading.photo.clone())).await?;
    let kind = type_of(&file.name);
    let ending = kind.rsplit('/').next().unwrap_or("bin");
    Ok(answer(bytes, kind, &format!("{}.{ending}", file.sha256), Given::Saved))
}

/// The photo upright and smaller, lighter where it is dark, to tap marks on.
pub(super) async fn upright(
    State(shop): State<Arc<Shop>>,
    Path((id, lamp, n)): Path<(String, String, usize)>,
) -> Result<Response, Failure> {
    let queued = shop.work.queue()?;
    let (file, bytes) = filed(Arc::clone(&shop), id, lamp, n, |reading| Some(reading.photo.clone())).await?;
    let own = Arc::clone(&shop);
    let picture = shop
        .work
        .run_queued(queued, move || match own.work.ask(&Errand::Upright { name: file.name }, &[&bytes])? {
            (Outcome::Picture, picture) => Ok(picture),
            _ => Err(Failure::Inside),
        })
        .await?;
    Ok(answer(picture, "image/jpeg", "upright.jpg", Given::Shown))
}

/// Pixels of a photo's side that make one of the picture that is tapped on.
pub(super) fn tap_block(width: usize, height: usize) -> usize {
    width.max(height).div_ceil(TAP_SIDE_PX).max(1)
}

/// Whole blocks of pixels are averaged, so that nothing thin is lost.
pub(super) fn reduced(photo: &Photo) -> RgbImage {
    let (width, height) = (photo.width(), photo.height());
    let block = tap_block(width, height);
    let lifted: Vec<u8> = (0..=255_u16).map(|code| (255.0 * (f32::from(code) / 255.0).powf(LIFT)) as u8).collect();
    RgbImage::from_fn((width / block) as u32, (height / block) as u32, |x, y| {
        let mut sum = [0.0_f32; 3];
        for dy in 0..block {
            for dx in 0..block {
                let code = photo.rgb_code(x as usize * block + dx, y as usize * block + dy);
                sum.iter_mut().zip(code).for_each(|(sum, code)| *sum += code);
            }
        }
        let count = (block * block) as f32;
        Rgb(sum.map(|sum| lifted[(sum / count).clamp(0.0, 255.0) as usize]))
    })
}
