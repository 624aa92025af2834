//! What every request shares: the bays, the store's place, who is in, what is being measured.

use super::answer::Failure;
use super::begin::Begun;
use super::events::Hub;
use super::filed::Checked;
use super::visitor::Visitors;
use super::watch::Watch;
use super::work::{Limits, Work};
use crate::aim::{Rule, Screws};
use crate::bay::Bay;
use crate::camera::{LensProfile, ResponseProfile};
use crate::cli::plan::read_parsed;
use crate::cli::serve::ServeArgs;
use crate::cli::{aim, args::TrafficArg, plan};
use crate::error::Error;
use crate::record::Store;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedMutexGuard, Semaphore};

/// Photos that may be on the wire at once: each is held in memory until it is whole.
const UPLOADS: usize = 8;

/// One bay of the shop.
#[derive(Debug)]
pub(super) struct ShopBay {
    /// Its file, from the root.
    pub(super) file: String,
    /// What the file said at the start.
    pub(super) bay: Bay,
}

/// What every request shares.
#[derive(Debug)]
pub(super) struct Shop {
    pub(super) bays: Vec<ShopBay>,
    pub(super) store: PathBuf,
    /// Id or path of the rule that new inspections start with.
    pub(super) rule: String,
    /// Words of `measure` that hold for every vehicle.
    pub(super) common: Vec<String>,
    /// Files of cameras' lenses, from the root.
    pub(super) lenses: Vec<String>,
    /// Files of cameras' tone curves.
    pub(super) responses: Vec<String>,
    pub(super) traffic: TrafficArg,
    /// Names with port under which this server is known.
    pub(super) hosts: Vec<String>,
    /// Address for other devices, when they are let in.
    pub(super) lan_address: Option<String>,
    pub(super) is_tls: bool,
    pub(super) upload_time: Duration,
    /// Photos of one inspection: nobody aims a lamp with more, and the disk is not anybody's to fill.
    pub(super) most_photos: usize,
    pub(super) visitors: Visitors,
    pub(super) work: Work,
    pub(super) uploads: Arc<Semaphore>,
    pub(super) hub: Hub,
    /// What forms began that may be sent again.
    pub(super) begun: Begun,
    pub(super) watch: Option<Watch>,
    /// What the last check of the store came to.
    pub(super) checked: Mutex<Option<Checked>>,
    /// Held while the store is checked: one check at a time, so that photos keep a place.
    pub(super) checking: Arc<tokio::sync::Mutex<()>>,
    at_work: Mutex<HashMap<String, Arc<tokio::sync::Mutex<()>>>>,
}

impl Shop {
    /// Reads every file that the arguments name.
    pub(super) fn new(args: &ServeArgs, hosts: Vec<String>, lan_address: Option<String>) -> Result<Self, Error> {
        let bays = args
            .bays
            .iter()
            .map(|path| Ok(ShopBay { file: aim::absolute(path)?, bay: read_parsed(path, Bay::parse)? }))
            .collect::<Result<Vec<_>, Error>>()?;
        Store::open(&args.record)?;
        plan::rule(&args.rules)?;
        let rule = if Rule::built_in_text(&args.rules).is_some() {
            args.rules.clone()
        } else {
            aim::absolute(Path::new(&args.rules))?
        };
        // Said now, and not when the first photo is there.
        args.screws.as_deref().map(|path| read_parsed(path, Screws::parse)).transpose()?;
        let mut common = Vec::new();
        if let Some(path) = &args.screws {
            common.extend(["--screws".to_owned(), aim::absolute(path)?]);
        }
        args.lenses.iter().try_for_each(|path| read_parsed(path, LensProfile::parse).map(|_| ()))?;
        args.responses.iter().try_for_each(|path| read_parsed(path, ResponseProfile::parse).map(|_| ()))?;
        let all = |paths: &[PathBuf]| paths.iter().map(|path| aim::absolute(path)).collect::<Result<Vec<_>, _>>();
        Ok(Self {
            bays,
            store: PathBuf::from(aim::absolute(&args.record)?),
            rule,
            common,
            lenses: all(&args.lenses)?,
            responses: all(&args.responses)?,
            traffic: args.traffic,
            hosts,
            lan_address,
            is_tls: args.tls,
            most_photos: args.most_photos as usize,
            upload_time: Duration::from_secs(args.upload_seconds),
            visitors: Visitors::default(),
            work: Work::new(Limits { time: Duration::from_secs(args.photo_seconds), mib: args.photo_mib }),
            uploads: Arc::new(Semaphore::new(UPLOADS)),
            hub: Hub::new(),
            begun: Begun::default(),
            watch: args.watch.as_deref().map(Watch::new).transpose()?,
            checked: Mutex::new(None),
            checking: Arc::default(),
            at_work: Mutex::new(HashMap::new()),
        })
    }

    /// The cookie's name; with TLS the browser holds it to this host.
    pub(super) const fn cookie_name(&self) -> &'static str {
        if self.is_tls { "__Host-lampwright" } else { "lampwright" }
    }

    /// What is served to everybody: how the page looks, and what lets one in.
    #[expect(clippy::unused_self, reason = "it is asked of the shop, whatever it answers from")]
    pub(super) fn is_open_to_all(&self, path: &str) -> bool {
        matches!(path, "/page.css" | "/page.js" | "/icon.svg" | "/enter")
    }

    /// The store, to be read.
    pub(super) fn records(&self) -> Result<Store, Failure> {
        Store::read(&self.store).map_err(|error| Failure::inside(&error))
    }

    /// One at a time goes on with an inspection; the others wait here.
    pub(super) async fn alone_with(&self, inspection: &str) -> OwnedMutexGuard<()> {
        let lock = {
            let mut at_work = self.at_work.lock().unwrap_or_else(PoisonError::into_inner);
            at_work.retain(|_, lock| Arc::strong_count(lock) > 1);
            Arc::clone(at_work.entry(inspection.to_owned()).or_default())
        };
        lock.lock_owned().await
    }
}
