//! A throttle body and its rig for tests of the analysis, so that they do not depend on the simulator whose parts the studies
//! judge. It knows nothing of figures.

pub mod plant;
pub mod programs;
pub mod record;
pub mod rig;

pub use plant::Plant;
pub use record::Plan;
pub use rig::Bench;
