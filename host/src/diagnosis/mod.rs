//! From findings to what is done about them: the next step for each kind. It judges nothing, and orders nothing.

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
