//! What is done at the vehicle for each check, in sentences, and what must be heeded there.

use crate::diagnosis::{CheckKind, Run};

/// Heeded at the vehicle, in the order in which they are read.
pub const CAUTIONS: [&str; 6] = [
    "The maker's service manual prevails over this sheet.",
    "Key off and vehicle battery disconnected before a plug is pulled or a part removed.",
    "Unplug both ends before resistance or insulation is measured; never put more than the meter's own test voltage on a wire, and none on a controller that is plugged in.",
    "Load a wire only while both its plugs are pulled, from a fused battery.",
    "Keep fingers and tools out of the bore: with the ignition on the plate moves without warning.",
    "Do not force probes into terminals: touch their edge, or use the right back probe. Every mating wears them.",
];

/// A check in words.
pub const fn title(check: CheckKind) -> &'static str {
    match check {
        CheckKind::TerminalGrip => "Terminal grip",
        CheckKind::Continuity => "Continuity",
        CheckKind::WiggleAtNeck => "Wiggle at the steering neck",
        CheckKind::WiggleAtConnector => "Wiggle at the connector bend",
        CheckKind::InsulationToFrame => "Insulation to handlebar and frame",
        CheckKind::InsulationBetween => "Insulation between neighbours",
        CheckKind::SupplyDrop | CheckKind::GroundDrop => "Drop under load",
        CheckKind::SensorOutput => "Supply and sensor outputs",
    }
}

/// What is done.
pub const fn instruction(run: Run, check: CheckKind) -> &'static str {
    match check {
        CheckKind::TerminalGrip => {
            "Key off, battery off, both plugs unplugged. Put a new pin of the same kind into each socket and draw it back: firm or loose."
        }
        CheckKind::Continuity => {
            "Key off, both plugs unplugged. Touch the wire's terminal at each plug and hold still. Hold the probes together first and enter what they show as leads."
        }
        CheckKind::WiggleAtNeck => {
            "As for continuity, probes held fast. Turn the handlebar from stop to stop and press the loom at the steering neck. Enter the worst, or steady, or flickers."
        }
        CheckKind::WiggleAtConnector => {
            "As for continuity. Bend each wire from the plug to a hand's breadth back, and draw it lightly: it can be broken inside sound insulation. Enter the worst, or steady, or flickers."
        }
        CheckKind::InsulationToFrame => {
            "Key off, both plugs unplugged. One probe on the terminal, the other on bare metal of handlebar or frame; turn the handlebar meanwhile."
        }
        CheckKind::InsulationBetween => {
            "Key off, both plugs unplugged. Probes on both terminals of one plug."
        }
        CheckKind::SupplyDrop | CheckKind::GroundDrop => {
            "Both plugs unplugged. Send a current through the wire from a fused 12 V battery by a bulb (21 W). Measure the millivolts from end to end and enter both: 180 mV @ 1.7 A, or @ bulb 21 W."
        }
        CheckKind::SensorOutput => match run {
            Run::FeedbackToController => {
                "Plugged in, battery on, ignition on, engine off; back probes; nobody near the bore. Supply to ground first, then each signal to ground, with the grip at rest, half and full."
            }
            _ => {
                "Plugged in, battery on, ignition on, engine off; back probes. Supply to ground first, then each signal to ground, with the grip at rest, half and full."
            }
        },
    }
}
