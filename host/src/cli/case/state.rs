//! How a case stands, as a word.

use crate::case::{Case, CaseState};

/// How a case stands, as a word.
pub fn state_word(case: &Case) -> String {
    match (case.state(), case.closed()) {
        (CaseState::Closed, Some((_, closing))) => format!("closed, {}", closing.ending.name()),
        _ => "open".to_owned(),
    }
}
