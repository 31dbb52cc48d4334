//! The terminal: what is asked and said there, and how far a procedure is.
//!
//! - `answers`, `enter_key`: what is typed while a command runs.
//! - `progress`: how far it is, on stderr; `aside`: what is said beside the work.
//! - `say`, `document`: results, for people and for programs.

pub mod answers;
pub mod aside;
pub mod document;
pub mod enter_key;
pub mod progress;
pub mod say;
