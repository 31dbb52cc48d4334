//! Latency of many steps per region and direction, and rise, overshoot and settling of closed-loop ones. It judges nothing.
//!
//! Latencies are whole microseconds on the rig's clock from the command to first motion ([`super::onset`]), in an HdrHistogram
//! of 1 µs to 1 s with three significant digits; what is slower counts as 1 s, what noise makes negative as 0. Quantiles have bounds by
//! order statistics ([`super::order_statistics`]).

use super::estimate::Estimate;
use super::onset::{self, NoOnset, Onset};
use super::order_statistics::{ranks, values_for_upper_bound};
use super::stretches::{Recording, Stretch, closed_loop};
use crate::analysis::statistics::{self, mean};
use crate::quantity::{Heading, Region};
use crate::trace::Stimulus;
use hdrhistogram::Histogram;

/// Longest latency the histogram holds, µs.
pub const LONGEST_US: u64 = 1_000_000;
/// Significant digits of the histogram.
pub const DIGITS: u8 = 3;
/// Confidence of the bounds that stand with quantiles.
pub const CONFIDENCE: f64 = 0.95;
/// A step of volts smaller than this shows no latency, V.
const LEAST_VOLTS: f64 = 2.0;
/// A closed-loop step smaller than this is left out: friction, not the part, decides when it begins, degrees.
const LEAST_STEP_DEG: f64 = 5.0;
/// Motion that a step of volts is expected to make at least, degrees.
const VOLTS_STEP_DEG: f64 = 10.0;
/// Settled within this share of the step, at least this many degrees.
const SETTLED: (f64, f64) = (0.02, 0.35);

/// Where ranges of the travel end, degrees, and where the plate rests.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranges {
    /// Rest.
    pub rest_deg: f64,
    /// End of the low range.
    pub low_deg: f64,
    /// End of the middle range.
    pub middle_deg: f64,
}

impl Ranges {
    /// Region of the travel at an angle.
    pub fn region(&self, deg: f64) -> Region {
        if deg < self.low_deg {
            Region::Low
        } else if deg < self.middle_deg {
            Region::Middle
        } else {
            Region::High
        }
    }
}

/// A quantile with its bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantile {
    /// Value and standard uncertainty, µs; none where the sample is too small to show one.
    pub value: Option<Estimate>,
    /// Lower bound at [`CONFIDENCE`], µs.
    pub low_us: Option<u64>,
    /// Upper bound at [`CONFIDENCE`], µs.
    pub high_us: Option<u64>,
    /// Steps that an upper bound at [`CONFIDENCE`] needs (one-sided).
    pub needs: u64,
}

/// Latencies of one region and direction.
#[derive(Clone, Debug)]
pub struct Latencies {
    /// Where the steps began.
    pub region: Region,
    /// Which way.
    pub heading: Heading,
    /// Whole microseconds.
    pub histogram: Histogram<u64>,
    /// Steps without first motion.
    pub without_motion: usize,
    /// Steps whose plate was not at rest before.
    pub not_at_rest: usize,
    /// What is not known of what was taken off every onset: their bias and the sensor's lag, s.
    pub common_uncertainty_s: f64,
    /// Single onsets and what they were read from, before anything is taken off.
    onsets: Vec<Onset>,
}

impl Latencies {
    /// All ranges and both directions as one; none without steps.
    pub fn pooled(of: &[Self]) -> Option<Self> {
        let mut all = of.first()?.clone();
        for other in &of[1..] {
            all.histogram.add(&other.histogram).ok()?;
            all.without_motion += other.without_motion;
            all.not_at_rest += other.not_at_rest;
            // The worse where several are in one.
            all.common_uncertainty_s = all.common_uncertainty_s.max(other.common_uncertainty_s);
        }
        Some(all)
    }

    /// A quantile of them; `p` 0..1.
    pub fn quantile(&self, p: f64) -> Quantile {
        let n = self.histogram.len();
        let at = |rank: u64| self.histogram.value_at_quantile((rank as f64 - 0.5) / n.max(1) as f64);
        let told = ranks(n, p, CONFIDENCE);
        // One standard uncertainty: half of the 68 % interval, which is there before the 95 % one.
        let one = ranks(n, p, 0.682_7);
        let value = one.low.zip(one.high).and_then(|(low, high)| {
            let sampling = 0.5 * (at(high) as f64 - at(low) as f64);
            let one = 1e6 * onset::ONE_S / (n as f64).sqrt();
            let widening = self.widening_us(p);
            let uncertainty = sampling.hypot(self.bias_uncertainty_us()).hypot(one).hypot(0.5 * widening);
            Estimate::new(self.histogram.value_at_quantile(p) as f64 - widening, uncertainty)
        });
        Quantile {
            value,
            low_us: told.low.map(at),
            high_us: told.high.map(at),
            needs: values_for_upper_bound(p, CONFIDENCE),
        }
    }

    /// What is not known of what was taken off, µs.
    fn bias_uncertainty_us(&self) -> f64 {
        1e6 * self.common_uncertainty_s
    }

    /// Takes bias and lag off the onsets and counts them.
    fn settle(&mut self, lag: Estimate) -> Vec<Lag> {
        let closing = self.heading == Heading::Closing;
        let of_heading = |both: (f64, f64)| if closing { both.1 } else { both.0 };
        self.common_uncertainty_s = of_heading(onset::BIAS_UNCERTAINTY_S).hypot(lag.uncertainty);
        let late = of_heading(onset::BIAS_S) + lag.value;
        let mut along = Vec::with_capacity(self.onsets.len());
        for onset in &self.onsets {
            let us = 1e6 * (onset.seconds - late);
            self.histogram.saturating_record(us.round().clamp(0.0, LONGEST_US as f64) as u64);
            along.push(Lag { deg: onset.base_deg, heading: self.heading, ms: 1e-3 * us });
        }
        self.onsets.clear();
        along
    }

    /// How far the scatter of single onsets widens a quantile, µs: that of a normal scatter on top of what the steps have of their own.
    fn widening_us(&self, p: f64) -> f64 {
        let at = |q: f64| self.histogram.value_at_quantile(q) as f64;
        // A normal distribution's quartiles are 1.349 sd apart.
        let seen = (at(0.75) - at(0.25)) / 1.349;
        let own = (seen * seen - 1e12 * onset::ONE_S * onset::ONE_S).max(0.0).sqrt();
        statistics::normal_quantile(p) * (seen - own)
    }

    /// Longest seen, µs, with the uncertainty of one onset; none without steps.
    pub fn longest(&self) -> Option<Estimate> {
        let one = (1e6 * onset::ONE_S).hypot(self.bias_uncertainty_us());
        (!self.histogram.is_empty()).then(|| Estimate::new(self.histogram.max() as f64, one))?
    }
}

/// A histogram of latencies as counts: bins of 1-2-5 widths, so that there are at most about forty.
pub fn bins(latencies: &Latencies) -> Option<(f64, f64, Vec<u64>)> {
    let (least, most) = (latencies.histogram.min(), latencies.histogram.max());
    if latencies.histogram.is_empty() {
        return None;
    }
    let raw = (most - least).max(100) as f64 / 40.0;
    let power = 10.0f64.powf(raw.log10().floor());
    let width = [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|w| *w >= raw)?;
    let low = (least as f64 / width).floor() * width;
    let mut counts = vec![0u64; ((most as f64 - low) / width) as usize + 1];
    for value in latencies.histogram.iter_recorded() {
        let bin = ((value.value_iterated_to().min(most) as f64 - low) / width) as usize;
        if let Some(count) = counts.get_mut(bin) {
            *count += value.count_at_value();
        }
    }
    Some((low, width, counts))
}

/// What a closed-loop step did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// From, degrees.
    pub from_deg: f64,
    /// To, degrees, as asked.
    pub to_deg: f64,
    /// 10 to 90 %, s.
    pub rise_s: f64,
    /// Beyond the step, share of it; 0 where it stayed short.
    pub overshoot: f64,
    /// Into the band and to stay, s; none where it did not.
    pub settling_s: Option<f64>,
}

/// One step for the plot: time and angle, and its onset.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Region it began in.
    pub region: Region,
    /// Which way.
    pub heading: Heading,
    /// ms after the command.
    pub ms: Vec<f64>,
    /// Degrees from where it stood.
    pub deg: Vec<f64>,
    /// Onset, ms.
    pub onset_ms: f64,
}

/// All steps of the recordings.
#[derive(Clone, Debug, Default)]
pub struct Steps {
    /// By region, then direction; only those with steps.
    pub latencies: Vec<Latencies>,
    /// Closed-loop steps in order of time.
    pub responses: Vec<Response>,
    /// The first step of each region and direction.
    pub shown: Vec<Shown>,
    /// Every latency with the place where its step began.
    pub along: Vec<Lag>,
}

/// One latency and its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// Where the plate stood, degrees.
    pub deg: f64,
    /// Which way.
    pub heading: Heading,
    /// Command to first motion, ms, 0 or more.
    pub ms: f64,
}

/// Measures every step. Open-loop steps of volts show latency; closed-loop ones show rise, overshoot and settling, and latency only
/// where there is none of volts.
/// `lag` = how late the plate's sensor is, s: it is taken off.
pub fn measure(recordings: &[&Recording], ranges: Ranges, lag: Estimate) -> Steps {
    let mut out = Steps::default();
    for volts in [true, false] {
        for r in recordings {
            for (before, s) in r.with_previous() {
                if volts {
                    out.add_volts(r, before, s, ranges);
                } else {
                    out.add_closed_loop(r, before, s, ranges);
                }
            }
        }
    }
    for latencies in &mut out.latencies {
        let along = latencies.settle(lag);
        // The first step is shown as it counts.
        let mut shown =
            out.shown.iter_mut().filter(|s| (s.region, s.heading) == (latencies.region, latencies.heading));
        if let (Some(shown), Some(first)) = (shown.next(), along.first()) {
            shown.onset_ms = first.ms;
        }
        out.along.extend(along);
    }
    out.latencies.sort_by_key(|l| (l.region, l.heading));
    out
}

impl Steps {
    fn add_volts(&mut self, r: &Recording, before: &Stretch, s: &Stretch, ranges: Ranges) {
        let (Stimulus::Volts { .. }, true) = (s.stimulus, s.whole) else { return };
        let held = closed_loop(before.stimulus) || matches!(before.stimulus, Stimulus::Volts { .. });
        let (Some(was), Some(now)) =
            (mean(r.volts(r.tail(&before.range, 0.005))), mean(r.volts(s.range.start + 1..s.range.end)))
        else {
            return;
        };
        let step = now - was;
        let sign = step.signum();
        // Steps at rest or past it cross the gears' play; back to the volts of a hold they are no test.
        let seated = mean(r.deg(r.tail(&before.range, 0.005))).is_some_and(|d| d > ranges.rest_deg + 1.0);
        if held && seated && step.abs() > LEAST_VOLTS {
            self.add(r, s, sign, VOLTS_STEP_DEG, ranges);
        }
    }

    fn add_closed_loop(&mut self, r: &Recording, before: &Stretch, s: &Stretch, ranges: Ranges) {
        let Stimulus::Step { to_deg, .. } = s.stimulus else { return };
        let Some(from_deg) = mean(r.deg(r.tail(&before.range, 0.005))) else { return };
        let step = to_deg - from_deg;
        if step.abs() < LEAST_STEP_DEG || !closed_loop(before.stimulus) {
            return;
        }
        let (region, heading) = (ranges.region(from_deg), heading(step.signum()));
        if s.whole && !self.latencies.iter().any(|l| l.region == region && l.heading == heading) {
            self.add(r, s, step.signum(), step, ranges);
        }
        self.responses.extend(response(r, s, from_deg, to_deg));
    }

    fn add(&mut self, r: &Recording, s: &Stretch, sign: f64, expected: f64, ranges: Ranges) {
        let found = onset::find(r, s, sign, expected);
        let at = match &found {
            Ok(onset) => onset.base_deg,
            Err(_) => mean(r.deg(s.range.start..s.range.start + 1)).unwrap_or(ranges.rest_deg),
        };
        let (region, heading) = (ranges.region(at), heading(sign));
        let place = self.latencies.iter().position(|l| l.region == region && l.heading == heading);
        let place = place.unwrap_or_else(|| {
            self.latencies.extend(empty(region, heading));
            self.latencies.len() - 1
        });
        let Some(into) = self.latencies.get_mut(place) else { return };
        match found {
            Ok(onset) => {
                into.onsets.push(onset);
                self.show(r, s, &onset, region, heading);
            }
            Err(NoOnset::NoMotion) => into.without_motion += 1,
            Err(NoOnset::NotAtRest) => into.not_at_rest += 1,
            Err(NoOnset::Missing) => {}
        }
    }

    fn show(&mut self, r: &Recording, s: &Stretch, onset: &Onset, region: Region, heading: Heading) {
        if self.shown.iter().any(|o| o.region == region && o.heading == heading) {
            return;
        }
        let before = r.samples(0.005);
        let range = s.range.start.saturating_sub(before)..s.range.end.min(s.range.start + r.samples(0.03));
        let ms = r.signals.time_us[range.clone()].iter().map(|t| (*t as f64 - s.began_us as f64) * 1e-3);
        self.shown.push(Shown {
            region,
            heading,
            ms: ms.collect(),
            deg: r.deg(range).iter().map(|d| d - onset.base_deg).collect(),
            onset_ms: 1e3 * onset.seconds,
        });
    }
}

fn heading(sign: f64) -> Heading {
    if sign > 0.0 { Heading::Opening } else { Heading::Closing }
}

fn empty(region: Region, heading: Heading) -> Option<Latencies> {
    let histogram = Histogram::new_with_bounds(1, LONGEST_US, DIGITS).ok()?;
    Some(Latencies {
        region,
        heading,
        histogram,
        without_motion: 0,
        not_at_rest: 0,
        common_uncertainty_s: 0.0,
        onsets: Vec::new(),
    })
}

/// Rise, overshoot and settling of one closed-loop step.
fn response(r: &Recording, s: &Stretch, from_deg: f64, to_deg: f64) -> Option<Response> {
    let size = to_deg - from_deg;
    let deg = r.deg(s.range.clone());
    let share: Vec<f64> = deg.windows(5).map(|w| (w.iter().sum::<f64>() / 5.0 - from_deg) / size).collect();
    let crosses = |level: f64| {
        let k = share.iter().position(|v| *v > level)?;
        let before = *share.get(k.checked_sub(1)?)?;
        Some(k as f64 - (share[k] - level) / (share[k] - before))
    };
    let rise_s = (crosses(0.9)? - crosses(0.1)?) * r.period_s;
    let highest = share.iter().copied().filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let band = SETTLED.0.max(SETTLED.1 / size.abs());
    // Scans that were lost once it has settled leave nothing open; earlier they may hide the peak.
    let outside = share.iter().rposition(|v| (v - 1.0).abs() > band || (s.whole && v.is_nan()));
    let until = outside.map_or(0, |k| k + 2).min(share.len());
    if !s.whole && share[..until].iter().any(|v| v.is_nan()) {
        return None;
    }
    // A window of five is centred two samples on.
    let settling_s = match outside {
        Some(k) if k + 1 >= share.len() => None,
        Some(k) => Some((k + 3) as f64 * r.period_s),
        None => Some(0.0),
    };
    Some(Response { from_deg, to_deg, rise_s, overshoot: (highest - 1.0).max(0.0), settling_s })
        .filter(|r| r.rise_s.is_finite() && r.overshoot.is_finite())
}

/// Closed-loop steps of one kind, medians: from and to within a degree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Median {
    /// From, degrees.
    pub from_deg: f64,
    /// To, degrees.
    pub to_deg: f64,
    /// Rise, s.
    pub rise_s: Estimate,
    /// Overshoot, share.
    pub overshoot: Estimate,
    /// Settling, s; none where any did not settle.
    pub settling_s: Option<Estimate>,
    /// Steps.
    pub steps: usize,
}

/// Medians by kind of step, in order of first appearance.
pub fn medians(responses: &[Response]) -> Vec<Median> {
    let mut kinds: Vec<(f64, f64)> = Vec::new();
    let same = |k: &(f64, f64), r: &Response| (k.0 - r.from_deg).abs() < 1.5 && (k.1 - r.to_deg).abs() < 0.5;
    for r in responses {
        if !kinds.iter().any(|k| same(k, r)) {
            kinds.push((r.from_deg, r.to_deg));
        }
    }
    kinds
        .iter()
        .filter_map(|kind| {
            let of: Vec<&Response> = responses.iter().filter(|r| same(kind, r)).collect();
            let all = |f: fn(&Response) -> f64| of.iter().map(|r| f(r)).collect::<Vec<f64>>();
            let settled: Option<Vec<f64>> = of.iter().map(|r| r.settling_s).collect();
            let mut from = all(|r| r.from_deg);
            Some(Median {
                from_deg: statistics::median(&mut from)?,
                to_deg: kind.1,
                rise_s: Estimate::median_of(&all(|r| r.rise_s), 0.15e-3)?,
                overshoot: Estimate::median_of(&all(|r| r.overshoot), 0.002)?,
                settling_s: settled.and_then(|s| Estimate::median_of(&s, 3e-3)),
                steps: of.len(),
            })
        })
        .collect()
}
