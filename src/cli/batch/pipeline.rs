//! Rows read, worked on by several threads, and written in their order, a bounded number at a time.

use crate::error::Error;
use std::collections::BTreeMap;
use std::sync::mpsc::{channel, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread;

/// Rows in flight for each thread: enough that a slow photo does not hold up the others, few enough that memory stays flat.
const WINDOW_PER_THREAD: usize = 8;

/// Works on every job with `threads` threads and hands the results to `write` in the jobs' order; ends with the first
/// failure of `write`.
pub(super) fn ordered<J: Send, R: Send>(
    jobs: impl Iterator<Item = J> + Send,
    threads: usize,
    work: &(impl Fn(J) -> R + Sync),
    mut write: impl FnMut(R) -> Result<(), Error>,
) -> Result<(), Error> {
    let window = WINDOW_PER_THREAD * threads;
    thread::scope(|scope| {
        let (job_sender, job_receiver) = sync_channel(threads);
        let job_receiver = Arc::new(Mutex::new(job_receiver));
        let (result_sender, results) = channel();
        let (permit_sender, permits) = sync_channel(window);
        for _ in 0..window {
            // The channel holds the whole window.
            let _ = permit_sender.send(());
        }
        scope.spawn(move || {
            for numbered in jobs.enumerate() {
                // Either end is gone when writing failed.
                if permits.recv().is_err() || job_sender.send(numbered).is_err() {
                    break;
                }
            }
        });
        for _ in 0..threads {
            let (result_sender, job_receiver) = (result_sender.clone(), Arc::clone(&job_receiver));
            scope.spawn(move || {
                // One photo a thread: the stages' own threads would only get in one another's way.
                let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().ok();
                loop {
                    let next = job_receiver.lock().ok().and_then(|receiver| receiver.recv().ok());
                    let Some((number, job)) = next else { break };
                    let result = match &pool {
                        Some(pool) => pool.install(|| work(job)),
                        None => work(job),
                    };
                    if result_sender.send((number, result)).is_err() {
                        break;
                    }
                }
            });
        }
        drop((result_sender, job_receiver));
        let mut waiting = BTreeMap::new();
        let mut next = 0;
        for (number, result) in results {
            waiting.insert(number, result);
            while let Some(result) = waiting.remove(&next) {
                write(result)?;
                next += 1;
                let _ = permit_sender.send(());
            }
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    #[test]
    fn results_come_in_order_whatever_the_threads() {
        for threads in [1, 2, 5] {
            let mut seen = Vec::new();
            let work = |n: u64| {
                thread::sleep(Duration::from_micros(37 * (n % 7)));
                2 * n
            };
            ordered(0..200u64, threads, &work, |n| {
                seen.push(n);
                Ok(())
            })
            .unwrap();
            assert_eq!(seen, (0..200).map(|n| 2 * n).collect::<Vec<_>>());
        }
    }

    /// A slow first row must not let the others pile up.
    #[test]
    fn no_more_than_the_window_is_in_flight() {
        let taken = AtomicUsize::new(0);
        let jobs = (0..500usize).inspect(|_| {
            taken.fetch_add(1, Ordering::SeqCst);
        });
        let mut written = 0;
        let work = |n: usize| {
            if n == 0 {
                thread::sleep(Duration::from_millis(50));
            }
            n
        };
        ordered(jobs, 2, &work, |_| {
            written += 1;
            // One more is drawn from the list while its permit is waited for.
            assert!(taken.load(Ordering::SeqCst) <= written + 2 * WINDOW_PER_THREAD + 1);
            Ok(())
        })
        .unwrap();
        assert_eq!(written, 500);
    }

    #[test]
    fn a_failure_to_write_ends_it() {
        let result =
            ordered(0.., 2, &|n: u64| n, |n| if n < 5 { Ok(()) } else { Err(Error::usage("disk full", "make room")) });
        assert!(result.unwrap_err().to_string().contains("disk full"));
    }
}
