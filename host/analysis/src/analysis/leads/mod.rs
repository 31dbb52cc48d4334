//! The leads check: what supply steps and load steps say of supply, ground and signal leads and of leakage. It estimates;
//! what the estimates mean is decided in `causes`.
//!
//! With the supply at V, a drop `u_s` in the supply lead and `u_g` in the ground lead, both of a constant current, a line at
//! the sensor's ratio f reads r = f + (u_g·(1 − f) − u_s·f)/V. A supply step changes 1/V alone, so the change of r at several f
//! gives both drops by least squares. A load R on a line of source resistance R_s (Thévenin) takes r to r·R/(R + R_s). A
//! track whose current goes with the supply keeps its ratio: there the step is blind, and the current says so.

mod fit;
mod states;

use super::NotTestable;
use crate::quantity::Channel;
use crate::sheet::PartSheet;
use crate::trace::Trace;

/// The rig's load, Ω.
pub const LOAD_OHM: f64 = 10_000.0;

/// Two tracks of a part are alike within this, a share, k = 1: 20 % either way, evenly. Engineering assumption.
const TRACKS_ALIKE: f64 = 0.12;

/// A value with its standard uncertainty (k = 1), same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty, ≥ 0.
    pub standard_uncertainty: f64,
}

impl Estimate {
    fn new(value: f64, standard_uncertainty: f64) -> Self {
        Self { value, standard_uncertainty }
    }
}

/// The part at rest at one place, nothing switched on, at the highest supply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtPlace {
    /// Ratio of each line.
    pub ratio: [f64; 2],
    /// Supply, volts.
    pub volts: f64,
    /// Supply current, amperes.
    pub amps: Estimate,
}

/// How the part draws its supply current.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyCurrent {
    /// The same at 4 V and 5 V: an active (Hall) sensor; the supply step sees its leads.
    Constant,
    /// In proportion to the supply: a resistive track; the supply step is blind to its leads.
    Ratiometric,
    /// Not recorded, or neither.
    Unknown,
}

/// What the steps show. Absent = the step was not done, or could not be used.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Drop in the supply lead, volts.
    pub supply_drop_v: Option<Estimate>,
    /// Drop in the ground lead, volts.
    pub ground_drop_v: Option<Estimate>,
    /// Resistance of the supply lead, Ω, when the supply current was recorded.
    pub supply_lead_ohm: Option<Estimate>,
    /// Resistance of the ground lead, Ω, when the supply current was recorded.
    pub ground_lead_ohm: Option<Estimate>,
    /// Resistance each line shows to the 10 kΩ load, Ω: source, lead and leakage together.
    pub source_ohm: [Option<Estimate>; 2],
    /// Ratio of each line at the place of the load step, load off.
    pub loadless_ratio: [Option<Estimate>; 2],
    /// How the supply current behaves.
    pub current: SupplyCurrent,
    /// Supply current at the higher supply, amperes.
    pub supply_amps: Option<Estimate>,
    /// The same along the travel, place by place.
    pub by_place: [Option<AtPlace>; 3],
    /// Return at the plug against the rig's ground, volts.
    pub ground_v: Option<Estimate>,
    /// What could not be had.
    pub not_testable: Vec<NotTestable>,
}

impl Report {
    /// How much more of its source resistance the first line has from its track than the second, Ω: a wiper at the ratio f of a track R
    /// sees f·(1 − f)·R (Thévenin), and lines of different slope stand at different ratios. The track is known from the supply current where
    /// that goes with the supply, else only to lie between none and all of what the lines show. None without load steps of both.
    pub fn track_difference_ohm(&self) -> Option<Estimate> {
        let ([Some(a), Some(b)], [Some(p), Some(q)]) = (self.source_ohm, self.loadless_ratio) else {
            return None;
        };
        let [own, other] = [p, q].map(|r| (r.value * (1.0 - r.value)).max(1e-3));
        // Neither line shows less than its track.
        let most = (a.value / own).min(b.value / other).max(0.0);
        let volts = self.by_place.iter().flatten().map(|p| p.volts).next();
        let track = match (self.current, self.supply_amps, volts) {
            (SupplyCurrent::Constant, ..) => Estimate::new(0.0, 0.0),
            (SupplyCurrent::Ratiometric, Some(amps), Some(volts)) if amps.value > 1e-5 => {
                let ohm = (2.0 * volts / amps.value).min(most);
                Estimate::new(ohm, TRACKS_ALIKE * ohm)
            }
            _ => Estimate::new(0.5 * most, most / 12.0f64.sqrt()),
        };
        let share = own - other;
        Some(Estimate::new(share * track.value, (share * track.standard_uncertainty).abs()))
    }
}

/// Analyses a leads check.
pub fn analyse(trace: &Trace, sheet: &PartSheet) -> Report {
    let states = states::of(trace, sheet);
    let supply = fit::supply_steps(&states);
    let (current, supply_amps) = fit::current(&states);
    let mut report = Report {
        supply_drop_v: None,
        ground_drop_v: None,
        supply_lead_ohm: None,
        ground_lead_ohm: None,
        source_ohm: [0, 1].map(|line| fit::source(&states, line).map(|s| s.0)),
        loadless_ratio: [0, 1].map(|line| fit::source(&states, line).map(|s| s.1)),
        current,
        supply_amps,
        by_place: fit::by_place(&states),
        ground_v: states.first().and_then(|s| s.ground),
        not_testable: Vec::new(),
    };
    if current == SupplyCurrent::Ratiometric {
        report.not_testable.push(missing(
            "supply_lead and ground_lead by supply step",
            "the supply current goes with the supply: a resistive track keeps its ratio whatever its leads; measure their \
             drop with four wires on the connector pins",
        ));
    } else if let Some((ground, supply)) = supply {
        report.ground_drop_v = Some(ground);
        report.supply_drop_v = Some(supply);
        if let Some(amps) = supply_amps.filter(|a| a.value > 1e-4) {
            let ohm = |drop: Estimate| {
                let value = drop.value / amps.value;
                let relative = amps.standard_uncertainty / amps.value;
                Estimate::new(value, (drop.standard_uncertainty / amps.value).hypot(value * relative))
            };
            report.supply_lead_ohm = Some(ohm(supply));
            report.ground_lead_ohm = Some(ohm(ground));
        }
        if current == SupplyCurrent::Unknown && trace.channel(Channel::SupplyAmps).is_none() {
            report.not_testable.push(missing(
                "kind of sensor",
                "the supply current was not recorded: a resistive track would keep its ratio whatever its leads",
            ));
        }
    } else {
        report.not_testable.push(missing(
            "supply_lead and ground_lead by supply step",
            "no supply step was recorded with both lines at rest; run the leads check on a rig with an adjustable supply",
        ));
    }
    for (line, channel) in Channel::SENSORS.into_iter().enumerate() {
        if report.source_ohm[line].is_none() {
            let what = format!("signal_lead of the {channel} line by load step");
            report.not_testable.push(missing(&what, "no load step of this line was recorded at rest"));
        }
    }
    report
}

fn missing(what: &str, why: &str) -> NotTestable {
    NotTestable { what: what.into(), why: why.into() }
}

#[cfg(test)]
pub(crate) mod tests;
