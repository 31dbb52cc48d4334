//! Shared by the whole-bench tests, studies and benches.
//!
//! - [`programs`]: finds and starts the project's programs.
//! - [`bench`]: a simulated bench in one process on virtual time.

pub mod programs;
