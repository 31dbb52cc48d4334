//! Places where the drive pulled and the plate did not go on. It does not name a cause.

use super::motor::Offsets;
use super::rest::stands;
use super::stretches::Recording;
use crate::analysis::statistics::{self, mean};
use crate::trace::Stimulus;

/// Short of where it was sent by more than this, the plate was stopped, degrees.
const SHORT_DEG: f64 = 5.0;
/// The end of a stretch that is looked at, s.
const TAIL_S: f64 = 0.03;
/// A drive that gives less than this does not pull, V.
const PULLS_VOLTS: f64 = 4.0;
/// Places nearer than this are one, degrees.
const PLACE_DEG: f64 = 2.0;

/// A place where the plate was stopped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jam {
    /// Where, degrees.
    pub at_deg: f64,
    /// Whether the drive pulled towards open.
    pub opening: bool,
    /// Median volts there.
    pub volts: f64,
    /// Median amps there.
    pub amps: f64,
    /// How often.
    pub times: usize,
}

/// Every such place of the position loop, in order of travel.
pub fn find(recordings: &[&Recording], offsets: Offsets) -> Vec<Jam> {
    let mut all = Vec::new();
    for r in recordings {
        for s in &r.stretches {
            let (Stimulus::Ramp { to_deg, .. } | Stimulus::Step { to_deg, .. }) = s.stimulus else {
                continue;
            };
            let tail = r.tail(&s.range, TAIL_S);
            let Some(at_deg) = stands(r, tail.clone()) else { continue };
            let (Some(volts), Some(amps)) = (mean(r.volts(tail.clone())), mean(r.amps(tail))) else {
                continue;
            };
            let short = to_deg - at_deg;
            if short.abs() > SHORT_DEG && volts.abs() > PULLS_VOLTS && volts * short > 0.0 {
                all.push(Jam { at_deg, opening: short > 0.0, volts, amps: amps - offsets.amps, times: 1 });
            }
        }
    }
    all.sort_by(|a, b| a.opening.cmp(&b.opening).then(a.at_deg.total_cmp(&b.at_deg)));
    let places = all.chunk_by(|a, b| a.opening == b.opening && b.at_deg - a.at_deg < PLACE_DEG);
    let one = |group: &[Jam]| {
        let middle = |f: fn(&Jam) -> f64| statistics::median(&mut group.iter().map(f).collect::<Vec<f64>>());
        Some(Jam {
            at_deg: middle(|j| j.at_deg)?,
            opening: group[0].opening,
            volts: middle(|j| j.volts)?,
            amps: middle(|j| j.amps)?,
            times: group.len(),
        })
    };
    places.filter_map(one).collect()
}
