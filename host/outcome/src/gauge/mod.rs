//! How good the rig itself is: studies of its own scatter, and charts of a known part over time.
//!
//! It compares numbers that were measured elsewhere; it drives nothing and keeps nothing.
//!
//! - [`plan`](mod@plan): who is mounted when, in blind order.
//! - `crossed`: readings of parts × mountings × repeats, whole or refused.
//! - `anova`: sums of squares, F, and what each source contributes.
//! - `pivots`: how sure those contributions are.
//! - [`study`](mod@study): all of it figure by figure, against the sheet's tolerance and the stated uncertainty.
//! - `chart`: individuals, moving range, EWMA; `run_length`: how often such a chart signals without a reason.
//! - [`watch`](mod@watch): a known part's figures against the guard band: steady, moves, misjudges.
//! - `documents`: what programs read of them.

pub mod anova;
pub mod chart;
pub mod crossed;
pub mod documents;
pub mod pivots;
pub mod plan;
pub mod run_length;
pub mod study;
pub mod watch;
