//! Values, limits and places for people; numbers are rounded as [`crate::quantity::rounding`] does.
//! It does not know figures' names or where text goes.

use crate::outcome::{OutcomeFigure, OutcomeLimit};
use crate::quantity::Unit;

pub use crate::quantity::rounding::{
    NOTHING, as_written, fixed, measured, rounded, rounded_up, significant, unit, with_unit,
};

/// A figure's value for people; rates carry their 95 % bound, and a count of 0 is "none". Bounds of quantiles are given by their
/// definition.
pub fn figure_value(figure: &OutcomeFigure) -> String {
    let of_rate = |b: &f64| figure.unit == Unit::PerMinute && b.is_finite();
    let Some(bound) = figure.upper_bound.filter(of_rate) else {
        return if figure.unit == Unit::Count && figure.value == 0.0 {
            "none".to_owned()
        } else {
            measured(figure.value, figure.expanded_uncertainty, figure.unit)
        };
    };
    let bound = with_unit(&rounded_up(bound), figure.unit);
    if figure.value == 0.0 {
        format!("none seen; below {bound} with 95 %")
    } else {
        format!(
            "{}; below {bound} with 95 %",
            measured(figure.value, figure.expanded_uncertainty, figure.unit)
        )
    }
}

/// A limit for people: "≤ 2 % of span", "0.5 to 0.9 V", "±2 % of supply", "none, and < 5 /min shown".
pub fn limit(limit: &OutcomeLimit, unit: Unit) -> String {
    let range = match (limit.min, limit.max) {
        (Some(min), Some(max)) if min == -max && max > 0.0 => {
            with_unit(&format!("±{}", as_written(max)), unit)
        }
        (Some(min), Some(max)) => with_unit(&format!("{} to {}", as_written(min), as_written(max)), unit),
        (Some(min), None) => with_unit(&format!("≥ {}", as_written(min)), unit),
        (None, Some(0.0)) => if limit.bound.is_some() { "none" } else { "none allowed" }.to_owned(),
        (None, Some(max)) => with_unit(&format!("≤ {}", as_written(max)), unit),
        (None, None) => String::new(),
    };
    match (range.is_empty(), limit.bound) {
        (true, None) => NOTHING.to_owned(),
        (true, Some(bound)) => format!("< {} shown", with_unit(&as_written(bound), unit)),
        (false, None) => range,
        (false, Some(bound)) => format!("{range}, and < {} shown", with_unit(&as_written(bound), unit)),
    }
}

/// A place or a stretch of travel: "7.6°", "7.2–8.1°", "−0.2 to 0.3°". None when neither end is known.
pub fn place(from_deg: Option<f64>, to_deg: Option<f64>) -> Option<String> {
    let finite = |d: Option<f64>| d.filter(|d| d.is_finite()).map(|d| fixed(d, 1));
    match (finite(from_deg), finite(to_deg)) {
        (None, None) => None,
        (Some(one), None) | (None, Some(one)) => Some(format!("{one}°")),
        (Some(from), Some(to)) if from == to => Some(format!("{from}°")),
        (Some(from), Some(to)) if from.starts_with('−') || to.starts_with('−') => {
            Some(format!("{from} to {to}°"))
        }
        (Some(from), Some(to)) => Some(format!("{from}–{to}°")),
    }
}

/// A share of 0..1 as "97 %"; never "100 %" for what is only nearly sure, nor "0 %" for what is only nearly excluded.
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return NOTHING.to_owned();
    }
    match share * 100.0 {
        p if p > 99.0 && share < 1.0 => "over 99 %".to_owned(),
        p if p > 0.0 && p < 1.0 => "under 1 %".to_owned(),
        p => format!("{} %", fixed(p, 0)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: f64, uncertainty: f64, expected: &str) {
        assert_eq!(measured(value, uncertainty, Unit::VoltAtFive), expected);
    }

    #[test]
    fn an_uncertainty_keeps_two_digits_and_the_value_ends_at_the_same_place() {
        // JCGM 100:2008, 7.2.6: "10,057 62 Ω" with 27 mΩ is given as "10,058 Ω"; 28,05 kHz is given as 28 kHz.
        check(10.057_62, 0.027, "10.058 ± 0.027 V");
        check(1000.0, 28.05, "1000 ± 28 V");
        check(0.781_9, 0.011_96, "0.782 ± 0.012 V");
        check(123.456, 0.000_123_4, "123.45600 ± 0.00012 V");
        check(12_345.0, 678.0, "12350 ± 680 V");
    }

    #[test]
    fn rounding_that_carries_does_not_leave_a_third_digit() {
        check(1.0, 0.0996, "1.00 ± 0.10 V");
        check(1.0, 9.96, "1 ± 10 V");
    }

    #[test]
    fn zero_has_no_sign_and_minus_is_a_minus() {
        check(-0.001, 0.12, "0.00 ± 0.12 V");
        check(-1.25, 0.12, "−1.25 ± 0.12 V");
    }

    #[test]
    fn exact_counts_show_no_uncertainty_and_broken_numbers_no_digits() {
        assert_eq!(measured(3.0, 0.0, Unit::Count), "3");
        assert_eq!(measured(f64::NAN, 0.1, Unit::Volt), "– V");
        assert_eq!(measured(1.5, f64::INFINITY, Unit::Volt), "1.5 ± unknown V");
    }

    #[test]
    fn a_bound_is_rounded_upward() {
        assert_eq!(rounded_up(13.01), "14");
        assert_eq!(rounded_up(14.000_000_000_000_002), "14");
        assert_eq!(rounded_up(0.2301), "0.24");
        assert_eq!(rounded_up(991.0), "1000");
    }

    #[test]
    fn limits_read_as_sentences_do() {
        let make = |min, max, bound| OutcomeLimit { min, max, bound };
        assert_eq!(limit(&make(None, Some(2.0), None), Unit::PercentSpan), "≤ 2 % of span");
        assert_eq!(limit(&make(Some(-1.5), Some(1.5), None), Unit::PercentSupply), "±1.5 % of supply");
        assert_eq!(limit(&make(Some(0.5), Some(0.9), None), Unit::VoltAtFive), "0.5 to 0.9 V");
        assert_eq!(limit(&make(Some(3.5), None, None), Unit::VoltAtFive), "≥ 3.5 V");
        assert_eq!(limit(&make(None, Some(0.0), Some(5.0)), Unit::PerMinute), "none, and < 5 /min shown");
        assert_eq!(limit(&make(None, None, None), Unit::PerMinute), NOTHING);
    }

    #[test]
    fn places_name_a_point_or_a_stretch() {
        assert_eq!(place(Some(7.21), Some(8.06)).as_deref(), Some("7.2–8.1°"));
        assert_eq!(place(Some(7.21), Some(7.24)).as_deref(), Some("7.2°"));
        assert_eq!(place(Some(-0.2), Some(0.3)).as_deref(), Some("−0.2 to 0.3°"));
        assert_eq!(place(Some(f64::NAN), None), None);
    }

    #[test]
    fn nearly_sure_is_not_sure() {
        assert_eq!(percent(0.9999), "over 99 %");
        assert_eq!(percent(1.0), "100 %");
        assert_eq!(percent(0.87), "87 %");
        assert_eq!(percent(0.001), "under 1 %");
    }
}
