//! From what is known to what is done about it: the next step for each kind of finding, and what causes are looked for by. It judges
//! no part.
//!
//! - `evidence`: what the bench found, what was checked at the vehicle, what was complained of.
//! - [`suspects`]: the causes that fit it, ranked.

mod evidence;
pub mod suspects;

pub use evidence::{
    CheckKind, Complaint, ContactEvidence, Evidence, FigureEvidence, FindingEvidence, Look, Run, Seen,
    Symptom, VehicleEvidence,
};
pub use suspects::{Cause, Suspect, rank};

use crate::analysis::contact::Follows;
use crate::quantity::FindingKind;

/// What a technician does next about a finding of this kind, in a sentence.
pub const fn next_step(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::FlatSpot => {
            "Mark the shaft and the magnet or coupling and sweep again: a flat spot that comes back at the same angle is \
             in the sensor, replace it; one that moves is slip of the coupling."
        }
        FindingKind::Dropout => {
            "Run the flex procedure along the pigtail: events that follow the flexing are in the wire or a terminal, \
             events that stay at one angle are in the track."
        }
        FindingKind::NoisyTrack => {
            "Sweep five cycles again: noise that stays at the same angle is wear of that stretch of track, replace the sensor."
        }
        FindingKind::DeadChannel => {
            "Check continuity of that signal lead from terminal to sensor with the part unplugged before replacing the sensor."
        }
        FindingKind::SwappedChannels => {
            "Check the adapter's wiring and the part number against the sheet, then sweep again."
        }
        FindingKind::SupplyLead => {
            "Measure the supply lead by 4-wire drop on the connector pins under load and wiggle it while watching."
        }
        FindingKind::GroundLead => {
            "Measure the ground lead by 4-wire drop on the connector pins under load and wiggle it while watching."
        }
        FindingKind::SignalLead => {
            "Measure that signal lead by 4-wire drop from terminal to sensor; clean or replace the terminal, then repeat the load step."
        }
        FindingKind::Leakage => {
            "Insulation test with the part unplugged: signal pin to case and to ground, more than 1 MΩ; dry the connector and repeat."
        }
        FindingKind::GainOffset => {
            "Insulation test of that signal pin (more than 1 MΩ) and 4-wire drop of its leads; when both are good the sensor is off, replace it."
        }
        FindingKind::CommonNonlinearity => {
            "Remount turned by 90 degrees and sweep again: a bend that follows the rig is the rig's coupling, one that stays is the part's magnet."
        }
        FindingKind::NotMoving => {
            "Check that the coupling grips and that the part is free, then sweep again."
        }
        FindingKind::WornTooth => {
            "Push the plate through the bore at that place (guided push): lash there confirms wear; the gears can't be had apart from the body."
        }
        FindingKind::MissingTooth => {
            "Do not refit: the plate loses its drive there. Open the gear cover to see the tooth; fragments may jam the train."
        }
        FindingKind::Lash => {
            "Guided push at 20 and 60 degrees: the same lash there is general wear, less there is wear of the tooth in mesh at rest."
        }
        FindingKind::BrushDeadSpot => {
            "Run twenty blips and repeat the tooth map: a dead spot that comes back at the same turn of the rotor is in the brushes; replace the motor or body."
        }
        FindingKind::WeakSpring => {
            "Look through the bore for a spring off its seat; repeat the creep: a preload that stays low is the spring, do not refit."
        }
        FindingKind::BrokenSpring => {
            "Do not refit: without power the plate does not go to its rest position. Open the cover to see the spring."
        }
        FindingKind::StickyPlate => {
            "Clean bore and plate edge as the service manual says, then repeat the creep and compare."
        }
        FindingKind::DryBearing => {
            "Move the plate by hand with the motor unplugged: friction felt there is the shaft's bearing, none is the motor's or the gears'."
        }
        FindingKind::Winding => {
            "Measure the winding with four wires at the pins in five rotor positions, cold: the same value everywhere is the winding, a changing one the brushes."
        }
        FindingKind::SlowReturn => {
            "See the creep's friction and preload: high friction or a weak spring explains a slow return; with both good repeat the release."
        }
        FindingKind::FeedbackOffset => {
            "Insulation test of the feedback pins (more than 1 MΩ) and 4-wire drop of their leads; when both are good the feedback sensor is off."
        }
        FindingKind::FeedbackIntermittent => {
            "Run flex along the feedback wires and watch during blips: events at impacts with the wires still are inside the cover."
        }
        FindingKind::NotTestable => {
            "Mend what keeps the plate from returning to rest first; then qualify again: the tests that rest on it say nothing now."
        }
    }
}

/// The same where it is a grip that does not close by itself; none for other kinds.
pub const fn next_step_of_grip(kind: FindingKind) -> Option<&'static str> {
    match kind {
        FindingKind::WeakSpring | FindingKind::BrokenSpring | FindingKind::SlowReturn => Some(
            "Do not refit: a grip must snap shut when it is let go. Off the rig, turn it open by hand and let go; look at its spring and at what it turns on. \
             One that snaps shut there was held by the rig or its clamp: mount it anew and repeat.",
        ),
        _ => None,
    }
}

/// The same for lost contact, once the pigtail was flexed or the grip swept and it is known what it follows.
pub const fn next_step_of_contact(follows: Follows, placed: bool) -> Option<&'static str> {
    match follows {
        Follows::Wire if placed => Some(
            "Open the sheath at the place that stands out and look at wire, crimp and terminal, a few inches to both sides: a wire can be broken inside sound \
             insulation. Mend it there, or replace the part where its pigtail can't be had apart.",
        ),
        Follows::Wire => Some(
            "Flex it place by place (flex --places) to find where the wire or terminal is; then open the sheath there.",
        ),
        Follows::Track => Some(
            "The track or its wiper loses contact at that angle: no wiring mends it, replace the sensor.",
        ),
        Follows::NotTold => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_its_own_next_step_as_a_sentence() {
        for (i, kind) in FindingKind::ALL.into_iter().enumerate() {
            let step = next_step(kind);
            assert!(step.ends_with('.') && !step.contains("  "), "{step}");
            assert!(FindingKind::ALL[..i].iter().all(|other| next_step(*other) != step), "{step}");
        }
    }
}
