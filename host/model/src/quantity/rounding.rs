//! Numbers for people: rounding by uncertainty, with their units. It does not know where the text goes.

use super::Unit;

/// What stands where no number can.
pub const NOTHING: &str = "–";

/// A value and its expanded uncertainty, rounded together: the uncertainty to two significant digits, the value to the
/// same place (JCGM 100:2008, 7.2.6). The uncertainty is none when it is 0; a count is exact.
pub fn rounded(value: f64, uncertainty: f64) -> (String, Option<String>) {
    if !value.is_finite() {
        return (NOTHING.to_owned(), None);
    }
    if uncertainty == 0.0 {
        return (significant(value, 4), None);
    }
    if !uncertainty.is_finite() || uncertainty < 0.0 {
        return (significant(value, 4), Some("unknown".to_owned()));
    }
    let place = place_of(uncertainty, 2);
    (at_place(value, place), Some(at_place(uncertainty, place)))
}

/// "0.782 ± 0.012 V": value, expanded uncertainty and unit.
pub fn measured(value: f64, uncertainty: f64, unit: Unit) -> String {
    let text = match rounded(value, uncertainty) {
        (value, Some(uncertainty)) => format!("{value} ± {uncertainty}"),
        (value, None) => value,
    };
    with_unit(&text, unit)
}

/// The unit as people read it; empty for a count.
pub const fn unit(unit: Unit) -> &'static str {
    match unit {
        Unit::Volt | Unit::VoltAtFive => "V",
        Unit::MillivoltAtFive => "mV",
        Unit::PercentSpan => "% of span",
        Unit::PercentSupply => "% of supply",
        Unit::Degree => "°",
        Unit::Ampere => "A",
        Unit::Celsius => "°C",
        Unit::Microsecond => "µs",
        Unit::Millisecond => "ms",
        Unit::Percent => "%",
        Unit::NewtonMetre => "N·m",
        Unit::NewtonMetrePerRadian => "N·m/rad",
        Unit::Ohm => "Ω",
        Unit::VoltSecondPerRadian => "V·s/rad",
        Unit::PerMinute => "/min",
        Unit::Count => "",
    }
}

/// Text with its unit, spaced as the unit wants it.
pub fn with_unit(text: &str, of: Unit) -> String {
    match of {
        Unit::Count => text.to_owned(),
        Unit::Degree => format!("{text}°"),
        _ => format!("{text} {}", unit(of)),
    }
}

/// A number with `digits` significant digits, zeros at its end dropped; a true minus sign.
pub fn significant(value: f64, digits: u32) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    let text = at_place(value, place_of(value, digits));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A number with a fixed count of decimals; a true minus sign, and none before zero.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.bytes().all(|b| b == b'0' || b == b'.') => zero.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text,
    }
}

/// A limit's number, as its sheet wrote it.
pub fn as_written(value: f64) -> String {
    value.to_string().replace('-', "−")
}

/// A bound to two significant digits, upward: what is below the true bound need not hold.
pub fn rounded_up(bound: f64) -> String {
    if bound <= 0.0 {
        return fixed(bound, 0);
    }
    let place = place_of(bound, 2);
    let scale = 10_f64.powi(place);
    // The hair that is taken off keeps 14.000000000000002 from becoming 15.
    at_place((bound / scale - 1e-9).ceil() * scale, place)
}

/// Power of ten of the last of `digits` significant digits of `value`, after rounding (0.0996 to two digits is 0.10).
fn place_of(value: f64, digits: u32) -> i32 {
    if value == 0.0 {
        return 0;
    }
    let digits = i32::try_from(digits.max(1)).unwrap_or(i32::MAX);
    let place = value.abs().log10().floor() as i32 - (digits - 1);
    let scaled = (value.abs() / 10_f64.powi(place)).round();
    if scaled >= 10_f64.powi(digits) { place + 1 } else { place }
}

/// `value` rounded to the power of ten `place`.
fn at_place(value: f64, place: i32) -> String {
    if place >= 0 {
        let scale = 10_f64.powi(place);
        fixed((value / scale).round() * scale, 0)
    } else {
        fixed(value, place.unsigned_abs().min(12) as usize)
    }
}
