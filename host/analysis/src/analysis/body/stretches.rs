//! A body's trace as plate angle, volts and amps in float, cut into the stretches that the rig's program asked for. It computes no
//! figure. A stretch in which lost scans were filled with none ([`Trace::filled`]) is not whole: who needs every sample leaves it out. One with a
//! hole that could not be filled is left out for all.

use super::super::statistics::{self, mean};
use super::supply;
use crate::quantity::Channel;
use crate::trace::{Begun, Gap, PlateScale, Stimulus, Trace, begun, duration_us, follows, last_segment};
use std::ops::Range;

/// Whether the position loop drives.
pub const fn closed_loop(stimulus: Stimulus) -> bool {
    matches!(stimulus, Stimulus::Ramp { .. } | Stimulus::Hold { .. } | Stimulus::Step { .. })
}

/// One segment of the program as it was run.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// What was asked.
    pub stimulus: Stimulus,
    /// Segment number of the program.
    pub segment: usize,
    /// How many times its repeat had gone back.
    pub pass: u16,
    /// Samples from its beginning to the next one's.
    pub range: Range<usize>,
    /// Rig time at which it began, µs.
    pub began_us: u64,
    /// Whether it follows the stretch before it in [`Recording::stretches`], with none left out between.
    pub follows: bool,
    /// Whether every scan of it came; where not, those that are lacking have no values (NaN).
    pub whole: bool,
}

/// Samples of a body, one value each per scan; NaN where there is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Signals {
    /// Rig clock, µs, rising.
    pub time_us: Vec<u64>,
    /// Plate, degrees from the closed stop.
    pub deg: Vec<f64>,
    /// Motor terminal volts; positive opens.
    pub volts: Vec<f64>,
    /// Motor amps; positive opens.
    pub amps: Vec<f64>,
    /// Rig temperature, °C; NaN where it was not recorded.
    pub celsius: f64,
}

/// A trace made ready.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// Its samples.
    pub signals: Signals,
    /// Time between scans, s, > 0 (median); 0 with fewer than two.
    pub period_s: f64,
    /// Random noise of the plate angle, one standard deviation, degrees.
    pub noise_deg: f64,
    /// Stretches in order of time, none touched by a hole that could not be filled.
    pub stretches: Vec<Stretch>,
    /// Stretches left out because such a hole touches them, or because what ended them was not seen.
    pub left_out: usize,
    /// Scans whose angle is the second line's, or none, because the first contradicts it.
    pub angle_lost: usize,
}

/// Where a segment began: segment number, pass, rig µs.
pub type Began = (usize, u16, u64);

impl Recording {
    /// Cuts samples at the marks. `gaps` holds the indices of the first scans after holes that could not be filled. Never fails: what is
    /// absurd is left out.
    pub fn new(signals: Signals, program: &[Stimulus], began: &[Began], gaps: &[usize]) -> Self {
        let len = [signals.deg.len(), signals.volts.len(), signals.amps.len()]
            .into_iter()
            .fold(signals.time_us.len(), usize::min);
        let time = &signals.time_us[..len];
        let mut steps: Vec<f64> = time.windows(2).map(|w| w[1].saturating_sub(w[0]) as f64).collect();
        let period_s = statistics::median(&mut steps).unwrap_or(0.0) * 1e-6;
        let noise_deg = noise(&signals.deg);
        let mut out = Self {
            signals,
            period_s,
            noise_deg,
            stretches: Vec::with_capacity(began.len()),
            left_out: 0,
            angle_lost: 0,
        };
        if period_s <= 0.0 {
            return out;
        }
        let index = |us: u64| out.signals.time_us[..len].partition_point(|t| *t < us);
        let mut whole_before = false;
        let mut stretches = Vec::with_capacity(began.len());
        let mut left_out = 0;
        for (k, (segment, pass, us)) in began.iter().enumerate() {
            let range = index(*us)..began.get(k + 1).map_or(len, |next| index(next.2));
            // A gap at the first sample lies between this stretch and the one before.
            let broken = gaps.iter().any(|g| *g >= range.start && *g < range.end.max(range.start + 1));
            let stimulus = program.get(*segment).copied().filter(|_| range.len() >= 2);
            match (stimulus, broken) {
                (Some(stimulus), false) => stretches.push(Stretch {
                    stimulus,
                    segment: *segment,
                    pass: *pass,
                    range,
                    began_us: *us,
                    follows: whole_before,
                    whole: true,
                }),
                _ => left_out += 1,
            }
            whole_before = stimulus.is_some() && !broken;
        }
        out.stretches = stretches;
        out.left_out = left_out;
        out
    }

    /// From a trace. None where the first line, motor volts or motor amps were not recorded.
    /// `pair` is the sheet's correlation line: second = m · first + k, ratios of supply.
    pub fn of(trace: &Trace, plate: PlateScale, pair: (f64, f64)) -> Option<Self> {
        let [volts, amps] = [Channel::MotorVolts, Channel::MotorAmps]
            .map(|c| trace.channel(c).filter(|v| v.iter().any(|v| v.is_finite())));
        let (deg, lost) = plate_angle(trace, plate, pair)?;
        let of = |values: &[f32]| values.iter().map(|v| f64::from(*v)).collect();
        let warm: Vec<f64> = trace.channel(Channel::Temperature).map(of).unwrap_or_default();
        let signals = Signals {
            time_us: trace.time_us.clone(),
            deg,
            volts: of(volts?),
            amps: of(amps?),
            celsius: mean(&warm).unwrap_or(f64::NAN),
        };
        let program = &trace.provenance.program;
        let told = begun(trace);
        let (filled, holes): (Vec<&Gap>, Vec<&Gap>) = trace.gaps.iter().partition(|g| is_filled(trace, g));
        let (began, untold) = cut_at(&told, program, trace);
        let untold = untold.into_iter().map(|us| trace.time_us.partition_point(|t| *t < us));
        // Before the first scan there is nothing to cut off.
        let gaps: Vec<usize> = holes.iter().map(|g| g.index).filter(|at| *at > 0).chain(untold).collect();
        let mut recording = Self { angle_lost: lost, ..Self::new(signals, program, &began, &gaps) };
        for gap in filled {
            recording.lacks(gap.index - gap.scans as usize..gap.index);
        }
        if holes.iter().any(|g| g.index == 0) {
            recording.lacks(0..1);
        }
        let newest = told.last().map_or(0, |b| b.at_us);
        // The program did not go on from the stretch in which it was interrupted.
        if trace.was_interrupted() && recording.stretches.pop_if(|s| s.began_us == newest).is_some() {
            recording.left_out += 1;
        }
        Some(recording)
    }

    /// Samples that have no values because they were lost on the way.
    pub fn lacks(&mut self, samples: Range<usize>) {
        let touched = |s: &&mut Stretch| s.range.start < samples.end && samples.start < s.range.end;
        self.stretches.iter_mut().filter(touched).for_each(|s| s.whole = false);
    }

    /// Stretches of which every scan came.
    pub fn whole(&self) -> impl Iterator<Item = &Stretch> {
        self.stretches.iter().filter(|s| s.whole)
    }

    /// Plate angle over samples.
    pub fn deg(&self, range: Range<usize>) -> &[f64] {
        self.signals.deg.get(range).unwrap_or(&[])
    }

    /// Mean plate angle over samples; none where half of either half has no value.
    pub fn seen_deg(&self, range: Range<usize>) -> Option<f64> {
        let deg = self.deg(range);
        let (a, b) = deg.split_at(deg.len() / 2);
        let seen = |half: &[f64]| 2 * half.iter().filter(|d| d.is_finite()).count() > half.len();
        mean(deg).filter(|_| seen(a) && seen(b))
    }

    /// Terminal volts over samples.
    pub fn volts(&self, range: Range<usize>) -> &[f64] {
        self.signals.volts.get(range).unwrap_or(&[])
    }

    /// Motor amps over samples.
    pub fn amps(&self, range: Range<usize>) -> &[f64] {
        self.signals.amps.get(range).unwrap_or(&[])
    }

    /// Samples that span a time, at least one.
    pub fn samples(&self, seconds: f64) -> usize {
        if self.period_s > 0.0 && seconds.is_finite() {
            ((seconds / self.period_s).round().max(1.0) as usize).min(self.signals.time_us.len().max(1))
        } else {
            1
        }
    }

    /// The last `seconds` of samples of a stretch, at most all of it.
    pub fn tail(&self, range: &Range<usize>, seconds: f64) -> Range<usize> {
        range.end.saturating_sub(self.samples(seconds)).max(range.start)..range.end
    }

    /// Every stretch with the one before it, where none was left out between them.
    pub fn with_previous(&self) -> impl Iterator<Item = (&Stretch, &Stretch)> {
        self.stretches.windows(2).filter(|w| w[1].follows).map(|w| (&w[0], &w[1]))
    }
}

/// Stands for what went on where the event that shows it was lost.
const UNTOLD: usize = usize::MAX;

/// Where a program's segments began, as cuts of the samples, and the beginnings of those whose end is not known. A segment whose next event was
/// lost ends by the time that its program gives it; what comes after is [`UNTOLD`].
fn cut_at(told: &[Begun], program: &[Stimulus], trace: &Trace) -> (Vec<Began>, Vec<u64>) {
    let end_us = trace.time_us.last().copied().unwrap_or(0);
    let (mut began, mut open) = (Vec::with_capacity(told.len()), Vec::new());
    for (k, b) in told.iter().enumerate() {
        began.push((b.segment, b.pass, b.at_us));
        let next = told.get(k + 1);
        let is_next = match next {
            Some(next) => follows(program, *b, *next),
            None => Some(b.segment) == last_segment(program) || trace.was_interrupted(),
        };
        if is_next {
            continue;
        }
        let lasts_us = program.get(b.segment).and_then(|s| duration_us(s, None));
        let until = lasts_us.map(|us| b.at_us.saturating_add(us as u64));
        match until.filter(|until| *until < next.map_or(end_us, |next| next.at_us)) {
            Some(until) => began.push((UNTOLD, 0, until)),
            None => open.push(b.at_us),
        }
    }
    (began, open)
}

/// Whether a gap's scans stand in the trace without values.
fn is_filled(trace: &Trace, gap: &Gap) -> bool {
    let Some(start) = usize::try_from(gap.scans).ok().and_then(|n| gap.index.checked_sub(n)) else {
        return false;
    };
    gap.scans > 0 && start > 0 && trace.time_us.get(start - 1) == Some(&gap.from_us)
}

/// Lines that differ by more than this from what they differ by elsewhere contradict each other, ratio of supply: a degree of plate.
const CONTRADICTS: f64 = 0.01;

/// Plate angle from the mean of both lines, the second laid on the first; where the second contradicts it, from the one that goes on from the scan before. Also the number
/// of scans where they do. None without a first line.
fn plate_angle(trace: &Trace, plate: PlateScale, (m, k): (f64, f64)) -> Option<(Vec<f64>, usize)> {
    let first = trace.channel(Channel::Rising).filter(|v| v.iter().any(|v| v.is_finite()))?;
    let lines: Vec<&[f32]> =
        [Channel::Rising, Channel::Falling].iter().filter_map(|c| trace.channel(*c)).collect();
    let supply = trace.channel(Channel::Supply).map(|s| supply::as_seen(s, &lines));
    // A supply that is gone gives no angle.
    let over = |line: &[f32], i: usize| {
        let supply = supply.as_ref().map_or(NOMINAL_VOLTS, |s| s[i]);
        if supply > 0.1 * NOMINAL_VOLTS { f64::from(line[i]) / supply } else { f64::NAN }
    };
    let ratio: Vec<f64> = (0..first.len()).map(|i| over(first, i)).collect();
    let second = trace.channel(Channel::Falling).filter(|_| m.abs() > 1e-3);
    let Some(second) = second else { return Some((ratio.iter().map(|r| plate.deg(*r)).collect(), 0)) };
    let as_first: Vec<f64> = (0..first.len()).map(|i| (over(second, i) - k) / m).collect();
    let every = (ratio.len() / 20_000).max(1);
    // Gains of healthy lines differ by some per cent: the second is first laid onto the first by a line that outliers do not move.
    let thin = |v: &[f64]| v.iter().copied().step_by(every).collect::<Vec<f64>>();
    let (x, y) = (thin(&as_first), thin(&ratio));
    let (slope, offset) = laid_on(&x, &y)?;
    let as_first: Vec<f64> = as_first.iter().map(|b| slope * b + offset).collect();
    let apart = x.iter().zip(&y).map(|(b, a)| a - slope * b - offset);
    let mut apart: Vec<f64> = apart.filter(|d| d.is_finite()).collect();
    // Where the second line is dead or goes its own way all along, the first is believed.
    if statistics::robust_sd(&mut apart).is_none_or(|sd| sd > 0.5 * CONTRADICTS) {
        return Some((ratio.iter().map(|r| plate.deg(*r)).collect(), 0));
    }
    let (mut last, mut lost) = (f64::NAN, 0);
    let deg = ratio.iter().zip(&as_first).map(|(a, b)| {
        let now = if (a - b).abs() < CONTRADICTS {
            // Each track has a texture and noise of its own: two witnesses are better than one.
            0.5 * (a + b)
        } else if a.is_nan() && b.is_nan() {
            // A scan that did not come contradicts nothing.
            f64::NAN
        } else {
            lost += 1;
            if !a.is_finite() || (b - last).abs() < (a - last).abs() { *b } else { *a }
        };
        last = if now.is_finite() { now } else { last };
        plate.deg(now)
    });
    Some((deg.collect(), lost))
}

/// Line that lays x on y over all of their travel: medians of 50 places first, so that neither a long rest at one of them nor
/// moments without contact move it.
fn laid_on(x: &[f64], y: &[f64]) -> Option<(f64, f64)> {
    const PLACES: f64 = 50.0;
    let mut places: Vec<Vec<f64>> = vec![Vec::new(); PLACES as usize + 1];
    for (x, y) in x.iter().zip(y).filter(|(x, y)| (0.0..=1.0).contains(*x) && y.is_finite()) {
        places[(x * PLACES) as usize].push(y - x);
    }
    let known = places.iter_mut().enumerate().filter(|(_, apart)| apart.len() >= 5);
    let known = known.filter_map(|(k, apart)| Some(((k as f64 + 0.5) / PLACES, statistics::median(apart)?)));
    let (at, mut apart): (Vec<f64>, Vec<f64>) = known.unzip();
    match statistics::fit_line(&at, &apart) {
        Some(line) if at.len() >= 5 => Some((1.0 + line.slope, line.intercept)),
        _ => Some((1.0, statistics::median(&mut apart)?)),
    }
}

/// Supply where it was not recorded, V: every scale found on the same rig errs alike.
const NOMINAL_VOLTS: f64 = 5.0;

/// Noise from second differences of up to 40 000 places: white noise σ gives them √6 σ.
fn noise(deg: &[f64]) -> f64 {
    let every = (deg.len() / 40_000).max(1);
    let mut second: Vec<f64> =
        deg.windows(3).step_by(every).map(|w| w[2] - 2.0 * w[1] + w[0]).filter(|d| d.is_finite()).collect();
    statistics::robust_sd(&mut second).unwrap_or(0.0) / 6.0f64.sqrt()
}
