//! Runs that are armed, over a program that lets go: sections 3.1, 7, 8 and 9.

use super::probe::{Broken, Probe, otherwise};
use super::runs::{await_end, ended, load, start_of, status_is, watch, watch_whole};
use std::time::Duration;
use trackpair_protocol::message::{EndCause, EventKind, Guard, Reason, Request, RigState, Start, kind};
use trackpair_protocol::program::Segment;

/// Link silence after which a drive must be off, and before which it must not: 300 ms, with a control tick, and what a computer's own clock and
/// line add.
const SILENCE: (Duration, Duration) = (Duration::from_millis(250), Duration::from_millis(500));

/// Arms over a program that lets go for so long.
fn arm(probe: &mut Probe, us: u32) -> Result<(), Broken> {
    probe.reply(&load(&[Segment::Release { us }, Segment::Release { us }])?)?;
    probe.reply(&Request::Arm)?;
    status_is(probe, RigState::Armed)
}

fn drive(probe: &mut Probe, us: u32) -> Result<Start, Broken> {
    arm(probe, us)?;
    let start = Start { drive: true, ..watch(probe, 0)? };
    start_of(probe, start)?;
    Ok(start)
}

pub(super) fn armed(probe: &mut Probe) -> Result<(), Broken> {
    for request in [Request::Stop, Request::ClearTrip] {
        arm(probe, 50_000)?;
        probe.reply(&request)?;
        status_is(probe, RigState::Resting)?;
    }
    arm(probe, 50_000)?;
    watch_whole(probe, 50_000)?;
    status_is(probe, RigState::Resting)
}

pub(super) fn not_armed(probe: &mut Probe) -> Result<(), Broken> {
    let start = Start { drive: true, ..watch(probe, 0)? };
    probe.refused(&Request::Start(start), Reason::Untimely, Some(RigState::Resting as u32))
}

pub(super) fn bad_programs(probe: &mut Probe) -> Result<(), Broken> {
    let ok = Segment::Release { us: 1_000 };
    probe.refused_bytes(kind::LOAD_PROGRAM, &[0], Reason::OutOfRange, Some(0))?;
    probe.refused(&load(&[ok, Segment::Release { us: 999 }])?, Reason::OutOfRange, Some(1))?;
    probe.refused(&load(&[Segment::Repeat { from: 0, times: 1 }])?, Reason::OutOfRange, Some(0))?;
    probe.refused(&load(&[ok, ok, Segment::Repeat { from: 0, times: 0 }])?, Reason::OutOfRange, Some(2))
}

pub(super) fn releases(probe: &mut Probe) -> Result<(), Broken> {
    let start = drive(probe, 100_000)?;
    await_end(probe, start.run, EndCause::Complete)?;
    let reached: Vec<u8> = probe
        .events
        .iter()
        .filter_map(|e| match e.kind {
            EventKind::SegmentReached { segment, .. } if e.run == start.run => Some(segment),
            _ => None,
        })
        .collect();
    if reached.ends_with(&[1]) { Ok(()) } else { otherwise(format!("segments told as reached: {reached:?}")) }
}

/// Waits for LinkSilence, counted from now; with `meanwhile` asked every 50 ms.
fn await_silence(probe: &mut Probe, meanwhile: Option<Request>) -> Result<(), Broken> {
    let tripped = |p: &Probe| {
        p.events.iter().any(|e| matches!(e.kind, EventKind::GuardTripped { guard: Guard::LinkSilence, .. }))
    };
    let begun = probe.now();
    while !tripped(probe) {
        let silent = probe.now().saturating_sub(begun);
        if silent > SILENCE.1 {
            return otherwise(format!("no LinkSilence within {} ms", SILENCE.1.as_millis()));
        }
        match &meanwhile {
            Some(request) => {
                probe.reply(request)?;
                probe.hear_until(Duration::from_millis(50), tripped)?;
            }
            None => {
                probe.hear_until(SILENCE.1, tripped)?;
            }
        }
    }
    let silent = probe.now().saturating_sub(begun);
    if silent < SILENCE.0 {
        return otherwise(format!("LinkSilence trips after {} ms", silent.as_millis()));
    }
    status_is(probe, RigState::Tripped)
}

pub(super) fn silence_armed(probe: &mut Probe) -> Result<(), Broken> {
    probe.reply(&load(&[Segment::Release { us: 1_000_000 }])?)?;
    probe.reply(&Request::Arm)?;
    await_silence(probe, None)?;
    probe.reply(&Request::ClearTrip)?;
    status_is(probe, RigState::Resting)
}

pub(super) fn looking_on(probe: &mut Probe) -> Result<(), Broken> {
    for request in [Request::ReadStatus, Request::ClockPing { host_stamp: 1 }] {
        drive(probe, 2_000_000)?;
        await_silence(probe, Some(request))?;
        probe.begin()?;
    }
    Ok(())
}

pub(super) fn heartbeats(probe: &mut Probe) -> Result<(), Broken> {
    let start = drive(probe, 2_000_000)?;
    for _ in 0..20 {
        probe.reply(&Request::Heartbeat)?;
        probe.hear(Duration::from_millis(50))?;
    }
    if probe.events.iter().any(ended(start.run)) {
        return otherwise("the run ends although a heartbeat comes every 50 ms");
    }
    status_is(probe, RigState::Driving)?;
    probe.reply(&Request::Stop)?;
    status_is(probe, RigState::Resting)
}

pub(super) fn clear_trip(probe: &mut Probe) -> Result<(), Broken> {
    let start = drive(probe, 2_000_000)?;
    probe.reply(&Request::ClearTrip)?;
    await_end(probe, start.run, EndCause::Stopped)?;
    status_is(probe, RigState::Resting)
}

pub(super) fn tripped(probe: &mut Probe) -> Result<(), Broken> {
    probe.reply(&load(&[Segment::Release { us: 1_000_000 }])?)?;
    probe.reply(&Request::Arm)?;
    await_silence(probe, None)?;
    let silence = Some(1 << Guard::LinkSilence as u32);
    probe.refused(&Request::Arm, Reason::Guarded, silence)?;
    let start = watch(probe, 50_000)?;
    probe.refused(&Request::Start(start), Reason::Guarded, silence)?;
    probe.reply(&Request::ClearTrip)?;
    start_of(probe, start)?;
    await_end(probe, start.run, EndCause::Complete).map(|_| ())
}
