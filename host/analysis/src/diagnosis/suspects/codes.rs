//! Generic trouble codes that fit a cause. Source of numbers and titles: SAE J2012 / ISO 15031-6, as published in lists of generic
//! codes. Letters: `D` and `E` are the grip's lines, `A` and `B` the plate's; makers' own codes are not known here.

use crate::quantity::{Cause, Channel, PartKind};
use serde::{Deserialize, Serialize};

/// A trouble code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Code {
    /// `P0121`.
    pub code: &'static str,
    /// What it stands for.
    pub title: &'static str,
}

/// Codes that are used here, in order.
pub const CODES: [Code; 35] = [
    of("P0120", "Throttle/Pedal Position Sensor/Switch 'A' Circuit"),
    of("P0121", "Throttle/Pedal Position Sensor/Switch 'A' Circuit Range/Performance"),
    of("P0122", "Throttle/Pedal Position Sensor/Switch 'A' Circuit Low"),
    of("P0123", "Throttle/Pedal Position Sensor/Switch 'A' Circuit High"),
    of("P0124", "Throttle/Pedal Position Sensor/Switch 'A' Circuit Intermittent"),
    of("P0220", "Throttle/Pedal Position Sensor/Switch 'B' Circuit"),
    of("P0221", "Throttle/Pedal Position Sensor/Switch 'B' Circuit Range/Performance"),
    of("P0222", "Throttle/Pedal Position Sensor/Switch 'B' Circuit Low"),
    of("P0223", "Throttle/Pedal Position Sensor/Switch 'B' Circuit High"),
    of("P0224", "Throttle/Pedal Position Sensor/Switch 'B' Circuit Intermittent"),
    of("P0638", "Throttle Actuator Control Range/Performance"),
    of("P0641", "Sensor Reference Voltage 'A' Circuit/Open"),
    of("P0651", "Sensor Reference Voltage 'B' Circuit/Open"),
    of("P2100", "Throttle Actuator Control Motor Circuit/Open"),
    of("P2101", "Throttle Actuator Control Motor Circuit Range/Performance"),
    of("P2107", "Throttle Actuator Control Module Processor"),
    of("P2108", "Throttle Actuator Control Module Performance"),
    of("P2109", "Throttle/Pedal Position Sensor 'A' Minimum Stop Performance"),
    of("P2111", "Throttle Actuator Control System - Stuck Open"),
    of("P2112", "Throttle Actuator Control System - Stuck Closed"),
    of("P2118", "Throttle Actuator Control Motor Current Range/Performance"),
    of("P2119", "Throttle Actuator Control Throttle Body Range/Performance"),
    of("P2120", "Throttle/Pedal Position Sensor/Switch 'D' Circuit"),
    of("P2121", "Throttle/Pedal Position Sensor/Switch 'D' Circuit Range/Performance"),
    of("P2122", "Throttle/Pedal Position Sensor/Switch 'D' Circuit Low Input"),
    of("P2123", "Throttle/Pedal Position Sensor/Switch 'D' Circuit High Input"),
    of("P2124", "Throttle/Pedal Position Sensor/Switch 'D' Circuit Intermittent"),
    of("P2125", "Throttle/Pedal Position Sensor/Switch 'E' Circuit"),
    of("P2126", "Throttle/Pedal Position Sensor/Switch 'E' Circuit Range/Performance"),
    of("P2127", "Throttle/Pedal Position Sensor/Switch 'E' Circuit Low Input"),
    of("P2128", "Throttle/Pedal Position Sensor/Switch 'E' Circuit High Input"),
    of("P2129", "Throttle/Pedal Position Sensor/Switch 'E' Circuit Intermittent"),
    of("P2135", "Throttle/Pedal Position Sensor/Switch 'A' / 'B' Voltage Correlation"),
    of("P2138", "Throttle/Pedal Position Sensor/Switch 'D' / 'E' Voltage Correlation"),
    of("P2176", "Throttle Actuator Control System - Idle Position Not Learned"),
];

const fn of(code: &'static str, title: &'static str) -> Code {
    Code { code, title }
}

/// Bases of the codes of a line, and the code of the pair's correlation.
const fn bases(kind: PartKind) -> ([&'static str; 2], &'static str) {
    match kind {
        PartKind::Grip | PartKind::Pair => (["P212", "P212"], "P2138"),
        PartKind::Body => (["P012", "P022"], "P2135"),
    }
}

/// Codes that fit a cause in a kind of part; of one line when that is known, of both otherwise.
pub fn codes_for(cause: Cause, kind: PartKind, line: Option<Channel>) -> Vec<Code> {
    let row = cause.row();
    let (bases, pair) = bases(kind);
    let mut names: Vec<String> = Vec::new();
    for k in (0..2).filter(|k| line.is_none_or(|only| only == Channel::SENSORS[*k])) {
        // The grip's second line is `E`: its codes follow five after those of `D`.
        let more = if kind == PartKind::Grip { 5 * k as u8 } else { 0 };
        names.extend(row.line_codes.iter().map(|digit| format!("{}{}", bases[k], digit + more)));
    }
    names.extend(row.correlation_code.then(|| pair.to_owned()));
    names.extend(row.codes.iter().map(|o| (*o).to_owned()));
    names.iter().filter_map(|n| CODES.into_iter().find(|c| c.code == n)).collect()
}

/// How a code that was read bears on a cause: whether it fits.
pub fn fits(code: &str, cause: Cause, kind: PartKind) -> bool {
    codes_for(cause, kind, None).iter().any(|c| c.code.eq_ignore_ascii_case(code.trim()))
}
