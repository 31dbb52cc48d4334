//! Times for people.

/// A time for people: `45 s`, `12 min`, `5.5 h`, `3.2 days`.
pub fn shown(seconds: f64) -> String {
    match seconds {
        s if s < 99.5 => format!("{s:.0} s"),
        s if s < 99.5 * 60.0 => format!("{:.0} min", s / 60.0),
        s if s < 72.0 * 3600.0 => format!("{:.1} h", s / 3600.0),
        s => format!("{:.1} days", s / 86_400.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_shown_in_the_unit_that_fits() {
        assert_eq!([shown(45.0), shown(700.0), shown(20_000.0)], ["45 s", "12 min", "5.6 h"]);
        assert_eq!(shown(300_000.0), "3.5 days");
    }
}
