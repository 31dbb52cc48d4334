//! Jobs: what is done with a rig or an archive when it is asked for. A plan in, events and a conclusion out.
//!
//! Nothing here prints, asks a terminal, reads a clock or an environment, or ends the program: whoever starts a job gives it all that.

mod failure;
pub mod in_case;
pub mod population;
pub mod sheets;

pub use failure::Failure;
