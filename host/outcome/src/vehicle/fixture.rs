//! A worksheet for tests: a grip with 1.8 m of 0.34 mm² and an ordinary meter; every reading good, invented.

use super::worksheet::Setup;
use super::{Entries, Subject, Wire};
use crate::diagnosis::CheckKind;
use crate::sheet::shipped;
use std::collections::BTreeMap;

/// A worksheet's setup.
pub fn setup(subject: Subject) -> Setup {
    let sheet = |name| shipped(name).expect("it ships");
    let wire = Wire { length_m: 1.8, stated: true, ..Wire::ASSUMED };
    Setup { subject, wire, runs: BTreeMap::new(), grip: sheet("grip-complementary"), body: sheet("body") }
}

/// What a sound vehicle shows; invented.
pub fn good(subject: Subject) -> Entries {
    let lines = setup(subject).lines();
    lines
        .iter()
        .filter(|l| !l.computed)
        .map(|l| (l.id.clone(), good_entry(&l.id, l.check).to_owned()))
        .collect()
}

fn good_entry(id: &str, check: CheckKind) -> &'static str {
    match check {
        CheckKind::Continuity => "0.1 ohm",
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween => "OL",
        CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector => "steady",
        CheckKind::TerminalGrip => "firm",
        CheckKind::SupplyDrop | CheckKind::GroundDrop => "170 mV @ 1.7 A",
        CheckKind::SensorOutput if id.ends_with("supply") => "5.00 V",
        CheckKind::SensorOutput if id.ends_with("half") => "2.50 V",
        CheckKind::SensorOutput if id.ends_with("first.rest") || id.ends_with("second.full") => "0.50 V",
        CheckKind::SensorOutput => "4.50 V",
    }
}
