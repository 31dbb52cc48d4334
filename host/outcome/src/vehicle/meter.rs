//! The meter that the readings were taken with: how far each may be off, and what its leads add. It does not judge.
//!
//! A data sheet's "± (percent of reading + counts)" is a bound; as a standard uncertainty it is divided by √3 (JCGM 100:2008, 4.3.7:
//! a uniform distribution). What the shorted probes show is subtracted, and its own uncertainty is added in squares.

use serde::{Deserialize, Serialize};

/// A range of the meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Range {
    /// A milliohm meter's, or four-wire.
    Milliohms,
    /// Resistance.
    Ohms,
    /// Insulation.
    Megohms,
    /// Small voltages.
    Millivolts,
    /// Voltage.
    Volts,
    /// Current.
    Amps,
}

impl Range {
    /// All.
    pub const ALL: [Self; 6] =
        [Self::Milliohms, Self::Ohms, Self::Megohms, Self::Millivolts, Self::Volts, Self::Amps];

    /// The name in files and options.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Milliohms => "milliohms",
            Self::Ohms => "ohms",
            Self::Megohms => "megohms",
            Self::Millivolts => "millivolts",
            Self::Volts => "volts",
            Self::Amps => "amps",
        }
    }

    /// The unit of its resolution and that unit in Ω, V or A.
    const fn unit(self) -> (&'static str, f64) {
        match self {
            Self::Milliohms => ("mohm", 1e-3),
            Self::Ohms => ("ohm", 1.0),
            Self::Megohms => ("Mohm", 1e6),
            Self::Millivolts => ("mV", 1e-3),
            Self::Volts => ("V", 1.0),
            Self::Amps => ("A", 1.0),
        }
    }
}

/// How far a reading of one range may be off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Accuracy {
    /// Percent of the reading, 0 to 50.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub percent: f64,
    /// Counts of the last digit, 0 to 1000.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub counts: f64,
    /// One count, Ω, V or A; above 0.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub resolution: f64,
}

/// Why a text is not an accuracy.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{given:?} is not an accuracy of the {range} range; write it as the meter's data sheet has it: PERCENT % + COUNTS x RESOLUTION, like {example:?} \
     (0 to 50 %, 0 to 1000 counts)"
)]
pub struct AccuracyError {
    given: String,
    range: &'static str,
    example: String,
}

impl Accuracy {
    /// From `0.8 % + 2 x 0.1 ohm`; the unit is that of the range: mohm, ohm, Mohm, mV, V, A.
    ///
    /// # Errors
    /// The text is not so, or a number is out of range.
    pub fn parse(text: &str, range: Range) -> Result<Self, AccuracyError> {
        Self::read(text, range).ok_or_else(|| AccuracyError {
            given: text.to_owned(),
            range: range.name(),
            example: format!("1 % + 2 x 0.1 {}", range.unit().0),
        })
    }

    fn read(text: &str, range: Range) -> Option<Self> {
        let (unit, factor) = range.unit();
        let (percent, rest) = text.split_once('%')?;
        let (counts, resolution) = rest.trim().strip_prefix('+')?.split_once('x')?;
        let resolution = resolution.trim().strip_suffix(unit)?;
        let number =
            |text: &str, most: f64| text.trim().parse().ok().filter(|n: &f64| (0.0..=most).contains(n));
        let resolution = number(resolution, 1000.0).filter(|r| *r > 0.0)?;
        Some(Self {
            percent: number(percent, 50.0)?,
            counts: number(counts, 1000.0)?,
            resolution: resolution * factor,
        })
    }

    /// As it is written.
    pub fn words(self, range: Range) -> String {
        let (unit, factor) = range.unit();
        let resolution = (self.resolution / factor * 1e9).round() / 1e9;
        format!("{} % + {} x {resolution} {unit}", self.percent, self.counts)
    }

    /// Standard uncertainty of a reading, in its unit.
    pub fn standard_uncertainty(self, reading: f64) -> f64 {
        (self.percent / 100.0 * reading.abs() + self.counts * self.resolution) / 3_f64.sqrt()
    }

    /// Standard uncertainty of the difference of two readings of nearly the same value, one after the other on the same range: what is
    /// common to both falls out, a count of each is left.
    pub fn difference_uncertainty(self) -> f64 {
        self.resolution * 2_f64.sqrt() / 3_f64.sqrt()
    }
}

/// A meter as its data sheet has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Meter {
    /// In the user's words; may hold anything.
    pub name: String,
    /// For readings in mΩ, where the meter has such a range; its probes then add nothing (four wires, or set to zero).
    pub milliohms: Option<Accuracy>,
    /// For readings in Ω and kΩ.
    pub ohms: Accuracy,
    /// For readings in MΩ.
    pub megohms: Accuracy,
    /// The largest insulation it can show, Ω: `OL` means more.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub megohms_end: f64,
    /// For readings in mV, where it has such a range.
    pub millivolts: Accuracy,
    /// For readings in V.
    pub volts: Accuracy,
    /// For currents.
    pub amps: Accuracy,
    /// What the probes show when held together, Ω; subtracted from readings in Ω.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 5)))]
    pub leads_ohms: f64,
    /// Whether any of it was stated; otherwise it is an ordinary hand meter's, an engineering assumption.
    pub stated: bool,
}

impl Default for Meter {
    /// An ordinary hand meter: engineering assumption.
    fn default() -> Self {
        let accuracy = |percent, counts, resolution| Accuracy { percent, counts, resolution };
        Self {
            name: String::new(),
            milliohms: None,
            ohms: accuracy(1.0, 2.0, 0.1),
            megohms: accuracy(3.0, 5.0, 0.01e6),
            megohms_end: 20e6,
            millivolts: accuracy(0.5, 3.0, 0.1e-3),
            volts: accuracy(0.5, 2.0, 0.01),
            amps: accuracy(2.0, 3.0, 0.01),
            leads_ohms: 0.0,
            stated: false,
        }
    }
}

/// A reading with the leads taken off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corrected {
    /// Value, Ω or V.
    pub value: f64,
    /// Standard uncertainty, same unit.
    pub uncertainty: f64,
}

impl Meter {
    /// The range that a resistance was read on.
    pub fn of_ohms(&self, ohms: f64, in_milliohms: bool) -> Accuracy {
        match self.milliohms {
            Some(milliohms) if in_milliohms => milliohms,
            _ if ohms >= 1e6 => self.megohms,
            _ => self.ohms,
        }
    }

    /// What the probes add to a reading.
    fn leads(&self, in_milliohms: bool) -> f64 {
        if in_milliohms && self.milliohms.is_some() { 0.0 } else { self.leads_ohms }
    }

    /// A resistance of a wire, the probes' own taken off.
    pub fn wire(&self, ohms: f64, in_milliohms: bool) -> Corrected {
        let range = self.of_ohms(ohms, in_milliohms);
        let leads = self.leads(in_milliohms);
        let own = if leads > 0.0 { self.ohms.standard_uncertainty(leads) } else { 0.0 };
        Corrected { value: ohms - leads, uncertainty: range.standard_uncertainty(ohms).hypot(own) }
    }

    /// Standard uncertainty of a voltage, V.
    pub fn volts_uncertainty(&self, volts: f64, in_millivolts: bool) -> f64 {
        let range = if in_millivolts { self.millivolts } else { self.volts };
        range.standard_uncertainty(volts)
    }

    /// The meter in words.
    pub fn words(&self) -> String {
        let name = if self.stated { self.name.as_str() } else { "an ordinary hand meter, assumed" };
        let ranges = [
            (Range::Milliohms, self.milliohms),
            (Range::Ohms, Some(self.ohms)),
            (Range::Megohms, Some(self.megohms)),
            (Range::Millivolts, Some(self.millivolts)),
            (Range::Volts, Some(self.volts)),
            (Range::Amps, Some(self.amps)),
        ];
        let told: Vec<String> = ranges
            .iter()
            .filter_map(|(range, a)| Some(format!("± ({})", a.as_ref()?.words(*range))))
            .collect();
        let leads = format!("probes held together {} Ω, subtracted", self.leads_ohms);
        [name, &told.join(", "), &leads]
            .iter()
            .filter(|t| !t.is_empty())
            .copied()
            .collect::<Vec<_>>()
            .join("; ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_accuracy_is_read_as_data_sheets_have_it_and_written_so_again() {
        let read = Accuracy::parse("0.8 % + 2 x 0.1 ohm", Range::Ohms).unwrap();
        assert_eq!((read.percent, read.counts, read.resolution), (0.8, 2.0, 0.1));
        assert_eq!(read.words(Range::Ohms), "0.8 % + 2 x 0.1 ohm");
        let small = Accuracy::parse("1%+3x0.1mohm", Range::Milliohms).unwrap();
        assert!((small.resolution - 1e-4).abs() < 1e-18);
        assert_eq!(small.words(Range::Milliohms), "1 % + 3 x 0.1 mohm");
    }

    #[test]
    fn an_accuracy_of_another_range_or_beyond_all_meters_is_refused_with_an_example() {
        for text in [
            "",
            "1 %",
            "1 % + 2 x 0.1 V",
            "1 % + 2 x 0 ohm",
            "-1 % + 2 x 0.1 ohm",
            "NaN % + 2 x 0.1 ohm",
            "80 % + 1 x 1 ohm",
        ] {
            let error = Accuracy::parse(text, Range::Ohms).unwrap_err().to_string();
            assert!(error.contains("1 % + 2 x 0.1 ohm"), "{error}");
        }
    }

    // JCGM 100:2008, 4.3.7: a bound of ± a is a standard uncertainty of a/√3.
    #[test]
    fn a_bound_becomes_a_standard_uncertainty_of_a_uniform_distribution() {
        let meter = Meter { leads_ohms: 0.2, ..Meter::default() };
        let wire = meter.wire(0.5, false);
        assert!((wire.value - 0.3).abs() < 1e-12);
        // (1 % of 0.5 Ω + 2 × 0.1 Ω)/√3 and (1 % of 0.2 Ω + 2 × 0.1 Ω)/√3, in squares.
        let expected = (0.205_f64.powi(2) / 3.0 + 0.202_f64.powi(2) / 3.0).sqrt();
        assert!((wire.uncertainty - expected).abs() < 1e-12);
    }

    #[test]
    fn probes_are_not_taken_off_a_four_wire_reading() {
        let milliohms = Accuracy { percent: 1.0, counts: 2.0, resolution: 1e-4 };
        let meter = Meter { milliohms: Some(milliohms), leads_ohms: 0.2, ..Meter::default() };
        assert_eq!(meter.wire(0.043, true).value, 0.043);
        assert!((meter.wire(0.043, false).value + 0.157).abs() < 1e-12);
    }
}
