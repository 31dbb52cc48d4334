//! Where an axis is marked: steps of 1, 2 or 5 times a power of ten.
//!
//! After P. S. Heckbert, "Nice Numbers for Graph Labels", Graphics Gems (1990), p. 61–63.

/// Marks of an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    /// Values, rising.
    pub values: Vec<f64>,
    /// Decimals that keep neighbours apart.
    pub decimals: usize,
}

/// Marks inside `low..=high`, about `count` of them. A range that is empty or not finite has none.
pub fn ticks(low: f64, high: f64, count: usize) -> Ticks {
    let span = high - low;
    if !span.is_finite() || span <= 0.0 {
        return Ticks { values: Vec::new(), decimals: 0 };
    }
    let step = nice(span / count.max(1) as f64);
    let first = (low / step - 1e-9).ceil();
    let last = (high / step + 1e-9).floor();
    let values = (0..=(last - first).max(0.0) as usize).map(|k| (first + k as f64) * step).collect();
    let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize;
    Ticks { values, decimals }
}

/// The next of 1, 2, 5, 10 times a power of ten at or above `step`.
fn nice(step: f64) -> f64 {
    let power = 10_f64.powf(step.log10().floor());
    let fraction = step / power;
    let round = [1.0, 2.0, 5.0].into_iter().find(|r| fraction <= r + 1e-9).unwrap_or(10.0);
    round * power
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_travel_is_marked_in_tens() {
        assert_eq!(ticks(0.0, 90.0, 9).values, [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0]);
    }

    #[test]
    fn decimals_tell_neighbours_apart() {
        assert_eq!(ticks(-0.3, 0.3, 6).decimals, 1);
        assert_eq!(ticks(0.0, 5.0, 5).decimals, 0);
        assert_eq!(ticks(0.0, 0.01, 5).decimals, 3);
    }

    #[test]
    fn an_impossible_range_has_no_ticks() {
        assert!(ticks(1.0, 1.0, 5).values.is_empty());
        assert!(ticks(0.0, f64::NAN, 5).values.is_empty());
        assert!(ticks(0.0, f64::INFINITY, 5).values.is_empty());
    }

    proptest! {
        #[test]
        fn ticks_stay_inside_and_are_few(low in -1e6_f64..1e6, span in 1e-6_f64..1e6) {
            let marks = ticks(low, low + span, 8);
            prop_assert!(marks.values.len() <= 9);
            prop_assert!(marks.values.iter().all(|v| *v >= low - span * 1e-6 && *v <= low + span * (1.0 + 1e-6)));
        }
    }
}
