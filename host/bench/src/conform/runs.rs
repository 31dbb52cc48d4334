//! Runs that only watch: events, blocks, the clock, and a host that is gone: sections 3.1, 6 and 8.

use super::probe::{BlockSeen, Broken, Probe, QUIET, drives, otherwise};
use std::time::Duration;
use trackpair_protocol::message::{EndCause, Event, EventKind, Reason, Reply, Request, RigState, Start};
use trackpair_protocol::program::{Program, Segment};

/// How long a run's end or an event is waited for.
pub(super) const SOON: Duration = Duration::from_secs(2);

pub(super) fn status_is(probe: &mut Probe, state: RigState) -> Result<(), Broken> {
    let status = probe.status()?;
    if status.state == state {
        Ok(())
    } else {
        otherwise(format!("the rig is {:?}, not {state:?}", status.state))
    }
}

/// A run that only watches, with every channel, at a period at which a plain line carries them: 2 ms, or what the rig allows.
pub(super) fn watch(probe: &mut Probe, max_us: u64) -> Result<Start, Broken> {
    let run = probe.new_run();
    let identity = probe.identity()?;
    let period_us = 2_000.clamp(identity.min_period_us, identity.max_period_us);
    let channels = ((1u32 << identity.channels) - 1) as u16;
    Ok(Start { run, period_us, channels, drive: false, max_us })
}

/// The same from its start to its end by time; when it started, and its blocks.
pub(super) fn watch_whole(probe: &mut Probe, max_us: u64) -> Result<(Start, u64, u32), Broken> {
    let start = watch(probe, max_us)?;
    let started_us = start_of(probe, start)?;
    let blocks = await_end(probe, start.run, EndCause::Complete)?;
    Ok((start, started_us, blocks))
}

pub(super) fn load(segments: &[Segment]) -> Result<Request, Broken> {
    Program::from_slice(segments)
        .map(Request::LoadProgram)
        .ok_or_else(|| Broken::NotAsked("the program is too long".to_owned()))
}

pub(super) fn ended(run: u32) -> impl Fn(&Event) -> bool {
    move |event| event.run == run && matches!(event.kind, EventKind::RunEnded { .. })
}

/// Waits for the end of a run, which must have this cause; its blocks.
pub(super) fn await_end(probe: &mut Probe, run: u32, cause: EndCause) -> Result<u32, Broken> {
    let is_end = ended(run);
    if !probe.hear_until(SOON, |p| p.events.iter().any(&is_end))? {
        return otherwise(format!("the end of the run is not told within {} ms", SOON.as_millis()));
    }
    match probe.events.iter().find(|e| is_end(e)).map(|e| e.kind) {
        Some(EventKind::RunEnded { cause: told, blocks }) if told == cause => Ok(blocks),
        Some(EventKind::RunEnded { cause: told, .. }) => {
            otherwise(format!("the run ends with {told:?}, not {cause:?}"))
        }
        _ => otherwise("the end of the run is not told"),
    }
}

pub(super) fn start_of(probe: &mut Probe, start: Start) -> Result<u64, Broken> {
    match probe.reply(&Request::Start(start))? {
        Reply::Done { rig_us } => Ok(rig_us),
        other => otherwise(format!("Start is answered with {other:?}")),
    }
}

pub(super) fn watching(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, 0)?;
    probe.reply(&Request::Start(start))?;
    status_is(probe, RigState::Watching)?;
    let state = Some(RigState::Watching as u32);
    let next = watch(probe, 0)?;
    probe.refused(&Request::Start(next), Reason::Untimely, state)?;
    if drives(&probe.identity()?) {
        probe.refused(&Request::Arm, Reason::Untimely, state)?;
        probe.refused(&load(&[Segment::Release { us: 1_000 }])?, Reason::Untimely, state)?;
    }
    probe.reply(&Request::Stop)?;
    status_is(probe, RigState::Resting)?;
    probe.refused(&Request::Start(start), Reason::Untimely, None)
}

/// Blocks of a run against its start: numbers, period, channels, sizes, times.
fn check_blocks(probe: &mut Probe, start: Start, started_us: u64, count: u32) -> Result<u64, Broken> {
    let width = scan_bytes(probe)?;
    let blocks: Vec<BlockSeen> = probe.blocks.iter().filter(|b| b.run == start.run).copied().collect();
    if blocks.len() as u32 != count {
        return otherwise(format!("{} blocks came, its end tells {count}", blocks.len()));
    }
    let mut due = started_us;
    let mut scans = 0;
    for (k, b) in blocks.iter().enumerate() {
        if b.number != k as u32 {
            return otherwise(format!("block {k} bears the number {}", b.number));
        }
        if b.period_us != start.period_us || b.channels != start.channels {
            return otherwise(format!("block {k}: period {} µs, channels {:#06x}", b.period_us, b.channels));
        }
        if b.column_bytes != width * usize::from(b.scans) {
            return otherwise(format!(
                "block {k}: {} bytes of columns for {} scans",
                b.column_bytes, b.scans
            ));
        }
        due += u64::from(b.overrun_before) * u64::from(start.period_us);
        if b.first_us != due {
            return otherwise(format!("block {k} begins at {} µs, due at {due} µs", b.first_us));
        }
        due += u64::from(b.scans) * u64::from(start.period_us);
        scans += u64::from(b.scans);
    }
    Ok(scans)
}

fn scan_bytes(probe: &mut Probe) -> Result<usize, Broken> {
    let mut bytes = 0;
    for channel in 0..probe.identity()?.channels {
        if let Reply::Channel(info) = probe.reply(&Request::DescribeChannel { channel })? {
            bytes += info.encoding.width();
        }
    }
    Ok(bytes)
}

pub(super) fn watched_run(probe: &mut Probe) -> Result<(), Broken> {
    let (start, started_us, blocks) = watch_whole(probe, 500_000)?;
    let starts =
        probe.events.iter().filter(|e| e.run == start.run && e.kind == EventKind::RunStarted).count();
    if starts != 1 {
        return otherwise(format!("{starts} events tell its start"));
    }
    let scans = check_blocks(probe, start, started_us, blocks)?;
    let due = 500_000 / u64::from(start.period_us);
    if scans.abs_diff(due) <= 1 {
        Ok(())
    } else {
        otherwise(format!("{scans} scans in 500 ms, due are {due}"))
    }
}

pub(super) fn young_blocks(probe: &mut Probe) -> Result<(), Broken> {
    let (start, ..) = watch_whole(probe, 300_000)?;
    let most = (20_000 / start.period_us).max(1) + 1;
    match probe.blocks.iter().find(|b| u32::from(b.scans) > most) {
        Some(b) => otherwise(format!("block {} holds {} scans of {} µs", b.number, b.scans, b.period_us)),
        None => Ok(()),
    }
}

pub(super) fn stopped_run(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, 0)?;
    let started_us = start_of(probe, start)?;
    if !probe.hear_until(SOON, |p| p.blocks.iter().filter(|b| b.run == start.run).count() >= 3)? {
        return otherwise("no three blocks within 2 s");
    }
    probe.reply(&Request::Stop)?;
    let blocks = await_end(probe, start.run, EndCause::Stopped)?;
    check_blocks(probe, start, started_us, blocks)?;
    let before = probe.blocks.len();
    probe.hear(QUIET)?;
    if probe.blocks.len() == before { Ok(()) } else { otherwise("blocks come after the end of the run") }
}

pub(super) fn event_numbers(probe: &mut Probe) -> Result<(), Broken> {
    for millivolts in [probe.identity()?.supply_mv.1, 0] {
        probe.reply(&Request::SetSupply { millivolts })?;
    }
    watch_whole(probe, 100_000)?;
    let numbers: Vec<u32> = probe.events.iter().map(|e| e.number).collect();
    if numbers.windows(2).any(|two| two[1] != two[0].wrapping_add(1)) {
        return otherwise(format!("events are numbered {numbers:?}"));
    }
    let set = probe.events.iter().filter(|e| matches!(e.kind, EventKind::SupplySet { .. })).count();
    if set >= 2 { Ok(()) } else { otherwise(format!("two supplies were set, {set} events tell it")) }
}

pub(super) fn clock(probe: &mut Probe) -> Result<(), Broken> {
    let ping = |probe: &mut Probe| -> Result<(f64, f64), Broken> {
        let sent = probe.now();
        let Reply::Clock { host_stamp, rig_us } = probe.reply(&Request::ClockPing { host_stamp: 4_711 })?
        else {
            return otherwise("ClockPing is answered with another reply");
        };
        if host_stamp != 4_711 {
            return otherwise(format!("it echoes {host_stamp} for 4711"));
        }
        Ok((0.5 * (sent + probe.now()).as_secs_f64(), rig_us as f64 * 1e-6))
    };
    let first = ping(probe)?;
    probe.hear(Duration::from_secs(1))?;
    let last = ping(probe)?;
    let rate = (last.1 - first.1) / (last.0 - first.0);
    if (rate - 1.0).abs() < 0.02 {
        Ok(())
    } else {
        otherwise(format!("its clock goes {rate:.3} times as fast"))
    }
}

pub(super) fn new_session(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, 0)?;
    start_of(probe, start)?;
    probe.identify()?;
    await_end(probe, start.run, EndCause::NewSession).map(|_| ())
}

pub(super) fn dead_host(probe: &mut Probe) -> Result<(), Broken> {
    let (_, high) = probe.identity()?.supply_mv;
    probe.reply(&Request::SetSupply { millivolts: high })?;
    let start = watch(probe, 0)?;
    start_of(probe, start)?;
    probe.hear(Duration::from_millis(1_700))?;
    if probe.events.iter().any(ended(start.run)) {
        return otherwise("a watching run ends within 1.7 s of silence");
    }
    probe.hear(Duration::from_millis(800))?;
    if !probe.events.iter().any(ended(start.run)) {
        return otherwise("a watching run goes on after 2.5 s of silence");
    }
    let supply = probe.status()?.supply_mv;
    if supply == 0 {
        Ok(())
    } else {
        otherwise(format!("the supply is at {supply} mV after 2.5 s of silence"))
    }
}
