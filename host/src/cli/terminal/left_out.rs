//! What was left out of a question over many records.

use crate::compare::standing::LeftOut;

/// Names what was left out on stderr.
pub fn tell_left_out(left_out: &[LeftOut]) {
    for LeftOut { record, why } in left_out {
        eprintln!("trackpair: left out: {record}: {why}");
    }
}
