//! The terminal: questions, answers, results, and how far a procedure is.
//!
//! - `answers`, `enter_key`: what is typed while a command runs.
//! - `progress`: how far it is, on stderr; `aside`: lines beside the work.
//! - `say`, `document`: results, for people and for programs; `conclusion`: what a job came to; `left_out`: what a question left out; `letterhead`: whose
//!   documents they are.
//! - `mounting`: a part that is mounted and swept for questions about the rig.
//! - `at_terminal`: a job done here; `drawing`: what it reports.

pub mod answers;
pub mod aside;
pub mod at_terminal;
pub mod conclusion;
pub mod document;
pub mod drawing;
pub mod enter_key;
pub mod left_out;
pub mod letterhead;
pub mod mounting;
pub mod progress;
pub mod say;
