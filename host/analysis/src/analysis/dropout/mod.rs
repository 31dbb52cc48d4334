//! Dropouts: moments in which a line, or both, lost contact. It shows events, their wire and rate; not their cause.
//!
//! Three searches: for jumps (`detect`), for slow and partial losses (`slow`), and for a supply that is lost itself (`supply_lost`).
//! With both lines the search runs on what the two say together (the correlation residual, which motion leaves alone); the
//! line that jumped in the same scan names the wire. With one line it runs on the line against the reference, or on the
//! line alone, where a dropout must be faster than any hand. Rates have exact Poisson bounds (Garwood 1936) and count only events
//! that are sure (see `place`); the rest widens the bound.
//!
//! How often a sound part has an event, and the shortest opens seen: `scripts/study dropouts 300`. Before slow losses were looked for, 2 of
//! 5400 traces had a sure event (below 0.12 %, 95 %), 37 an unsure one; with them it has not been measured.

mod detect;
mod length;
mod limit;
mod losses;
mod place;
mod slow;
mod summary;
mod supply_lost;
mod usual;
mod watched;

use super::prepared::Prepared;
use super::statistics;
use super::{DetectionLimit, Figure, Finding};
use crate::quantity::{Channel, FindingKind};
use crate::sheet::PartSheet;
use detect::{EDGE_SHARE, Excursion, Series};
use place::{Places, UNKNOWN};
use std::ops::Range;
use usual::Usual;
use watched::Watched;

pub use summary::rate;

/// No hand and no return spring turns a grip faster than this, degrees per second. Common practice, no source.
const FASTEST_DEG_S: f64 = 2000.0;
/// Share of the motion across the scans looked at that channel skew, bends and texture may leave in the residual.
const MOTION_SHARE: f32 = 0.1;

/// Less motion in an excursion than this shows nothing of a track's texture, degrees.
const STILL_DEG: f64 = 0.05;
/// A grain of a track that every pass shows is no deeper than this, ratio: half of the hundredth of supply that must not be missed …
const DEEPEST_GRAIN: f64 = 0.005;
/// … no narrower than this, degrees …
const GRAIN_DEG: f64 = 0.05;
/// … and what reaches beyond other passes by less than this share of its depth is as deep in them.
const LIKE_OTHERS: f64 = 0.3;
/// A flat spot or noisy stretch explains what lies this near to it, degrees.
const EXPLAINS_DEG: f64 = 1.0;
/// A step of the logger counts as so many standard deviations of noise: seven of these, the threshold, are 1.4 steps.
const STEPS_IN_NOISE: f64 = 5.0;
/// Confidence from which an event counts in the rate.
pub const SURE: f64 = 0.95;

/// Which wire an event points at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Wire {
    /// The first line alone.
    First,
    /// The second line alone.
    Second,
    /// Both lines at once, the supply at the plug steady: supply or ground of the part.
    Common,
    /// Both lines and the supply at the plug.
    Supply,
}

impl Wire {
    /// Every wire.
    pub const ALL: [Self; 4] = [Self::First, Self::Second, Self::Common, Self::Supply];

    /// The name in outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::First => "rising",
            Self::Second => "falling",
            Self::Common => "common",
            Self::Supply => "supply",
        }
    }

    /// The line, when it is one.
    pub const fn channel(self) -> Option<Channel> {
        match self {
            Self::First => Some(Channel::Rising),
            Self::Second => Some(Channel::Falling),
            Self::Common | Self::Supply => None,
        }
    }
}

impl crate::quantity::Name for Wire {
    const ALL: &'static [Self] = &Self::ALL;

    fn name(self) -> &'static str {
        Self::name(self)
    }
}

/// One dropout.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Which wire.
    pub wire: Wire,
    /// Scans beyond half the threshold.
    pub scans: Range<usize>,
    /// When it began, µs on the rig's clock.
    pub at_us: u64,
    /// How long, µs: by area over depth, so it may be shorter than a scan.
    pub length_us: f64,
    /// Standard uncertainty of that, µs.
    pub length_u_us: f64,
    /// Largest deviation of the line (of the first, when common), ratio of supply, signed: negative = towards ground.
    pub depth: f64,
    /// Angle, degrees of travel, when there is one.
    pub at_deg: Option<f64>,
    /// Index of the stroke it fell in.
    pub stroke: Option<usize>,
    /// How sure that contact was lost, 0..1.
    pub confidence: f64,
}

impl Event {
    /// Whether its scans say nothing of the track: what is long and not sure may be the track itself.
    pub fn leaves_the_curve(&self) -> bool {
        self.is_sure() || self.length_us < 2000.0
    }

    /// Whether it counts in the rate.
    pub fn is_sure(&self) -> bool {
        self.confidence >= SURE
    }
}

/// What the search found and what it would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Every event in order of time.
    pub events: Vec<Event>,
    /// One finding per wire that dropped out.
    pub findings: Vec<Finding>,
    /// Events per minute with the exact upper bound; none when nothing was watched.
    pub figure: Option<Figure>,
    /// Time that was watched, minutes.
    pub watched_min: f64,
    /// Shortest open that would have been seen, per line.
    pub limits: Vec<DetectionLimit>,
    /// Noise of what was searched, from scan to scan, one standard deviation, ratio; none where nothing was.
    pub noise: Option<f64>,
}

impl Report {
    /// Takes out events that are not sure and that a flat spot or a noisy stretch of the same line explains.
    pub fn without_explained(mut self, prepared: &Prepared<'_>, located: &[Finding]) -> Self {
        let explains = |event: &Event, f: &Finding| {
            let here = f.from_deg.zip(f.to_deg).zip(event.at_deg);
            let near =
                here.is_some_and(|((from, to), at)| (from - EXPLAINS_DEG..=to + EXPLAINS_DEG).contains(&at));
            let kind = matches!(f.kind, FindingKind::FlatSpot | FindingKind::NoisyTrack);
            kind && near && (event.wire.channel().is_none() || event.wire.channel() == f.channel)
        };
        let before = self.events.len();
        self.events.retain(|e| e.is_sure() || !located.iter().any(|f| explains(e, f)));
        if self.events.len() < before {
            self.findings = summary::findings(prepared, &self.events, self.watched_min);
            self.figure = rate(&[&self]);
        }
        self
    }
}

/// Searches any trace: sweep, hand sweep, flex, imported.
pub fn find(prepared: &Prepared<'_>, sheet: &PartSheet) -> Report {
    let lines: Vec<(usize, &[f32])> =
        prepared.ratio.iter().enumerate().filter_map(|(k, r)| r.as_deref().map(|r| (k, r))).collect();
    // Beside a line that is dead all the time the other is watched by itself: their residual would follow the motion.
    let alive: Vec<(usize, &[f32])> =
        lines.iter().copied().filter(|(k, r)| !is_dead(r, prepared, 1 - k, sheet)).collect();
    let lines = if alive.is_empty() { lines } else { alive };
    let columns: Vec<&[f32]> = lines.iter().map(|(_, r)| *r).collect();
    let runs = finite_runs(&columns, &prepared.segments);
    let mut found = Vec::new();
    let pair = match lines.as_slice() {
        [(_, first), (_, second)] => Some(Pair::new(prepared, [first, second], &runs, sheet)),
        _ => None,
    };
    let mut noise = None;
    match (&pair, lines.as_slice()) {
        (Some(pair), _) => {
            noise = Some(pair.sigma);
            pair.search(prepared, sheet, &runs, &mut found);
        }
        (None, [(index, line)]) => noise = search_alone(prepared, sheet, *index, line, &runs, &mut found),
        _ => {}
    }
    losses::add(prepared, sheet, &lines, pair.as_ref(), &runs, &mut found);
    supply_lost::add(prepared, &mut found);
    supply_lost::claim(prepared, &mut found);
    found.sort_by_key(|e: &Event| e.scans.start);
    let watched_min = runs.iter().map(|r| r.len()).sum::<usize>() as f64 * prepared.period_us / 60e6;
    let findings = summary::findings(prepared, &found, watched_min);
    let taken: Vec<Range<usize>> = found.iter().map(|e| e.scans.clone()).collect();
    let limits = noise.map_or_else(Vec::new, |sigma| {
        let watched = Watched::new(prepared, sheet, &lines, &runs, pair.as_ref(), sigma);
        limit::limits(&watched, watched_min, &taken)
    });
    let mut report = Report { events: found, findings, figure: None, watched_min, limits, noise };
    report.figure = rate(&[&report]);
    report
}

/// The logger's steps of a line, ratio of supply; 0 where it has none to speak of. A reading may be off by one of them without anything
/// being wrong, so that counts as noise however still the codes stand.
fn steps(prepared: &Prepared<'_>, line: usize) -> f64 {
    let volts = prepared.trace.channel(Channel::SENSORS[line]).unwrap_or_default();
    statistics::quantum(volts) / prepared.supply_volts
}

/// Noise of a stretch of values from scan to scan, one standard deviation; single ones far out do not count.
pub fn noise(values: &[f32]) -> f64 {
    detect::noise(values, std::slice::from_ref(&(0..values.len())))
}

/// Whether a line stands at a rail most of the time, or still while its partner moves.
fn is_dead(line: &[f32], prepared: &Prepared<'_>, partner: usize, sheet: &PartSheet) -> bool {
    let every = (line.len() / 4000).max(1);
    let sample = |r: &[f32]| -> Vec<f64> {
        r.iter().step_by(every).map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect()
    };
    let range = |values: &mut [f64]| -> f64 {
        statistics::quantile(values, 0.95)
            .zip(statistics::quantile(values, 0.05))
            .map_or(0.0, |(high, low)| high - low)
    };
    let mut own = sample(line);
    let (low, high) = sheet.monitor.rails;
    let railed = own.iter().filter(|v| **v < low || **v > high).count();
    let partner_range = prepared.ratio[partner].as_deref().map_or(0.0, |r| range(&mut sample(r)));
    2 * railed > own.len() || (range(&mut own) < 0.02 && partner_range > 0.1)
}

/// Stretches in which every column is finite, within the segments.
fn finite_runs(columns: &[&[f32]], segments: &[Range<usize>]) -> Vec<Range<usize>> {
    if columns.is_empty() {
        return Vec::new();
    }
    let mut out = Vec::new();
    for segment in segments {
        let mut start = segment.start;
        for i in segment.clone() {
            if columns.iter().any(|c| !c[i].is_finite()) {
                if i > start {
                    out.push(start..i);
                }
                start = i + 1;
            }
        }
        if segment.end > start {
            out.push(start..segment.end);
        }
    }
    out
}

/// Both lines and what they say together.
struct Pair<'a> {
    first: &'a [f32],
    second: &'a [f32],
    slope: f64,
    intercept: f64,
    residual: Vec<f32>,
    /// What a step of each line can change in the residual.
    steps: f64,
    sigma: f64,
    threshold: f64,
}

impl<'a> Pair<'a> {
    fn new(
        prepared: &Prepared<'_>,
        [first, second]: [&'a [f32]; 2],
        runs: &[Range<usize>],
        sheet: &PartSheet,
    ) -> Self {
        let (slope, intercept) = correlation(first, second, runs, sheet);
        let (m, k) = (slope as f32, intercept as f32);
        let residual: Vec<f32> = first.iter().zip(second).map(|(a, b)| b - m * a - k).collect();
        let steps = slope.abs() * steps(prepared, 0) + steps(prepared, 1);
        let sigma = detect::noise(&residual, runs).max(steps / STEPS_IN_NOISE);
        let threshold = detect::threshold(sigma);
        Self { first, second, slope, intercept, residual, steps, sigma, threshold }
    }

    /// What two lines say together by this pair's correlation.
    fn residual_of(&self, first: &[f32], second: &[f32]) -> Vec<f32> {
        let (m, k) = (self.slope as f32, self.intercept as f32);
        first.iter().zip(second).map(|(a, b)| b - m * a - k).collect()
    }

    fn search(
        &self,
        prepared: &Prepared<'_>,
        sheet: &PartSheet,
        runs: &[Range<usize>],
        out: &mut Vec<Event>,
    ) {
        let both = [self.first, self.second];
        let weigh = |series: &Series<'_>| weighed(prepared, series, runs, self.sigma);
        let all = watched::of_pair(prepared, sheet, self.slope, both, &self.residual, &prepared.deg, weigh);
        for (e, confidence) in all {
            let wire = self.wire(&e);
            let depth = match wire {
                Wire::Second => e.peak,
                Wire::First => -e.peak / self.slope,
                _ => self.jump(self.first, &e).0,
            };
            out.push(event(prepared, &e, wire, depth, self.full_scale(wire, &e), confidence));
        }
        // Where both lines rise together a common drop hardly shows, or not at all, in the residual.
        if self.slope > 0.0 {
            self.search_common(prepared, sheet, runs, out);
        }
    }

    fn search_common(
        &self,
        prepared: &Prepared<'_>,
        sheet: &PartSheet,
        runs: &[Range<usize>],
        out: &mut Vec<Event>,
    ) {
        let mut alone = Vec::new();
        search_alone(prepared, sheet, 0, self.first, runs, &mut alone);
        let step = |line: &[f32], at: usize| f64::from(line[at] - line[at.saturating_sub(2)]).abs();
        for e in alone {
            let near = |o: &Event| o.scans.start <= e.scans.end + 1 && e.scans.start <= o.scans.end + 1;
            let both = self.slope * step(self.first, e.scans.start) < 3.0 * step(self.second, e.scans.start);
            if both && !out.iter().any(near) {
                out.push(Event { wire: Wire::Common, ..e });
            }
        }
    }

    /// The line that jumped; both when both did. A line near a rail jumps little when a common lead opens.
    fn wire(&self, e: &Excursion) -> Wire {
        let (first, first_least) = self.jump(self.first, e);
        let (second, second_least) = self.jump(self.second, e);
        match (first.abs() > first_least, second.abs() > second_least) {
            (true, true) => Wire::Common,
            (true, false) => Wire::First,
            (false, true) => Wire::Second,
            (false, false) if (self.slope * first).abs() > second.abs() => Wire::First,
            (false, false) => Wire::Second,
        }
    }

    /// Jump of a line at the excursion's start, its motion taken off by the slope before; and the least that is a jump.
    fn jump(&self, line: &[f32], e: &Excursion) -> (f64, f64) {
        let at = e.samples.start;
        let before = at.saturating_sub(2);
        let early = before.saturating_sub(4);
        let value = |j: usize| f64::from(line[j.min(line.len() - 1)]);
        let slope =
            if before > early { (value(before) - value(early)) / (before - early) as f64 } else { 0.0 };
        let slope = if slope.is_finite() { slope } else { 0.0 };
        let base = if value(before).is_finite() { value(before) } else { value(at) };
        let jump = (at..(at + 4).min(e.samples.end.max(at + 1)))
            .map(|j| value(j) - base - slope * (j - before) as f64)
            .filter(|d| d.is_finite())
            .fold(0.0f64, |a, d| if d.abs() > a.abs() { d } else { a });
        (jump, self.threshold + 2.0 * slope.abs())
    }

    /// What a full open would show in the residual.
    fn full_scale(&self, wire: Wire, e: &Excursion) -> f64 {
        let at = e.samples.start.saturating_sub(1);
        let (a, b) = (f64::from(self.first[at]), f64::from(self.second[at]));
        let to_rail = |level: f64, down: bool| if down { level } else { 1.0 - level };
        match wire {
            // The residual is second − slope × first: the first line falls where −peak/slope is negative.
            Wire::First => self.slope.abs() * to_rail(a, e.peak / self.slope > 0.0),
            Wire::Second => to_rail(b, e.peak < 0.0),
            Wire::Common | Wire::Supply => (b - self.slope * a).abs(),
        }
    }
}

/// Correlation line of the trace itself, so that a wrong gain does not let motion through; the sheet's where the lines
/// hardly move or do not follow one another.
fn correlation(first: &[f32], second: &[f32], runs: &[Range<usize>], sheet: &PartSheet) -> (f64, f64) {
    let total: usize = runs.iter().map(|r| r.len()).sum();
    let every = (total / 400).max(1);
    let picks: Vec<usize> = runs.iter().flat_map(|r| r.clone().step_by(every)).collect();
    let x: Vec<f64> = picks.iter().map(|i| f64::from(first[*i])).collect();
    let y: Vec<f64> = picks.iter().map(|i| f64::from(second[*i])).collect();
    let (m, k) = sheet.correlation_line();
    let spread = statistics::quantile(&mut x.clone(), 0.9).zip(statistics::quantile(&mut x.clone(), 0.1));
    if spread.is_some_and(|(high, low)| high - low > 0.05)
        && let Some((slope, intercept)) = statistics::theil_sen(&x, &y)
        && (slope - m).abs() < 0.5 * m.abs()
    {
        return (slope, intercept);
    }
    let mut offsets: Vec<f64> = x.iter().zip(&y).map(|(a, b)| b - m * a).collect();
    (m, statistics::median(&mut offsets).unwrap_or(k))
}

/// Searches one line without its partner; returns the noise of what was searched.
fn search_alone(
    prepared: &Prepared<'_>,
    sheet: &PartSheet,
    index: usize,
    line: &[f32],
    runs: &[Range<usize>],
    out: &mut Vec<Event>,
) -> Option<f64> {
    let wire = if index == 0 { Wire::First } else { Wire::Second };
    let detrended = watched::detrended(prepared, sheet, index, line, &prepared.deg);
    let own_runs = match &detrended {
        Some(values) => finite_runs(&[values], runs),
        None => runs.to_vec(),
    };
    let values = detrended.as_deref().unwrap_or(line);
    let sigma = detect::noise(values, &own_runs).max(steps(prepared, index) / STEPS_IN_NOISE);
    let weigh = |series: &Series<'_>| weighed(prepared, series, &own_runs, sigma);
    for (e, confidence) in watched::of_line(prepared, sheet, index, line, values, &prepared.deg, weigh) {
        let level = f64::from(line[e.samples.start.saturating_sub(1)]);
        let full = if e.peak < 0.0 { level } else { 1.0 - level };
        out.push(event(prepared, &e, wire, e.peak, full, confidence));
    }
    Some(sigma)
}

/// Scans within which an edge is over: four time constants of the filter; three where it is not known.
fn edge_scans(prepared: &Prepared<'_>) -> usize {
    match input_filter_us(prepared) {
        tau if tau > 0.0 => (4.0 * tau / prepared.period_us.max(1.0)).ceil() as usize + 1,
        _ => 3,
    }
}

/// Excursions that the noise of their place does not explain, and how sure each is.
fn weighed(
    prepared: &Prepared<'_>,
    series: &Series<'_>,
    runs: &[Range<usize>],
    sigma: f64,
) -> Vec<(Excursion, f64)> {
    let found = detect::search(series, runs, sigma);
    if found.is_empty() {
        return Vec::new();
    }
    let lag = (2.0 * input_filter_us(prepared) / prepared.period_us.max(1.0)).ceil().max(1.0) as usize;
    let places = Places::new(prepared, series.values, lag, &found, sigma);
    // Between passes play may stand anywhere in it, as in the search for slow losses.
    let usual = (!series.moves).then(|| {
        let usual = Usual::new(prepared, series.values, runs);
        let play = usual.spread(slow::SPREAD) as f32;
        (usual, play)
    });
    let weigh = |e: Excursion| {
        let sure = places.confidence(prepared, &e)?;
        let limit = usual.as_ref().map_or(1.0, |(u, play)| usual_there(prepared, series, u, *play, &e));
        Some((e, sure.min(limit)))
    };
    found.into_iter().filter_map(weigh).collect()
}

/// The most that can be said of a shallow excursion whose place reads so in other passes too, or is not known from any.
fn usual_there(prepared: &Prepared<'_>, series: &Series<'_>, usual: &Usual, play: f32, e: &Excursion) -> f64 {
    let seen = prepared.deg.get(e.samples.clone()).unwrap_or_default().iter().filter(|d| d.is_finite());
    let (low, high) = seen.fold((f32::MAX, f32::MIN), |(a, b), d| (a.min(*d), b.max(*d)));
    if e.deep || low > high {
        return 1.0;
    }
    let Some((from, to, own)) = usual.between(low, high) else { return 1.0 };
    let beyond = |(from, to): (f32, f32)| {
        let at = e.samples.clone().map(|i| series.values[i]);
        at.map(|v| f64::from((v - v.clamp(from, to)).abs())).fold(0.0, f64::max)
    };
    if e.peak.abs() < DEEPEST_GRAIN {
        // A grain narrower than a place is in every pass, but not in its mean.
        let shown = usual.reach(low, high).is_some_and(|reach| beyond(reach) < LIKE_OTHERS * e.peak.abs());
        // One narrower than the way from scan to scan lies between the scans of other passes.
        let around = e.samples.start.saturating_sub(1)..(e.samples.end + 1).min(prepared.deg.len());
        let (first, last) = (prepared.deg[around.start], prepared.deg[around.end - 1]);
        let missed = f64::from((last - first).abs()) > GRAIN_DEG * (around.len() - 1) as f64;
        if shown || missed {
            return UNKNOWN;
        }
    }
    let farthest = beyond((from - play, to + play));
    let moved = f64::from(high - low) > STILL_DEG;
    if own && farthest < 0.5 * e.peak.abs() || !own && moved { UNKNOWN } else { 1.0 }
}

fn event(
    prepared: &Prepared<'_>,
    e: &Excursion,
    wire: Wire,
    depth: f64,
    full_scale: f64,
    confidence: f64,
) -> Event {
    let start = e.samples.start;
    let length = length::of_lines(prepared, e, wire, full_scale, input_filter_us(prepared));
    let at_deg = [start, start.saturating_sub(1), e.samples.end]
        .into_iter()
        .filter_map(|i| prepared.deg.get(i))
        .map(|d| f64::from(*d))
        .find(|d| d.is_finite());
    Event {
        wire,
        scans: e.samples.clone(),
        at_us: prepared.trace.time_us[start],
        length_us: length.us,
        length_u_us: length.u_us,
        depth,
        at_deg,
        stroke: prepared.strokes.iter().position(|s| s.range.contains(&start)),
        confidence,
    }
}

/// Largest time constant of the lines' input filters, µs; 0 where none is known.
fn input_filter_us(prepared: &Prepared<'_>) -> f64 {
    Channel::SENSORS.map(|c| prepared.trace.provenance.filter_us(c)).into_iter().fold(0.0, f64::max)
}

#[cfg(test)]
mod loss_tests;
#[cfg(test)]
mod tests;
