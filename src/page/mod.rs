//! The page for the phone beside the lamp and for the desk, and the server behind it (`lampwright serve`).
//!
//! It runs the same plan, driver and recorder as the command line: nothing is measured or judged here. What an inspection's
//! photos came to stands in the store of records alone; beside it lies only what was entered for the vehicle, so that no
//! half-done upload can leave anything behind.
//!
//! - `serve` opens the port and prints where; `shop` is what every request shares; `routes` names every route.
//! - `guard` is passed by every request: host, origin, cookie, headers, panics. `visitor` keeps who may come in.
//! - `upload` takes a photo off the wire, `work` has a few measured at a time, each by a `worker` of its own that is sent an
//!   `errand`, `inspection` records, `watch` feeds from a folder.
//! - `home`, `begin`, `lamp`, `next_step`, `ruler`, `tap`, `desk`, `filed` are what is seen.

mod answer;
mod begin;
mod day;
mod desk;
mod desk_bay;
mod enter;
mod errand;
mod events;
mod figures;
mod filed;
mod files;
mod guard;
mod home;
mod inspection;
mod lamp;
mod layout;
mod log;
mod next_step;
mod pictures;
mod post;
mod routes;
mod ruler;
mod said;
mod serve;
mod shop;
mod tap;
mod tls;
#[cfg(test)]
mod trial;
mod upload;
mod visitor;
mod watch;
mod words;
mod work;
mod worker;

pub use serve::serve;
pub use worker::worker;
