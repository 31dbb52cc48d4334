//! What every bench rig does, whatever its board: answers requests, drives the motion program, samples, guards.
//!
//! No std, no allocation, no clock, no I/O: bytes and the time come in as arguments, bytes go out into a buffer.
//!
//! Layers, each sees only those above it:
//! - [`board`]: what a board must do for the core.
//! - `guards`: the rules that take the drive off.
//! - `motion`: the program turned into setpoints over time.
//! - `sampler`: scans into numbered blocks, bounded.
//! - [`rig`]: requests, state, the order of things in one poll.
//!
//! It must not know a host, a simulator, a part or a limit of a part.

#![no_std]

pub mod board;
pub mod rig;
