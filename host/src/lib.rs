//! Trackpair's host: from a rig's bytes to a verdict on a part. The `trackpair` program is a thin shell around it.
//!
//! The layers below are crates of their own, shown here under one roof; what each may know stands in its `Cargo.toml`, and the compiler keeps it:
//! - `trackpair-model`: [`quantity`], [`sheet`], [`trace`];
//! - `trackpair-bench`: [`link`], [`session`], [`conform`], [`procedure`];
//! - `trackpair-analysis`: [`analysis`], [`verdict`], [`diagnosis`];
//! - `trackpair-outcome`: [`outcome`], [`vehicle`], [`case`], [`compare`], [`gauge`];
//! - `trackpair-records`: [`record`];
//! - `trackpair-reports`: [`report`].
//!
//! This one adds:
//! - [`job`]: a plan in, events and a conclusion out. Prints nothing, has no clock, asks no terminal.
//! - [`cli`]: what was typed, what it means, what is printed.

pub mod cli;
pub mod job;

pub use trackpair_analysis::{analysis, diagnosis, verdict};
pub use trackpair_bench::{conform, link, procedure, session};
pub use trackpair_model::{quantity, sheet, trace};
pub use trackpair_outcome::{case, compare, gauge, outcome, vehicle};
pub use trackpair_records::record;
pub use trackpair_reports::report;
