//! Measuring a few photos at a time, each in a process of its own with limits of time and memory: decoding a hostile file
//! must stop nothing else. The others wait in a queue, and when that is full they are told so.

use super::answer::Failure;
use super::errand::{Errand, Outcome, pack, unpack};
use super::log::log;
use std::io::{self, Read, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, mpsc};
use std::thread;
use std::time::{Duration, Instant};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Photos that are measured at once: each may take hundreds of megabytes.
const AT_ONCE: usize = 2;
/// Photos that may wait for their turn.
const WAITING: usize = 16;
/// Threads of one worker: each reserves memory, and more of them do not make one photo quicker.
const THREADS: usize = 4;
/// Longest answer: a picture and a reading.
const MOST_ANSWER_BYTES: u64 = 64 << 20;

/// Longest time between two looks whether a worker ended.
const LONGEST_PAUSE: Duration = Duration::from_millis(20);

/// What one photo may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Limits {
    /// Until its answer is here.
    pub(super) time: Duration,
    /// Memory, MiB.
    pub(super) mib: u64,
}

/// The bench that photos are measured on.
#[derive(Debug, Clone)]
pub(super) struct Work {
    places: Arc<Semaphore>,
    queue: Arc<Semaphore>,
    limits: Limits,
}

/// A place in the queue. What it is for is in memory only as long as it is held, so that what waits is bounded too.
#[derive(Debug)]
pub(super) struct Queued {
    _permit: OwnedSemaphorePermit,
}

impl Work {
    pub(super) fn new(limits: Limits) -> Self {
        Self { places: Arc::new(Semaphore::new(AT_ONCE)), queue: Arc::new(Semaphore::new(AT_ONCE + WAITING)), limits }
    }

    /// A place in the queue, or word that it is full. To be had before a photo waits for anything else.
    pub(super) fn queue(&self) -> Result<Queued, Failure> {
        let permit = Arc::clone(&self.queue).try_acquire_owned().map_err(|_| Failure::Busy)?;
        Ok(Queued { _permit: permit })
    }

    /// Places that are left in the queue.
    #[cfg(test)]
    pub(super) fn left(&self) -> usize {
        self.queue.available_permits()
    }

    /// The same as `run_queued` for what holds nothing while it waits.
    pub(super) async fn run<T: Send + 'static>(
        &self,
        job: impl FnOnce() -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        self.run_queued(self.queue()?, job).await
    }

    /// Runs `job` when it is its turn. It runs to its end also when nobody waits for it any more.
    pub(super) async fn run_queued<T: Send + 'static>(
        &self,
        queued: Queued,
        job: impl FnOnce() -> Result<T, Failure> + Send + 'static,
    ) -> Result<T, Failure> {
        let place = Arc::clone(&self.places).acquire_owned().await.map_err(|_| Failure::Busy)?;
        let done = tokio::task::spawn_blocking(move || {
            let _held = (queued, place);
            catch_unwind(AssertUnwindSafe(job)).unwrap_or_else(|_| {
                log("a piece of work stopped with a panic; nothing was recorded of it");
                Err(Failure::Inside)
            })
        });
        done.await.unwrap_or(Err(Failure::Inside))
    }

    /// Has an errand done by a worker, and waits for it; to be called from within a job. Gives the picture too.
    pub(super) fn ask(&self, errand: &Errand, blocks: &[&[u8]]) -> Result<(Outcome, Vec<u8>), Failure> {
        let broken = |error: &io::Error| {
            log(&format!("no worker could be started: {error}"));
            Failure::Inside
        };
        let message = pack(errand, blocks).map_err(|error| broken(&error.into()))?;
        let child = self.start().map_err(|error| broken(&error))?;
        let answer = answer(child, message, self.limits.time).map_err(|error| broken(&error))?;
        let Some((outcome, blocks)) = answer.as_deref().and_then(unpack) else {
            log("a worker gave no answer within its limits of time and memory; nothing was recorded of its photo");
            return Err(Failure::Unfinished);
        };
        Ok((outcome, blocks.into_iter().next().unwrap_or_default()))
    }

    fn start(&self) -> io::Result<Child> {
        let threads = thread::available_parallelism().map_or(1, usize::from).min(THREADS);
        let seconds = self.limits.time.as_secs().max(1) * threads as u64;
        Command::new(program()?)
            .args(["page-worker", "--seconds", &seconds.to_string(), "--mib", &self.limits.mib.to_string()])
            .env("RAYON_NUM_THREADS", threads.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            // A panic's words hold paths, and would forge lines of the log.
            .stderr(Stdio::null())
            .spawn()
    }
}

/// This very program, also after an update put another one in its place.
fn program() -> io::Result<PathBuf> {
    if cfg!(target_os = "linux") { Ok(PathBuf::from("/proc/self/exe")) } else { std::env::current_exe() }
}

/// Sends a message and waits for the answer; `None` when there is none in time, or the process did not end well.
fn answer(mut child: Child, message: Vec<u8>, longest: Duration) -> io::Result<Option<Vec<u8>>> {
    let (stdin, stdout) = (child.stdin.take(), child.stdout.take());
    let (say, hear) = mpsc::channel();
    // Both end when the process does: its pipes are closed then.
    thread::spawn(move || {
        // A process that ended early has said so by its answer, or will say nothing.
        let _ = stdin.map(|mut stdin| stdin.write_all(&message));
    });
    thread::spawn(move || {
        let mut answer = Vec::new();
        let read = stdout.map(|stdout| stdout.take(MOST_ANSWER_BYTES).read_to_end(&mut answer));
        // Nobody listens when the time is over.
        let _ = say.send(matches!(read, Some(Ok(_))).then_some(answer));
    });
    let until = Instant::now() + longest;
    let answer = hear.recv_timeout(longest).ok().flatten();
    let is_whole = answer.as_ref().is_some_and(|answer| (answer.len() as u64) < MOST_ANSWER_BYTES);
    // Who has said all may still not end.
    if !(is_whole && ends(&mut child, until)?) {
        // It may have ended by itself already.
        let _ = child.kill();
    }
    let status = child.wait()?;
    Ok(answer.filter(|_| is_whole && status.success()))
}

/// Waits for a process that closed its answer: whether it ended in time.
fn ends(child: &mut Child, until: Instant) -> io::Result<bool> {
    // At first often, since it mostly ends at once.
    let mut pause = Duration::from_micros(100);
    while child.try_wait()?.is_none() {
        if Instant::now() >= until {
            return Ok(false);
        }
        thread::sleep(pause.min(until.saturating_duration_since(Instant::now())));
        pause = (2 * pause).min(LONGEST_PAUSE);
    }
    Ok(true)
}

/// Runs what reads the disk or the store away from the threads that serve.
pub(super) async fn aside<T: Send + 'static>(
    job: impl FnOnce() -> Result<T, Failure> + Send + 'static,
) -> Result<T, Failure> {
    tokio::task::spawn_blocking(job).await.unwrap_or(Err(Failure::Inside))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

    /// A process that says nothing is ended when its time is over, one that says half and fails is not believed.
    #[cfg(unix)]
    #[test]
    fn no_process_outlives_its_time() {
        let start = |script: &str| {
            let mut command = Command::new("sh");
            command.args(["-c", script]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap()
        };
        let begun = Instant::now();
        assert_eq!(answer(start("exec sleep 600"), vec![1; 1 << 20], Duration::from_millis(100)).unwrap(), None);
        for closed in ["exec >&-; exec sleep 600", "echo whole; exec >&-; exec sleep 600"] {
            assert_eq!(answer(start(closed), Vec::new(), Duration::from_millis(300)).unwrap(), None, "{closed}");
        }
        assert!(begun.elapsed() < Duration::from_mins(1));
        let long = Duration::from_mins(1);
        assert_eq!(answer(start("echo half; exit 1"), vec![1; 1 << 20], long).unwrap(), None);
        assert_eq!(answer(start("kill -9 $$"), Vec::new(), long).unwrap(), None);
        assert_eq!(answer(start("cat"), b"whole".to_vec(), long).unwrap().as_deref(), Some(&b"whole"[..]));
    }

    const LIMITS: Limits = Limits { time: Duration::from_secs(1), mib: 64 };

    /// Two at once, sixteen waiting, and whoever comes then is told so; a panic frees its place.
    #[test]
    fn the_queue_is_bounded() {
        const ALL: usize = AT_ONCE + WAITING;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_time().build().unwrap();
        runtime.block_on(async {
            let work = Work::new(LIMITS);
            let is_open = Arc::new(AtomicBool::new(false));
            let (most, now) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
            let jobs: Vec<_> = (0..ALL)
                .map(|n| {
                    let (work, is_open) = (work.clone(), Arc::clone(&is_open));
                    let (most, now) = (Arc::clone(&most), Arc::clone(&now));
                    tokio::spawn(async move {
                        let job = move || {
                            most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                            while !is_open.load(Ordering::SeqCst) {
                                thread::sleep(Duration::from_millis(1));
                            }
                            now.fetch_sub(1, Ordering::SeqCst);
                            if n == 0 { panic!("on purpose") } else { Ok(n) }
                        };
                        work.run(job).await
                    })
                })
                .collect();
            while work.queue.available_permits() > 0 {
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
            assert_eq!(work.run(|| Ok(ALL)).await, Err(Failure::Busy));
            is_open.store(true, Ordering::SeqCst);
            for (n, job) in jobs.into_iter().enumerate() {
                assert_eq!(job.await.unwrap(), if n == 0 { Err(Failure::Inside) } else { Ok(n) });
            }
            assert!(most.load(Ordering::SeqCst) <= AT_ONCE);
            assert_eq!(work.run(|| Ok(ALL)).await, Ok(ALL), "places are free again");
        });
    }
}
