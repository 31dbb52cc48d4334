//! Whether the marks of a driven recording agree with the program and with what the reference did. A rig that stamps its events late, or
//! carries out another program than it was given, would make a part's stops and latencies of its own error.
//!
//! Checked: the first segment begins with the recording; a segment that lasts a stated time, and a ramp from a known place, last as long
//! as the program says (WIRE.md, section 7: trapezoids); a reference that is held does not set out before the ramp does that moves it. It may
//! set out later, or not at all: a part that is stiff or blocked holds it back.

use super::{MarkKind, Stimulus, Trace};
use crate::quantity::Channel;

/// Marks may be off by this, µs, and by this share of a segment: control ticks, rounding of ramps. Engineering assumption.
const SLACK_US: f64 = 60_000.0;
const SLACK_SHARE: f64 = 0.03;
/// So long before a ramp the reference is looked at, while it is held, µs.
const BEFORE_US: u64 = 150_000;
/// It may have gone this far in the ramp's direction by then, degrees: it still settles.
const SETTLES_DEG: f64 = 2.0;
/// A ramp slower than this shows too little of it, degrees per second.
const LEAST_SPEED_DEG_S: f64 = 25.0;
/// A scan this far from a moment does not show it, µs.
const NEAR_US: u64 = 20_000;
/// What was recorded this much shorter than planned ended early, s and share.
const EARLY_S: f64 = 0.5;
const EARLY_SHARE: f64 = 0.2;

/// A segment that began.
#[derive(Clone, Copy, Debug)]
pub struct Begun {
    /// When, rig µs.
    pub at_us: u64,
    /// Its number in the program.
    pub segment: usize,
    /// How often the repeat around it had gone back.
    pub pass: u16,
}

/// Why marks, program and reference can't all be true, as a fragment; none when they agree, and where nothing was driven.
pub fn contradiction(trace: &Trace) -> Option<String> {
    let program = &trace.provenance.program;
    let begun = begun(trace);
    let (first, start_us) = (begun.first()?, *trace.time_us.first()?);
    if program.is_empty() {
        return None;
    }
    let late = first.at_us as f64 - start_us as f64;
    if first.segment == 0 && late > SLACK_US {
        return Some(format!(
            "its program began {:.0} ms after the recording by its events, both begin together",
            late / 1e3
        ));
    }
    let mut at_deg = None;
    for (k, this) in begun.iter().enumerate() {
        let stimulus = program.get(this.segment)?;
        let from_deg = at_deg;
        at_deg = after(stimulus, at_deg);
        let next = begun.get(k + 1);
        let whole = next.is_none_or(|next| follows(program, *this, *next));
        let held = k > 0 && follows(program, begun[k - 1], *this) && is_held(program, begun[k - 1]);
        if let Some(ahead) = sets_out_early(trace, *this, stimulus).filter(|_| held) {
            return Some(format!(
                "the reference had gone {ahead:.1} deg before segment {} began to move it by its events: they are stamped late",
                this.segment
            ));
        }
        if !whole {
            // Events between them were lost.
            at_deg = None;
        }
        let Some(planned_us) = duration_us(stimulus, from_deg) else { continue };
        let took_us = next.filter(|_| whole).map(|next| next.at_us.saturating_sub(this.at_us) as f64);
        if let Some(took_us) = took_us
            && (took_us - planned_us).abs() > SLACK_US + SLACK_SHARE * planned_us
        {
            return Some(format!(
                "segment {} took {:.0} ms by its events, its program says {:.0} ms",
                this.segment,
                took_us / 1e3,
                planned_us / 1e3
            ));
        }
    }
    None
}

/// Whether the rig ended a driven recording before its program was over, though it says that it is complete. `planned_s` is how long it
/// should have taken, `took_s` how long it took; `marks_whole` that no event was lost.
pub fn ended_early(trace: &Trace, planned_s: f64, took_s: f64, marks_whole: bool) -> bool {
    if took_s < (1.0 - EARLY_SHARE) * planned_s - EARLY_S {
        return true;
    }
    let program = &trace.provenance.program;
    let last = last_segment(program);
    let Some((last, begun)) = last.filter(|_| marks_whole).zip(Some(begun(trace))) else { return false };
    match begun.last() {
        None => true,
        Some(newest) if newest.segment != last => true,
        Some(newest) => duration_us(&program[last], None).is_some_and(|planned_us| {
            let end_us = trace.time_us.last().copied().unwrap_or(0);
            let took_us = end_us.saturating_sub(newest.at_us) as f64;
            took_us + SLACK_US + SLACK_SHARE * planned_us < planned_us
        }),
    }
}

/// The last segment of a program that takes time; none where there is none.
pub fn last_segment(program: &[Stimulus]) -> Option<usize> {
    program.iter().rposition(|s| !matches!(s, Stimulus::Repeat { .. }))
}

/// The segments that began, in order. A repeat takes no time.
pub fn begun(trace: &Trace) -> Vec<Begun> {
    let of = |at_us: u64, kind: MarkKind| match kind {
        MarkKind::Segment { segment, pass } => Some(Begun { at_us, segment: usize::from(segment), pass }),
        _ => None,
    };
    let program = &trace.provenance.program;
    let repeat = |segment: usize| matches!(program.get(segment), Some(Stimulus::Repeat { .. }));
    let all = trace.marks.iter().filter_map(|m| of(m.at_us, m.kind));
    all.filter(|b| !repeat(b.segment)).collect()
}

/// Whether `next` is what comes after `this` in the program, with no event lost between them.
pub fn follows(program: &[Stimulus], this: Begun, next: Begun) -> bool {
    match program.get(this.segment + 1) {
        Some(Stimulus::Repeat { from, times }) => {
            let again = next.segment == usize::from(*from) && next.pass == this.pass + 1;
            again || (next.segment == this.segment + 2 && this.pass == *times)
        }
        _ => next.segment == this.segment + 1 && next.pass == this.pass,
    }
}

/// Where the setpoint is after a segment, degrees; none where nothing holds it.
fn after(stimulus: &Stimulus, before: Option<f64>) -> Option<f64> {
    match *stimulus {
        Stimulus::Ramp { to_deg, .. } | Stimulus::Step { to_deg, .. } => Some(to_deg),
        Stimulus::Hold { .. } => before,
        _ => None,
    }
}

/// How long a segment lasts, µs; none for a ramp from an unknown place.
pub fn duration_us(stimulus: &Stimulus, from_deg: Option<f64>) -> Option<f64> {
    let seconds = match *stimulus {
        Stimulus::Hold { seconds }
        | Stimulus::Step { seconds, .. }
        | Stimulus::Release { seconds }
        | Stimulus::Volts { seconds, .. }
        | Stimulus::VoltsRamp { seconds, .. }
        | Stimulus::Brake { seconds } => seconds,
        Stimulus::Ramp { to_deg, speed_deg_s, accel_deg_s2 } => {
            let distance = (to_deg - from_deg?).abs();
            if distance >= speed_deg_s * speed_deg_s / accel_deg_s2 {
                distance / speed_deg_s + speed_deg_s / accel_deg_s2
            } else {
                2.0 * (distance / accel_deg_s2).sqrt()
            }
        }
        Stimulus::Repeat { .. } => return None,
    };
    Some(1e6 * seconds)
}

/// Whether a segment holds the reference still for long enough to be looked at.
fn is_held(program: &[Stimulus], begun: Begun) -> bool {
    let seconds = match program.get(begun.segment) {
        Some(Stimulus::Hold { seconds } | Stimulus::Step { seconds, .. }) => *seconds,
        _ => 0.0,
    };
    1e6 * seconds >= BEFORE_US as f64
}

/// How far the reference had gone towards where a ramp sends it, before the ramp began by its mark, degrees; none where that is not more
/// than settling, where the ramp is slow, and where nothing was recorded.
fn sets_out_early(trace: &Trace, begun: Begun, stimulus: &Stimulus) -> Option<f64> {
    // A plate has no reference: its own lines are what is tested.
    let reference = trace.channel(Channel::Reference).filter(|_| trace.provenance.plate.is_none())?;
    let Stimulus::Ramp { to_deg, speed_deg_s, .. } = *stimulus else { return None };
    let at = |us: u64| {
        let scan = trace.time_us.partition_point(|t| *t < us);
        let near = trace.time_us.get(scan)?.saturating_sub(us) <= NEAR_US;
        reference.get(scan).filter(|_| near).map(|deg| f64::from(*deg))
    };
    let (before, now) = (at(begun.at_us.checked_sub(BEFORE_US)?)?, at(begun.at_us)?);
    let gone = (now - before) * (to_deg - before).signum();
    (speed_deg_s >= LEAST_SPEED_DEG_S && gone > SETTLES_DEG).then_some(gone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::ProcedureKind;
    use crate::quantity::Unit;
    use crate::trace::{Column, Mark, Provenance, TraceEnd};

    /// A reference that goes 0 → 60° at 60°/s after a hold of 0.5 s and back after another, with marks `late_us` after the truth.
    fn driven(late_us: u64, skip: Option<u8>, follows: f64) -> Trace {
        let ramp = |to_deg| Stimulus::Ramp { to_deg, speed_deg_s: 60.0, accel_deg_s2: 600.0 };
        let program = vec![
            Stimulus::Step { to_deg: 0.0, seconds: 0.5 },
            ramp(60.0),
            Stimulus::Hold { seconds: 0.5 },
            ramp(0.0),
        ];
        // Half the way of a trapezoid at half its time: a straight line between is near enough.
        let at = |t: f64| match t {
            t if t < 0.5 => 0.0,
            t if t < 1.6 => 60.0 * (t - 0.5) / 1.1,
            t if t < 2.1 => 60.0,
            t => 60.0 * (1.0 - (t - 2.1) / 1.1).max(0.0),
        };
        let time_us: Vec<u64> = (0..3_200).map(|k| 1_000_000 + 1_000 * k).collect();
        let values = (0..3_200).map(|k| (follows * at(f64::from(k) * 1e-3)) as f32).collect();
        let begins = [(0u8, 0u64), (1, 500_000), (2, 1_600_000), (3, 2_100_000)];
        let marks = begins
            .into_iter()
            .filter(|(segment, _)| Some(*segment) != skip)
            .map(|(segment, us)| Mark {
                at_us: 1_000_000 + us + if segment == 0 { 0 } else { late_us },
                kind: MarkKind::Segment { segment, pass: 0 },
            })
            .collect();
        Trace {
            provenance: Provenance {
                simulated: true,
                program,
                ..Provenance::bare(ProcedureKind::Sweep, 1_000)
            },
            time_us,
            columns: vec![Column { channel: Channel::Reference, unit: Unit::Degree, values }],
            gaps: Vec::new(),
            marks,
            end: TraceEnd::Complete,
        }
    }

    #[test]
    fn marks_that_agree_with_program_and_reference_are_believed() {
        assert_eq!(contradiction(&driven(0, None, 1.0)), None);
        assert_eq!(contradiction(&driven(0, Some(2), 1.0)), None, "a lost event is not a contradiction");
        assert_eq!(contradiction(&driven(0, None, 0.1)), None, "a blocked part holds the reference back");
    }

    #[test]
    fn marks_that_come_late_contradict() {
        let why = contradiction(&driven(300_000, None, 1.0)).expect("the first hold took 300 ms longer");
        assert!(why.contains("segment 0 took 800 ms"), "{why}");
        let why = contradiction(&driven(300_000, Some(0), 1.0)).expect("the reference was ahead");
        assert!(why.contains("stamped late"), "{why}");
        assert_eq!(contradiction(&driven(300_000, Some(0), 0.0)), None, "what stands does not set out");
    }

    #[test]
    fn a_program_that_was_not_carried_out_to_its_end_ended_early() {
        let whole = driven(0, None, 1.0);
        assert!(!ended_early(&whole, 3.2, 3.2, true));
        assert!(ended_early(&whole, 3.2, 0.02, true));
        assert!(ended_early(&driven(0, Some(3), 1.0), 3.2, 3.2, true));
        assert!(!ended_early(&driven(0, Some(3), 1.0), 3.2, 3.2, false), "its event may have been lost");
    }
}
