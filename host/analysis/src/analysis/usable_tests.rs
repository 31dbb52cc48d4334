//! What is left of recordings whose supply sagged, or that were interrupted.

use super::super::synthetic::Synthetic;
use super::*;
use crate::trace::{Mark, RigProvenance};
use trackpair_protocol::message::Guard;

/// A sweep of an invented part on a rig.
fn on_rig() -> (Trace, PartSheet) {
    let part = Synthetic::hall(1);
    let mut trace = part.trace();
    trace.provenance.procedure = ProcedureKind::Sweep;
    trace.provenance.rig = Some(RigProvenance {
        address: "tcp:invented".into(),
        model: "invented".into(),
        serial: "1".into(),
        firmware: "1".into(),
        protocol: 1,
        boot: 1,
        lets_go: false,
    });
    (trace, part.sheet())
}

fn supply(trace: &mut Trace) -> &mut Vec<f32> {
    &mut trace.columns.iter_mut().find(|c| c.channel == Channel::Supply).expect("it is recorded").values
}

#[test]
fn a_steady_recording_is_left_as_it_is() {
    let (trace, sheet) = on_rig();
    let usable = Usable::of(&trace, &sheet);
    assert!(matches!(usable.trace, Cow::Borrowed(_)));
    assert!(usable.cut.is_none() && usable.faults.is_empty() && usable.left_out.is_empty());
}

#[test]
fn a_sag_is_a_gap_that_is_reported_and_a_fault_of_the_rig() {
    let (mut trace, sheet) = on_rig();
    supply(&mut trace)[5_000..6_000].fill(3.0);
    let usable = Usable::of(&trace, &sheet);
    assert_eq!(usable.cut, None);
    assert_eq!(usable.trace.gaps.len(), 1);
    assert_eq!(usable.left_out[0].gap.index, usable.trace.gaps[0].index);
    assert!(usable.left_out[0].gap.scans > 1_000);
    assert!(
        usable.faults[0]
            .starts_with("rig fault: the sensor supply read 3.00 V during the sweep where 5.00 V"),
        "{:?}",
        usable.faults
    );
    assert!(usable.trace.channel(Channel::Supply).unwrap().iter().all(|v| *v > 4.7));
}

#[test]
fn a_sag_that_lasts_cuts_the_recording() {
    let (mut trace, sheet) = on_rig();
    let from = trace.len() / 5;
    supply(&mut trace)[from..].fill(3.0);
    let usable = Usable::of(&trace, &sheet);
    assert!(usable.cut.is_some() && usable.trace.len() < from);
    assert_eq!(usable.trace.end, TraceEnd::EndedEarly);
    assert_eq!(usable.faults.len(), 1);
}

#[test]
fn an_interruption_takes_what_came_shortly_before_it() {
    let (mut trace, sheet) = on_rig();
    trace.end = TraceEnd::Guard;
    let at_us = trace.time_us[10_000];
    trace.marks.push(Mark { at_us, kind: MarkKind::Guard { guard: Guard::EmergencyStop as u8, value: 0 } });
    let usable = Usable::of(&trace, &sheet);
    assert!(usable.trace.time_us.last().unwrap() + BEFORE_CUT_US <= at_us);
    assert!(usable.cut.unwrap().words().contains("the recording of the sweep was cut after"));
}

#[test]
fn what_the_part_stopped_is_kept_whole() {
    let (mut trace, sheet) = on_rig();
    trace.end = TraceEnd::Guard;
    let at_us = *trace.time_us.last().unwrap();
    trace.marks.push(Mark { at_us, kind: MarkKind::Guard { guard: Guard::Stall as u8, value: 0 } });
    assert!(Usable::of(&trace, &sheet).cut.is_none());
}

#[test]
fn a_supply_that_never_came_up_leaves_nothing() {
    let (mut trace, sheet) = on_rig();
    supply(&mut trace).fill(0.01);
    let usable = Usable::of(&trace, &sheet);
    assert!(usable.trace.is_empty() && usable.faults.len() == 1, "{:?}", usable.faults);
}
