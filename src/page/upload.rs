//! A photo off the wire: the form's fields first, the photo last, all of it or nothing.
//!
//! The type is looked at with the first bytes, the size while they arrive; nothing is written anywhere before the last byte
//! is here. What takes too long or breaks off is forgotten.

use super::answer::{Failure, see_other};
use super::guard::{MOST_BODY_BYTES, MOST_PHOTO_BYTES, Visit};
use super::inspection::{Arrived, add, extension, is_key};
use super::post::Posted;
use super::said::said;
use super::shop::Shop;
use axum::Extension;
use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{DefaultBodyLimit, Multipart, Path, State};
use axum::response::Response;
use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

/// Fields of the form beside the photo.
const MOST_FIELDS: usize = 20;
/// Longest text of a field.
const MOST_FIELD_BYTES: usize = 1000;
/// Bytes that tell a file's type.
const TYPE_BYTES: usize = 12;
/// Longest wait for the next piece.
const PIECE_TIME: Duration = Duration::from_secs(20);

/// The limit of this route's body.
pub(super) fn limit() -> DefaultBodyLimit {
    DefaultBodyLimit::max(MOST_BODY_BYTES as usize)
}

/// Takes a photo, has it measured and recorded, and goes on at the inspection.
pub(super) async fn upload(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    Path(id): Path<String>,
    multipart: Multipart,
) -> Result<Response, Failure> {
    let place = Arc::clone(&shop.uploads).try_acquire_owned().map_err(|_| Failure::Busy)?;
    let received = tokio::time::timeout(shop.upload_time, receive(multipart, &visit));
    let (form, bytes) = received.await.map_err(|_| Failure::BrokeOff)??;
    drop(place);
    let key = form.text("key").to_owned();
    if !is_key(&key) {
        return Err(Failure::NotOurs);
    }
    let seen = form.text("seen").parse().map_err(|_| Failure::NotOurs)?;
    let arrived = Arrived {
        lamp: Some(form.text("lamp").to_owned()),
        seen: Some(seen),
        said: said(&form)?,
        words: Vec::new(),
        id: id.clone(),
        key,
        bytes,
    };
    add(&shop, arrived).await?;
    Ok(see_other(&format!("/i/{id}")))
}

async fn receive(mut multipart: Multipart, visit: &Visit) -> Result<(Posted, Vec<u8>), Failure> {
    let mut fields = HashMap::new();
    while let Some(mut field) = piece(multipart.next_field()).await? {
        let name = field.name().unwrap_or("").to_owned();
        if name == "photo" {
            // The token stands before the photo: who has none sends 64 MiB for nothing.
            let form = Posted::of(fields);
            visit.check(form.text("form"))?;
            let bytes = photo(&mut field).await?;
            drop(field);
            if piece(multipart.next_field()).await?.is_some() {
                return Err(Failure::NotOurs);
            }
            return Ok((form, bytes));
        }
        let mut text = Vec::new();
        while let Some(part) = piece(field.chunk()).await? {
            text.extend_from_slice(&part);
            if text.len() > MOST_FIELD_BYTES {
                return Err(Failure::NotOurs);
            }
        }
        fields.insert(name, String::from_utf8(text).map_err(|_| Failure::NotOurs)?);
        if fields.len() > MOST_FIELDS {
            return Err(Failure::NotOurs);
        }
    }
    let hint = "Take a photo, or choose one.";
    Err(Failure::Entry("There is no photo with it.".to_owned(), hint.to_owned()))
}

async fn photo(field: &mut Field<'_>) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let mut is_checked = false;
    while let Some(part) = piece(field.chunk()).await? {
        bytes.extend_from_slice(&part);
        if bytes.len() as u64 > MOST_PHOTO_BYTES {
            return Err(Failure::TooLarge);
        }
        if !is_checked && bytes.len() >= TYPE_BYTES {
            extension(&bytes)?;
            is_checked = true;
        }
    }
    if bytes.is_empty() {
        let hint = "Take a photo, or choose one.";
        return Err(Failure::Entry("There is no photo with it.".to_owned(), hint.to_owned()));
    }
    extension(&bytes)?;
    Ok(bytes)
}

/// The next piece, unless it takes too long.
async fn piece<T>(coming: impl Future<Output = Result<T, MultipartError>>) -> Result<T, Failure> {
    match tokio::time::timeout(PIECE_TIME, coming).await {
        Ok(Ok(piece)) => Ok(piece),
        Ok(Err(error)) if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE => Err(Failure::TooLarge),
        Ok(Err(_)) | Err(_) => Err(Failure::BrokeOff),
    }
}
