//! A rig at the other end of a line: bytes, sessions, conformance, procedures. Each may use only those above it.
//!
//! - [`link`]: bytes to and from an address. Does not know what they say.
//! - [`session`]: requests, replies, heartbeats, blocks into traces. Does not know why.
//! - [`conform`]: whether a rig keeps the protocol. Knows no part.
//! - [`procedure`]: what to ask of the rig, in order. Does not judge.

pub mod conform;
pub mod link;
pub mod procedure;
pub mod session;

// Layers below, under the names that every file uses.
use trackpair_model::{quantity, sheet, trace};
