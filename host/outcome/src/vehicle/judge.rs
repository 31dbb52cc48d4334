//! One line against what is expected of it: the reading with the meter's uncertainty and its guard band, by the 95 % rule of
//! `verdict`. What lines say together is `conclusion`'s business.

use super::meter::{Accuracy, Corrected, Meter};
use super::readings::{Load, Reading, Typed};
use super::show;
use super::worksheet::{Line, MOVED_OHMS};
use crate::diagnosis::CheckKind;
use crate::verdict::{Conformity, Verdict, conformity};

/// What can be said of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// The value that was judged and its standard uncertainty, in the line's unit; none for words.
    pub measured: Option<Corrected>,
    /// The verdict.
    pub verdict: Verdict,
    /// Why, as a sentence.
    pub why: String,
}

/// What a line needs beside its own reading.
#[derive(Clone, Copy, Debug)]
pub struct Beside<'a> {
    /// The meter.
    pub meter: &'a Meter,
    /// The same wire's continuity at rest, as typed.
    pub at_rest: Option<Typed>,
    /// The supply at the same plug, V.
    pub supply: Option<Typed>,
}

/// Judges a reading; none where something beside it is missing, which `beside` would have to bring.
pub fn judge(line: &Line, reading: &Reading, beside: Beside<'_>) -> Option<Said> {
    Some(match reading {
        Reading::Firm => word(Verdict::Within, "The terminal holds its pin."),
        Reading::Loose => word(Verdict::Outside, "The terminal does not hold its pin."),
        Reading::Unclear => word(
            Verdict::Undecided,
            "It could not be told; a new pin or a gauge pin of the terminal's maker would.",
        ),
        Reading::Flickers => word(
            Verdict::Outside,
            "It comes and goes while the loom is moved: the wire or its crimp is broken inside.",
        ),
        Reading::Open => open(line, beside.meter),
        Reading::MoreThan(bound) => more_than(line, *bound, beside.meter),
        Reading::Steady => {
            moved(line, None, 0.0, beside.meter.of_ohms(0.0, beside.at_rest.is_some_and(|t| t.milli)))
        }
        Reading::Ohms(typed) if is_wiggle(line.check) => wiggle(line, beside.at_rest, *typed, beside.meter),
        Reading::Moved(rest, worst) => wiggle(line, Some(*rest), *worst, beside.meter),
        Reading::Ohms(typed) if line.check == CheckKind::Continuity => {
            against(line, beside.meter.wire(typed.value, typed.milli))
        }
        Reading::Ohms(typed) => {
            let uncertainty =
                beside.meter.of_ohms(typed.value, typed.milli).standard_uncertainty(typed.value);
            against(line, Corrected { value: typed.value, uncertainty })
        }
        Reading::Drop(volts, load) => drop(line, *volts, *load, beside.meter),
        Reading::Volts(volts) if line.expected.counted == super::Counted::Volts => {
            let uncertainty = beside.meter.volts_uncertainty(volts.value, volts.milli);
            against(line, Corrected { value: volts.value, uncertainty })
        }
        Reading::Volts(volts) => against(line, ratio(*volts, beside.supply?, beside.meter)),
    })
}

const fn is_wiggle(check: CheckKind) -> bool {
    matches!(check, CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector)
}

fn word(verdict: Verdict, why: &str) -> Said {
    Said { measured: None, verdict, why: why.to_owned() }
}

/// A value against the line's limits.
pub fn against(line: &Line, measured: Corrected) -> Said {
    let expected = &line.expected;
    let found = conformity(measured.value, measured.uncertainty, expected.min, expected.max);
    Said { measured: Some(measured), verdict: found.verdict, why: sentence(line, measured, found) }
}

fn sentence(line: &Line, measured: Corrected, found: Conformity) -> String {
    let value = show::value(measured.value, line.expected.counted);
    let limits = show::limits(&line.expected);
    let guard = show::value(found.guard, line.expected.counted);
    match found.verdict {
        Verdict::Within => format!("{value}; allowed {limits}, guard band {guard}."),
        Verdict::Outside => {
            format!("{value} is beyond what is allowed ({limits}) by more than the guard band of {guard}.")
        }
        Verdict::Undecided => {
            format!(
                "{value} is nearer to the limit ({limits}) than the guard band of {guard}; {}",
                would_decide(line.check)
            )
        }
    }
}

const fn would_decide(check: CheckKind) -> &'static str {
    match check {
        CheckKind::SupplyDrop | CheckKind::GroundDrop => {
            "a larger load and a finer voltmeter range would decide."
        }
        CheckKind::SensorOutput => "a finer voltmeter would decide, or the bench.",
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween => {
            "dry the plug and measure again, with an insulation range."
        }
        _ => "a four-wire milliohm meter would decide, or the drop under load.",
    }
}

fn open(line: &Line, meter: &Meter) -> Said {
    match line.check {
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween => {
            let end = Typed { value: meter.megohms_end, milli: false };
            more_than(line, end, meter)
        }
        CheckKind::Continuity => word(Verdict::Outside, "The wire is open from end to end."),
        _ => word(Verdict::Outside, "The wire goes open while the loom is moved: it is broken inside."),
    }
}

/// A reading that is known to be more than a bound.
fn more_than(line: &Line, bound: Typed, meter: &Meter) -> Said {
    let uncertainty = meter.of_ohms(bound.value, bound.milli).standard_uncertainty(bound.value);
    let expected = &line.expected;
    let found = conformity(bound.value, uncertainty, expected.min, expected.max);
    let value = show::ohms(bound.value);
    let limits = show::limits(expected);
    match (expected.max, found.verdict) {
        (None, Verdict::Within) => word(Verdict::Within, &format!("More than {value}; allowed {limits}.")),
        (Some(_), Verdict::Outside) => {
            word(Verdict::Outside, &format!("More than {value}; allowed {limits}."))
        }
        _ => word(
            Verdict::Undecided,
            &format!("More than {value} says too little ({limits}); a range that ends higher would decide."),
        ),
    }
}

/// The worst while moved: it must keep the wire's limit, and must not have changed.
fn wiggle(line: &Line, rest: Option<Typed>, worst: Typed, meter: &Meter) -> Said {
    let still = against(line, meter.wire(worst.value, worst.milli));
    let range = meter.of_ohms(worst.value, worst.milli);
    let Some(rest) = rest else { return still };
    let change = moved(line, Some(worst), worst.value - rest.value, range);
    let rank = |verdict| match verdict {
        Verdict::Outside => 2,
        Verdict::Undecided => 1,
        Verdict::Within => 0,
    };
    if rank(still.verdict) > rank(change.verdict) { still } else { change }
}

/// How much a resistance changed while the loom was moved.
fn moved(line: &Line, worst: Option<Typed>, change: f64, range: Accuracy) -> Said {
    let uncertainty = range.difference_uncertainty();
    let found = conformity(change, uncertainty, None, Some(MOVED_OHMS));
    let by = if worst.is_none() {
        "No change was seen".to_owned()
    } else {
        format!("It changed by {}", show::ohms(change))
    };
    let guard = show::ohms(found.guard);
    let limit = show::ohms(MOVED_OHMS);
    let why = match found.verdict {
        Verdict::Within => format!("{by} while the loom was moved; allowed {limit}, guard band {guard}."),
        Verdict::Outside => format!(
            "{by} while the loom was moved, more than {limit} and the guard band of {guard}: strands or a crimp are broken."
        ),
        Verdict::Undecided => format!(
            "{by} while the loom was moved; the limit {limit} is nearer than the guard band of {guard}; {}",
            would_decide(line.check)
        ),
    };
    Said { measured: Some(Corrected { value: change, uncertainty }), verdict: found.verdict, why }
}

/// The resistance that drops so much at the load's current.
fn drop(line: &Line, volts: Typed, load: Load, meter: &Meter) -> Said {
    let amps = load.amps();
    let amps_uncertainty = load.bulb_uncertainty().unwrap_or_else(|| meter.amps.standard_uncertainty(amps));
    let value = volts.value / amps;
    let uncertainty =
        (meter.volts_uncertainty(volts.value, volts.milli) / amps).hypot(value * amps_uncertainty / amps);
    against(line, Corrected { value, uncertainty })
}

/// A voltage as a ratio of the supply at the same plug.
pub fn ratio(volts: Typed, supply: Typed, meter: &Meter) -> Corrected {
    let value = volts.value / supply.value;
    let own = meter.volts_uncertainty(volts.value, volts.milli) / supply.value;
    let of_supply = value * meter.volts_uncertainty(supply.value, supply.milli) / supply.value;
    Corrected { value, uncertainty: own.hypot(of_supply) }
}

/// The pair's correlation residual `r₂ − (m · r₁ + k)`.
pub fn correlation(first: Typed, second: Typed, supply: Typed, line: (f64, f64), meter: &Meter) -> Corrected {
    let (m, k) = line;
    let of = |volts: Typed| meter.volts_uncertainty(volts.value, volts.milli) / supply.value;
    let crossed = (second.value - m * first.value) / supply.value;
    let uncertainty = of(second).hypot(m * of(first)).hypot(crossed * of(supply));
    Corrected { value: crossed - k, uncertainty }
}

#[cfg(test)]
mod tests {
    use super::super::Subject;
    use super::super::fixture::setup;
    use super::*;

    fn line(id: &str) -> Line {
        setup(Subject::Grip).lines().into_iter().find(|l| l.id == id).unwrap()
    }

    #[track_caller]
    fn check(id: &str, entry: &str, meter: &Meter, verdict: Verdict) -> Said {
        let line = line(id);
        let reading = Reading::parse(entry, line.check, id).unwrap();
        let supply = Some(Typed { value: 5.0, milli: false });
        let said = judge(&line, &reading, Beside { meter, at_rest: None, supply }).unwrap();
        assert_eq!(said.verdict, verdict, "{}", said.why);
        said
    }

    // Limit 1.8 m × 53 mΩ/m + 0.5 Ω = 0.5954 Ω. Guard band 1.645 u; u of 0.5 Ω: (1 % of 0.5 Ω + 2 × 0.1 Ω)/√3 = 0.1184 Ω.
    #[test]
    fn a_continuity_is_decided_only_beyond_the_meters_guard_band() {
        let meter = Meter::default();
        let id = "grip.continuity.first";
        check(id, "0.3 ohm", &meter, Verdict::Within);
        check(id, "0.5 ohm", &meter, Verdict::Undecided);
        check(id, "0.8 ohm", &meter, Verdict::Outside);
        check(id, "open", &meter, Verdict::Outside);
        check(id, ">20 ohm", &meter, Verdict::Outside);
    }

    #[test]
    fn a_finer_meter_decides_what_an_ordinary_one_does_not() {
        let fine = Accuracy { percent: 0.5, counts: 2.0, resolution: 1e-4 };
        let meter = Meter { milliohms: Some(fine), ..Meter::default() };
        check("grip.continuity.first", "500 mohm", &meter, Verdict::Within);
    }

    #[test]
    fn insulation_beyond_the_range_is_good_only_where_the_range_reaches_the_limit() {
        let meter = Meter::default();
        let id = "grip.frame.first";
        check(id, "OL", &meter, Verdict::Within);
        check(id, ">20 Mohm", &meter, Verdict::Within);
        check(id, ">0.2 Mohm", &meter, Verdict::Undecided);
        check(id, "0.2 Mohm", &meter, Verdict::Outside);
        check(id, "OL", &Meter { megohms_end: 0.5e6, ..meter }, Verdict::Undecided);
    }

    #[test]
    fn a_wire_that_changes_while_moved_is_broken_inside_sound_insulation() {
        let meter = Meter::default();
        let id = "grip.bend.first";
        for (entry, verdict) in [
            ("steady", Verdict::Within),
            ("0.1..0.2 ohm", Verdict::Within),
            ("0.1..0.3 ohm", Verdict::Undecided),
            ("0.1..0.4 ohm", Verdict::Undecided),
            ("0.1..0.5 ohm", Verdict::Outside),
            ("flickers", Verdict::Outside),
            ("open", Verdict::Outside),
        ] {
            check(id, entry, &meter, verdict);
        }
    }

    // Limit 1.8 m × 53 mΩ/m + 50 mΩ = 145.4 mΩ: 247 mV at 1.7 A.
    #[test]
    fn a_drop_under_load_is_judged_by_the_resistance_that_it_shows() {
        let meter = Meter::default();
        let id = "grip.drop.ground";
        check(id, "170 mV @ 1.7 A", &meter, Verdict::Within);
        check(id, "400 mV @ 1.7 A", &meter, Verdict::Outside);
        check(id, "170 mV @ bulb 21 W", &meter, Verdict::Within);
        // At 10 mA an ordinary meter sees 0.1 mV steps: 30 mΩ each with their counts.
        check(id, "1 mV @ 10 mA", &meter, Verdict::Undecided);
    }

    #[test]
    fn outputs_count_as_ratios_of_the_supply_at_the_same_plug() {
        let meter = Meter::default();
        let said = check("grip.output.first.rest", "0.50 V", &meter, Verdict::Within);
        assert!((said.measured.unwrap().value - 0.1).abs() < 1e-12);
        check("grip.output.first.rest", "0.9 V", &meter, Verdict::Outside);
        let reading = Reading::Volts(Typed { value: 0.5, milli: false });
        let alone = Beside { meter: &meter, at_rest: None, supply: None };
        assert_eq!(judge(&line("grip.output.first.rest"), &reading, alone), None);
    }
}
