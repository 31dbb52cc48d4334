//! `rigs --conform`: whether a rig keeps protocol/WIRE.md, point by point.

use crate::cli::ending::Ending;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::at_terminal::at_terminal;
use crate::cli::terminal::document::print_document;
use crate::conform::{ConformError, Point, PointResult, conform};
use crate::job::Failure;
use crate::job::rig_lock::RigLock;
use crate::link::{self, Address};
use serde::Serialize;
use std::io::Write;

/// The document of `rigs --conform --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct ConformanceDocument<'a> {
    document: &'static str,
    schema: u32,
    /// serial:PATH, tcp:HOST:PORT or sim:PART.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    address: &'a str,
    /// Kind of rig.
    model: String,
    /// Serial number.
    serial: String,
    /// Version of its program.
    firmware: String,
    /// Version of the protocol.
    protocol: u8,
    /// Whether no point is broken.
    kept: bool,
    /// Every point, in the order of asking.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    points: &'a [Point],
}

/// Asks, and says of each point what came of it.
///
/// # Errors
/// [`Failure::Usage`] for an address that can't be understood, [`Failure::Rig`] when the line fails or no rig answers.
pub fn conformance(rig: &str, json: bool, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let address = Address::parse(rig).map_err(|e| Failure::Usage(e.into()))?;
    let _ours = at_terminal(surroundings, |outside| RigLock::take(rig, "", outside))?;
    let link = match &address {
        Address::Sim { part } => (surroundings.open_simulator)(part).map_err(|e| Failure::Usage(e.into()))?,
        _ => link::open(&address).map_err(|e| Failure::Rig(e.into()))?.polled(),
    };
    // A reader that has gone away is no failure.
    let say = |line: &str| drop(writeln!(std::io::stdout(), "{line}"));
    let done = conform(link, |point| {
        if !json {
            say(&line(point));
        }
    });
    let done = done.map_err(|e: ConformError| Failure::Rig(e.into()))?;
    let broken = done.broken();
    if json {
        let i = &done.identity;
        print_document(&ConformanceDocument {
            document: "conformance",
            schema: 1,
            address: rig,
            model: i.model.to_string(),
            serial: i.serial.to_string(),
            firmware: i.firmware.to_string(),
            protocol: trackpair_protocol::VERSION,
            kept: broken == 0,
            points: &done.points,
        });
    } else {
        let asked = done.points.iter().filter(|p| !matches!(p.kept, PointResult::NotAsked(_))).count();
        say(&match broken {
            0 => format!(
                "the rig keeps all {asked} points that it was asked of protocol version {}",
                trackpair_protocol::VERSION
            ),
            broken => format!(
                "the rig breaks {broken} of {asked} points; the numbers are sections of protocol/WIRE.md"
            ),
        });
    }
    Ok(if broken == 0 { Ending::Done } else { Ending::RigFaultOrAborted })
}

fn line(point: &Point) -> String {
    let Point { section, title, kept } = point;
    match kept {
        PointResult::Kept => format!("kept       {section:<4} {title}"),
        PointResult::Broken(why) => format!("BROKEN     {section:<4} {title}: {why}"),
        PointResult::NotAsked(why) => format!("not asked  {section:<4} {title}: {why}"),
    }
}
