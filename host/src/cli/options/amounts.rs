//! Times and sizes as people write them: `90s`, `5min`, `24h`, `500MB`.

/// Seconds of a time with its unit.
///
/// # Errors
/// Says what was given and how a time is written.
pub fn seconds(given: &str) -> Result<f64, String> {
    let units = [("s", 1.0), ("min", 60.0), ("h", 3600.0), ("d", 86_400.0)];
    amount(given, &units).ok_or_else(|| {
        format!(
            "{given:?} is not a time: write a number and its unit (s, min, h or d), as in 90s, 5min or 1.5h"
        )
    })
}

/// Bytes of a size with its unit.
///
/// # Errors
/// Says what was given and how a size is written.
pub fn bytes(given: &str) -> Result<u64, String> {
    let units = [("kB", 1e3), ("MB", 1e6), ("GB", 1e9), ("TB", 1e12)];
    let found = amount(given, &units).filter(|b| *b <= 1e18);
    found.map(|b| b as u64).ok_or_else(|| {
        format!("{given:?} is not a size: write a number and its unit (kB, MB, GB or TB), as in 500MB or 2GB")
    })
}

fn amount(given: &str, units: &[(&str, f64)]) -> Option<f64> {
    let at = given.find(|c: char| !c.is_ascii_digit() && c != '.')?;
    let (number, unit) = given.split_at(at);
    let (_, factor) = units.iter().find(|(name, _)| *name == unit.trim())?;
    number.parse::<f64>().ok().filter(|n| n.is_finite()).map(|n| n * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_sizes_are_read_with_their_units_and_nothing_else_is() {
        assert_eq!(
            [seconds("90s"), seconds("5min"), seconds("1.5h"), seconds("2d")],
            [Ok(90.0), Ok(300.0), Ok(5400.0), Ok(172_800.0)]
        );
        assert_eq!([bytes("500MB"), bytes("2 GB")], [Ok(500_000_000), Ok(2_000_000_000)]);
        for wrong in ["", "60", "s", "-5s", "5m", "1e9h", "..s"] {
            assert!(seconds(wrong).is_err_and(|e| e.contains("90s")), "{wrong}");
        }
        assert!(bytes("500").is_err() && bytes("99999999999TB").is_err());
    }
}
