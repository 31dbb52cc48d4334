//! `[follow]` and `[plate]` of a pair's sheet: which plate angle belongs to which opening of the grip, the plate's own lines and monitor,
//! and how often what is driven. A pair's other keys are the grip's, its `[body]` is the body's.

use super::bounds::bound;
use super::fields::Fields;
use super::load::{monitor, nominal_lines, topology_of};
use super::located::SheetError;
use super::{Monitor, NominalLine, PartSheet, Topology};
use crate::quantity::PartKind;
use serde::Serialize;

/// Most points of a mapping: what the wire carries.
const MOST_POINTS: usize = 24;
const FOLLOW_KEYS: [&str; 6] =
    ["grip_percent", "plate_percent", "ramp_deg_s", "ramps", "grip_steps", "snaps"];
const PLATE_KEYS: [&str; 4] = ["topology", "travel_deg", "nominal", "monitor"];

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

impl FollowPlan {
    /// Plate travel at an opening of the grip, both as shares 0..1.
    pub fn plate_share(&self, grip_share: f64) -> f64 {
        let percent = 100.0 * grip_share;
        let (first, last) = match (self.mapping.first(), self.mapping.last()) {
            (Some(first), Some(last)) => (*first, *last),
            _ => return grip_share,
        };
        let pair = self.mapping.windows(2).find(|w| percent <= w[1].0);
        let plate = match pair {
            _ if percent <= first.0 => first.1,
            Some([a, b]) => a.1 + (b.1 - a.1) * (percent - a.0) / (b.0 - a.0),
            _ => last.1,
        };
        plate / 100.0
    }
}

impl PartSheet {
    /// The sheet of a pair's grip alone: its lines, travel and monitor, without limits.
    pub fn grip_of_pair(&self) -> Self {
        let (limits, findings, grades) = (Vec::new(), Vec::new(), Vec::new());
        Self { kind: PartKind::Grip, body: None, follow: None, limits, findings, grades, ..self.clone() }
    }

    /// The sheet of a pair's body alone; none for a sheet that is no pair's.
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

/// Reads both tables.
pub(super) fn follow_plan(sheet: &Fields<'_>) -> Result<FollowPlan, SheetError> {
    let plate = sheet.table("plate", "[plate]", &PLATE_KEYS)?;
    let topology = topology_of(&plate)?;
    let (rising, falling) = nominal_lines(&plate, topology)?;
    let travel_deg = plate.bounded("travel_deg")?.value;
    let plate = PlateLines { topology, travel_deg, rising, falling, monitor: monitor(&plate)? };
    let follow = sheet.table("follow", "[follow]", &[&FOLLOW_KEYS[..], &["source"]].concat())?;
    follow.provenance()?;
    Ok(FollowPlan {
        mapping: mapping(&follow)?,
        ramp_deg_s: follow.numbers("ramp_deg_s")?.into_iter().map(|n| n.value).collect(),
        ramps: follow.count("ramps")?,
        grip_steps: follow.count("grip_steps")?,
        snaps: follow.count("snaps")?,
        plate,
    })
}

fn mapping(follow: &Fields<'_>) -> Result<Vec<(f64, f64)>, SheetError> {
    let (grip, plate) = (follow.numbers("grip_percent")?, follow.numbers("plate_percent")?);
    let most = bound("grip_percent").max;
    if grip.len() != plate.len() || !(2..=MOST_POINTS).contains(&grip.len()) {
        let message = format!(
            "the mapping has {} openings of the grip and {} of the plate; it needs as many of each, 2 to {MOST_POINTS}",
            grip.len(),
            plate.len()
        );
        return Err(
            follow.error(message, "write `grip_percent = [0, 50, 100]` and `plate_percent = [0, 30, 100]`")
        );
    }
    let turns_back = |k: usize| grip[k].value <= grip[k - 1].value || plate[k].value < plate[k - 1].value;
    if let Some(k) = (1..grip.len()).find(|k| turns_back(*k)) {
        let message = format!(
            "the mapping turns back: behind {} % of the grip and {} % of the plate come {} % and {} %",
            grip[k - 1].value,
            plate[k - 1].value,
            grip[k].value,
            plate[k].value
        );
        let help =
            format!("grip openings must rise, plate openings must not fall, both within 0 to {most} %");
        return Err(follow.error_at(grip[k].span.clone(), message, help));
    }
    Ok(grip.iter().zip(&plate).map(|(g, p)| (g.value, p.value)).collect())
}

#[cfg(test)]
mod tests {
    use crate::sheet::{parse, shipped, shipped_text};

    /// The shipped pair sheet with one line changed; what is said of it.
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
    fn the_shipped_mapping_is_read_and_interpolated() {
        let plan = shipped("pair").unwrap().follow.unwrap();
        assert_eq!((plan.plate_share(0.0), plan.plate_share(1.0)), (0.04, 0.98));
        let (a, b) = (plan.mapping[1], plan.mapping[2]);
        let middle = plan.plate_share((a.0 + b.0) / 200.0);
        assert!((middle - (a.1 + b.1) / 200.0).abs() < 1e-12);
        assert_eq!(plan.plate_share(1.5), 0.98);
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
