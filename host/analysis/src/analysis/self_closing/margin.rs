//! The spring's pull over all friction along the travel, from the drive's current on slow ramps both ways. Its zero and its sign come
//! from the same trace, its scale cancels. It judges nothing.

use super::super::statistics;
use super::releases::{Pressed, Releases, between, has_gap};
use crate::quantity::Channel;
use crate::trace::{MarkKind, Stimulus, Trace};

/// Width of a bin of the travel, degrees: some cogs of a drive are averaged.
const BIN_DEG: f64 = 5.0;
/// This share of the travel at each end is left out: the drive gathers speed, and may press on the stop.
const END_SHARE: f64 = 0.08;
/// Fewest scans in a bin.
const LEAST_SCANS: usize = 8;
/// A ramp that covers less than this share of the travel is none of those meant.
const WHOLE_SHARE: f64 = 0.8;
/// Neighbouring scans of a current are alike: of this many one counts. Engineering assumption.
const ALIKE: f64 = 10.0;
/// Pressing on a stop must stand out from the current's zero by this many of its standard deviations.
const STANDS_OUT: f64 = 5.0;

/// Pull over friction somewhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// Where, degrees from the closed stop.
    pub deg: f64,
    /// Pull of the spring over the friction of grip and rig; negative where it pulls open.
    pub ratio: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// Along the travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// Where it is least.
    pub weakest: Ratio,
    /// Where it is most.
    pub strongest: Ratio,
    /// The median place.
    pub middle: Ratio,
    /// Speed of the ramps, degrees per second.
    pub speed_deg_s: f64,
}

/// Why it can't be had.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoMargin {
    /// No channel for it.
    NotRecorded,
    /// Both stops read alike: a magnitude, or the drive did not press.
    NoSign,
    /// No ramp each way, whole and without gaps.
    NoRamps,
    /// The friction drowns in the current's noise.
    NoFriction,
}

impl NoMargin {
    /// For people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotRecorded => "the rig does not tell its drive's current",
            Self::NoSign => {
                "the drive's current tells no direction, so pull and friction can't be told apart"
            }
            Self::NoRamps => "no slow ramp each way was recorded whole",
            Self::NoFriction => "the friction is too small beside the noise of the drive's current",
        }
    }
}

/// Mean current of one bin, and its standard error.
type Mean = Option<(f64, f64)>;

impl Margin {
    /// From the trace of the release procedure.
    pub fn of(trace: &Trace, releases: &Releases) -> Result<Self, NoMargin> {
        let amps = trace.channel(Channel::DriveAmps).ok_or(NoMargin::NotRecorded)?;
        let (zero, u_zero) = releases.zero_amps().ok_or(NoMargin::NotRecorded)?;
        let sign = sign_of(&releases.closed, &releases.open, zero, noise(amps)).ok_or(NoMargin::NoSign)?;
        let (speed_deg_s, up, down) = ramps(trace, releases).ok_or(NoMargin::NoRamps)?;
        let ratios: Vec<Ratio> = up
            .iter()
            .zip(&down)
            .filter_map(|((deg, up), (_, down))| {
                let ((a, u_a), (b, u_b)) = ((*up)?, (*down)?);
                let half = 0.5 * u_a.hypot(u_b);
                let (pull, friction) = (sign * (0.5 * (a + b) - zero), sign * 0.5 * (a - b));
                (friction > 2.0 * half).then(|| {
                    let ratio = pull / friction;
                    Ratio { deg: *deg, ratio, u: half.hypot(u_zero).hypot(ratio * half) / friction }
                })
            })
            .collect();
        // Where half of the travel shows no friction, the rest is chance.
        if 2 * ratios.len() <= up.len() {
            return Err(NoMargin::NoFriction);
        }
        let mut sorted = ratios;
        sorted.sort_by(|a, b| a.ratio.total_cmp(&b.ratio));
        let (weakest, strongest) = (sorted[0], sorted[sorted.len() - 1]);
        Ok(Self { weakest, strongest, middle: sorted[sorted.len() / 2], speed_deg_s })
    }
}

/// +1 where a positive current opens, -1 where it closes.
fn sign_of(closed: &Pressed, open: &Pressed, zero: f64, noise: f64) -> Option<f64> {
    let (shut, opened) = (closed.amps - zero, open.amps - zero);
    let clear = |amps: f64| amps.abs() > STANDS_OUT * noise;
    (clear(shut) && clear(opened) && shut * opened < 0.0).then(|| opened.signum())
}

/// Noise of one scan, A.
fn noise(amps: &[f32]) -> f64 {
    let mut steps: Vec<f64> =
        amps.windows(2).map(|w| f64::from(w[1] - w[0])).filter(|d| d.is_finite()).collect();
    statistics::robust_sd(&mut steps).unwrap_or(0.0) / std::f64::consts::SQRT_2
}

/// The slowest whole ramp each way: speed, and mean current per bin of the same grid.
#[expect(clippy::type_complexity, reason = "two alike lists of bins")]
fn ramps(trace: &Trace, releases: &Releases) -> Option<(f64, Vec<(f64, Mean)>, Vec<(f64, Mean)>)> {
    let program = &trace.provenance.program;
    let marks: Vec<(Stimulus, u64)> = trace
        .marks
        .iter()
        .filter_map(|m| match m.kind {
            MarkKind::Segment { segment, .. } => Some((*program.get(usize::from(segment))?, m.at_us)),
            _ => None,
        })
        .collect();
    let (closed, open) = (releases.closed.deg, releases.open.deg);
    let travel = open - closed;
    let reference = trace.channel(Channel::Reference)?;
    let whole = |opening: bool| {
        let candidates = marks.windows(2).filter_map(|w| {
            let Stimulus::Ramp { speed_deg_s, .. } = w[0].0 else { return None };
            let range = between(trace, w[0].1, w[1].1);
            let (first, last) = (*reference.get(range.start)?, *reference.get(range.end.checked_sub(1)?)?);
            let way = f64::from(last - first);
            let fits = (way > 0.0) == opening && way.abs() > WHOLE_SHARE * travel;
            (fits && !has_gap(trace, w[0].1, w[1].1)).then_some((speed_deg_s, range))
        });
        candidates.min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let ((speed, up), (_, down)) = (whole(true)?, whole(false)?);
    let bins = |range: std::ops::Range<usize>| {
        let amps = trace.channel(Channel::DriveAmps)?;
        let (from, to) = (END_SHARE * travel, (1.0 - END_SHARE) * travel);
        let count = ((to - from) / BIN_DEG).floor().max(1.0) as usize;
        let width = (to - from) / count as f64;
        let mut values = vec![Vec::new(); count];
        for k in range {
            let at = (f64::from(reference[k]) - closed - from) / width;
            if at >= 0.0 && (at as usize) < count && amps[k].is_finite() {
                values[at as usize].push(f64::from(amps[k]));
            }
        }
        let bin = |(k, values): (usize, &Vec<f64>)| (from + (k as f64 + 0.5) * width, mean_of(values));
        Some(values.iter().enumerate().map(bin).collect::<Vec<_>>())
    };
    Some((speed, bins(up)?, bins(down)?))
}

fn mean_of(values: &[f64]) -> Mean {
    if values.len() < LEAST_SCANS {
        return None;
    }
    let sd = statistics::standard_deviation(values)?;
    Some((statistics::mean(values)?, sd / (values.len() as f64 / ALIKE).max(1.0).sqrt()))
}
