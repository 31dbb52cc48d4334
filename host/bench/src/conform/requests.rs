//! What is refused, and what a rig reports itself: sections 3 to 5.

use super::probe::{Broken, Probe, encoded, otherwise};
use super::runs::{status_is, watch};
use trackpair_protocol::message::{Reason, Reply, Request, RigState, Start, capability, kind};

pub(super) fn unknown_kind(probe: &mut Probe) -> Result<(), Broken> {
    for kind in [0x00, 0x10, 0x42, 0x7C] {
        probe.refused_bytes(kind, &[], Reason::Unknown, Some(kind.into()))?;
    }
    Ok(())
}

pub(super) fn malformed(probe: &mut Probe) -> Result<(), Broken> {
    let kinds = [
        (kind::DESCRIBE_CHANNEL, 2),
        (kind::SET_SUPPLY, 3),
        (kind::SET_INPUT, 1),
        (kind::ARM, 1),
        (kind::START, 18),
        (kind::STOP, 1),
        (kind::CLEAR_TRIP, 4),
        (kind::READ_STATUS, 1),
        (kind::HEARTBEAT, 2),
        (kind::CLOCK_PING, 7),
    ];
    for (kind, size) in kinds {
        probe.refused_bytes(kind, &vec![0; size], Reason::Malformed, Some(size as u32))?;
    }
    // A bool that is neither 0 nor 1.
    let mut start =
        encoded(&Request::Start(Start { run: 1, period_us: 1, channels: 1, drive: false, max_us: 0 }))?.1;
    start[10] = 2;
    probe.refused_bytes(kind::START, &start, Reason::Malformed, Some(19))
}

pub(super) fn start_out_of_range(probe: &mut Probe) -> Result<(), Broken> {
    let identity = probe.identity()?;
    let good = watch(probe, 100_000)?;
    let refused = |probe: &mut Probe, start, field| {
        probe.refused(&Request::Start(start), Reason::OutOfRange, Some(field))
    };
    refused(probe, Start { run: 0, ..good }, 0)?;
    if let Some(short) = identity.min_period_us.checked_sub(1) {
        refused(probe, Start { period_us: short, ..good }, 1)?;
    }
    if let Some(long) = identity.max_period_us.checked_add(1) {
        refused(probe, Start { period_us: long, ..good }, 1)?;
    }
    refused(probe, Start { channels: 0, ..good }, 2)?;
    if identity.channels < 16 {
        refused(probe, Start { channels: 1 << identity.channels, ..good }, 2)?;
    }
    status_is(probe, RigState::Resting)
}

pub(super) fn supply_levels(probe: &mut Probe) -> Result<(), Broken> {
    let (low, high) = probe.identity()?.supply_mv;
    let below = low.checked_sub(1).filter(|mv| *mv > 0);
    for millivolts in [below, high.checked_add(1)].into_iter().flatten() {
        probe.refused(&Request::SetSupply { millivolts }, Reason::OutOfRange, Some(0))?;
    }
    for millivolts in [low, high, 0] {
        probe.reply(&Request::SetSupply { millivolts })?;
    }
    Ok(())
}

pub(super) fn inputs(probe: &mut Probe) -> Result<(), Broken> {
    let identity = probe.identity()?;
    let set = |channel, load, pull_down| Request::SetInput { channel, load, pull_down };
    probe.refused(&set(identity.channels, true, false), Reason::OutOfRange, Some(0))?;
    if identity.capabilities & capability::LOADS == 0 {
        return probe.refused(&set(0, true, false), Reason::NotCapable, Some(capability::LOADS));
    }
    for channel in 0..identity.channels {
        let Reply::Channel(info) = probe.reply(&Request::DescribeChannel { channel })? else { continue };
        for (has, request, field, bit) in [
            (info.has_load, set(channel, true, false), 1, 0),
            (info.has_pull_down, set(channel, false, true), 2, 1),
        ] {
            if !has {
                probe.refused(&request, Reason::OutOfRange, Some(field))?;
                continue;
            }
            probe.reply(&request)?;
            let status = probe.status()?;
            let on = [status.loads, status.pull_downs][bit];
            if on != 1 << channel {
                return otherwise(format!("{request:?} is accepted, and the status tells {on:#06x}"));
            }
            probe.reply(&set(channel, false, false))?;
        }
    }
    Ok(())
}

pub(super) fn sessions(probe: &mut Probe) -> Result<(), Broken> {
    let first = probe.identify()?;
    let second = probe.identify()?;
    if first.boot == second.boot { Ok(()) } else { otherwise("it started anew between two Identify") }
}

pub(super) fn identity(probe: &mut Probe) -> Result<(), Broken> {
    let i = probe.identity()?;
    let wrong = [
        (i.channels == 0 || i.channels > 16, format!("{} channels, allowed are 1 to 16", i.channels)),
        (
            i.min_period_us == 0 || i.min_period_us > i.max_period_us,
            format!("periods of {} to {} µs", i.min_period_us, i.max_period_us),
        ),
        (i.supply_mv.0 > i.supply_mv.1, format!("supply of {} to {} mV", i.supply_mv.0, i.supply_mv.1)),
        (
            i.travel_mdeg.0 > i.travel_mdeg.1,
            format!("travel of {} to {} mdeg", i.travel_mdeg.0, i.travel_mdeg.1),
        ),
    ];
    match wrong.into_iter().find(|(wrong, _)| *wrong) {
        Some((_, what)) => otherwise(what),
        None => Ok(()),
    }
}

pub(super) fn channels(probe: &mut Probe) -> Result<(), Broken> {
    let count = probe.identity()?.channels;
    let mut names: Vec<String> = Vec::new();
    for channel in 0..count {
        let Reply::Channel(info) = probe.reply(&Request::DescribeChannel { channel })? else {
            return otherwise("DescribeChannel is answered with another reply");
        };
        let name = info.name.as_str().to_owned();
        if info.index != channel {
            return otherwise(format!("asked for channel {channel}, told of {}", info.index));
        }
        if !(info.scale.is_finite() && info.scale > 0.0 && info.offset.is_finite() && info.resolution >= 0.0)
        {
            return otherwise(format!(
                "{name}: scale {}, offset {}, resolution {}",
                info.scale, info.offset, info.resolution
            ));
        }
        if names.contains(&name) {
            return otherwise(format!("two channels are named {name}"));
        }
        names.push(name);
        let Reply::Calibration(c) = probe.reply(&Request::ReadCalibration { channel })? else {
            return otherwise("ReadCalibration is answered with another reply");
        };
        if !(c.gain_uncertainty >= 0.0 && c.offset_uncertainty >= 0.0) {
            return otherwise(format!("calibration of channel {channel}: {c:?}"));
        }
    }
    probe.refused(&Request::DescribeChannel { channel: count }, Reason::OutOfRange, Some(0))?;
    probe.refused(&Request::ReadCalibration { channel: count }, Reason::OutOfRange, Some(0))
}

pub(super) fn status(probe: &mut Probe) -> Result<(), Broken> {
    let (_, high) = probe.identity()?.supply_mv;
    for millivolts in [high, 0] {
        probe.reply(&Request::SetSupply { millivolts })?;
        let told = probe.status()?.supply_mv;
        if told != millivolts {
            return otherwise(format!("set to {millivolts} mV, the status tells {told} mV"));
        }
    }
    let on = probe.status()?.drive_on;
    if on { otherwise("the drive is on at rest") } else { Ok(()) }
}
