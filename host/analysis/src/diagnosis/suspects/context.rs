//! What was checked at the vehicle, complained of, read out and seen, as weights for and against causes. Each weight is an engineering
//! assumption, in nats: 0.7 doubles the odds, 2.3 makes them ten times as high. It knows no bench.

use super::clue::Clue;
use super::codes;
use crate::analysis::contact::Follows;
use crate::diagnosis::{
    CheckKind, Complaint, ContactEvidence, Evidence, Look, Seen, Symptom, VehicleEvidence,
};
use crate::quantity::Cause;
use crate::verdict::Verdict;

/// A weight with its reason.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Weight {
    /// For whom.
    pub cause: Cause,
    /// Nats; negative speaks against it.
    pub nats: f64,
    /// Why, as a sentence without its end.
    pub says: String,
}

/// Every weight of what is not the bench's.
pub(super) fn weights(evidence: &Evidence) -> Vec<Weight> {
    let mut out: Vec<Weight> = Vec::new();
    for line in &evidence.vehicle {
        out.extend(of_check(line));
    }
    out.extend(evidence.contact.iter().flat_map(of_contact));
    let complaint = &evidence.complaint;
    for symptom in &complaint.symptoms {
        let told = format!("complaint: {}", words(*symptom));
        out.extend(of_symptom(*symptom).iter().map(|(c, nats)| weight(*c, *nats, &told)));
    }
    for seen in &complaint.seen {
        out.extend(of_look(seen));
    }
    for code in &complaint.codes {
        let told = format!("trouble code {} was read", code.trim().to_uppercase());
        let fitting = Cause::ALL.into_iter().filter(|c| codes::fits(code, *c, evidence.kind));
        out.extend(fitting.map(|c| weight(c, 0.7, &told)));
    }
    out
}

fn weight(cause: Cause, nats: f64, says: &str) -> Weight {
    Weight { cause, nats, says: says.to_owned() }
}

/// Whether anything is complained of.
pub(super) fn complains(complaint: &Complaint) -> bool {
    !complaint.symptoms.is_empty() || !complaint.codes.is_empty() || !complaint.words.trim().is_empty()
}

/// What leads to a cause off the part by itself: checks that failed, a fault that replugging cleared.
pub(super) fn clues(evidence: &Evidence) -> Vec<Clue> {
    let mut out: Vec<Clue> = evidence.vehicle.iter().filter_map(failed).collect();
    if evidence.complaint.symptoms.contains(&Symptom::ClearedByReplugging) {
        out.push(Clue {
            says: "the fault went away when a plug was pulled and put back".to_owned(),
            sureness: 0.7,
            channel: None,
            fits: vec![(Cause::Terminal, 0.0), (Cause::SupplyContact, -1.5), (Cause::SignalContact, -1.5)],
            absorbed_by: vec![
                Cause::SupplyLead,
                Cause::GroundLead,
                Cause::SignalLead,
                Cause::Leakage,
                Cause::MotorTerminal,
            ],
        });
    }
    out
}

fn failed(line: &VehicleEvidence) -> Option<Clue> {
    if line.verdict != Verdict::Outside {
        return None;
    }
    let fits = match line.check {
        CheckKind::SensorOutput => return None,
        CheckKind::TerminalGrip | CheckKind::WiggleAtConnector => {
            vec![(Cause::Terminal, 0.0), (Cause::WiringRun, -1.5)]
        }
        CheckKind::Continuity | CheckKind::SupplyDrop | CheckKind::GroundDrop => {
            vec![(Cause::WiringRun, 0.0), (Cause::Terminal, -0.5)]
        }
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween | CheckKind::WiggleAtNeck => {
            vec![(Cause::WiringRun, 0.0), (Cause::Terminal, -1.5)]
        }
    };
    let says = format!("at the vehicle, {}: {}", line.place, line.text);
    Some(Clue { says, sureness: 0.95, channel: None, fits, absorbed_by: Vec::new() })
}

/// What lost contact follows: a wire that is flexed, a place of the track, warmth.
fn of_contact(contact: &ContactEvidence) -> Vec<Weight> {
    use Cause as C;
    let follows: &[(Cause, f64)] = match contact.follows {
        Follows::Wire => &[
            (C::SignalContact, 2.0),
            (C::SupplyContact, 2.0),
            (C::LiftingWiper, -3.0),
            (C::ImpactContact, -2.0),
        ],
        Follows::Track => &[
            (C::LiftingWiper, 2.0),
            (C::SignalContact, -3.0),
            (C::SupplyContact, -3.0),
            (C::ImpactContact, -3.0),
        ],
        Follows::NotTold => &[],
    };
    let warm: &[(Cause, f64)] =
        if contact.warm { &[(C::SignalContact, 0.7), (C::SupplyContact, 0.7)] } else { &[] };
    let told = format!("on the bench: {}", contact.text);
    follows.iter().chain(warm).map(|(c, nats)| weight(*c, *nats, &told)).collect()
}

/// What a check that is as it should be speaks against, and what a sensor's wrong output speaks for.
fn of_check(line: &VehicleEvidence) -> Vec<Weight> {
    let told = |word: &str| format!("at the vehicle, {}: {} ({word})", line.place, line.text);
    match (line.check, line.verdict) {
        (CheckKind::SensorOutput, Verdict::Outside) => {
            let of_the_sensor =
                [Cause::GainOffset, Cause::Leakage, Cause::DeadElement, Cause::BrokenSignalWire];
            of_the_sensor.map(|c| weight(c, 0.5, &told("outside"))).to_vec()
        }
        (CheckKind::SensorOutput, _) => Vec::new(),
        (CheckKind::TerminalGrip | CheckKind::WiggleAtConnector, Verdict::Within) => {
            vec![weight(Cause::Terminal, -1.0, &told("as it should be"))]
        }
        (CheckKind::WiggleAtNeck, Verdict::Within) => {
            vec![weight(Cause::WiringRun, -1.2, &told("as it should be"))]
        }
        (_, Verdict::Within) => vec![weight(Cause::WiringRun, -0.5, &told("as it should be"))],
        _ => Vec::new(),
    }
}

const fn words(symptom: Symptom) -> &'static str {
    match symptom {
        Symptom::LimpHome => "limp-home at random",
        Symptom::WhenSteering => "when the handlebar is turned",
        Symptom::OnBumps => "over bumps or with vibration",
        Symptom::WhenWarm => "once warm",
        Symptom::WhenWet => "when wet",
        Symptom::AtOneOpening => "at one opening of the grip",
        Symptom::HangingThrottle => "engine speed hangs when the grip is let go",
        Symptom::UnsteadyIdle => "idle wanders",
        Symptom::JerkyResponse => "jerky or late response",
        Symptom::NoResponse => "no response at all",
        Symptom::ClearedByReplugging => "it went away by replugging",
    }
}

/// What a symptom speaks for. `ClearedByReplugging` is a clue of its own.
const fn of_symptom(symptom: Symptom) -> &'static [(Cause, f64)] {
    use Cause as C;
    match symptom {
        Symptom::LimpHome => &[(C::SignalContact, 0.3), (C::LiftingWiper, 0.3), (C::Terminal, 0.3)],
        Symptom::WhenSteering => &[(C::WiringRun, 1.5), (C::SignalContact, 0.7), (C::SupplyContact, 0.7)],
        Symptom::OnBumps => {
            &[(C::Terminal, 1.0), (C::SignalContact, 0.7), (C::SupplyContact, 0.7), (C::ImpactContact, 0.7)]
        }
        Symptom::WhenWarm => &[
            (C::SignalContact, 0.4),
            (C::SupplyContact, 0.4),
            (C::WindingResistance, 0.4),
            (C::Controller, 0.4),
        ],
        Symptom::WhenWet => &[(C::Leakage, 1.5), (C::Terminal, 1.0), (C::WiringRun, 0.5)],
        Symptom::AtOneOpening => {
            &[(C::FlatSpot, 1.2), (C::NoisyTrack, 1.2), (C::LiftingWiper, 1.5), (C::WornTooth, 0.7)]
        }
        Symptom::HangingThrottle => &[
            (C::StickyPlate, 1.0),
            (C::DryBearing, 0.7),
            (C::MotorDrag, 0.7),
            (C::WeakMainSpring, 1.0),
            (C::BrokenMainSpring, 1.0),
        ],
        Symptom::UnsteadyIdle => {
            &[(C::StickyPlate, 0.7), (C::RestTooth, 0.7), (C::GrownLash, 0.5), (C::WeakDefaultSpring, 0.5)]
        }
        Symptom::JerkyResponse => {
            &[(C::WornTooth, 0.7), (C::MissingTooth, 0.7), (C::BrushDeadSpot, 0.7), (C::GrownLash, 0.5)]
        }
        Symptom::NoResponse => &[
            (C::DeadElement, 0.7),
            (C::BrokenSignalWire, 0.7),
            (C::MotorTerminal, 0.7),
            (C::WiringRun, 0.5),
            (C::Controller, 0.5),
        ],
        Symptom::ClearedByReplugging => &[(C::Terminal, 1.0)],
    }
}

/// What the eye saw; a good look speaks a little against the same causes.
fn of_look(seen: &Seen) -> Vec<Weight> {
    use Cause as C;
    let Some(good) = seen.good else { return Vec::new() };
    let (what, causes): (&str, &[(Cause, f64)]) = match seen.look {
        Look::Terminals => {
            ("terminals", &[(C::Terminal, 2.0), (C::SupplyContact, 0.5), (C::SignalContact, 0.5)])
        }
        Look::Corrosion => (
            "corrosion",
            &[
                (C::Terminal, 1.5),
                (C::Leakage, 1.0),
                (C::SupplyLead, 0.7),
                (C::GroundLead, 0.7),
                (C::SignalLead, 0.7),
            ],
        ),
        Look::PinFit => ("pin fit", &[(C::Terminal, 2.0)]),
        Look::ConnectorBend => (
            "wires at the connector",
            &[
                (C::SignalContact, 1.0),
                (C::SupplyContact, 1.0),
                (C::BrokenSignalWire, 1.0),
                (C::WiringRun, 0.7),
            ],
        ),
        Look::Cover => ("cover and seal", &[(C::Leakage, 1.0), (C::StickyPlate, 0.3)]),
    };
    let (share, word) = if good { (-0.3, "good") } else { (1.0, "bad") };
    let told = format!("seen: {what} {word}");
    causes.iter().map(|(c, nats)| weight(*c, share * nats, &told)).collect()
}
