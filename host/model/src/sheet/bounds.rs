//! The allowed range of every number in a part sheet, in one place: name, unit, smallest, largest.

use crate::quantity::{FigureName, Sign, Unit};

/// The allowed range of one number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bound {
    /// The key in the sheet.
    pub key: &'static str,
    /// What it is counted in.
    pub unit: &'static str,
    /// Smallest allowed.
    pub min: f64,
    /// Largest allowed.
    pub max: f64,
}

/// Ranges of the sheet's own numbers: what the rig can do and what still makes sense for a part.
pub const BOUNDS: [Bound; 47] = [
    Bound { key: "supply_volts", unit: "V", min: 3.0, max: 5.5 },
    Bound { key: "travel_deg", unit: "degrees", min: 5.0, max: 180.0 },
    Bound { key: "closed_ratio", unit: "(ratio of supply)", min: 0.0, max: 1.0 },
    Bound { key: "open_ratio", unit: "(ratio of supply)", min: 0.0, max: 1.0 },
    Bound { key: "threshold_percent_supply", unit: "% of supply", min: 0.1, max: 50.0 },
    Bound { key: "rail_low_ratio", unit: "(ratio of supply)", min: 0.0, max: 0.5 },
    Bound { key: "rail_high_ratio", unit: "(ratio of supply)", min: 0.5, max: 1.0 },
    Bound { key: "period_ms", unit: "ms", min: 0.1, max: 1000.0 },
    Bound { key: "debounce", unit: "bad samples", min: 1.0, max: 10_000.0 },
    Bound { key: "cycles", unit: "cycles", min: 1.0, max: 10_000.0 },
    Bound { key: "speed_deg_s", unit: "degrees per second", min: 1.0, max: 720.0 },
    Bound { key: "rate_hz", unit: "scans per second", min: 100.0, max: 50_000.0 },
    // Of a throttle body.
    Bound { key: "low_range_deg", unit: "degrees", min: 2.0, max: 90.0 },
    Bound { key: "middle_deg", unit: "degrees", min: 4.0, max: 120.0 },
    Bound { key: "from_deg", unit: "degrees", min: 0.5, max: 120.0 },
    Bound { key: "release_deg", unit: "degrees", min: 0.5, max: 120.0 },
    Bound { key: "steps", unit: "steps per range and direction", min: 1.0, max: 5000.0 },
    Bound { key: "step_volts", unit: "V", min: 1.0, max: 14.0 },
    Bound { key: "creep_speed_deg_s", unit: "degrees per second", min: 1.0, max: 180.0 },
    Bound { key: "creep_cycles", unit: "cycles", min: 1.0, max: 1000.0 },
    Bound { key: "lash_coasts", unit: "arrests", min: 1.0, max: 1000.0 },
    Bound { key: "map_strokes", unit: "strokes", min: 1.0, max: 1000.0 },
    Bound { key: "map_volts", unit: "V", min: 1.0, max: 14.0 },
    Bound { key: "blips", unit: "snap openings", min: 0.0, max: 10_000.0 },
    Bound { key: "blip_volts", unit: "V", min: 1.0, max: 14.0 },
    Bound { key: "heat_limit", unit: "(share of the motor's thermal budget)", min: 0.05, max: 1.0 },
    Bound { key: "kp_volts_rad", unit: "V/rad", min: 0.1, max: 2000.0 },
    Bound { key: "ki_volts_rad_s", unit: "V/(rad s)", min: 0.0, max: 50_000.0 },
    Bound { key: "kd_volt_s_rad", unit: "V s/rad", min: 0.0, max: 50.0 },
    Bound { key: "current_limit_amps", unit: "A", min: 0.1, max: 20.0 },
    Bound { key: "winding_ohms", unit: "ohm", min: 0.1, max: 100.0 },
    Bound { key: "back_emf_volt_s_rad", unit: "V s/rad", min: 0.01, max: 10.0 },
    Bound { key: "tooth_pitch_deg", unit: "degrees of plate", min: 0.5, max: 30.0 },
    Bound { key: "pinion", unit: "teeth", min: 5.0, max: 400.0 },
    Bound { key: "idler_large", unit: "teeth", min: 5.0, max: 400.0 },
    Bound { key: "idler_small", unit: "teeth", min: 5.0, max: 400.0 },
    Bound { key: "sector", unit: "teeth on a full circle", min: 12.0, max: 720.0 },
    // Of a pair.
    Bound { key: "grip_percent", unit: "% of the grip's travel", min: 0.0, max: 100.0 },
    Bound { key: "plate_percent", unit: "% of the plate's travel", min: 0.0, max: 100.0 },
    Bound { key: "ramp_deg_s", unit: "degrees of grip per second", min: 5.0, max: 400.0 },
    Bound { key: "ramps", unit: "ramps to and fro", min: 1.0, max: 100.0 },
    Bound { key: "grip_steps", unit: "steps per range and direction", min: 1.0, max: 500.0 },
    Bound { key: "snaps", unit: "snap openings", min: 0.0, max: 1000.0 },
    // Of the connectors.
    Bound { key: "part_matings", unit: "matings", min: 1.0, max: 100_000.0 },
    Bound { key: "lead_matings", unit: "matings", min: 1.0, max: 100_000.0 },
    // Of a grade.
    Bound { key: "smallest_margin_percent", unit: "%", min: 0.0, max: 100.0 },
    Bound { key: "largest_confidence", unit: "(probability)", min: 0.0, max: 1.0 },
];

/// The range of a number of the sheet by its key; none where another rule bounds it, as [`limit_range`] does a limit.
pub fn bound(key: &str) -> Option<Bound> {
    BOUNDS.into_iter().find(|b| b.key == key)
}

/// The range in which a limit on a figure can mean anything. Magnitudes start at 0; signed figures are symmetric.
pub fn limit_range(figure: FigureName) -> (f64, f64) {
    let largest = match figure.unit() {
        Unit::VoltAtFive | Unit::Volt => 5.0,
        Unit::MillivoltAtFive => 5000.0,
        Unit::PercentSpan | Unit::PercentSupply => 100.0,
        Unit::Degree => 180.0,
        Unit::Microsecond | Unit::PerMinute | Unit::Count => 1e6,
        Unit::Ampere | Unit::Celsius | Unit::Percent => 1000.0,
        Unit::Millisecond => 60_000.0,
        Unit::NewtonMetre | Unit::NewtonMetrePerRadian | Unit::VoltSecondPerRadian => 100.0,
        Unit::Ohm => 10_000.0,
    };
    if is_signed(figure) { (-largest, largest) } else { (0.0, largest) }
}

/// Whether a figure, and with it a limit, can be negative.
pub const fn is_signed(figure: FigureName) -> bool {
    matches!(figure.sign(), Sign::Counts)
}

/// Whether a figure is a rate of events, for which a clean test has an upper bound.
pub const fn is_rate(figure: FigureName) -> bool {
    matches!(figure, FigureName::DropoutRate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_range_is_a_range() {
        for b in BOUNDS {
            assert!(b.min < b.max, "{}", b.key);
            assert_eq!(bound(b.key), Some(b));
        }
        for figure in FigureName::ALL {
            let (low, high) = limit_range(figure);
            assert!(low < high && high.is_finite(), "{}", figure.name());
        }
    }
}
