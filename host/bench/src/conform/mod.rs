//! Whether a rig keeps protocol/WIRE.md: asked over its port, point by point, without a part. Nothing is driven: the one run that is armed lets
//! go of what there is.
//!
//! - `probe`: frames out, answers, events and blocks in. It repeats what is not answered, as any host may.
//! - `points`: what is asked, by WIRE.md's sections; `framing`, `requests`, `runs`, `driving`: how.

mod driving;
mod framing;
mod points;
mod probe;
mod requests;
mod runs;
#[cfg(test)]
mod tests;

use crate::link::{Link, LinkError};
use points::POINTS;
use probe::drives;
use probe::{Broken, Probe};
use serde::Serialize;
use trackpair_protocol::message::Identity;

/// What became of a point.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case", tag = "result", content = "why")]
pub enum PointResult {
    /// The rig keeps it.
    Kept,
    /// It does not.
    Broken(String),
    /// It could not be asked of this rig.
    NotAsked(String),
}

/// One point.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Point {
    /// Section of WIRE.md.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub section: &'static str,
    /// What it says.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub title: &'static str,
    /// What became of it.
    #[serde(flatten)]
    pub kept: PointResult,
}

/// What came of all points.
#[derive(Clone, Debug)]
pub struct Conformance {
    /// Who the rig is.
    pub identity: Identity,
    /// Every point.
    pub points: Vec<Point>,
}

impl Conformance {
    /// How many points the rig breaks.
    pub fn broken(&self) -> usize {
        self.points.iter().filter(|p| matches!(p.kept, PointResult::Broken(_))).count()
    }
}

/// Why nothing could be asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConformError {
    /// The link failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// What answers is not a rig of this protocol.
    #[error("no rig of protocol version {version} answers at {address}: {why}; check port, baud rate and power", version = trackpair_protocol::VERSION)]
    NoRig {
        /// Where.
        address: String,
        /// What came.
        why: String,
    },
}

/// Asks a rig every point; `show` is called with each as it is known. The rig is left unpowered.
///
/// # Errors
/// The line fails, or no rig answers.
pub fn conform(link: Box<dyn Link>, mut tell: impl FnMut(&Point)) -> Result<Conformance, ConformError> {
    let address = link.address().to_owned();
    let mut probe = Probe::new(link);
    let identity = match probe.begin() {
        Ok(identity) => identity,
        Err(Broken::Link(error)) => return Err(error.into()),
        Err(broken) => return Err(ConformError::NoRig { address, why: broken.to_string() }),
    };
    let mut points = Vec::new();
    for point in POINTS {
        let asked = match probe.begin() {
            Ok(_) if point.drives && !drives(&identity) => {
                Err(Broken::NotAsked("the rig drives nothing".to_owned()))
            }
            Ok(_) => (point.ask)(&mut probe),
            Err(broken) => Err(broken),
        };
        let kept = match asked {
            Ok(()) => PointResult::Kept,
            Err(Broken::NotAsked(why)) => PointResult::NotAsked(why),
            Err(Broken::Link(error)) => return Err(error.into()),
            Err(broken) => PointResult::Broken(broken.to_string()),
        };
        let point = Point { section: point.section, title: point.title, kept };
        tell(&point);
        points.push(point);
    }
    // Best effort: whatever came of it, nothing stays on.
    let _ = probe.begin();
    Ok(Conformance { identity, points })
}
