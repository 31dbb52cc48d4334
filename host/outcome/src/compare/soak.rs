//! What the rounds of a soak say together: figures over time with their drift, dropouts over time, temperature, holes. It takes the lines of
//! a log one by one, and knows no file.
//!
//! Drifts share one level ([`super::family`], Holm, 5 %). The rate of dropouts in the first half of the time watched is held against that in
//! the second ([`super::events`]). A drift is followed to its limit only where it is shown, and along a straight line.

use super::drift::{blocks, drift};
use super::events::{self, Watched};
use super::family;
use super::trend::smooth;
use crate::analysis::dropout::Wire;
use crate::analysis::statistics::{median, poisson_lower, poisson_upper};
use crate::outcome::{
    OutcomeSoak, SoakBegin, SoakDrift, SoakEnd, SoakEvents, SoakFigure, SoakFindingCount, SoakHole, SoakLine,
    SoakLogFile, SoakRound, SoakTemperature, SoakWatched,
};
use crate::quantity::{Condition, FigureName, Written};
use crate::sheet::PartSheet;
use crate::verdict::{Verdict, conformity};
use std::collections::BTreeMap;

/// Points of a picture.
const POINTS: usize = 240;
/// One-sided confidence of each bound of a rate.
const BOUND: f64 = 0.975;
/// A change of the rate of dropouts is distinguished from this probability down.
const LEVEL: f64 = 0.05;

/// Values of one figure over time.
#[derive(Clone, Debug)]
struct Values {
    figure: SoakFigure,
    hours: Vec<f64>,
    values: Vec<f64>,
    u: Vec<f64>,
}

/// Dropouts of one wire.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WireEvents {
    /// Sure ones.
    pub sure: u64,
    /// Those that are not.
    pub unsure: u64,
    /// Shortest and longest, µs.
    pub length_us: Option<(f64, f64)>,
    /// Largest depth, ratio of supply.
    pub deepest: f64,
    /// Places, lowest and highest, degrees.
    pub at_deg: Option<(f64, f64)>,
    /// Rounds that had one.
    pub rounds: u64,
}

/// The course of a soak, line by line.
#[derive(Clone, Debug, Default)]
pub struct Course {
    begin: Option<SoakBegin>,
    end: Option<SoakEnd>,
    last: Option<SoakRound>,
    first_h: f64,
    rounds: u64,
    cycles: u64,
    with_traces: u64,
    with_events_and_traces: u64,
    /// Traces of the last round that has any.
    kept: Vec<String>,
    without_room: u64,
    unsure: u64,
    holes: Vec<SoakHole>,
    figures: Vec<Values>,
    places: BTreeMap<String, usize>,
    wires: BTreeMap<Written<Wire>, WireEvents>,
    findings: BTreeMap<String, u64>,
    watched: Vec<SoakWatched>,
    ticks: Vec<f64>,
    hours: Vec<f64>,
    celsius: Vec<f64>,
    trips: f64,
}

impl Course {
    /// Takes the next line.
    pub fn take(&mut self, line: SoakLine) {
        match line {
            SoakLine::Begin(begin) => self.begin = Some(begin),
            SoakLine::Resume(hole) => {
                self.holes.push(hole);
                // What ended is going on again.
                self.end = None;
            }
            SoakLine::End(end) => self.end = Some(end),
            SoakLine::Kept(kept) => {
                self.with_traces += 1;
                self.kept = kept.traces;
            }
            SoakLine::Round(round) => self.round(round),
        }
    }

    /// What was asked for; none before the first line.
    pub fn begin(&self) -> Option<&SoakBegin> {
        self.begin.as_ref()
    }

    /// How it ended; none while it has not.
    pub fn end(&self) -> Option<&SoakEnd> {
        self.end.as_ref()
    }

    /// The last round.
    pub fn last(&self) -> Option<&SoakRound> {
        self.last.as_ref()
    }

    /// Rounds that were done.
    pub fn rounds(&self) -> u64 {
        self.rounds
    }

    /// Rounds with traces, and how many of them had dropouts.
    pub fn with_traces(&self) -> (u64, u64) {
        (self.with_traces, self.with_events_and_traces)
    }

    /// Files of the traces of the last round that has any.
    pub fn kept(&self) -> &[String] {
        &self.kept
    }

    /// Dropouts by wire.
    pub fn wires(&self) -> &BTreeMap<Written<Wire>, WireEvents> {
        &self.wires
    }

    /// Limp-home trips of all rounds.
    pub fn trips(&self) -> f64 {
        self.trips
    }

    fn round(&mut self, round: SoakRound) {
        let hours = round.t_s / 3600.0;
        if self.rounds == 0 {
            self.first_h = hours;
        }
        self.rounds += 1;
        self.cycles += u64::from(round.cycles);
        if !round.traces.is_empty() {
            self.with_traces += 1;
            self.with_events_and_traces += u64::from(round.sure_events() > 0);
            self.kept.clone_from(&round.traces);
        }
        self.without_room += u64::from(round.no_room);
        self.events_of(&round, hours);
        for finding in &round.findings {
            *self.findings.entry(finding.clone()).or_default() += 1;
        }
        for figure in &round.figures {
            self.figure(figure, hours);
        }
        if let Some(celsius) = round.celsius {
            self.hours.push(hours);
            self.celsius.push(celsius);
        }
        self.last = Some(round);
    }

    fn events_of(&mut self, round: &SoakRound, hours: f64) {
        self.watched.push(SoakWatched { events: round.sure_events(), minutes: round.watched_min });
        self.unsure += round.events.iter().filter(|e| !e.sure).count() as u64;
        let mut seen: Vec<&Written<Wire>> = Vec::new();
        for event in &round.events {
            let wire = self.wires.entry(event.wire.clone()).or_default();
            *(if event.sure { &mut wire.sure } else { &mut wire.unsure }) += 1;
            let widen = |range: Option<(f64, f64)>, x: f64| {
                Some(range.map_or((x, x), |(low, high): (f64, f64)| (low.min(x), high.max(x))))
            };
            wire.length_us = widen(wire.length_us, event.length_us);
            wire.deepest = wire.deepest.max(event.depth.abs());
            if let Some(at) = event.at_deg {
                wire.at_deg = widen(wire.at_deg, at);
            }
            if !seen.contains(&&event.wire) {
                seen.push(&event.wire);
                wire.rounds += 1;
            }
            if event.sure && self.ticks.len() < OutcomeSoak::MOST_TICKS {
                self.ticks.push(hours + event.at_us.saturating_sub(round.rig_us) as f64 / 3.6e9);
            }
        }
    }

    fn figure(&mut self, figure: &SoakFigure, hours: f64) {
        if figure.figure == FigureName::LimpTrips {
            self.trips += figure.value;
        }
        if !smooth(&figure.figure) {
            return;
        }
        let key = key(figure);
        let place = *self.places.entry(key).or_insert_with(|| {
            let (hours, values, u) = (Vec::new(), Vec::new(), Vec::new());
            self.figures.push(Values { figure: figure.clone(), hours, values, u });
            self.figures.len() - 1
        });
        let all = &mut self.figures[place];
        all.hours.push(hours);
        all.values.push(figure.value);
        all.u.push(figure.u);
    }

    /// All of it, with limits of a sheet. None without a first line.
    pub fn outcome(&self, sheet: &PartSheet, log: SoakLogFile) -> Option<OutcomeSoak> {
        let begin = self.begin.as_ref()?;
        let hours = self.last.as_ref().map_or(0.0, |r| r.t_s / 3600.0);
        let mut drifts: Vec<SoakDrift> = self.figures.iter().filter_map(|v| v.drift(sheet, hours)).collect();
        let adjusted = family::adjusted(&drifts.iter().map(|d| d.p).collect::<Vec<_>>());
        for (drift, p_family) in drifts.iter_mut().zip(adjusted) {
            drift.p_family = p_family;
            drift.drifts = p_family <= family::LEVEL;
            if drift.drifts {
                drift.follow();
            }
        }
        let findings = self.findings.iter();
        Some(OutcomeSoak {
            log,
            rounds: self.rounds,
            rounds_planned: planned(begin),
            cycles: self.cycles,
            hours: hours - self.first_h,
            soaked_hours: self.last.as_ref().map_or(0.0, |r| r.soaked_s / 3600.0),
            ended: self.end.as_ref().map(|e| e.why.clone()),
            holes: self.holes.clone(),
            rounds_with_traces: self.with_traces,
            rounds_without_room: self.without_room,
            events: self.events(),
            temperature: self.temperature(),
            findings: findings.map(|(f, n)| SoakFindingCount { finding: f.clone(), rounds: *n }).collect(),
            drifts,
        })
    }

    fn events(&self) -> SoakEvents {
        let all = sum(&self.watched);
        let mut first = SoakWatched { events: 0, minutes: 0.0 };
        for watched in &self.watched {
            if first.minutes + 0.5 * watched.minutes > 0.5 * all.minutes {
                break;
            }
            first = SoakWatched {
                events: first.events + watched.events,
                minutes: first.minutes + watched.minutes,
            };
        }
        let second = SoakWatched {
            events: all.events - first.events,
            minutes: (all.minutes - first.minutes).max(0.0),
        };
        let both = first.minutes > 0.0 && second.minutes > 0.0;
        let p = if both { events::by_chance(watched(first), watched(second)) } else { 1.0 };
        let per = |count: f64| if all.minutes > 0.0 { count / all.minutes } else { 0.0 };
        SoakEvents {
            all,
            unsure: self.unsure,
            rate: per(all.events as f64),
            lower: per(poisson_lower(all.events, BOUND)),
            upper: per(poisson_upper(all.events, BOUND)),
            first_half: first,
            second_half: second,
            p,
            changed: p <= LEVEL,
            at_h: self.ticks.clone(),
        }
    }

    fn temperature(&self) -> Option<SoakTemperature> {
        let (first, last) = (*self.celsius.first()?, *self.celsius.last()?);
        let (hours, values) = blocks(&self.hours, &self.celsius, POINTS);
        Some(SoakTemperature {
            first,
            last,
            lowest: self.celsius.iter().copied().fold(f64::INFINITY, f64::min),
            highest: self.celsius.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            hours,
            values,
        })
    }
}

/// Rounds that were asked for.
pub fn planned(begin: &SoakBegin) -> u64 {
    (begin.hours * 3600.0 / begin.every_s).ceil().max(1.0) as u64
}

fn key(figure: &SoakFigure) -> String {
    format!("{} {:?} {}", figure.figure, figure.channel, figure.condition.words())
}

fn sum(all: &[SoakWatched]) -> SoakWatched {
    SoakWatched { events: all.iter().map(|w| w.events).sum(), minutes: all.iter().map(|w| w.minutes).sum() }
}

fn watched(of: SoakWatched) -> Watched {
    Watched { events: of.events, minutes: of.minutes }
}

impl Values {
    fn drift(&self, sheet: &PartSheet, end_h: f64) -> Option<SoakDrift> {
        let name = self.figure.figure.known()?;
        let channel = self.figure.channel.as_ref().and_then(Written::known);
        let found = drift(&self.hours, &self.values)?;
        let limit = sheet.limit_for(name, channel, &self.figure.condition);
        let (min, max) = limit.map_or((None, None), |l| (l.min, l.max));
        let outside = self.values.iter().zip(&self.u);
        let outside =
            outside.filter(|(v, u)| conformity(**v, 0.5 * **u, min, max).verdict == Verdict::Outside);
        let (hours, values) = blocks(&self.hours, &self.values, POINTS);
        let size = self.hours.len().div_ceil(POINTS).max(1);
        let of = |pick: fn(f64, f64) -> f64| -> Vec<f64> {
            self.values.chunks(size).map(|c| c.iter().copied().fold(c[0], pick)).collect()
        };
        Some(SoakDrift {
            figure: self.figure.figure.clone(),
            channel: self.figure.channel.clone(),
            condition: self.figure.condition,
            unit: name.unit(),
            rounds: self.values.len() as u64,
            first: found.at_zero + found.slope * self.hours.first()?,
            last: found.at_zero + found.slope * end_h,
            per_hour: found.slope,
            lower: found.lower,
            upper: found.upper,
            resemblance: found.resemblance,
            p: found.p,
            p_family: 1.0,
            drifts: false,
            reaches_from_h: None,
            reaches_to_h: None,
            reaches_limit: None,
            min,
            max,
            rounds_outside: outside.count() as u64,
            u: median(&mut self.u.clone())?,
            hours,
            values,
            lowest: of(f64::min),
            highest: of(f64::max),
        })
    }
}

/// Follows a shown drift to the limit that it goes towards.
trait Follow {
    /// Sets when it would be reached, unless the value is beyond it already.
    fn follow(&mut self);
}

impl Follow for SoakDrift {
    fn follow(&mut self) {
        let limit = if self.per_hour > 0.0 { self.max } else { self.min };
        let Some(limit) = limit else { return };
        let way = (limit - self.last) * self.per_hour.signum();
        if way <= 0.0 {
            return;
        }
        let speeds = [self.lower, self.upper].map(|s| s * self.per_hour.signum());
        let (slow, fast) = (speeds[0].min(speeds[1]), speeds[0].max(speeds[1]));
        let (from, to) = (way / fast, (slow > 0.0).then(|| way / slow));
        if !from.is_finite() {
            return;
        }
        (self.reaches_from_h, self.reaches_to_h) = (Some(from), to.filter(|h| h.is_finite()));
        self.reaches_limit = Some(limit);
    }
}

/// Whether a drift's end at its limit is near enough to be believed: within ten times the time that was watched.
pub fn is_near(drift: &SoakDrift, watched_h: f64) -> bool {
    drift.reaches_from_h.is_some_and(|h| h <= 10.0 * watched_h)
}

/// A condition in words for a name, with its line.
pub fn place_of(channel: Option<&str>, condition: &Condition) -> String {
    let words = condition.words();
    [channel.unwrap_or_default(), words.as_str()]
        .iter()
        .filter(|w| !w.is_empty())
        .copied()
        .collect::<Vec<_>>()
        .join(", ")
}
