//! Photos off the wire: the form's fields first, the photos behind them, all of it or nothing.
//!
//! The type is looked at with the first bytes, the size while they arrive; nothing is written anywhere before the last byte
//! is here. What takes too long or breaks off is forgotten.

use super::answer::{Failure, see_other};
use super::guard::{MOST_BODY_BYTES, MOST_PHOTO_BYTES, Visit};
use super::inspection::{Arrived, Sent, add, extension, is_key};
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

/// Fields that hold photos: the beam's, and those that may go with it.
const PHOTOS: [&str; 4] = ["photo", "marks", "ambient", "bracket"];
/// Photos at other exposures.
const MOST_BRACKET: usize = 8;
/// Fields of the form beside the photos.
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
    let (form, sent) = received.await.map_err(|_| Failure::BrokeOff)??;
    // Nothing that is held in memory waits uncounted.
    let queued = shop.work.queue()?;
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
        sent,
    };
    add(&shop, queued, arrived).await?;
    Ok(see_other(&format!("/i/{id}")))
}

async fn receive(mut multipart: Multipart, visit: &Visit) -> Result<(Posted, Sent), Failure> {
    let mut fields = HashMap::new();
    let mut form = None;
    let (mut sent, mut room) = (Sent::default(), MOST_PHOTO_BYTES);
    while let Some(mut field) = piece(multipart.next_field()).await? {
        let name = field.name().unwrap_or("").to_owned();
        if PHOTOS.contains(&name.as_str()) {
            // The token stands before the photos: who has none sends 64 MiB for nothing.
            if form.is_none() {
                let whole = Posted::of(std::mem::take(&mut fields));
                visit.check(whole.text("form"))?;
                form = Some(whole);
            }
            let bytes = photo(&mut field, room).await?;
            room -= bytes.len() as u64;
            place(&mut sent, &name, bytes)?;
            continue;
        }
        // Whatever a photo is to be taken for was said before it.
        if form.is_some() {
            return Err(Failure::NotOurs);
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
    match form {
        Some(form) if !sent.photo.is_empty() => Ok((form, sent)),
        _ => {
            let hint = "Take a photo, or choose one.";
            Err(Failure::Entry("There is no photo with it.".to_owned(), hint.to_owned()))
        }
    }
}

/// Puts a photo where its field says; a field that was left empty is none.
fn place(sent: &mut Sent, name: &str, bytes: Vec<u8>) -> Result<(), Failure> {
    if bytes.is_empty() {
        return Ok(());
    }
    let is_second = match name {
        "photo" => !std::mem::replace(&mut sent.photo, bytes).is_empty(),
        "marks" => sent.marks.replace(bytes).is_some(),
        "ambient" => sent.ambient.replace(bytes).is_some(),
        _ => {
            sent.bracket.push(bytes);
            sent.bracket.len() > MOST_BRACKET
        }
    };
    if is_second { Err(Failure::NotOurs) } else { Ok(()) }
}

/// A photo of at most so many bytes; nothing for a field that was left empty.
async fn photo(field: &mut Field<'_>, most: u64) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let mut is_checked = false;
    while let Some(part) = piece(field.chunk()).await? {
        bytes.extend_from_slice(&part);
        if bytes.len() as u64 > most {
            return Err(Failure::TooLarge);
        }
        if !is_checked && bytes.len() >= TYPE_BYTES {
            extension(&bytes)?;
            is_checked = true;
        }
    }
    if !bytes.is_empty() {
        extension(&bytes)?;
    }
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

#[cfg(test)]
mod tests {
    use super::super::routes::routes;
    use super::super::trial::{Trial, answer};
    use super::super::visitor::{Device, form_token};
    use super::*;
    use std::time::Instant;

    const ID: &str = "00000000-0000-0000-0000-000000000000";

    fn form(token: &str) -> String {
        let key = "0".repeat(super::super::inspection::KEY_LENGTH);
        let fields = [("form", token), ("key", &key), ("seen", "0"), ("lamp", "left-low"), ("said", "nothing")];
        let field = |(name, value): (&str, &str)| {
            format!("--page\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
        };
        let photo = "--page\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"p\"\r\n\r\n";
        let fields: String = fields.into_iter().map(field).collect();
        format!("{fields}{photo}")
    }

    /// Photos for an inspection that is being gone on with wait, as many as the queue takes; the next is told so at once, and
    /// is not kept in memory. Those that wait leave the wire's places to others.
    #[test]
    fn what_waits_for_one_inspection_is_bounded() {
        let mut trial = Trial::new();
        trial.serve(routes(&trial.shop));
        let shop = Arc::clone(&trial.shop);
        let cookie = shop.visitors.new_visit(Device::Desk).unwrap();
        let form = form(&form_token(&cookie));
        let start = form.as_bytes();
        let body = [start, b"\x89PNG\r\n\x1A\n and so on", b"\r\n--page--\r\n"].concat();
        let head = format!(
            "POST /i/{ID}/photo HTTP/1.1\r\nCookie: {}={cookie}\r\nContent-Type: multipart/form-data; boundary=page",
            shop.cookie_name()
        );
        let alone = trial.runtime.block_on(shop.alone_with(ID));
        let all = shop.work.left();
        let mut waiting = Vec::new();
        for n in 1..=all {
            waiting.push(trial.send(&head, &body));
            let begun = Instant::now();
            while shop.work.left() != all - n {
                assert!(begun.elapsed() < Duration::from_secs(20), "photo {n} waits without a place in the queue");
                std::thread::sleep(Duration::from_millis(2));
            }
        }
        assert!(answer(trial.send(&head, &body)).starts_with("HTTP/1.1 503"));
        drop(alone);
        for line in waiting {
            assert!(answer(line).starts_with("HTTP/1.1 404"), "there is no such inspection");
        }
        assert_eq!(shop.work.left(), all);
    }
}
