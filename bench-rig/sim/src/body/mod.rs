//! A motor-driven throttle body as physics: motor, two gear meshes with lash, plate between two springs and two stops. No sensor, no
//! rig, no protocol.
//!
//! - [`numbers`]: what one body is made of, drawn with its spread; [`ailment`] changes it by the faults of a part.
//! - [`teeth`]: gear errors and wear of the flanks along the travel.
//! - [`shortcut`]: tables that stand in for `exp`, `tanh` and `cos` in the step.
//! - [`bridge`], [`winding`]: what the motor's terminals see; the winding's warmth.
//! - [`mechanics`]: the fixed step; [`motion`]: a body that moves.
//! - [`truth`]: what is true of a body at rest.
//!
//! Angles of idler and rotor are their own axes'; everything else is referred to the plate, from the closed stop. Defaults: R. N. K.
//! Loh, T. Thanom, J. S. Pyko, A. Lee, "Electronic Throttle Control System: Modeling, Identification and Model-Based Control
//! Designs", Engineering 5 (2013), as quoted by others; the split among motor, idler and plate, gear errors, lash, stiffness,
//! ripple and stops are engineering assumptions. There is no pre-sliding friction, and PWM is averaged.

pub mod ailment;
pub mod bridge;
pub mod mechanics;
pub mod motion;
pub mod numbers;
pub mod shortcut;
pub mod teeth;
pub mod truth;
pub mod winding;

pub use bridge::Bridge;
pub use motion::{Body, Probe};
pub use numbers::BodyNumbers;
pub use teeth::Teeth;
