//! Every release of a grip that was seen whole: where it began and ended, and how long it took. It judges nothing.

use super::super::statistics;
use crate::quantity::Channel;
use crate::trace::{MarkKind, Stimulus, Trace, TraceEnd};
use std::ops::Range;

/// Returned means within this of the closed stop, to stay, degrees.
pub const NEAR_DEG: f64 = 1.0;
/// A release begins at least this near to where the program held the grip, degrees; otherwise its event does not belong to it.
const PLACE_DEG: f64 = 3.0;
/// Time before a release over which its beginning is read, µs.
const BEFORE_US: u64 = 100_000;
/// Time at the end of a release, and of a hold, over which it is read, µs.
const TAIL_US: u64 = 200_000;
/// A grip that has moved by more than this during the tail is not at rest yet, degrees.
const AT_REST_DEG: f64 = 0.3;
/// Less travel than this between the stops shows nothing, degrees.
const LEAST_TRAVEL_DEG: f64 = 10.0;
/// What coupling, clamp and stop give way by under full force, one standard uncertainty, degrees. Engineering assumption.
const GIVES_WAY_DEG: f64 = 0.15;
/// A line that changes by less than this share of the supply from stop to stop shows no angle.
const LEAST_SPAN: f64 = 0.05;
/// Reference and lines that part by more than this have slipped against each other, degrees: far beyond any nonlinearity of a line.
const SLIP_DEG: f64 = 5.0;
/// A drive that is off reads the same in every release to within this share of what pressing on a stop takes.
const OFF_SHARE: f64 = 0.1;

/// One release.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Release {
    /// Where the program let it go, degrees from the closed stop.
    pub place_deg: f64,
    /// Where it stood then, by the reference.
    pub from_deg: f64,
    /// Where it stood at the end.
    pub end_deg: f64,
    /// Standard uncertainty of that, degrees.
    pub u_deg: f64,
    /// Time to within [`NEAR_DEG`] of the closed stop, to stay, s; none when it did not get there.
    pub seconds: Option<f64>,
    /// What the drive's current read at the end, A.
    pub off_amps: Option<f64>,
}

/// What can be read at a stop that the drive presses on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pressed {
    /// The reference, degrees.
    pub deg: f64,
    /// Drive current, A; NaN where it was not recorded.
    pub amps: f64,
    /// Both lines as ratios of the supply; NaN where one was not recorded.
    pub ratio: [f64; 2],
}

/// All of a trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Releases {
    /// In order of time, seen whole, at least one.
    pub all: Vec<Release>,
    /// How long each lasted, s.
    pub seconds: f64,
    /// Pressed on the closed stop.
    pub closed: Pressed,
    /// Pressed on the open stop.
    pub open: Pressed,
}

/// Why there is none to go by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoReleases {
    /// No reference angle, or no stroke between the stops.
    NotTurned,
    /// Cut short, or scans are missing in each.
    NotWhole,
    /// Events, program and reference contradict each other.
    Contradicted,
    /// Lines and reference part from each other.
    Slips,
    /// Neither line follows the grip.
    NoLine,
    /// The current goes on while the drive should be off.
    Held,
}

impl NoReleases {
    /// Why, and what would help.
    pub fn words(self) -> String {
        let why = match self {
            Self::NotTurned => "the drive did not turn the grip from stop to stop",
            Self::NotWhole => "no release was recorded whole",
            Self::Contradicted => "the rig's events do not fit its reference, so when it let go is not known",
            Self::Slips => {
                "the clamp slips: the lines say that the grip is elsewhere than the reference; clamp it anew"
            }
            Self::NoLine => {
                "neither line follows the grip, so nothing shows whether it or the clamp came back"
            }
            Self::Held => "the drive's current went on after the rig had let go: look at the rig",
        };
        format!("{why}; repeat it, or let the grip snap shut by hand from wide open and from a small opening")
    }
}

/// A segment of the program as it ran.
#[derive(Clone, Copy, Debug)]
struct Ran {
    stimulus: Stimulus,
    begin_us: u64,
    end_us: u64,
    /// Whether its end was seen.
    whole: bool,
}

impl Releases {
    /// From a trace that the release procedure recorded.
    pub fn of(trace: &Trace) -> Result<Self, NoReleases> {
        let reference = trace.channel(Channel::Reference).ok_or(NoReleases::NotTurned)?;
        let ran = segments(trace);
        let (closed, open) = stops(trace, &ran).ok_or(NoReleases::NotTurned)?;
        let travel = open.deg - closed.deg;
        if travel.is_nan() || travel < LEAST_TRAVEL_DEG {
            return Err(NoReleases::NotTurned);
        }
        let usable: Vec<usize> =
            (0..2).filter(|k| (open.ratio[*k] - closed.ratio[*k]).abs() > LEAST_SPAN).collect();
        if usable.is_empty() {
            return Err(NoReleases::NoLine);
        }
        let (mut all, mut why, mut seconds) = (Vec::new(), NoReleases::NotWhole, 0.0);
        for k in 1..ran.len() {
            let Stimulus::Release { seconds: planned } = ran[k].stimulus else { continue };
            let Some(place_deg) = place_before(&ran[..k]).map(|deg| deg - closed.deg) else { continue };
            if !ran[k].whole || has_gap(trace, ran[k].begin_us.saturating_sub(BEFORE_US), ran[k].end_us) {
                continue;
            }
            let Some(release) = one(trace, reference, &ran[k], place_deg, closed.deg) else {
                why = NoReleases::Contradicted;
                continue;
            };
            let tail = tail(trace, &ran[k]);
            let by_lines = usable.iter().filter_map(|line| {
                let ratio = ratio(trace, *line, tail.clone())?;
                Some(travel * (ratio - closed.ratio[*line]) / (open.ratio[*line] - closed.ratio[*line]))
            });
            let by_lines: Vec<f64> = by_lines.collect();
            if !by_lines.is_empty() && by_lines.iter().all(|deg| (deg - release.end_deg).abs() > SLIP_DEG) {
                return Err(NoReleases::Slips);
            }
            seconds = planned;
            all.push(release);
        }
        if all.is_empty() {
            return Err(why);
        }
        let mut off: Vec<f64> = all.iter().filter_map(|r: &Release| r.off_amps).collect();
        let most = off.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let least = off.iter().copied().fold(f64::INFINITY, f64::min);
        if let Some(zero) = statistics::median(&mut off) {
            // A meter without a sign reads alike on both stops.
            let pressing = (open.amps - zero).abs() + (closed.amps - zero).abs();
            if most - least > OFF_SHARE * pressing {
                return Err(NoReleases::Held);
            }
        }
        Ok(Self { all, seconds, closed, open })
    }

    /// The opening from which it stays farthest open; of the releases from one opening the one that came nearest counts, so that one accident
    /// does not speak for the part.
    pub fn worst(&self) -> Release {
        let nearest = |place: f64| {
            let from = self.all.iter().filter(|r| (r.place_deg - place).abs() < PLACE_DEG);
            from.copied().min_by(|a, b| a.end_deg.total_cmp(&b.end_deg))
        };
        let each = self.all.iter().filter_map(|r| nearest(r.place_deg));
        each.max_by(|a, b| a.end_deg.total_cmp(&b.end_deg)).unwrap_or(self.all[0])
    }

    /// The longest return and its standard uncertainty, s; none when one did not get there.
    pub fn longest_s(&self) -> Option<(f64, f64)> {
        let times: Vec<f64> = self.all.iter().map(|r| r.seconds).collect::<Option<_>>()?;
        let longest = times.iter().copied().fold(0.0, f64::max);
        // Releases from one opening show how far a return scatters.
        let mut apart = 0.0_f64;
        for (i, a) in self.all.iter().enumerate() {
            for b in &self.all[i + 1..] {
                if let (true, Some(x), Some(y)) =
                    ((a.place_deg - b.place_deg).abs() < PLACE_DEG, a.seconds, b.seconds)
                {
                    apart = apart.max((x - y).abs());
                }
            }
        }
        Some((longest, apart.hypot(1e-3)))
    }

    /// "6 releases from 74, 37, 10 deg".
    pub fn words(&self) -> String {
        let mut places: Vec<f64> = Vec::new();
        for r in &self.all {
            if places.iter().all(|p| (p - r.place_deg).abs() >= PLACE_DEG) {
                places.push(r.place_deg);
            }
        }
        let places: Vec<String> = places.iter().map(|p| format!("{p:.0}")).collect();
        format!("{} releases from {} deg", self.all.len(), places.join(", "))
    }

    /// What the drive's current reads while the drive is off, and how far that scatters, A; none where it was not recorded.
    pub fn zero_amps(&self) -> Option<(f64, f64)> {
        let mut off: Vec<f64> =
            self.all.iter().filter_map(|r| r.off_amps).filter(|a| a.is_finite()).collect();
        let scatter = statistics::standard_deviation(&off).unwrap_or(0.0);
        Some((statistics::median(&mut off)?, scatter))
    }
}

/// The program's segments between their marks, in order of time. The last one's end is the trace's.
fn segments(trace: &Trace) -> Vec<Ran> {
    let program = &trace.provenance.program;
    let begun: Vec<(Stimulus, u64)> = trace
        .marks
        .iter()
        .filter_map(|m| match m.kind {
            MarkKind::Segment { segment, .. } => Some((*program.get(usize::from(segment))?, m.at_us)),
            _ => None,
        })
        .filter(|(s, _)| !matches!(s, Stimulus::Repeat { .. }))
        .collect();
    let last_us = trace.time_us.last().copied().unwrap_or(0);
    let ran = |(k, (stimulus, begin_us)): (usize, &(Stimulus, u64))| {
        let next = begun.get(k + 1).map(|(_, us)| *us);
        Ran {
            stimulus: *stimulus,
            begin_us: *begin_us,
            end_us: next.unwrap_or(last_us),
            whole: next.is_some() || trace.end == TraceEnd::Complete,
        }
    };
    begun.iter().enumerate().map(ran).collect()
}

/// Where the program held the grip last: a hold after a ramp or a step.
fn place_before(ran: &[Ran]) -> Option<f64> {
    let (last, before) = ran.split_last()?;
    match (last.stimulus, before.last().map(|r| r.stimulus)) {
        (Stimulus::Step { to_deg, .. }, _) | (Stimulus::Hold { .. }, Some(Stimulus::Ramp { to_deg, .. })) => {
            Some(to_deg)
        }
        _ => None,
    }
}

/// Readings at the first holds beyond both stops.
fn stops(trace: &Trace, ran: &[Ran]) -> Option<(Pressed, Pressed)> {
    let places = || (1..ran.len()).filter_map(|k| Some((k, place_before(&ran[..=k])?)));
    let least = places().map(|(_, deg)| deg).fold(f64::INFINITY, f64::min);
    let most = places().map(|(_, deg)| deg).fold(f64::NEG_INFINITY, f64::max);
    let at = |deg: f64| {
        let (k, _) = places().find(|(k, place)| *place == deg && ran[*k].whole)?;
        pressed(trace, &ran[k])
    };
    Some((at(least)?, at(most)?))
}

fn pressed(trace: &Trace, hold: &Ran) -> Option<Pressed> {
    let tail = tail(trace, hold);
    let median = |channel| median_of(trace, channel, tail.clone());
    Some(Pressed {
        deg: median(Channel::Reference)?,
        amps: median(Channel::DriveAmps).unwrap_or(f64::NAN),
        ratio: [0, 1].map(|line| ratio(trace, line, tail.clone()).unwrap_or(f64::NAN)),
    })
}

/// Scans at the end of a segment.
fn tail(trace: &Trace, ran: &Ran) -> Range<usize> {
    between(trace, ran.begin_us.max(ran.end_us.saturating_sub(TAIL_US)), ran.end_us)
}

pub(super) fn between(trace: &Trace, from_us: u64, to_us: u64) -> Range<usize> {
    let from = trace.time_us.partition_point(|t| *t < from_us);
    from..trace.time_us.partition_point(|t| *t < to_us).max(from)
}

pub(super) fn has_gap(trace: &Trace, from_us: u64, to_us: u64) -> bool {
    trace.gaps.iter().any(|g| g.to_us > from_us && g.from_us < to_us)
}

fn median_of(trace: &Trace, channel: Channel, range: Range<usize>) -> Option<f64> {
    let values = trace.channel(channel)?.get(range)?;
    let mut values: Vec<f64> = values.iter().map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
    statistics::median(&mut values)
}

/// A line over the supply of the same scans; over 1 V where no supply was recorded, which is as good for a share of the travel.
fn ratio(trace: &Trace, line: usize, range: Range<usize>) -> Option<f64> {
    let volts = median_of(trace, Channel::SENSORS[line], range.clone())?;
    match median_of(trace, Channel::Supply, range) {
        Some(supply) if supply > 1.0 => Some(volts / supply),
        Some(_) => None,
        None => Some(volts / 5.0),
    }
}

/// One release; none when its beginning or its end contradicts the program.
fn one(trace: &Trace, reference: &[f32], ran: &Ran, place_deg: f64, zero_deg: f64) -> Option<Release> {
    let before = between(trace, ran.begin_us.saturating_sub(BEFORE_US), ran.begin_us);
    let from_deg = median_of(trace, Channel::Reference, before)? - zero_deg;
    if (from_deg - place_deg).abs() > PLACE_DEG {
        return None;
    }
    let tail = tail(trace, ran);
    let end_deg = median_of(trace, Channel::Reference, tail.clone())? - zero_deg;
    let (first, last) = (*reference.get(tail.start)?, *reference.get(tail.end.checked_sub(1)?)?);
    let moved = f64::from(last - first);
    // Nothing opens a grip that was let go.
    if moved.is_nan() || moved > AT_REST_DEG {
        return None;
    }
    let offset = trace.provenance.channel(Channel::Reference).map_or(0.0, |c| c.offset_uncertainty);
    let u_deg = GIVES_WAY_DEG.hypot(offset).hypot(moved);
    let seen = between(trace, ran.begin_us, ran.end_us);
    let away = |k: &usize| f64::from(reference[*k]) - zero_deg > NEAR_DEG;
    let last_away = seen.clone().rev().find(away);
    let arrived = last_away.map_or(seen.start, |k| k + 1);
    let there = end_deg.abs() < NEAR_DEG && moved.abs() <= AT_REST_DEG && arrived < tail.start;
    let seconds = there.then(|| trace.time_us[arrived].saturating_sub(ran.begin_us) as f64 * 1e-6);
    let off_amps = median_of(trace, Channel::DriveAmps, tail);
    Some(Release { place_deg, from_deg, end_deg, u_deg, seconds, off_amps })
}
