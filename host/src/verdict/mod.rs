//! Figures against limits with their uncertainty: `within`, `outside` or `undecided`.

use serde::{Deserialize, Serialize};

/// What can be said of a figure, or of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It keeps its limits, with at least 95 % probability.
    Within,
    /// It breaks a limit, with at least 95 % probability.
    Outside,
    /// Neither can be said.
    Undecided,
}

impl Verdict {
    /// The word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Outside => "outside",
            Self::Undecided => "undecided",
        }
    }
}
