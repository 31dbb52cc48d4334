//! What of a recording may be judged: the scans in which the rig's sensor supply was up and in its band, and which lie before whatever
//! interrupted it. The rest is left out as a gap that is reported, so that no figure, no finding and no confidence rests on it.
//!
//! The supply band: ±5 % of the level that was requested of the rig (5 V ± 5 % is what sensor supplies of engine controllers keep;
//! common practice, no source), around the level that this rig really holds. Within it lines are ratiometric; outside it a sensor may stop
//! following. Around a departure the input filters and whatever the supply is averaged over are left out too.
//!
//! A recording that was interrupted is judged up to shortly before the interruption. What of its motion was whole is decided where strokes
//! are known (`prepared`, `body/stretches`). A recording that the part itself stopped (it drew current without moving, or did not follow)
//! is evidence as it stands. Only recordings of a rig are looked at: another logger's supply is what it is.

use super::{NotTestable, PartAnalysis, statistics};
use crate::quantity::{Channel, FigureName, PartKind, ProcedureKind};
use crate::sheet::PartSheet;
use crate::trace::{
    Column, Gap, GapCause, LinkQuality, MarkKind, Trace, TraceEnd, WORST_LINE_PERCENT, contradiction,
};
use std::borrow::Cow;
use std::ops::Range;

/// Half of the band around the level that the rig holds.
const BAND: f64 = 0.05;
/// Half of the range around the requested level in which the held level is looked for.
const NEAR: f64 = 0.10;
/// Left out before and after a departure of the supply, µs: input filters, and averages over the supply.
const AROUND_US: u64 = 20_000;
/// Left out before an interruption, µs: the hardware acts before the event that reports it.
const BEFORE_CUT_US: u64 = 100_000;
/// A departure this near to a switch of the supply is that switch, µs.
const SWITCHING_US: u64 = 250_000;
/// A switch may be stamped this much after it took effect, µs.
const STAMP_US: u64 = 30_000;
/// A departure that so few scans follow reaches the end.
const TAIL_US: u64 = 100_000;
/// A sensor that takes more than this has pulled the supply down itself, amperes. Engineering assumption.
const HEAVY_AMPS: f64 = 0.05;

/// Scans that were recorded and left out, with the travel that they touch.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// Of which procedure.
    pub procedure: ProcedureKind,
    /// Where in the trace as it was recorded.
    pub gap: Gap,
    /// Travel at its edges, degrees; none without a reference.
    pub edges_deg: [Option<f64>; 2],
}

/// Where what can be judged ends before the recording was to end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cut {
    /// Of which procedure.
    pub procedure: ProcedureKind,
    /// How long after its start, s.
    pub after_s: f64,
    /// Where the reference was then, degrees of travel.
    pub at_deg: Option<f64>,
}

impl Cut {
    /// "the recording was cut after 3.1 s, at 45.2 deg".
    pub fn words(&self) -> String {
        let place = self.at_deg.map_or(String::new(), |d| format!(", at {d:.1} deg"));
        format!("the recording of the {} was cut after {:.1} s{place}", self.procedure.title(), self.after_s)
    }
}

/// A recording without what may not be judged.
#[derive(Clone, Debug)]
pub struct Usable<'a> {
    /// What is left; the recording itself where nothing had to be left out.
    pub trace: Cow<'a, Trace>,
    /// Where it was cut; none when it ran to its end.
    pub cut: Option<Cut>,
    /// Stretches in which the supply was not as requested.
    pub left_out: Vec<LeftOut>,
    /// What was wrong with the rig, as sentences.
    pub faults: Vec<String>,
}

/// Why nothing may be said of a part from a recording, as a sentence: the line damaged too much of it, or the rig's events contradict its
/// program. None where it may be judged.
pub fn unfit(trace: &Trace) -> Option<String> {
    let procedure = trace.provenance.procedure.title();
    if let Some(link) = trace.provenance.link.filter(LinkQuality::is_bad) {
        let percent = link.damaged_percent().unwrap_or(0.0);
        return Some(format!(
            "line fault: {percent:.1} % of the frames between rig and computer were damaged during the {procedure}, allowed is less than \
             {WORST_LINE_PERCENT} %; nothing is said of the part: check cable, plugs and grounding, keep the cable away from the motor, then \
             repeat"
        ));
    }
    contradiction(trace).map(|what| {
        format!(
            "rig fault: the rig's events during the {procedure} contradict its program: {what}; nothing is said of the part: update the \
             rig's firmware or have it looked at, then repeat"
        )
    })
}

/// The verdict where nothing may be said of a part.
pub fn nothing(kind: PartKind, why: String) -> PartAnalysis {
    let figures = FigureName::ALL.into_iter().filter(|f| f.belongs_to(kind));
    PartAnalysis {
        kind,
        not_testable: figures.map(|f| NotTestable { what: f.name().to_owned(), why: why.clone() }).collect(),
        rig_faults: vec![why],
        ..PartAnalysis::default()
    }
}

impl<'a> Usable<'a> {
    /// Of a trace. Never fails.
    pub fn of(trace: &'a Trace, sheet: &PartSheet) -> Self {
        let mut usable =
            Self { trace: Cow::Borrowed(trace), cut: None, left_out: Vec::new(), faults: Vec::new() };
        if trace.is_empty() || trace.provenance.rig.is_none() {
            return usable;
        }
        let mut bad = usable.unsteady(trace, sheet);
        let mut end = trace.len();
        let lasting = bad.last().filter(|b| b.end == end).map(|b| b.start);
        if trace.was_interrupted() {
            let last = trace.time_us[trace.len() - 1];
            let cut_us = trace.guarded_at_us().unwrap_or(last).min(last).saturating_sub(BEFORE_CUT_US);
            end = trace.time_us.partition_point(|t| *t < cut_us);
        }
        end = end.min(lasting.unwrap_or(end));
        let interrupted = trace.was_interrupted() || lasting.is_some();
        bad.retain_mut(|b| {
            b.end = b.end.min(end);
            b.start < b.end
        });
        if interrupted {
            usable.cut = Some(cut(trace, end));
        }
        if interrupted || !bad.is_empty() {
            usable.trace = Cow::Owned(without(trace, &bad, end, lasting.is_some()));
        }
        usable
    }

    /// Stretches of scans in which the supply was not what was requested, in order, with what surrounds them. Says what was no switch.
    fn unsteady(&mut self, trace: &Trace, sheet: &PartSheet) -> Vec<Range<usize>> {
        let Some(supply) = trace.channel(Channel::Supply) else { return Vec::new() };
        let levels = levels(trace, supply, sheet);
        let held: Vec<f64> =
            levels.iter().map(|(range, level)| held(&supply[range.clone()], *level)).collect();
        let mut off = vec![true; trace.len()];
        for ((range, level), held) in levels.iter().zip(&held) {
            for i in range.clone() {
                let v = f64::from(supply[i]);
                off[i] = !(*level > 0.0 && (v - held).abs() <= BAND * held);
            }
        }
        let times = &trace.time_us;
        let mut out: Vec<Range<usize>> = Vec::new();
        for run in runs(&off) {
            let from = times.partition_point(|t| *t + AROUND_US < times[run.start]);
            let to = times.partition_point(|t| *t <= times[run.end - 1] + AROUND_US);
            let tail = times[trace.len() - 1].saturating_sub(times[to - 1]) < TAIL_US;
            let to = if tail { trace.len() } else { to };
            match out.last_mut().filter(|last| last.end >= from) {
                Some(last) => last.end = last.end.max(to),
                None => out.push(from..to),
            }
        }
        let faults: Vec<Range<usize>> =
            out.iter().filter(|range| !is_switching(trace, range, &levels)).cloned().collect();
        for range in &faults {
            self.left_out.push(left_out(trace, range));
        }
        self.faults.extend(fault(trace, supply, &faults, &levels));
        out
    }
}

/// Stretches between switches of the supply, with what was requested in each, volts; 0 = off.
fn levels(trace: &Trace, supply: &[f32], sheet: &PartSheet) -> Vec<(Range<usize>, f64)> {
    let switched = trace.marks.iter().filter_map(|m| match m.kind {
        MarkKind::Supply { millivolts } => Some((m.at_us, f64::from(millivolts) * 1e-3)),
        _ => None,
    });
    // A self-check switches the supply on itself; every other procedure begins with it on.
    let before =
        if trace.provenance.procedure == ProcedureKind::SelfCheck { 0.0 } else { set(supply, sheet) };
    let (mut all, mut from, mut level) = (Vec::new(), 0, before);
    for (at_us, next) in switched {
        let at = trace.time_us.partition_point(|t| *t < at_us);
        all.push((from..at.max(from), level));
        (from, level) = (at.max(from), next);
    }
    all.push((from..trace.len(), level));
    if all.len() == 1 && level == 0.0 {
        // The mark of the switching on was lost.
        all[0].1 = set(supply, sheet);
    }
    all.retain(|(range, _)| !range.is_empty());
    all
}

/// What was requested where no mark shows: the sheet's supply, or, by a sheet for another one, what was held for most of the time.
fn set(supply: &[f32], sheet: &PartSheet) -> f64 {
    let near = |v: &f32| (f64::from(*v) - sheet.supply_volts).abs() <= NEAR * sheet.supply_volts;
    if supply.iter().any(near) {
        return sheet.supply_volts;
    }
    let every = (supply.len() / 20_000).max(1);
    let mut some: Vec<f64> =
        supply.iter().step_by(every).map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
    statistics::quantile(&mut some, 0.9)
        .filter(|v| *v > 0.5 * sheet.supply_volts)
        .unwrap_or(sheet.supply_volts)
}

/// The level that the rig holds where `level` was requested, volts.
fn held(supply: &[f32], level: f64) -> f64 {
    let every = (supply.len() / 20_000).max(1);
    let near =
        supply.iter().step_by(every).map(|v| f64::from(*v)).filter(|v| (v - level).abs() <= NEAR * level);
    statistics::median(&mut near.collect::<Vec<f64>>()).unwrap_or(level)
}

fn runs(off: &[bool]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    for (i, _) in off.iter().enumerate().filter(|(_, off)| **off) {
        match out.last_mut().filter(|run| run.end == i) {
            Some(run) => run.end = i + 1,
            None => out.push(i..i + 1),
        }
    }
    out
}

/// Whether a departure is the supply being switched, or off as requested.
fn is_switching(trace: &Trace, range: &Range<usize>, levels: &[(Range<usize>, f64)]) -> bool {
    let requested_off = |i: usize| levels.iter().any(|(range, level)| range.contains(&i) && *level == 0.0);
    let on: Vec<usize> = range.clone().filter(|i| !requested_off(*i)).collect();
    let (Some(first), Some(last)) = (on.first(), on.last()) else { return true };
    let (from, to) = (trace.time_us[*first], trace.time_us[*last]);
    let switched = |kind: &MarkKind| matches!(kind, MarkKind::Supply { .. });
    trace
        .marks
        .iter()
        .filter(|m| switched(&m.kind))
        .any(|m| m.at_us <= from.saturating_add(AROUND_US + STAMP_US) && to <= m.at_us + SWITCHING_US)
}

/// What was wrong, in one sentence; none when nothing was.
fn fault(
    trace: &Trace,
    supply: &[f32],
    faults: &[Range<usize>],
    levels: &[(Range<usize>, f64)],
) -> Option<String> {
    let first = faults.first()?;
    let at = |i: usize| (trace.time_us[i] - trace.time_us[0]) as f64 * 1e-6;
    let requested =
        levels.iter().rev().find(|(range, _)| range.start < first.end).map_or(0.0, |(_, level)| *level);
    let far = |i: &usize| (f64::from(supply[*i]) - requested).abs();
    let worst = faults.iter().flat_map(Range::clone).max_by(|a, b| far(a).total_cmp(&far(b)))?;
    let amps = trace.channel(Channel::SupplyAmps).and_then(|amps| {
        let mut all: Vec<f64> = first.clone().map(|i| f64::from(amps[i])).collect();
        statistics::median(&mut all)
    });
    let drew = amps.filter(|a| *a > HEAVY_AMPS).map_or(String::new(), |a| {
        format!("; {:.0} mA were drawn then, so look for a short at the part or in its lead too", 1e3 * a)
    });
    let length = if first.end == trace.len() {
        "to the end".to_owned()
    } else {
        format!("for {:.0} ms", 1e3 * (at(first.end - 1) - at(first.start)))
    };
    let more = if faults.len() > 1 { format!(" and {} more times", faults.len() - 1) } else { String::new() };
    Some(format!(
        "rig fault: the sensor supply read {:.2} V during the {} where {requested:.2} V was requested, from {:.2} s {length}{more}; \
         nothing recorded then is judged{drew}: check the rig's supply and its plug, then repeat",
        supply[worst],
        trace.provenance.procedure.title(),
        at(first.start),
    ))
}

/// The reference as travel, degrees.
fn travel(trace: &Trace, index: Option<usize>) -> Option<f64> {
    let deg =
        f64::from(*trace.channel(Channel::Reference)?.get(index?)?) - trace.provenance.reference_zero_deg;
    deg.is_finite().then_some(deg)
}

fn left_out(trace: &Trace, range: &Range<usize>) -> LeftOut {
    let edges = [range.start.checked_sub(1).or(Some(range.start)), Some(range.end.min(trace.len() - 1))];
    LeftOut {
        procedure: trace.provenance.procedure,
        gap: gap_of(trace, range, range.start),
        edges_deg: edges.map(|i| travel(trace, i)),
    }
}

/// A hole where scans were, at `index` of what is left.
fn gap_of(trace: &Trace, range: &Range<usize>, index: usize) -> Gap {
    let last = trace.len() - 1;
    Gap {
        index,
        from_us: trace.time_us[range.start.saturating_sub(1)],
        to_us: trace.time_us[range.end.min(last)],
        scans: range.len() as u64,
        cause: GapCause::Supply,
    }
}

fn cut(trace: &Trace, end: usize) -> Cut {
    let at = end.min(trace.len() - 1);
    Cut {
        procedure: trace.provenance.procedure,
        after_s: (trace.time_us[at] - trace.time_us[0]) as f64 * 1e-6,
        at_deg: travel(trace, Some(at)),
    }
}

/// The trace up to `end` without stretches; where it was cut here, it says so as an aborted one does.
fn without(trace: &Trace, bad: &[Range<usize>], end: usize, cut_here: bool) -> Trace {
    let mut keep = vec![true; end];
    bad.iter().for_each(|b| keep[b.start.min(end)..b.end.min(end)].fill(false));
    let kept: Vec<usize> = (0..end).filter(|i| keep[*i]).collect();
    let index = |i: usize| kept.partition_point(|k| *k < i);
    let own = trace.gaps.iter().filter(|g| g.index < end).map(|g| Gap { index: index(g.index), ..*g });
    // Nothing came before the first scan that counts, so there is no hole.
    let told = bad.iter().filter(|b| b.start > 0 && b.end < end).map(|b| gap_of(trace, b, index(b.start)));
    let mut gaps: Vec<Gap> = own.chain(told).collect();
    gaps.sort_by_key(|g| (g.index, g.from_us));
    let until = trace.time_us.get(end).copied().unwrap_or(u64::MAX);
    Trace {
        provenance: trace.provenance.clone(),
        time_us: kept.iter().map(|i| trace.time_us[*i]).collect(),
        columns: trace
            .columns
            .iter()
            .map(|c| Column { values: kept.iter().map(|i| c.values[*i]).collect(), ..*c })
            .collect(),
        gaps,
        marks: trace.marks.iter().filter(|m| m.at_us <= until).copied().collect(),
        end: if cut_here && trace.end == TraceEnd::Complete { TraceEnd::EndedEarly } else { trace.end },
    }
}

#[cfg(test)]
#[path = "usable_tests.rs"]
mod tests;
