//! Jobs: what is done with a rig or an archive when it is asked for. A plan in, events and a conclusion out.
//!
//! Nothing here prints, asks a terminal, reads a clock or an environment, or ends the program: whoever starts a job gives it all that.
//!
//! - [`Outside`]: what a job is given of the world; [`Event`]: what it reports; [`Failure`]: why it can't be done; [`Concluded`]: what it came to.
//! - `mounted`: a part on a rig; `in_case`: the case that it belongs to; `matings`: its plugs.
//! - `bench_work`: a session with a rig, every trace kept as soon as it exists; `rig_lock`: one program at a time on it.
//! - `cautions`: shown, and to be accepted, before a throttle body is driven.
//! - `sheets`: which sheet is meant; `population`: among which bodies.
//! - `recorded`: what was recorded; `question`: what is asked of it; `judged`: analysis and verdict; `settling`: an undecided grip swept again, and which of several sweeps counts;
//!   `concluded`: stored and sealed (`sealing`).
//! - `watched`: how long is recorded without a program. `stored`: stored outcomes by name or place.
//! - One file per job: `qualify` (and a grip's single procedures), `body` (a throttle body's), `follow` (both together), `flex` (and warm-up),
//!   `soak`, `sweep` (of a part that is mounted, for questions about the rig), `judge`, `rejudge`.

pub mod bench_work;
pub mod body;
pub mod cautions;
pub mod concluded;
mod event;
mod failure;
pub mod flex;
pub mod follow;
pub mod in_case;
pub mod judge;
pub mod judged;
pub mod matings;
mod mounted;
mod outside;
pub mod population;
pub mod qualify;
pub mod question;
mod recorded;
pub mod rejudge;
pub mod rig_lock;
pub mod sealing;
pub mod settling;
pub mod sheets;
pub mod soak;
pub mod stored;
pub mod sweep;
pub mod watched;

pub use concluded::Concluded;
pub use event::{Event, Round};
pub use failure::Failure;
pub use mounted::Mounted;
pub use outside::{Answer, Clock, OpenSimulator, Outside, Question, Workshop, without_logo};
