//! Measuring a few photos at a time, away from the threads that serve: decoding a hostile file must stop nothing else.

use super::answer::Failure;
use super::log::log;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use tokio::sync::Semaphore;

/// Photos that are decoded at once: each may take hundreds of megabytes.
const AT_ONCE: usize = 2;
/// Photos that may wait for their turn.
const WAITING: usize = 16;

/// The bench that photos are measured on.
#[derive(Debug, Clone)]
pub(super) struct Work {
    places: Arc<Semaphore>,
    queue: Arc<Semaphore>,
}

impl Work {
    pub(super) fn new() -> Self {
        Self { places: Arc::new(Semaphore::new(AT_ONCE)), queue: Arc::new(Semaphore::new(AT_ONCE + WAITING)) }
    }

    /// Runs `job` when it is its turn. It runs to its end also when nobody waits for it any more.
    pub(super) async fn run<T: Send + 'static>(
        &self,
        job: impl FnOnce() -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        let in_queue = Arc::clone(&self.queue).try_acquire_owned().map_err(|_| Failure::Busy)?;
        let place = Arc::clone(&self.places).acquire_owned().await.map_err(|_| Failure::Busy)?;
        let done = tokio::task::spawn_blocking(move || {
            let _held = (in_queue, place);
            catch_unwind(AssertUnwindSafe(job)).unwrap_or_else(|_| {
                log("a photo made the measuring stop; nothing was recorded of it");
                Err(Failure::Inside)
            })
        });
        done.await.unwrap_or(Err(Failure::Inside))
    }
}

/// Runs what reads the disk or the store away from the threads that serve.
pub(super) async fn aside<T: Send + 'static>(
    job: impl FnOnce() -> Result<T, Failure> + Send + 'static,
) -> Result<T, Failure> {
    tokio::task::spawn_blocking(job).await.unwrap_or(Err(Failure::Inside))
}
