//! What everything else speaks of: quantities, part sheets, traces. Each may use only those above it.
//!
//! - [`quantity`]: angles, volts, names of channels and figures. Knows nothing else.
//! - [`sheet`]: part sheets and their limits, each with its source.
//! - [`trace`]: the immutable samples of one procedure. Does not know how they came or what they mean.

pub mod quantity;
pub mod sheet;
pub mod trace;

// Layers below, under the names that every file uses.
