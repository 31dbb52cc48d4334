//! Numbers of a worksheet as text: resistances with the prefix that fits, voltages, shares. Media and sentences share it.

use super::Counted;
use super::worksheet::{Expected, Line, MOVED_OHMS};
use crate::diagnosis::CheckKind;
use crate::quantity::rounding::{fixed, significant};

/// A resistance, Ω: `95 mΩ`, `0.595 Ω`, `20 MΩ`.
pub fn ohms(value: f64) -> String {
    match value.abs() {
        size if size >= 1e6 => format!("{} MΩ", significant(value / 1e6, 3)),
        size if size >= 1e3 => format!("{} kΩ", significant(value / 1e3, 3)),
        size if size >= 0.1 => format!("{} Ω", significant(value, 3)),
        size if size >= 0.01 => format!("{} mΩ", fixed(value * 1e3, 0)),
        _ => format!("{} mΩ", fixed(value * 1e3, 1)),
    }
}

/// A value in its unit; ratios as percent of the supply.
pub fn value(value: f64, counted: Counted) -> String {
    match counted {
        Counted::Ohms => ohms(value),
        Counted::Volts => {
            format!("{} V", if value.abs() < 100.0 { fixed(value, 3) } else { significant(value, 4) })
        }
        Counted::RatioOfSupply => format!("{} % of supply", fixed(value * 100.0, 1)),
        Counted::Word => String::new(),
    }
}

/// A value and its expanded uncertainty in one unit.
pub fn measured(value: f64, uncertainty: f64, counted: Counted) -> String {
    let both = |factor: f64, decimals, unit: &str| {
        format!("{} ± {} {unit}", fixed(value / factor, decimals), fixed(uncertainty / factor, decimals))
    };
    match counted {
        Counted::Ohms => match value.abs().max(uncertainty) {
            size if size >= 1e6 => both(1e6, 2, "MΩ"),
            size if size >= 1e3 => both(1e3, 2, "kΩ"),
            size if size >= 0.1 => both(1.0, 2, "Ω"),
            _ => both(1e-3, 1, "mΩ"),
        },
        Counted::Volts => both(1.0, 3, "V"),
        Counted::RatioOfSupply => both(0.01, 1, "% of supply"),
        Counted::Word => String::new(),
    }
}

/// The limits of a line, for people.
pub fn limits(expected: &Expected) -> String {
    let one = |v: f64| value(v, expected.counted);
    match (expected.min, expected.max) {
        (None, Some(max)) => format!("at most {}", one(max)),
        (Some(min), None) => format!("at least {}", one(min)),
        (Some(min), Some(max)) if expected.counted == Counted::RatioOfSupply => {
            format!("{} to {} % of supply", fixed(min * 100.0, 1), fixed(max * 100.0, 1))
        }
        (Some(min), Some(max)) => format!("{} to {} V", fixed(min, 2), fixed(max, 2)),
        (None, None) => "firm".to_owned(),
    }
}

/// What is expected of a line, for a form; outputs in volts at the nominal supply.
pub fn expected(line: &Line, supply_volts: f64) -> String {
    match line.check {
        CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector => {
            format!("steady; {}, change at most {MOVED_OHMS} Ω", limits(&line.expected))
        }
        CheckKind::SupplyDrop | CheckKind::GroundDrop => {
            let max = line.expected.max.unwrap_or_default();
            format!("{}, that is {} mV per ampere", limits(&line.expected), fixed(max * 1e3, 0))
        }
        CheckKind::SensorOutput if line.expected.counted == Counted::RatioOfSupply && !line.computed => {
            let volts = |ratio: Option<f64>| fixed(ratio.unwrap_or_default() * supply_volts, 2);
            format!("{} to {} V", volts(line.expected.min), volts(line.expected.max))
        }
        _ => limits(&line.expected),
    }
}

/// A line's wire or place in words.
pub fn place(line: &Line) -> String {
    match line.opening {
        Some(opening) => format!("{} {}", line.place, opening.words()),
        None => line.place.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_and_its_uncertainty_stand_in_one_unit() {
        assert_eq!(measured(0.1, 0.232, Counted::Ohms), "0.10 ± 0.23 Ω");
        assert_eq!(measured(0.0904, 0.0044, Counted::Ohms), "90.4 ± 4.4 mΩ");
        assert_eq!(measured(0.9, 0.0141, Counted::RatioOfSupply), "90.0 ± 1.4 % of supply");
    }

    #[test]
    fn resistances_take_the_prefix_that_fits() {
        let all = [0.0043, 0.0954, 0.5954, 2.0, 45.0, 2200.0, 20e6].map(ohms);
        assert_eq!(all, ["4.3 mΩ", "95 mΩ", "0.595 Ω", "2 Ω", "45 Ω", "2.2 kΩ", "20 MΩ"]);
    }
}
