//! A bench rig and the grip or throttle body on it, as physics: implements the rig core's `Board`, on virtual time or behind a pty or
//! TCP port.
//!
//! Layers, each sees only those above it:
//! - [`random`]: seeded numbers; a fast Gaussian.
//! - [`fault`], [`fault_range`]: every fault that can be planted, with units and ranges.
//! - [`body`]: a throttle body as pure physics: motor, gears with lash, springs, plate.
//! - [`spec`]: kind of part and sensor, topology, spread and faults: what a part file says.
//! - [`parts`], [`part_file`]: the named parts; TOML part files.
//! - [`curve`]: the static transfer curve and what is true of it.
//! - [`drawn`], [`part`]: a part's own numbers; one drawn part and its truth.
//! - [`grip`], [`dropout`], [`network`], [`front`], [`operator`]: mechanics, broken contacts, wires, input filter, the person beside the rig.
//! - [`clamped`], [`departures`]: what moves on the rig, grip or body, its drive and the person that touches it; when a plate began to move.
//! - [`rig_spec`], [`occasion`]: the rig's electronics; the same part on the same rig once more, mounted and swept again.
//! - [`plant`], [`table`], [`board`]: everything together, and the `Board` of it.
//! - [`sim_rig`], [`address`]: a whole rig on virtual time; `NAME?seed=N` addresses.
//! - [`serve`], [`drive_log`]: the same in real time behind a pty or a TCP port; when its drive went on and off.
//!
//! It must not know a host, a limit, or a verdict; and nothing of what was drawn leaves through the protocol.

pub mod address;
pub mod board;
pub mod body;
pub mod clamped;
pub mod curve;
pub mod departures;
pub mod drawn;
pub mod drive_log;
pub mod dropout;
pub mod fault;
pub mod fault_range;
pub mod front;
pub mod grip;
pub mod network;
pub mod occasion;
pub mod operator;
pub mod part;
pub mod part_file;
pub mod parts;
pub mod plant;
pub mod random;
pub mod rig_spec;
pub mod serve;
pub mod sim_rig;
mod sine;
pub mod spec;
pub mod table;

pub use address::part_address;
pub use board::SimBoard;
pub use operator::Operator;
pub use part::Part;
pub use rig_spec::RigSpec;
pub use sim_rig::SimRig;
pub use spec::PartSpec;
