//! Where the plate stands without power, and where its stops are. It does not ask how fast it came there.
//!
//! A release counts when the plate stands at its end. From above and from below are distinguished by the side on which the release
//! began; the difference is what friction of the plate leaves of the springs' pull (and a gap between the springs).

use super::estimate::Estimate;
use super::stretches::{Recording, Stretch};
use crate::analysis::statistics::{self, mean};
use crate::trace::Stimulus;

/// A release shorter than this shows no rest position, s.
const SHORTEST_S: f64 = 0.15;
/// The end of a release that is looked at, s.
const TAIL_S: f64 = 0.06;
/// A plate that moves by more than this between the halves of that end does not stand, degrees.
const STANDING_DEG: f64 = 0.05;
/// A release that begins nearer than this to where it ends shows no direction, degrees.
const NEAR_DEG: f64 = 0.5;
/// Places of rest further apart than this from the median are no rest position: the plate hangs, degrees.
const HANGS_DEG: f64 = 2.5;

/// One place where the plate came to rest without power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resting {
    /// Where, degrees.
    pub deg: f64,
    /// Where it was when the bridge opened, degrees.
    pub from_deg: f64,
}

/// Rest position of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Rest {
    /// Median of all, with the spread of one.
    pub position: Estimate,
    /// Spread of one return, standard deviation, degrees; none with fewer than three.
    pub repeatability: Option<Estimate>,
    /// Mean of returns from above.
    pub from_above: Option<Estimate>,
    /// Mean of returns from below.
    pub from_below: Option<Estimate>,
    /// Every return.
    pub all: Vec<Resting>,
    /// Returns that ended elsewhere or did not end.
    pub hung: Vec<Resting>,
    /// Share of the returns from above that hung: lash and lost motion start from there.
    pub hung_from_above: f64,
}

/// Closed and open stop, degrees, each with its uncertainty.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stops {
    /// Lowest place where the drive pressed and the plate stood.
    pub closed: Option<Estimate>,
    /// Highest such place.
    pub open: Option<Estimate>,
}

/// Whether the plate stands over samples: its means over both halves agree.
pub fn stands(recording: &Recording, range: std::ops::Range<usize>) -> Option<f64> {
    let deg = recording.deg(range);
    let (a, b) = deg.split_at(deg.len() / 2);
    let (a, b) = (mean(a)?, mean(b)?);
    ((a - b).abs() < STANDING_DEG + 3.0 * recording.noise_deg / (deg.len() as f64 / 4.0).sqrt())
        .then_some(0.5 * (a + b))
}

/// Returns to rest of one recording; those whose end does not stand have `None`.
fn returns(recording: &Recording) -> Vec<(Resting, bool)> {
    let mut out = Vec::new();
    for (before, release) in recording.with_previous() {
        let Stimulus::Release { .. } = release.stimulus else { continue };
        if (release.range.len() as f64) * recording.period_s < SHORTEST_S {
            continue;
        }
        let Some(from_deg) = mean(recording.deg(recording.tail(&before.range, 0.004))) else { continue };
        let tail = recording.tail(&release.range, TAIL_S);
        let Some(end) = recording.seen_deg(tail.clone()) else { continue };
        let standing = stands(recording, tail);
        out.push((Resting { deg: standing.unwrap_or(end), from_deg }, standing.is_some()));
    }
    out
}

/// Rest position from every release of the recordings. None where no release ended at rest.
pub fn find(recordings: &[&Recording]) -> Option<Rest> {
    let returns: Vec<(Resting, bool)> = recordings.iter().flat_map(|r| returns(r)).collect();
    let mut places: Vec<f64> = returns.iter().filter(|r| r.1).map(|r| r.0.deg).collect();
    let middle = statistics::median(&mut places)?;
    let at_rest = |(r, standing): &(Resting, bool)| *standing && (r.deg - middle).abs() < HANGS_DEG;
    let all: Vec<Resting> = returns.iter().filter(|r| at_rest(r)).map(|r| r.0).collect();
    let hung: Vec<Resting> = returns.iter().filter(|r| !at_rest(r)).map(|r| r.0).collect();
    let above = |of: &[Resting]| of.iter().filter(|r| r.from_deg > middle + NEAR_DEG).count() as f64;
    let hung_from_above = above(&hung) / (above(&hung) + above(&all)).max(1.0);
    let side = |above: bool| -> Option<Estimate> {
        let near: Vec<f64> = all
            .iter()
            .filter(|r| if above { r.from_deg > r.deg + NEAR_DEG } else { r.from_deg < r.deg - NEAR_DEG })
            .map(|r| r.deg)
            .collect();
        let sd = statistics::standard_deviation(&near).unwrap_or(STANDING_DEG);
        Estimate::new(mean(&near)?, sd / (near.len() as f64).sqrt())
    };
    let places: Vec<f64> = all.iter().map(|r| r.deg).collect();
    let spread = statistics::standard_deviation(&places);
    let n: f64 = places.len() as f64;
    Some(Rest {
        position: Estimate::median_of(&places, STANDING_DEG)?,
        // Standard error of a standard deviation: s/√(2(n − 1)) (Kendall, Stuart, ch. 10).
        repeatability: spread
            .filter(|_| n >= 3.0)
            .and_then(|s| Estimate::new(s, s / (2.0 * (n - 1.0)).sqrt())),
        from_above: side(true),
        from_below: side(false),
        all,
        hung,
        hung_from_above,
    })
}

/// Stops: where open-loop volts end in a plate that stands well away from rest.
pub fn stops(recordings: &[&Recording], rest_deg: f64) -> Stops {
    let (mut closed, mut open) = (Vec::new(), Vec::new());
    for recording in recordings {
        for Stretch { stimulus, range, .. } in &recording.stretches {
            let volts = match stimulus {
                Stimulus::Volts { volts, .. } => *volts,
                _ => continue,
            };
            let tail = recording.tail(range, 0.02);
            let Some(at) = stands(recording, tail).filter(|at| (at - rest_deg).abs() > 1.0) else { continue };
            match volts {
                v if v > 0.0 && at > rest_deg => open.push(at),
                v if v < 0.0 && at < rest_deg => closed.push(at),
                _ => {}
            }
        }
    }
    // A drive that only balances a spring stands short of the stop; those that reach it stand at the extreme.
    let at_extreme = |mut places: Vec<f64>, sign: f64| -> Option<Estimate> {
        let far = places.iter().map(|p| sign * p).fold(f64::NEG_INFINITY, f64::max);
        places.retain(|p| sign * p > far - 1.0);
        Estimate::median_of(&places, STANDING_DEG)
    };
    Stops { closed: at_extreme(closed, -1.0), open: at_extreme(open, 1.0) }
}
