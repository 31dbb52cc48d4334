//! What every bench rig does, whatever its board: answers requests, drives the motion program, samples, guards.
//!
//! No std, no allocation, no clock, no I/O: bytes and the time come in as arguments, bytes go out into a buffer.
//!
//! Layers, each sees only those above it:
//! - [`board`]: what a board must do for the core.
//! - `queue`: what waits for the link, bounded, whole frames.
//! - `window`: the request-id window: new, repeated, stale.
//! - `motor_guards`: what the guards of a motor bridge remember.
//! - `guards`: the rules that take the drive off.
//! - `motion`: the program turned into setpoints and voltages over time.
//! - `position`: the loop that holds a throttle plate at its setpoint.
//! - `sampler`: scans into numbered blocks, bounded.
//! - `machine`: state, and the order of things as time goes by.
//! - [`rig`]: requests and their answers, the whole rig.
//!
//! It must not know a host, a simulator, a part or a limit of a part.

#![no_std]

pub mod board;
mod follow;
mod guards;
mod machine;
mod motion;
mod motor_guards;
mod position;
mod queue;
pub mod rig;
mod sampler;
mod window;

pub use machine::DEAD_HOST_US;
pub use motion::TICK_US;
