//! Both traces of a run on one time base: what the grip asked of the plate by the mapping, where the plate was, and which stretch is which
//! of the program. Ratios are lines over the supply as the rig's own controller sees them.

use super::PairTraces;
use crate::quantity::Channel;
use crate::trace::{PlateScale, Stimulus, Trace};
use std::ops::Range;

/// A stretch of the program.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// What was asked of the grip.
    pub stimulus: Stimulus,
    /// Scans; never empty.
    pub range: Range<usize>,
}

/// The run.
#[derive(Clone, Debug)]
pub struct Course {
    /// Rig clock of each scan, µs.
    pub time_us: Vec<u64>,
    /// Grip, degrees of travel by the rig's reference.
    pub grip_deg: Vec<f64>,
    /// What the mapping asks for at the grip's output, degrees of plate.
    pub asked_deg: Vec<f64>,
    /// Where the plate was, degrees from its closed stop by its first line.
    pub plate_deg: Vec<f64>,
    /// The program, stretch by stretch.
    pub stretches: Vec<Stretch>,
    /// Time between scans, µs.
    pub period_us: f64,
}

impl Course {
    /// Puts them together.
    ///
    /// # Errors
    /// What is missing, as a sentence.
    pub fn new(traces: &PairTraces<'_>) -> Result<Self, String> {
        let PairTraces { grip, plate, rest } = *traces;
        if grip.time_us != plate.time_us {
            return Err("the traces of grip and plate are not of the same scans".to_owned());
        }
        let scale = plate.provenance.plate.or(rest.and_then(|t| t.provenance.plate));
        let Some(scale) = scale else {
            return Err("the plate's stops were not found, so its angle is not known".to_owned());
        };
        let mapping = &grip.provenance.mapping;
        if mapping.len() < 2 {
            return Err("the trace does not say by which mapping the plate followed".to_owned());
        }
        let Some(reference) = grip.channel(Channel::Reference) else {
            return Err("the grip's angle was not recorded".to_owned());
        };
        let zero = grip.provenance.reference_zero_deg;
        let asked = ratios(grip, grip)?.into_iter().map(|r| mapped(mapping, r)).collect();
        Ok(Self {
            grip_deg: reference.iter().map(|v| f64::from(*v) - zero).collect(),
            asked_deg: asked,
            plate_deg: plate_angles(plate, grip, scale)?,
            stretches: stretches(grip),
            period_us: f64::from(grip.provenance.period_us.max(1)),
            time_us: grip.time_us.clone(),
        })
    }

    /// Lowest and highest place of the grip.
    pub fn grip_travel(&self) -> Option<(f64, f64)> {
        let known = || self.grip_deg.iter().copied().filter(|d| d.is_finite());
        Some((known().reduce(f64::min)?, known().reduce(f64::max)?))
    }

    /// Mean of a column over the last `us` before a scan.
    pub fn level_before(&self, column: &[f64], scan: usize, us: u64) -> Option<f64> {
        let end = self.time_us.get(scan.checked_sub(1)?)?;
        let from = self.time_us.partition_point(|t| *t + us <= *end);
        let values = column.get(from..scan)?;
        let sum: f64 = values.iter().sum();
        (!values.is_empty()).then(|| sum / values.len() as f64).filter(|m| m.is_finite())
    }
}

/// Value of the mapping at an output of the grip: straight lines between the points, the ends beyond.
pub fn mapped(mapping: &[(f64, f64)], ratio: f64) -> f64 {
    let pair = mapping.windows(2).find(|w| ratio <= w[1].0);
    match (pair, mapping.first(), mapping.last()) {
        (_, Some(first), _) if ratio <= first.0 => first.1,
        (Some([a, b]), _, _) => a.1 + (b.1 - a.1) * (ratio - a.0) / (b.0 - a.0),
        (_, _, Some(last)) => last.1,
        _ => f64::NAN,
    }
}

/// First line of a trace over the supply of a trace, scan by scan.
fn ratios(of: &Trace, supplied: &Trace) -> Result<Vec<f64>, String> {
    let line = of.channel(Channel::Rising).ok_or("the first line was not recorded")?;
    let supply = supplied.channel(Channel::Supply).ok_or("the supply was not recorded")?;
    Ok(line.iter().zip(supply).map(|(v, s)| f64::from(*v) / f64::from(*s)).collect())
}

fn plate_angles(plate: &Trace, grip: &Trace, scale: PlateScale) -> Result<Vec<f64>, String> {
    Ok(ratios(plate, grip)?.into_iter().map(|ratio| scale.deg(ratio)).collect())
}

/// The program by its marks; a segment whose beginning was lost is no stretch.
fn stretches(grip: &Trace) -> Vec<Stretch> {
    let begins = grip.segments_begun();
    let index = |us: u64| grip.time_us.partition_point(|t| *t < us);
    let gap_in = |range: &Range<usize>| grip.gaps.iter().any(|g| range.contains(&g.index));
    let mut out = Vec::new();
    for (k, (at_us, segment)) in begins.iter().enumerate() {
        let end = begins.get(k + 1).map_or(grip.len(), |next| index(next.0));
        let range = index(*at_us)..end;
        let Some(stimulus) = grip.provenance.program.get(usize::from(*segment)) else { continue };
        if !range.is_empty() && !gap_in(&range) {
            out.push(Stretch { stimulus: *stimulus, range });
        }
    }
    out
}
