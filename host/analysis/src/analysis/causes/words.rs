//! Causes as findings: one sentence for a technician, the numbers beside it.

use super::hypotheses::{Explained, Known};
use super::{AngleSource, CausesInput, Channel, Detail, Estimate, Finding, FindingKind};

fn finding(
    kind: FindingKind,
    channel: Option<Channel>,
    confidence: f64,
    text: String,
    details: Vec<Detail>,
) -> Finding {
    Finding { kind, channel, from_deg: None, to_deg: None, confidence, text, details }
}

pub(super) fn not_moving(travel: f64, who: &str, spans: &[f64]) -> Finding {
    let largest = spans.iter().copied().fold(0.0, f64::max);
    finding(
        FindingKind::NotMoving,
        None,
        0.99,
        format!("the part did not move as it should: {who} {travel:.1} deg of travel"),
        vec![
            Detail { name: "travel", value: travel, unit: "deg" },
            Detail { name: "largest_span", value: 100.0 * largest, unit: "% of nominal" },
        ],
    )
}

pub(super) fn not_driven(travel: f64, amps: f64, spans: &[f64]) -> Finding {
    let mut told = not_moving(travel, "the reference shows", spans);
    told.confidence = 0.5;
    told.text.push_str(&format!(
        "; the drive took no more than {amps:.2} A, so it may be the rig that did not push: check its drive and coupling"
    ));
    told.details.push(Detail { name: "drive", value: amps, unit: "A" });
    told
}

pub(super) fn dead(input: &CausesInput<'_>, line: usize) -> Finding {
    let channel = Channel::SENSORS[line];
    let rail = super::rail_share(input.prepared, input.sheet, line);
    let span = super::relative_span(input.prepared, input.sheet, line);
    let lost = input.dropouts.events.iter().any(|e| e.wire.channel() == Some(channel));
    let mut text = if rail > 0.5 {
        format!("the {channel} line stands at a rail for {:.0} % of the time", 100.0 * rail)
    } else {
        format!("the {channel} line does not follow the grip: {:.1} % of its nominal span", 100.0 * span)
    };
    if lost {
        text.push_str("; it was lost while it was watched: a wire rather than the sensor");
    }
    let details = vec![
        Detail { name: "at_rail", value: 100.0 * rail, unit: "%" },
        Detail { name: "span", value: 100.0 * span, unit: "% of nominal" },
    ];
    finding(FindingKind::DeadChannel, Some(channel), 0.99, text, details)
}

pub(super) fn swapped() -> Finding {
    finding(
        FindingKind::SwappedChannels,
        None,
        0.95,
        "each line follows the other's nominal line: first and second are exchanged, at the adapter or in the part".into(),
        Vec::new(),
    )
}

/// How sure a measured value is beyond a limit.
fn sureness(e: &Estimate, limit: f64) -> f64 {
    let z = (e.value - limit) / e.standard_uncertainty.max(0.02 * e.value.abs()).max(1e-12);
    (1.0 - 0.25 * (-z / 4.0).exp()).clamp(0.5, 0.99)
}

pub(super) fn drop(kind: FindingKind, drop: Estimate, ohm: Option<Estimate>) -> Finding {
    let (lead, both) = if kind == FindingKind::GroundLead { ("ground", "rise") } else { ("supply", "fall") };
    let resistance =
        ohm.map_or(String::new(), |o| format!(", {:.1} ± {:.1} ohm", o.value, 2.0 * o.standard_uncertainty));
    let mut details = vec![
        Detail { name: "drop", value: drop.value, unit: "V" },
        Detail { name: "drop_uncertainty", value: drop.standard_uncertainty, unit: "V" },
    ];
    if let Some(o) = ohm {
        details.push(Detail { name: "resistance", value: o.value, unit: "ohm" });
        details.push(Detail { name: "resistance_uncertainty", value: o.standard_uncertainty, unit: "ohm" });
    }
    finding(
        kind,
        None,
        sureness(&drop, super::LEAST_DROP_V),
        format!(
            "{:.0} mV are lost in the {lead} lead{resistance}: both lines {both} against the supply when it steps down",
            1000.0 * drop.value
        ),
        details,
    )
}

pub(super) fn signal_lead(line: usize, own: Estimate, excess: Estimate) -> Finding {
    let channel = Channel::SENSORS[line];
    finding(
        FindingKind::SignalLead,
        Some(channel),
        sureness(&excess, super::LEAST_LEAD_OHM),
        format!(
            "the {channel} line gives way to the 10 kohm load by {:.0} ohm, {:.0} ± {:.0} ohm more than the other and their places on \
             the track account for: resistance in its signal lead or terminal",
            own.value,
            excess.value,
            2.0 * excess.standard_uncertainty
        ),
        vec![
            Detail { name: "source", value: own.value, unit: "ohm" },
            Detail { name: "resistance", value: excess.value, unit: "ohm" },
            Detail { name: "resistance_uncertainty", value: excess.standard_uncertainty, unit: "ohm" },
        ],
    )
}

pub(super) fn explained(cause: &Explained, chi_square: f64, all: &[Explained], known: &Known) -> Finding {
    let channel = cause.line.map(|l| Channel::SENSORS[l]);
    let who = channel.map_or("both lines".to_owned(), |c| format!("the {c} line"));
    let size = cause.size.abs();
    let mut text = match cause.kind {
        FindingKind::GroundLead => {
            format!(
                "both lines read high at their low ends, by up to {size:.1} % of supply: a voltage in the ground lead fits"
            )
        }
        FindingKind::SupplyLead => {
            format!(
                "both lines read low at their high ends, by up to {size:.1} % of supply: a voltage in the supply lead fits"
            )
        }
        FindingKind::CommonNonlinearity => {
            "an angle error that both lines share fits how they lie: travel, zero, or a magnet off \
                                            centre"
                .to_owned()
        }
        FindingKind::Leakage => {
            format!("{who} is drawn towards ground or supply by up to {size:.1} %: leakage fits")
        }
        _ => format!("gain or offset of {who} is off by {size:.1} % against the sheet"),
    };
    let mut details = vec![
        Detail { name: "size", value: cause.size, unit: "% supply" },
        Detail { name: "left_unexplained", value: cause.chi_square, unit: "1" },
        Detail { name: "deviation_score", value: chi_square, unit: "1" },
    ];
    if let (FindingKind::Leakage, Some(source)) = (cause.kind, cause.line.and_then(|l| known.source_ohm[l])) {
        let leak = source / (size / 100.0).max(1e-4);
        text.push_str(&format!(" (about {:.0} kohm)", leak / 1000.0));
        details.push(Detail { name: "leak", value: leak, unit: "ohm" });
    }
    let rival = all.iter().find(|e| {
        !(e.kind == cause.kind && e.line == cause.line) && e.probability > super::LEAST_PROBABILITY
    });
    if let Some(rival) = rival {
        let line = rival.line.map_or(String::new(), |l| format!(" of the {} line", Channel::SENSORS[l]));
        text.push_str(&format!(
            "; {}{line} fits as well ({:.0} %)",
            rival.kind.title(),
            100.0 * rival.probability
        ));
    }
    // Even the best of these causes is one of a list: never surer than 95 %.
    finding(cause.kind, channel, (0.95 * cause.probability).clamp(0.05, 0.95), text, details)
}

pub(super) fn leak_by_current(amps: f64, ohm: f64) -> Finding {
    finding(
        FindingKind::Leakage,
        None,
        // 90 % at the least change that counts, surer the further beyond what a sensor does by itself.
        (1.0 - 0.1 * (super::leak_current::LEAST_AMPS / amps).sqrt()).clamp(0.5, 0.99),
        format!(
            "the supply current changes by {:.0} uA along the travel as a leak of about {:.0} kohm from a signal line would draw; the \
             curves are too little shifted to say which line",
            1e6 * amps,
            ohm / 1000.0
        ),
        vec![
            Detail { name: "change", value: amps, unit: "A" },
            Detail { name: "leak", value: ohm, unit: "ohm" },
        ],
    )
}

pub(super) fn correlation(offset: f64, slope: f64, z: f64) -> Finding {
    finding(
        FindingKind::GainOffset,
        None,
        0.6,
        format!(
            "the lines do not belong together as the sheet says: {offset:+.1} % of supply in the middle, {slope:+.1} % over the travel; \
             which line is off, or whether a lead is, can't be told without a reference angle"
        ),
        vec![
            Detail { name: "correlation_offset", value: offset, unit: "% supply" },
            Detail { name: "correlation_slope", value: slope, unit: "% supply" },
            Detail { name: "deviation_score", value: z, unit: "1" },
        ],
    )
}

pub(super) fn bend(percent: f64, at_deg: f64) -> Finding {
    Finding {
        from_deg: Some(at_deg),
        to_deg: Some(at_deg),
        ..finding(
            FindingKind::CommonNonlinearity,
            None,
            (1.0 - 0.4 * (-(percent - super::LEAST_BEND) / 0.3).exp()).clamp(0.5, 0.99),
            format!(
                "both lines share a bend of {percent:.1} % of span, worst at {at_deg:.0} deg: magnet or track off centre, or the rig's \
                 coupling; remount turned to tell"
            ),
            vec![Detail { name: "bend", value: percent, unit: "% span" }],
        )
    }
}

/// Nobody turned the part, as far as can be seen.
pub(super) fn not_turned(input: &CausesInput<'_>) -> String {
    let seen = match (input.prepared.angle_source, input.prepared.travel_deg) {
        (AngleSource::Reference, travel) => {
            let travel = travel.map_or(0.0, |(a, b)| b - a);
            format!("the reference moved by {travel:.1} deg of {:.0} deg", input.sheet.travel_deg)
        }
        _ => "neither line moved".to_owned(),
    };
    let procedure = input.prepared.trace.provenance.procedure.title();
    format!(
        "not turned: in the {procedure} {seen}, so nothing is said of the part: turn it from stop to stop and back, slowly, five times at \
         least, while it is recorded; if it was turned, check that the lines are connected and supplied"
    )
}
