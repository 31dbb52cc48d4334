//! Trackpair's host: from a rig's bytes to a verdict on a part. The `trackpair` program is a thin shell around it.
//!
//! Layers; each may use only those above it (a test reads the `use` lines and keeps that):
//! - [`quantity`]: angles, volts, names of channels and figures. Knows nothing else.
//! - [`sheet`]: part sheets and their limits, each with its source.
//! - [`trace`]: the immutable samples of one procedure. Does not know how they came or what they mean.
//! - [`link`]: bytes to and from an address. Does not know what they say.
//! - [`session`]: requests, replies, heartbeats, blocks into traces. Does not know why.
//! - [`conform`]: whether a rig keeps the protocol. Knows no part.
//! - [`procedure`]: what to ask of the rig, in order. Does not judge.
//! - [`analysis`]: trace in, figures and findings out. No I/O, no clock, no limits.
//! - [`verdict`]: figures against limits with their uncertainty.
//! - [`diagnosis`]: findings to causes.
//! - [`outcome`]: all of it as one stored, versioned document.
//! - [`vehicle`]: what is checked at the vehicle before a part is pulled, and what its readings say.
//! - [`case`]: from a complaint to what was done about it. Does not know where it is kept.
//! - [`compare`]: outcomes against each other and against the population of their kind.
//! - [`gauge`]: how good the rig itself is, by studies and by a known part over time.
//! - [`report`]: the outcome for people. Returns text; where it goes is someone else's business.
//! - [`record`]: the archive folder, Parquet and CSV files.
//! - [`job`]: a plan in, events and a conclusion out. Prints nothing, has no clock, asks no terminal.
//! - [`cli`]: what was typed, what it means, what is printed.

pub mod analysis;
pub mod case;
pub mod cli;
pub mod compare;
pub mod conform;
pub mod diagnosis;
pub mod gauge;
pub mod job;
pub mod link;
pub mod outcome;
pub mod procedure;
pub mod quantity;
pub mod record;
pub mod report;
pub mod session;
pub mod sheet;
#[cfg(test)]
mod test_draws;
pub mod trace;
pub mod vehicle;
pub mod verdict;
