//! What one check found, and its words.

use crate::report::text;
use serde::Serialize;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// As it should be.
    Ok,
    /// It works, but.
    Warning,
    /// It does not work.
    Problem,
}

/// What is looked at.
#[cfg(feature = "schemas")]
const NAMES: [&str; 12] = [
    "configuration",
    "logo",
    "port",
    "rig",
    "archive",
    "space",
    "records",
    "index",
    "key",
    "clock",
    "time zone",
    "terminal",
];

/// What one check found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Check {
    /// What was looked at.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = NAMES)))]
    pub check: &'static str,
    /// How bad it is.
    pub state: State,
    /// What was found.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub found: String,
    /// What to do; none when it is as it should be.
    pub advice: Option<String>,
}

impl Check {
    pub fn ok(check: &'static str, found: impl Into<String>) -> Self {
        Self { check, state: State::Ok, found: found.into(), advice: None }
    }

    pub fn warning(check: &'static str, found: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { check, state: State::Warning, found: found.into(), advice: Some(advice.into()) }
    }

    pub fn problem(check: &'static str, found: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { check, state: State::Problem, found: found.into(), advice: Some(advice.into()) }
    }

    pub fn text(&self) -> String {
        let state = match self.state {
            State::Ok => "ok",
            State::Warning => "warning",
            State::Problem => "PROBLEM",
        };
        let mut out = format!("{state:<8} {:<14} {}\n", self.check, text::plain(&self.found, text::SENTENCE));
        if let Some(advice) = &self.advice {
            out += &format!("{:<8} {:<14} → {}\n", "", "", text::plain(advice, text::SENTENCE));
        }
        out
    }
}
