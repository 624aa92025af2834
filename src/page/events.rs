//! Server-sent events: an open page of an inspection is told when another phone or the fixed camera went on with it.

use super::answer::Failure;
use super::inspection::is_id;
use super::shop::Shop;
use axum::extract::{Path, State};
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{Stream, unfold};
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, broadcast};

/// Pages that listen at once.
const LISTENERS: usize = 64;
/// News that a slow page may lag behind; it then hears that something changed, which is all it needs.
const LAG: usize = 64;
/// A sign of life, so that a line that broke is noticed.
const ALIVE: Duration = Duration::from_secs(15);

/// Who tells whom.
#[derive(Debug)]
pub(super) struct Hub {
    news: broadcast::Sender<String>,
    places: Arc<Semaphore>,
}

impl Hub {
    pub(super) fn new() -> Self {
        Self { news: broadcast::channel(LAG).0, places: Arc::new(Semaphore::new(LISTENERS)) }
    }

    /// An inspection changed.
    pub(super) fn changed(&self, id: &str) {
        // Nobody listening is no failure.
        let _ = self.news.send(id.to_owned());
    }
}

struct Listening {
    id: String,
    news: broadcast::Receiver<String>,
    is_begun: bool,
    shop: Arc<Shop>,
    _place: OwnedSemaphorePermit,
}

/// Tells at once, and after every change, how far the inspection is: the place of its newest record and what the camera waits for.
pub(super) async fn events(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Failure> {
    if !is_id(&id) {
        return Err(Failure::NotFound);
    }
    let place = Arc::clone(&shop.hub.places).try_acquire_owned().map_err(|_| Failure::Busy)?;
    let news = shop.hub.news.subscribe();
    let listening = Listening { id, news, is_begun: false, shop, _place: place };
    let stream = unfold(listening, |mut listening| async move {
        while listening.is_begun {
            match listening.news.recv().await {
                Ok(id) if id != listening.id => {}
                Err(broadcast::error::RecvError::Closed) => return None,
                Ok(_) | Err(broadcast::error::RecvError::Lagged(_)) => break,
            }
        }
        listening.is_begun = true;
        let version = version(&listening.shop, &listening.id).await?;
        Some((Ok(Event::default().event("version").data(version)), listening))
    });
    Ok(Sse::new(stream).keep_alive(KeepAlive::new().interval(ALIVE)))
}

/// How far an inspection is, as the page that shows it says it too.
async fn version(shop: &Arc<Shop>, id: &str) -> Option<String> {
    let (own, id) = (Arc::clone(shop), id.to_owned());
    super::work::aside(move || {
        let number = own.records()?.newest(&id).map_err(|_| Failure::NotFound)?.number;
        Ok(version_text(&own, &id, number))
    })
    .await
    .ok()
}

/// The same from what a page knows.
pub(super) fn version_text(shop: &Shop, id: &str, number: u64) -> String {
    let camera = shop.watch.as_ref().map_or(0, |watch| watch.version(id));
    format!("{number}.{camera}")
}
