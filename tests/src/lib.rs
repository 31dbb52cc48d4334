//! Shared by the whole-bench tests, studies and benches.
//!
//! - [`programs`]: finds and starts the project's programs.
//! - [`sim_link`]: the simulated rig behind the host's link; the program's own file.
//! - [`cli`]: runs the program and reads what it printed and stored.
//! - [`cuts`]: sessions that something interrupts.
//! - [`crash`]: programs that are killed while they keep records.
//! - [`draws`](mod@draws): how many parts a test draws.
//! - [`bad_sheets`]: part sheets that must be refused.
//! - [`bench`](mod@bench): a whole bench in one process on virtual time.
//! - [`big_trace`]: a long recording for benches.
//! - [`body_bench`]: the same for a throttle body.
//! - [`faulty`]: a line that loses, repeats, delays and damages frames; the link layer's own file for its tests.
//! - [`odd_rigs`]: rigs and lines that go wrong.
//! - [`pages`]: commands of the public pages.
//! - [`parallel`]: many seeds on all cores.
//! - [`reading`]: reading a stream that signals interrupt.
//! - [`shares`]: shares with exact bounds.
//! - [`truth`](mod@truth): what the simulator drew, which must not get out.

pub mod bad_sheets;
pub mod bench;
pub mod big_trace;
pub mod body_bench;
pub mod cli;
pub mod crash;
pub mod cuts;
#[path = "../../host/analysis/src/test_draws.rs"]
pub mod draws;
#[path = "../../host/bench/src/link/faulty.rs"]
pub mod faulty;
pub mod odd_rigs;
pub mod pages;
pub mod parallel;
pub mod programs;
pub mod reading;
pub mod shares;
#[path = "../../host/program/src/sim_link.rs"]
pub mod sim_link;
pub mod soaks;
pub mod truth;

// The layer that `faulty` wraps, under the name that it has there.
use trackpair::link;
