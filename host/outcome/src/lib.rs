//! What is concluded and stored: outcomes, vehicle checks, cases, comparisons, gauge studies. Each may use only those above it.
//!
//! - [`outcome`]: all of it as one stored, versioned document.
//! - [`vehicle`]: what is checked at the vehicle before a part is pulled, and what its readings say.
//! - [`case`]: from a complaint to what was done about it. Does not know where it is kept.
//! - [`compare`]: outcomes against each other and against the population of their kind.
//! - [`gauge`]: how good the rig itself is, by studies and by a known part over time.

pub mod case;
pub mod compare;
pub mod gauge;
pub mod outcome;
pub mod vehicle;

// Layers below, under the names that every file uses.
use trackpair_analysis::{analysis, diagnosis, verdict};
use trackpair_bench::session;
use trackpair_model::{quantity, sheet, trace};
