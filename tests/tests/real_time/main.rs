//! What waits rather than works, as one program so that the waits overlap: lines and rigs in real time, and soaks.
//!
//! - `bridge_opens`: whatever ends the host or the line, a throttle body's bridge is open in time.
//! - `odd_system`: a slow disk, a clock that is set back, a reader that stands still.
//! - `real_line`: a grip over a pseudo terminal and TCP.
//! - `soaks`: hours of cycling on virtual time, killed, unplugged, gone on with.
//! - `turns`: how many at once.

mod bridge_opens;
mod odd_system;
mod real_line;
mod soaks;
mod turns;
