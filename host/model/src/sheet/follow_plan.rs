//! `[follow]` and `[plate]` of a pair's sheet: which plate angle belongs to which opening of the grip, the plate's own lines and monitor,
//! and how often what is driven. A pair's other keys are the grip's, its `[body]` is the body's.

use super::load::{RawMonitor, RawNominal};
use super::located::{SheetError, Source};
use super::reader::{Document, Numbers, Sourced};
use super::{Monitor, NominalLine, PartSheet, Topology};
use crate::quantity::PartKind;
use serde::{Deserialize, Serialize};
use serde_spanned::Spanned;

/// Most points of a mapping: what the wire carries.
const MOST_POINTS: usize = 24;

/// The plate of a pair.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlateLines {
    /// How its feedback lines belong together.
    pub topology: Topology,
    /// Nominal travel, degrees.
    pub travel_deg: f64,
    /// First line.
    pub rising: NominalLine,
    /// Second line.
    pub falling: NominalLine,
    /// The controller's monitor of these lines.
    pub monitor: Monitor,
}

/// How a pair is tested.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FollowPlan {
    /// Travel of the grip and of the plate, per cent of each, point by point; both ascending, straight lines between.
    pub mapping: Vec<(f64, f64)>,
    /// Speeds of the grip's ramps, degrees per second.
    pub ramp_deg_s: Vec<f64>,
    /// Ramps to and fro at each speed.
    pub ramps: u32,
    /// Steps of the grip in each of three ranges and both ways.
    pub grip_steps: u32,
    /// Snap openings, each let go of.
    pub snaps: u32,
    /// The plate.
    pub plate: PlateLines,
}

impl PartSheet {
    /// The sheet of a pair's grip alone: its lines, travel and monitor, without limits.
    pub fn grip_of_pair(&self) -> Self {
        let (limits, findings, grades) = (Vec::new(), Vec::new(), Vec::new());
        Self { kind: PartKind::Grip, body: None, follow: None, limits, findings, grades, ..self.clone() }
    }

    /// The sheet of a pair's body alone; none for a sheet that is not a pair's.
    pub fn body_of_pair(&self) -> Option<Self> {
        let plate = &self.follow.as_ref()?.plate;
        Some(Self {
            kind: PartKind::Body,
            topology: plate.topology,
            travel_deg: plate.travel_deg,
            rising: plate.rising,
            falling: plate.falling,
            monitor: plate.monitor,
            body: self.body.clone(),
            ..self.grip_of_pair()
        })
    }
}

/// `[plate]`.
#[derive(Deserialize)]
struct RawPlate {
    topology: Topology,
    nominal: Sourced<RawNominal>,
    travel_deg: f64,
    monitor: Sourced<RawMonitor>,
}

/// `[follow]`.
#[derive(Deserialize)]
struct RawFollow {
    grip_percent: Numbers,
    plate_percent: Numbers,
    ramp_deg_s: Numbers,
    ramps: u32,
    grip_steps: u32,
    snaps: u32,
}

/// Reads both tables.
pub(super) fn follow_plan(document: &Document<'_>) -> Result<FollowPlan, SheetError> {
    let plate: RawPlate = document.read_at(&["plate"])?;
    let (rising, falling) = plate.nominal.0.lines(document.source, plate.topology)?;
    let follow: Spanned<Sourced<RawFollow>> = document.read_at(&["follow"])?;
    let mapping = mapping(document.source, &follow)?;
    let Sourced(follow) = follow.into_inner();
    Ok(FollowPlan {
        mapping,
        ramp_deg_s: follow.ramp_deg_s.values(),
        ramps: follow.ramps,
        grip_steps: follow.grip_steps,
        snaps: follow.snaps,
        plate: PlateLines {
            topology: plate.topology,
            travel_deg: plate.travel_deg,
            rising,
            falling,
            monitor: plate.monitor.0.monitor(),
        },
    })
}

fn mapping(source: Source<'_>, follow: &Spanned<Sourced<RawFollow>>) -> Result<Vec<(f64, f64)>, SheetError> {
    let Sourced(RawFollow { grip_percent, plate_percent, .. }) = follow.get_ref();
    let (grip, plate) = (grip_percent.values(), plate_percent.values());
    if grip.len() != plate.len() || !(2..=MOST_POINTS).contains(&grip.len()) {
        let message = format!(
            "the mapping has {} openings of the grip and {} of the plate; it needs as many of each, 2 to {MOST_POINTS}",
            grip.len(),
            plate.len()
        );
        let help = "write `grip_percent = [0, 50, 100]` and `plate_percent = [0, 30, 100]`";
        return Err(source.error(follow.span(), message, help));
    }
    let turns_back = |k: usize| grip[k] <= grip[k - 1] || plate[k] < plate[k - 1];
    if let Some(k) = (1..grip.len()).find(|k| turns_back(*k)) {
        let message = format!(
            "the mapping turns back: behind {} % of the grip and {} % of the plate come {} % and {} %",
            grip[k - 1],
            plate[k - 1],
            grip[k],
            plate[k]
        );
        let help = "grip openings must rise, plate openings must not fall, both within 0 to 100 %";
        return Err(source.error(grip_percent.0[k].span(), message, help));
    }
    Ok(grip.into_iter().zip(plate).collect())
}

#[cfg(test)]
mod tests {
    use crate::sheet::{parse, shipped, shipped_text};

    /// The shipped pair sheet with one line changed; its message.
    #[track_caller]
    fn refused(from: &str, to: &str, words: &[&str]) {
        let text = shipped_text("pair").unwrap();
        assert!(text.contains(from), "{from}");
        let error = parse(&text.replacen(from, to, 1), "pair").unwrap_err().to_string();
        for word in words {
            assert!(error.contains(word), "{word:?} in {error}");
        }
    }

    #[test]
    fn the_shipped_mapping_is_read() {
        let mapping = shipped("pair").unwrap().follow.unwrap().mapping;
        assert_eq!((mapping[0], mapping[mapping.len() - 1]), ((0.0, 4.0), (100.0, 98.0)));
    }

    #[test]
    fn a_mapping_that_turns_back_or_has_too_many_points_is_refused_at_its_place() {
        let points = "grip_percent = [0, 25, 50, 75, 100]";
        refused(points, "grip_percent = [0, 25, 25, 75, 100]", &["turns back", "must rise"]);
        refused(points, "grip_percent = [0, 50, 100]", &["3 openings of the grip and 5 of the plate"]);
        refused(points, "grip_percent = [0, 25, 50, 75, 101]", &["outside 0 to 100 %"]);
        refused("kind = \"pair\"", "kind = \"grip\"", &["not for a grip"]);
    }

    #[test]
    fn each_part_of_a_pair_has_its_own_lines() {
        let sheet = shipped("pair").unwrap();
        let (grip, body) = (sheet.grip_of_pair(), sheet.body_of_pair().unwrap());
        assert!(grip.body.is_none() && body.body.is_some());
        assert_eq!((grip.travel_deg, body.travel_deg), (75.0, 84.0));
        assert_eq!(shipped("grip-complementary").unwrap().body_of_pair(), None);
    }
}
