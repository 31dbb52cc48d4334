//! A soak in words: its course in facts, its figures over time, when lines were lost. The same for every medium.

use super::format;
use super::rows::Named;
use super::text::{SENTENCE, plain};
use super::text::{capital, signs};
use super::words::{self, Lines};
use crate::compare::soak::is_near;
use crate::outcome::{Outcome, OutcomeSoak, SoakDrift};
use crate::quantity::Unit;
use crate::quantity::rounding::{fixed, rounded, significant};
use crate::sheet::Topology;

/// A figure over time, as a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DriftRow {
    /// Name, with line and condition.
    pub name: String,
    /// On its line at the beginning.
    pub first: String,
    /// On its line at the end.
    pub last: String,
    /// Slope with its 95 % interval.
    pub per_hour: String,
    /// Probability by chance, for all figures together.
    pub chance: String,
    /// Whether it drifts, and where to.
    pub word: String,
    /// Whether it drifts.
    pub drifts: bool,
}

/// A soak in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SoakWords {
    /// How long, how many rounds, dropouts, temperature, what is kept.
    pub facts: Vec<Named>,
    /// Figures over time, those that drift first.
    pub rows: Vec<DriftRow>,
}

impl SoakWords {
    /// What to read above the rows.
    pub const READING: &'static str = "Slope over time (Theil–Sen) with its 95 % interval. “Drifts”: chance alone would say it of any figure \
        of the soak less than once in twenty soaks (Mann–Kendall, Holm).";

    /// Of an outcome; none when it is not about a soak.
    pub fn of(outcome: &Outcome) -> Option<Self> {
        let soak = outcome.soak.as_ref()?;
        let lines = Lines::of(outcome);
        let mut rows: Vec<DriftRow> = soak.drifts.iter().map(|d| row(d, soak, lines)).collect();
        rows.sort_by_key(|r| !r.drifts);
        let drift = match (rows.len(), rows.iter().filter(|r| r.drifts).count()) {
            (0, _) => "at least ten rounds are needed to see a drift".to_owned(),
            (all, drifting) => format!("{drifting} of {all} figures drift"),
        };
        let drift = Named { name: "drift".to_owned(), text: drift };
        Some(Self { facts: facts(soak).into_iter().chain([drift]).collect(), rows })
    }
}

/// A figure's name with line and condition.
pub(super) fn name(drift: &SoakDrift, lines: Lines) -> String {
    let mut name = words::figure(&drift.figure);
    if drift.channel.is_some() {
        name = format!("{name}, {} line", lines.stored(drift.channel.as_deref(), ""));
    }
    let condition = drift.condition.words();
    if condition.is_empty() { name } else { format!("{name} ({condition})") }
}

/// The same where no outcome is made yet.
pub fn soak_name(drift: &SoakDrift, topology: &Topology) -> String {
    let line = match (drift.channel.as_deref(), topology) {
        (None, _) => String::new(),
        (Some(line), Topology::Complementary) => format!(", {line} line"),
        (Some("rising"), _) => ", first line".to_owned(),
        (Some(_), _) => ", second line".to_owned(),
    };
    let condition = drift.condition.words();
    let condition = if condition.is_empty() { condition } else { format!(" ({condition})") };
    format!("{}{line}{condition}", words::figure(&drift.figure))
}

pub(super) fn row(drift: &SoakDrift, soak: &OutcomeSoak, lines: Lines) -> DriftRow {
    let level = |value: f64| format::with_unit(&significant(value, 4), drift.unit);
    DriftRow {
        name: capital(&name(drift, lines)),
        first: level(drift.first),
        last: level(drift.last),
        per_hour: slope(drift.per_hour, (drift.lower, drift.upper), drift.unit),
        chance: if drift.p_family < 0.001 {
            "< 0.1 %".to_owned()
        } else {
            format!("{} %", significant(100.0 * drift.p_family, 2))
        },
        word: outlook(drift, soak),
        drifts: drift.drifts,
    }
}

/// The slope with its interval, in a unit that leaves few zeros after the point: "15.0 (14.8 to 15.2) mV/h".
fn slope(per_hour: f64, (lower, upper): (f64, f64), of: Unit) -> String {
    let largest = per_hour.abs().max(lower.abs()).max(upper.abs());
    let unit = format::unit(of);
    let (factor, unit) = match of {
        _ if largest == 0.0 => (1.0, format!("{unit}/h")),
        Unit::Volt | Unit::VoltAtFive if largest < 1e-4 => (1e6, "µV/h".to_owned()),
        Unit::Volt | Unit::VoltAtFive if largest < 0.1 => (1e3, "mV/h".to_owned()),
        _ if largest < 0.01 => (1e3, format!("{unit} in 1000 h")),
        _ => (1.0, format!("{unit}/h")),
    };
    let half = 0.5 * factor * (upper - lower);
    let shown = |value: f64| rounded(factor * value, half).0;
    format!("{} ({} to {}) {unit}", shown(per_hour), shown(lower), shown(upper))
}

pub(super) fn outlook(drift: &SoakDrift, soak: &OutcomeSoak) -> String {
    if !drift.drifts {
        return "no drift seen".to_owned();
    }
    let Some(from) = drift.reaches_from_h else {
        let beyond = [drift.min.map(|m| drift.last < m), drift.max.map(|m| drift.last > m)];
        return if beyond.contains(&Some(true)) {
            "drifts; its limit is passed".to_owned()
        } else {
            "drifts, towards no limit".to_owned()
        };
    };
    if !is_near(drift, soak.hours) {
        return "drifts; its limit is far off".to_owned();
    }
    format!("drifts; would reach its limit in {}", reach_words(from, drift.reaches_to_h))
}

/// When a limit would be reached: "40 to 90 h", "about 7.0 h", "40 h or later".
pub fn reach_words(from_h: f64, to_h: Option<f64>) -> String {
    let shown = |h: f64| significant(h, 2);
    match to_h.map(shown) {
        None => format!("{} h or later", shown(from_h)),
        Some(to) if to == shown(from_h) => format!("about {to} h"),
        Some(to) => format!("{} to {to} h", shown(from_h)),
    }
}

fn facts(soak: &OutcomeSoak) -> Vec<Named> {
    let fact =
        |name: &str, text: String| Named { name: name.to_owned(), text: plain(&signs(&text), SENTENCE) };
    let events = &soak.events;
    let per_hour = |per_minute: f64| significant(60.0 * per_minute, 3);
    let mut facts = vec![
        fact("rounds", format!("{} of {} planned, {} cycles", soak.rounds, soak.rounds_planned, soak.cycles)),
        fact(
            "time",
            format!(
                "{} h of soaking, {} h from the first round to the last",
                fixed(soak.soaked_hours, 2),
                fixed(soak.hours, 2)
            ),
        ),
        fact(
            "dropouts",
            format!(
                "{} in {} min watched: {} per hour watched (95 %: {} to {})",
                events.all.events,
                fixed(events.all.minutes, 1),
                per_hour(events.rate),
                per_hour(events.lower),
                per_hour(events.upper)
            ),
        ),
    ];
    if events.all.events > 0 {
        let (a, b) = (&events.first_half, &events.second_half);
        let word = if events.changed { "the rate changed" } else { "no change of the rate seen" };
        facts.push(fact(
            "first and second half",
            format!(
                "{} and {} dropouts: {word} (by chance {} %)",
                a.events,
                b.events,
                significant(100.0 * events.p, 2)
            ),
        ));
    }
    if let Some(t) = &soak.temperature {
        let one = |v: f64| fixed(v, 1);
        facts.push(fact(
            "temperature of the rig",
            format!(
                "{} to {} °C; {} at the beginning, {} at the end",
                one(t.lowest),
                one(t.highest),
                one(t.first),
                one(t.last)
            ),
        ));
    }
    for found in &soak.findings {
        let name = found.finding.replace('_', " ");
        facts.push(fact("seen in rounds", format!("{name}: in {} of {}", found.rounds, soak.rounds)));
    }
    let room = match soak.rounds_without_room {
        0 => String::new(),
        n => format!("; of {n} rounds with dropouts they were left out for want of room"),
    };
    facts.push(fact(
        "traces kept",
        format!("of {} rounds: the first, the last, some between, those with dropouts{room}. Figures and dropouts are kept of every round", soak.rounds_with_traces),
    ));
    facts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_is_shown_in_a_unit_with_few_zeros_after_the_point() {
        assert_eq!(slope(0.015, (0.0148, 0.0152), Unit::VoltAtFive), "15.00 (14.80 to 15.20) mV/h");
        assert_eq!(slope(-1.1e-7, (-3.6e-7, 1.4e-7), Unit::VoltAtFive), "−0.11 (−0.36 to 0.14) µV/h");
        assert_eq!(
            slope(1e-6, (-1.1e-5, 1.3e-5), Unit::PercentSpan),
            "0.001 (−0.011 to 0.013) % of span in 1000 h"
        );
        assert_eq!(slope(1.25, (1.0, 1.5), Unit::PercentSupply), "1.25 (1.00 to 1.50) % of supply/h");
        assert_eq!(slope(0.0, (0.0, 0.0), Unit::Degree), "0 (0 to 0) °/h");
    }
}
