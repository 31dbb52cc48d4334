//! Wires: which sizes there are and what a length of one resists at a temperature. It does not know what a wire is for.
//!
//! - mm²: largest resistance at 20 °C of IEC 60228 class 5 (plain copper), and below 0.5 mm² of fine strand (VDE 0295).
//! - AWG: nominal, from the diameters of ASTM B258 and the resistivity of annealed copper (IEC 60028: 0.017241 Ω mm²/m).
//! - temperature: IEC 60228 corrects to 20 °C by 1/(1 + 0.004 (t − 20)).

use serde::{Deserialize, Serialize};
use std::fmt;

/// Sizes in mm² and their largest resistance at 20 °C, mΩ/m.
const METRIC: [(f64, f64); 9] = [
    (0.14, 134.0),
    (0.22, 96.0),
    (0.25, 76.0),
    (0.34, 53.0),
    (0.5, 39.0),
    (0.75, 26.0),
    (1.0, 19.5),
    (1.5, 13.3),
    (2.5, 7.98),
];
/// AWG numbers that a loom is made of.
const GAUGES: std::ops::RangeInclusive<u8> = 10..=30;
/// Sizes that an error names.
const NEAR: usize = 3;

/// A size of wire that exists.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "schemas", schemars(extend("pattern" = "^[0-9.]+(mm2|AWG)$")))]
#[serde(try_from = "String", into = "String")]
pub enum WireSize {
    /// Cross-section, mm²: one of IEC 60228 or VDE 0295.
    SquareMillimetres(f64),
    /// American wire gauge, 10 to 30.
    Awg(u8),
}

/// Why a text names no wire.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WireError {
    /// Without a unit, or no number.
    #[error(
        "{given:?} is not a wire size; write mm2 or AWG behind or before the number, like 0.34mm2 or 22AWG"
    )]
    Unit {
        /// As given.
        given: String,
    },
    /// No such size.
    #[error(
        "there is no wire of {given}; near it are {near}. Sizes are those of IEC 60228 (0.14mm2 to 2.5mm2) and AWG of ASTM B258 (10AWG to 30AWG): read \
         the size on the insulation or measure the strands"
    )]
    Unknown {
        /// As given.
        given: String,
        /// Sizes near it.
        near: String,
    },
}

impl WireSize {
    /// From `0.34mm2`, `0.34 mm²`, `22AWG`, `AWG 22`.
    ///
    /// # Errors
    /// [`WireError`] for a size without a unit, or one that does not exist; it names those near it.
    pub fn parse(text: &str) -> Result<Self, WireError> {
        let bare: String = text.to_lowercase().chars().filter(|c| !c.is_whitespace()).collect();
        let unit = || WireError::Unit { given: text.to_owned() };
        if let Some(number) = bare.strip_suffix("mm2").or_else(|| bare.strip_suffix("mm²")) {
            let size: f64 = number.parse().map_err(|_| unit())?;
            let found = METRIC.iter().find(|(mm2, _)| (mm2 - size).abs() < 1e-9);
            return found
                .map(|(mm2, _)| Self::SquareMillimetres(*mm2))
                .ok_or_else(|| unknown(text, metric_near(size)));
        }
        let number = bare.strip_suffix("awg").or_else(|| bare.strip_prefix("awg")).ok_or_else(unit)?;
        let gauge: f64 = number.parse().map_err(|_| unit())?;
        let whole = GAUGES.into_iter().find(|n| f64::from(*n) == gauge);
        whole.map(Self::Awg).ok_or_else(|| unknown(text, gauges_near(gauge)))
    }

    /// Resistance at 20 °C, Ω/m: the largest that is allowed for mm², nominal for AWG.
    pub fn ohms_per_metre(self) -> f64 {
        match self {
            Self::SquareMillimetres(size) => METRIC
                .iter()
                .find(|(mm2, _)| *mm2 == size)
                .map_or(f64::NAN, |(_, milliohms)| milliohms / 1000.0),
            Self::Awg(gauge) => {
                // ASTM B258: d = 0.127 mm · 92^((36 − n)/39). IEC 60028: annealed copper has 0.017241 Ω mm²/m at 20 °C.
                let diameter = 0.127 * 92_f64.powf((36.0 - f64::from(gauge)) / 39.0);
                let area = std::f64::consts::FRAC_PI_4 * diameter * diameter;
                0.017_241 / area
            }
        }
    }

    /// Where its resistance comes from.
    pub const fn source(self) -> &'static str {
        match self {
            Self::SquareMillimetres(size) if size < 0.5 => "VDE 0295, fine strand, maximum",
            Self::SquareMillimetres(_) => "IEC 60228 class 5, maximum",
            Self::Awg(_) => "ASTM B258 diameter, copper of IEC 60028, nominal",
        }
    }
}

impl fmt::Display for WireSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SquareMillimetres(size) => write!(f, "{size}mm2"),
            Self::Awg(gauge) => write!(f, "{gauge}AWG"),
        }
    }
}

impl From<WireSize> for String {
    fn from(size: WireSize) -> Self {
        size.to_string()
    }
}

impl TryFrom<String> for WireSize {
    type Error = WireError;

    fn try_from(text: String) -> Result<Self, WireError> {
        Self::parse(&text)
    }
}

fn unknown(given: &str, near: Vec<WireSize>) -> WireError {
    let near: Vec<String> = near.iter().map(WireSize::to_string).collect();
    WireError::Unknown { given: given.trim().to_owned(), near: near.join(", ") }
}

fn metric_near(size: f64) -> Vec<WireSize> {
    let mut sizes: Vec<f64> = METRIC.iter().map(|(mm2, _)| *mm2).collect();
    let far = |mm2: &f64| if size > 0.0 { (mm2 / size).ln().abs() } else { *mm2 };
    sizes.sort_by(|a, b| far(a).total_cmp(&far(b)));
    sizes.truncate(NEAR);
    sizes.sort_by(f64::total_cmp);
    sizes.into_iter().map(WireSize::SquareMillimetres).collect()
}

fn gauges_near(gauge: f64) -> Vec<WireSize> {
    let mut gauges: Vec<u8> = GAUGES.collect();
    gauges.sort_by(|a, b| (f64::from(*a) - gauge).abs().total_cmp(&(f64::from(*b) - gauge).abs()));
    gauges.truncate(NEAR);
    gauges.sort_unstable();
    gauges.into_iter().map(WireSize::Awg).collect()
}

/// A length of wire at a temperature.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Wire {
    /// Its size.
    pub size: WireSize,
    /// From plug to plug, one way, m; 0.05 to 20.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0.05, max = 20)))]
    pub length_m: f64,
    /// Its temperature, °C; −40 to 125.
    #[cfg_attr(feature = "schemas", schemars(range(min = -40, max = 125)))]
    pub temperature_c: f64,
    /// Whether size or length was stated; otherwise both are assumed.
    pub stated: bool,
}

/// Why there can be no such length of wire.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum WireRangeError {
    /// Too short or too long.
    #[error("a wire of {0} m is not on a vehicle; the length is 0.05 to 20 m, one way, from plug to plug")]
    Length(f64),
    /// Too cold or too warm.
    #[error("{0} °C is not a temperature of a loom that is worked on; it is −40 to 125 °C")]
    Temperature(f64),
}

impl Wire {
    /// What is taken where nothing is stated: engineering assumption, a thin sensor wire from handlebar to controller.
    pub const ASSUMED: Self =
        Self { size: WireSize::SquareMillimetres(0.34), length_m: 2.0, temperature_c: 20.0, stated: false };

    /// The wire, if it can be on a vehicle.
    ///
    /// # Errors
    /// [`WireRangeError`] with what was given and what is allowed.
    pub fn checked(self) -> Result<Self, WireRangeError> {
        if !(0.05..=20.0).contains(&self.length_m) {
            return Err(WireRangeError::Length(self.length_m));
        }
        if !(-40.0..=125.0).contains(&self.temperature_c) {
            return Err(WireRangeError::Temperature(self.temperature_c));
        }
        Ok(self)
    }

    /// What it resists from end to end, Ω.
    pub fn ohms(self) -> f64 {
        self.size.ohms_per_metre() * self.length_m * (1.0 + 0.004 * (self.temperature_c - 20.0))
    }

    /// The wire in words, with where its resistance comes from.
    pub fn words(self) -> String {
        let assumed = if self.stated { "" } else { ", assumed" };
        format!(
            "{} m of {} at {} °C{assumed}: {}",
            self.length_m,
            self.size,
            self.temperature_c,
            self.size.source()
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(size: &str, milliohms_per_metre: f64) {
        let found = WireSize::parse(size).unwrap().ohms_per_metre() * 1000.0;
        assert!((found - milliohms_per_metre).abs() < 0.0006, "{size}: {found}");
    }

    // IEC 60228 class 5 and VDE 0295 fine strand, as the project's references have them.
    #[test]
    fn metric_sizes_have_their_published_maxima() {
        check("0.5mm2", 39.0);
        check("0.75 mm²", 26.0);
        check("1 mm2", 19.5);
        check("2.5mm2", 7.98);
        check("0.34MM2", 53.0);
    }

    // AWG mΩ/m computed apart from ASTM B258 diameters.
    #[test]
    fn gauges_have_the_resistance_of_their_diameter() {
        check("18AWG", 20.948);
        check("AWG 20", 33.308);
        check("22 awg", 52.962);
        check("24AWG", 84.213);
    }

    // Computed apart: 2 m each way of 0.34 mm² at 10 mA.
    #[test]
    fn two_metres_there_and_back_of_a_sensor_wire_drop_2_1_millivolts_at_10_milliamps() {
        let wire = Wire { length_m: 2.0, ..Wire::ASSUMED };
        let drop = 2.0 * wire.ohms() * 0.010;
        assert!((drop * 1000.0 - 2.12).abs() < 1e-9, "{drop}");
        assert!((drop / 5.0 * 100.0 - 0.042).abs() < 0.001);
    }

    #[test]
    fn a_warm_wire_resists_more() {
        let wire = Wire { temperature_c: 70.0, ..Wire::ASSUMED };
        assert!((wire.ohms() / Wire::ASSUMED.ohms() - 1.2).abs() < 1e-12);
    }

    #[track_caller]
    fn refused(text: &str, words: &[&str]) {
        let error = WireSize::parse(text).unwrap_err().to_string();
        for word in words {
            assert!(error.contains(word), "{word} in {error}");
        }
    }

    #[test]
    fn a_size_that_does_not_exist_names_those_near_it() {
        refused("0.33mm2", &["0.33mm2", "0.25mm2", "0.34mm2", "ASTM B258"]);
        refused("23.5AWG", &["23AWG", "24AWG"]);
        refused("99AWG", &["30AWG"]);
        refused("-1mm2", &["0.14mm2"]);
    }

    #[test]
    fn a_size_without_its_unit_is_asked_for_it() {
        for text in ["0.34", "", "mm2", "thin", "NaN mm2x"] {
            refused(text, &["mm2 or AWG"]);
        }
        refused("NaNmm2", &["there is no wire"]);
    }

    #[test]
    fn a_size_is_stored_as_it_is_written_and_read_again() {
        for text in ["0.34mm2", "2.5mm2", "22AWG"] {
            assert_eq!(WireSize::parse(text).unwrap().to_string(), text);
        }
    }

    #[test]
    fn lengths_and_temperatures_that_no_vehicle_has_are_refused() {
        let with = |length_m, temperature_c| Wire { length_m, temperature_c, ..Wire::ASSUMED }.checked();
        assert_eq!(with(f64::NAN, 20.0).map_err(|e| e.to_string().contains("0.05 to 20 m")), Err(true));
        assert_eq!(with(180.0, 20.0), Err(WireRangeError::Length(180.0)));
        assert_eq!(with(1.8, 200.0), Err(WireRangeError::Temperature(200.0)));
    }
}
