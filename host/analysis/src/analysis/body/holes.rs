//! Which lost scans leave something open: those in motions that were not done whole often enough. It knows no figure.
//!
//! A recording that a rig drives repeats its motions. A hole in one of them leaves nothing open when others show what it hides: when at least
//! two of that motion, and half of those asked for, came whole at that time of it. Holds and letting go are judged scan by scan, so
//! that a hole in them costs the places it hides, and the slow ramps pass each of those several times.

use super::measured::Recordings;
use super::stretches::{Recording, Stretch};
use super::traces::BodyTraces;
use crate::analysis::gaps;
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::quantity::ProcedureKind;
use crate::sheet::PartSheet;
use crate::trace::{Begun, Gap, Stimulus, Trace, begun};
use std::ops::Range;

/// A moment of a motion is known by so many samples that came. Engineering assumption, as for the strokes of a grip.
const LEAST: usize = 2;

/// Stretches of travel over which lost scans leave something open, in any trace of the body. The slow ramps' own come with their curves, and
/// the leads are known by how the lines stand, not along the travel.
pub fn regions(traces: &BodyTraces<'_>, recordings: &Recordings, sheet: &PartSheet) -> Vec<(f64, f64)> {
    let by_places = [ProcedureKind::Creep, ProcedureKind::LeadsCheck];
    let lacking = traces.all().filter(|t| !t.gaps.is_empty() && !by_places.contains(&t.provenance.procedure));
    let of = |trace: &Trace| {
        let recording = recordings.of(trace.provenance.procedure);
        let told = begun(trace);
        let made_up_for = |gap: &&Gap| recording.is_some_and(|r| is_made_up_for(gap, trace, &told, r));
        let open: Vec<&Gap> = trace.gaps.iter().filter(|gap| !made_up_for(gap)).collect();
        if open.is_empty() {
            return Vec::new();
        }
        let prepared = Prepared::new(trace, sheet);
        if prepared.angle_source == AngleSource::None {
            Vec::new()
        } else {
            gaps::regions_of(&prepared, |gap| open.contains(&gap))
        }
    };
    lacking.flat_map(of).collect()
}

/// Whether every motion that a gap touches is covered by others like it at that time of it, or scan by scan.
fn is_made_up_for(gap: &Gap, trace: &Trace, told: &[Begun], recording: &Recording) -> bool {
    let program = &trace.provenance.program;
    // The one that was under way when the gap began, and all that began within it.
    let first = told.partition_point(|b| b.at_us <= gap.from_us).saturating_sub(1);
    let touched = || (first..told.len()).take_while(|k| told[*k].at_us < gap.to_us);
    gap.cause.is_on_the_way()
        && touched().next().is_some()
        && touched().all(|k| {
            let b = &told[k];
            let listed = || recording.stretches.iter().any(|s| s.began_us == b.at_us);
            let stimulus = program.get(b.segment);
            if leads_somewhere(stimulus) || (by_the_scan(stimulus) && listed()) {
                return true;
            }
            let end_us = told.get(k + 1).map_or(u64::MAX, |next| next.at_us);
            let hidden = gap.from_us.saturating_sub(b.at_us)..gap.to_us.min(end_us).saturating_sub(b.at_us);
            let others =
                recording.stretches.iter().filter(|s| s.segment == b.segment && s.began_us != b.at_us);
            let at = |us: u64, s: &Stretch| s.began_us.saturating_add(us);
            let told = others.filter(|s| came(trace, at(hidden.start, s)..at(hidden.end, s)));
            told.count() >= LEAST.max(asked(program, b.segment).div_ceil(2))
        })
}

/// Whether no scan is missing in a time, rig us.
fn came(trace: &Trace, time: Range<u64>) -> bool {
    trace.gaps.iter().all(|gap| gap.to_us <= time.start || gap.from_us >= time.end)
}

/// Motions that bring the plate somewhere: nothing else is asked of them here, the slow ramps stand in a recording of their own.
const fn leads_somewhere(stimulus: Option<&Stimulus>) -> bool {
    matches!(stimulus, Some(Stimulus::Ramp { .. } | Stimulus::VoltsRamp { .. }))
}

/// Motions of which every scan shows something by itself, or only how they end.
const fn by_the_scan(stimulus: Option<&Stimulus>) -> bool {
    matches!(stimulus, Some(Stimulus::Hold { .. } | Stimulus::Release { .. } | Stimulus::Brake { .. }))
}

/// How often a program does a segment.
fn asked(program: &[Stimulus], segment: usize) -> usize {
    let around = program.iter().enumerate().skip(segment + 1).find_map(|(at, stimulus)| match stimulus {
        Stimulus::Repeat { from, times } if usize::from(*from) <= segment && segment < at => {
            Some(usize::from(*times))
        }
        _ => None,
    });
    1 + around.unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_segment_is_asked_for_as_often_as_the_repeat_around_it_says() {
        let volts = Stimulus::Volts { volts: 4.5, seconds: 0.3 };
        let program = [volts, volts, Stimulus::Repeat { from: 1, times: 2 }, volts];
        assert_eq!([0, 1, 3].map(|k| asked(&program, k)), [1, 3, 1]);
    }
}
