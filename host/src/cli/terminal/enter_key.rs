//! Enter, by which the person at the rig ends a recording.

use super::answers::typed_by_now;
use crate::procedure::Typed;

/// Enter ends it. A closed or empty standard input is not a key.
pub fn enter() -> Typed {
    if typed_by_now().is_some() { Typed::End } else { Typed::Nothing }
}
