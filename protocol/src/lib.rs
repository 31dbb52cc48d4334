//! The bytes between a Trackpair host and a bench rig. `WIRE.md` is the specification; this crate is its Rust reading.
//!
//! No std, no allocation, no clock, no I/O: both ends (the host, and a rig on a microcontroller) use this one crate.
//!
//! Layers, each sees only those above it:
//! - [`crc`][]: CRC-32/AUTOSAR.
//! - [`cobs`][]: consistent overhead byte stuffing on slices.
//! - [`wire`][]: bounded little-endian cursors; text fields of fixed size.
//! - [`frame`][]: header + payload + CRC in one delimited frame; the deframer.
//! - [`channel`][]: the table that declares what each sample column means, and its calibration.
//! - [`program`][]: the motion program a host loads into a rig.
//! - [`position_loop`][]: settings of the loop that holds a throttle plate.
//! - [`mapping`][]: which plate angle a pair's rig asks for at which output of the grip.
//! - [`message`][]: requests, replies, refusals, events.
//! - [`samples`][]: numbered blocks of packed columns.
//!
//! [`fuzzing`] is for tests alone.
//!
//! It must not know what a part is, what a limit is, or how a rig makes its samples.

#![no_std]

pub mod channel;
pub mod cobs;
pub mod crc;
pub mod frame;
pub mod fuzzing;
pub mod mapping;
pub mod message;
mod payload;
pub mod position_loop;
pub mod program;
pub mod samples;
pub mod wire;

/// Protocol version in every frame header. A change that an old reader would misread raises it.
pub const VERSION: u8 = 2;

/// Baud rate of a rig on a plain UART. A USB or pty link ignores it.
pub const DEFAULT_BAUD: u32 = 2_000_000;

/// Link silence after which a rig takes the drive off, in microseconds.
pub const LINK_SILENCE_US: u64 = 300_000;
