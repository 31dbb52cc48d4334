//! From findings to causes: the order in which findings matter, and the next step for each kind. It judges nothing.

use crate::analysis::Finding;
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
            "Insulation test with the part unplugged: signal pin to case and to ground, more than 1 Mohm; dry the connector and repeat."
        }
        FindingKind::GainOffset => {
            "Insulation test of that signal pin (more than 1 Mohm) and 4-wire drop of its leads; when both are good the sensor is off, replace it."
        }
        FindingKind::CommonNonlinearity => {
            "Remount turned by 90 degrees and sweep again: a bend that follows the rig is the rig's coupling, one that stays is the part's magnet."
        }
        FindingKind::NotMoving => {
            "Check that the coupling grips and that the part is free, then sweep again."
        }
    }
}

/// How much a kind says about the part: 0 first. A part that did not move or has a dead or exchanged line makes
/// everything after it doubtful; then what fails on the road without warning; then what drifts.
const fn rank(kind: FindingKind) -> u8 {
    match kind {
        FindingKind::NotMoving => 0,
        FindingKind::SwappedChannels => 1,
        FindingKind::DeadChannel => 2,
        FindingKind::Dropout => 3,
        FindingKind::FlatSpot => 4,
        FindingKind::GroundLead | FindingKind::SupplyLead => 5,
        FindingKind::SignalLead => 6,
        FindingKind::Leakage => 7,
        FindingKind::GainOffset => 8,
        FindingKind::CommonNonlinearity => 9,
        FindingKind::NoisyTrack => 10,
    }
}

/// Orders findings: most severe kind first, within a kind the surest first, then by place.
pub fn order(findings: &mut [Finding]) {
    findings.sort_by(|a, b| {
        rank(a.kind)
            .cmp(&rank(b.kind))
            .then(b.confidence.total_cmp(&a.confidence))
            .then(a.from_deg.unwrap_or(f64::MAX).total_cmp(&b.from_deg.unwrap_or(f64::MAX)))
            .then(a.channel.cmp(&b.channel))
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(kind: FindingKind, confidence: f64, from: Option<f64>) -> Finding {
        Finding {
            kind,
            channel: None,
            from_deg: from,
            to_deg: from,
            confidence,
            text: String::new(),
            details: vec![],
        }
    }

    #[test]
    fn findings_come_in_order_of_kind_then_confidence_then_place() {
        let mut all = vec![
            finding(FindingKind::NoisyTrack, 1.0, None),
            finding(FindingKind::FlatSpot, 0.9, Some(20.0)),
            finding(FindingKind::FlatSpot, 0.9, Some(10.0)),
            finding(FindingKind::FlatSpot, 0.99, None),
            finding(FindingKind::NotMoving, 0.5, None),
        ];
        order(&mut all);
        let got: Vec<_> = all.iter().map(|f| (f.kind, f.from_deg)).collect();
        assert_eq!(
            got,
            [
                (FindingKind::NotMoving, None),
                (FindingKind::FlatSpot, None),
                (FindingKind::FlatSpot, Some(10.0)),
                (FindingKind::FlatSpot, Some(20.0)),
                (FindingKind::NoisyTrack, None),
            ]
        );
    }

    #[test]
    fn every_kind_has_its_own_next_step_as_a_sentence() {
        for (i, kind) in FindingKind::ALL.into_iter().enumerate() {
            let step = next_step(kind);
            assert!(step.ends_with('.') && !step.contains("  "), "{step}");
            assert!(FindingKind::ALL[..i].iter().all(|other| next_step(*other) != step), "{step}");
        }
    }

    #[test]
    fn a_nan_confidence_does_not_upset_the_order() {
        let mut all =
            vec![finding(FindingKind::Dropout, f64::NAN, None), finding(FindingKind::NotMoving, 0.1, None)];
        order(&mut all);
        assert_eq!(all[0].kind, FindingKind::NotMoving);
    }
}
