//! A form that was posted: short texts by name.

use super::answer::Failure;
use super::visitor::hex;
use axum::extract::{FromRequest, Request};
use axum::http::header;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap};
use std::time::Duration;

/// Largest form without a photo.
const MOST_BYTES: usize = 64 << 10;
/// Longest time for a form without a photo to arrive: anybody may send one.
const LONGEST: Duration = Duration::from_secs(10);
/// Longest text of one field, characters.
const MOST_CHARS: usize = 200;

/// Fields of a form.
#[derive(Debug, Default)]
pub(super) struct Posted(HashMap<String, String>);

impl<S: Send + Sync> FromRequest<S> for Posted {
    type Rejection = Failure;

    async fn from_request(request: Request, _: &S) -> Result<Self, Failure> {
        let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or("");
        if kind.split(';').next().map(str::trim) != Some("application/x-www-form-urlencoded") {
            return Err(Failure::NotOurs);
        }
        let coming = axum::body::to_bytes(request.into_body(), MOST_BYTES);
        let body = tokio::time::timeout(LONGEST, coming).await.map_err(|_| Failure::Crawled)?;
        let body = body.map_err(|_| Failure::TooLarge)?;
        Ok(Self(form_urlencoded::parse(&body).into_owned().collect()))
    }
}

impl Posted {
    /// From fields that came otherwise.
    pub(super) fn of(fields: HashMap<String, String>) -> Self {
        Self(fields)
    }

    /// The same for the same fields, and for no others.
    pub(super) fn digest(&self) -> String {
        let sorted: BTreeMap<_, _> = self.0.iter().collect();
        let all = sorted.into_iter().flat_map(|(name, text)| [name, text]);
        let digest = all.fold(Sha256::new(), |digest, part| {
            digest.chain_update((part.len() as u64).to_be_bytes()).chain_update(part.as_bytes())
        });
        hex(&digest.finalize())
    }

    /// A field; empty when it is not there.
    pub(super) fn text(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |text| text.trim())
    }

    /// A line that a person typed: short, without control characters; empty when nothing was typed.
    pub(super) fn line(&self, name: &str, what: &str) -> Result<Option<String>, Failure> {
        let text = self.text(name);
        if text.chars().count() > MOST_CHARS || text.chars().any(char::is_control) {
            let found = format!("{what}: one line of at most {MOST_CHARS} letters.");
            return Err(Failure::Entry(found, "Make it shorter.".to_owned()));
        }
        Ok((!text.is_empty()).then(|| text.to_owned()))
    }

    /// A number that a person typed, with a point or a comma; `None` when nothing was typed.
    pub(super) fn number(&self, name: &str, what: &str) -> Result<Option<f64>, Failure> {
        let text = self.text(name).replace(',', ".").replace('\u{2212}', "-");
        if text.is_empty() {
            return Ok(None);
        }
        match text.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(Some(number)),
            _ => Err(Failure::Entry(
                format!("{what}: that is no number."),
                "Type digits alone, 650 for example.".to_owned(),
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_type_them_and_lines_stay_lines() {
        let fields = [("a", " 650,5 "), ("b", "\u{2212}1.3"), ("c", "6x"), ("d", ""), ("e", "a\nb"), ("f", "NaN")];
        let form = Posted::of(fields.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect());
        assert_eq!(form.number("a", "Height").unwrap(), Some(650.5));
        assert_eq!(form.number("b", "Plate").unwrap(), Some(-1.3));
        assert!(form.number("c", "Height").is_err() && form.number("f", "Height").is_err());
        assert_eq!(form.number("d", "Height").unwrap(), None);
        assert!(form.line("e", "Vehicle").is_err());
        assert_eq!(form.line("nothing", "Vehicle").unwrap(), None);
    }
}
