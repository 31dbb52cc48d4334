//! Whether what a rig says of itself can be true: scales and ranges of its channels, calibration, limits. What can't is a fault of the rig,
//! found before a part is touched; it must never be taken for the part's. Bounds are wide: no bench instrument comes near them
//! (engineering assumptions).

use super::{SessionError, nonsense};
use crate::quantity::Channel;
use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, Unit};
use trackpair_protocol::message::{Identity, capability};

/// What one unit of a channel may be.
struct Bounds {
    /// Largest step of one count, in the unit.
    coarsest: f64,
    /// Largest magnitude at 0 counts, in the unit.
    offset: f64,
    /// Least range that a channel must cover, in the unit.
    range: f64,
    /// Largest standard uncertainty of the offset, in the unit.
    uncertainty: f64,
}

/// Smallest step of one count, in any unit: below it a 32-bit count spans nothing.
const FINEST: f64 = 1e-9;
/// Largest standard uncertainty of a gain: a tenth is no measurement any more.
const WORST_GAIN: f64 = 0.1;
/// Longest filter, µs.
const SLOWEST_FILTER_US: u32 = 1_000_000;
/// A line or the supply must be seen from here to there, V: within it lie both stops of any sensor.
const SENSOR_RANGE: (f64, f64) = (1.0, 2.5);
/// Sampling period that a rig may state, µs.
const PERIODS_US: (u32, u32) = (1, 10_000_000);
/// Highest sensor supply that a rig may state, mV.
const HIGHEST_SUPPLY_MV: u16 = 30_000;
/// Furthest that a drive may be sent, mdeg, and its highest speed, mdeg/s.
const FURTHEST_MDEG: u32 = 3_600_000;
const FASTEST_MDEG_S: u32 = 100_000_000;

const fn bounds(unit: Unit) -> Bounds {
    match unit {
        Unit::Volt => Bounds { coarsest: 0.1, offset: 100.0, range: 0.01, uncertainty: 1.0 },
        Unit::Ampere => Bounds { coarsest: 0.5, offset: 500.0, range: 0.001, uncertainty: 10.0 },
        Unit::Degree => Bounds { coarsest: 1.0, offset: 3_600.0, range: 10.0, uncertainty: 10.0 },
        Unit::Celsius => Bounds { coarsest: 5.0, offset: 1_000.0, range: 10.0, uncertainty: 50.0 },
    }
}

/// Checks one entry of the channel table.
///
/// # Errors
/// [`SessionError::Nonsense`] with what was given and what is allowed.
pub(super) fn check_channel(info: &ChannelInfo) -> Result<(), SessionError> {
    let name = info.name.as_str();
    let unit = info.unit.symbol();
    let allowed = bounds(info.unit);
    let refuse = |what: &str, given: f64, allowed: String| {
        Err(nonsense(
            "describe channel",
            &format!("the {what} of {name} is {given:e} {unit}, allowed: {allowed}"),
        ))
    };
    if !(FINEST..=allowed.coarsest).contains(&info.scale) {
        return refuse("scale", info.scale, format!("{FINEST:e} to {} {unit} per count", allowed.coarsest));
    }
    if !info.offset.is_finite() || info.offset.abs() > allowed.offset {
        return refuse("offset", info.offset, format!("-{0} to {0} {unit}", allowed.offset));
    }
    let (low, high) = range(info);
    let span = high - low;
    if !(0.0..=span).contains(&info.resolution) {
        return refuse(
            "resolution",
            info.resolution,
            format!("0 to the channel's range of {span:.4} {unit}"),
        );
    }
    if span < allowed.range {
        return refuse("range", span, format!("at least {} {unit}", allowed.range));
    }
    let sensor =
        matches!(Channel::from_name(name), Some(Channel::Rising | Channel::Falling | Channel::Supply));
    let (from, to) = SENSOR_RANGE;
    if sensor && (low > from || high < to) {
        let given = format!("{low:.4} to {high:.4} {unit}");
        let problem = format!("{name} can read {given} only, it must reach from {from} to {to} V at least");
        return Err(nonsense("describe channel", &problem));
    }
    if info.filter_us > SLOWEST_FILTER_US {
        let problem =
            format!("the filter of {name} is {} µs, allowed: 0 to {SLOWEST_FILTER_US} µs", info.filter_us);
        return Err(nonsense("describe channel", &problem));
    }
    Ok(())
}

/// Lowest and highest value that fits a count, in the channel's unit.
fn range(info: &ChannelInfo) -> (f64, f64) {
    let (low, high) = match info.encoding {
        // Nobody's converter fills 32 bits; a count there is worth as much as the scale says.
        Encoding::I32 => (f64::from(i32::MIN), f64::from(i32::MAX)),
        encoding => (f64::from(encoding.range().0), f64::from(encoding.range().1)),
    };
    (info.offset + info.scale * low, info.offset + info.scale * high)
}

/// Checks the calibration of a channel: an uncertainty without sense would make every verdict of the part meaningless.
///
/// # Errors
/// As [`check_channel`].
pub(super) fn check_calibration(info: &ChannelInfo, calibration: &Calibration) -> Result<(), SessionError> {
    let unit = info.unit.symbol();
    let numbers = [
        ("gain", calibration.gain_uncertainty, WORST_GAIN, "relative"),
        ("offset", calibration.offset_uncertainty, bounds(info.unit).uncertainty, unit),
    ];
    for (what, value, most, unit) in numbers {
        if !(0.0..=most).contains(&value) {
            let problem = format!(
                "the {what} uncertainty of {} is {value:e} ({unit}), allowed: 0 to {most}",
                info.name.as_str()
            );
            return Err(nonsense("read calibration", &problem));
        }
    }
    Ok(())
}

/// Checks the limits that a rig states.
///
/// # Errors
/// As [`check_channel`].
pub(super) fn check_limits(identity: &Identity) -> Result<(), SessionError> {
    let refuse = |problem: String| Err(nonsense("identify", &problem));
    let (shortest, longest) = (identity.min_period_us, identity.max_period_us);
    if shortest < PERIODS_US.0 || longest > PERIODS_US.1 || shortest > longest {
        return refuse(format!(
            "it samples every {shortest} to {longest} µs, allowed: {} to {} µs, the shorter first",
            PERIODS_US.0, PERIODS_US.1
        ));
    }
    let (low, high) = identity.supply_mv;
    if low > high || high > HIGHEST_SUPPLY_MV || high == 0 {
        return refuse(format!(
            "its sensor supply goes from {low} to {high} mV, allowed: 0 to {HIGHEST_SUPPLY_MV} mV, the lower first"
        ));
    }
    if identity.capabilities & (capability::GRIP_DRIVE | capability::BODY_DRIVE) == 0 {
        return Ok(());
    }
    let (from, to) = identity.travel_mdeg;
    if from >= to || from.unsigned_abs().max(to.unsigned_abs()) > FURTHEST_MDEG {
        return refuse(format!(
            "its drive goes from {from} to {to} mdeg, allowed: up to {FURTHEST_MDEG} mdeg either way, the lower first"
        ));
    }
    if identity.max_speed_mdeg_s == 0 || identity.max_speed_mdeg_s > FASTEST_MDEG_S {
        return refuse(format!(
            "its drive turns at {} mdeg/s at most, allowed: 1 to {FASTEST_MDEG_S} mdeg/s",
            identity.max_speed_mdeg_s
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use trackpair_protocol::wire::Text;

    fn line() -> ChannelInfo {
        ChannelInfo {
            index: 0,
            encoding: Encoding::I16,
            unit: Unit::Volt,
            has_load: true,
            has_pull_down: true,
            name: Text::new("rising"),
            scale: 2e-4,
            offset: 0.0,
            resolution: 2e-4,
            filter_us: 100,
        }
    }

    #[track_caller]
    fn check_refused(info: ChannelInfo) {
        let error = check_channel(&info).expect_err("it must be refused").to_string();
        assert!(error.contains("rising") && error.contains("calibrate it anew"), "{error}");
    }

    #[test]
    fn scales_and_offsets_that_can_t_be_are_refused() {
        check_channel(&line()).unwrap();
        for scale in [1e308, 5e-324, -2e-4, 0.0, f64::NAN, f64::INFINITY, 1.0, 1e-8] {
            check_refused(ChannelInfo { scale, ..line() });
        }
        for offset in [1e308, -1e6, 50.0, -50.0, f64::NAN] {
            check_refused(ChannelInfo { offset, ..line() });
        }
        for resolution in [-1e-4, 1e9, f64::NAN] {
            check_refused(ChannelInfo { resolution, ..line() });
        }
    }

    #[test]
    fn a_calibration_beyond_sense_is_refused() {
        let calibration = |gain, offset| Calibration {
            channel: 0,
            gain_uncertainty: gain,
            offset_uncertainty: offset,
            day: 20_000,
            certificate: Text::new(""),
        };
        check_calibration(&line(), &calibration(1e-4, 1e-4)).unwrap();
        for (gain, offset) in [(1e300, 0.0), (0.5, 0.0), (0.0, 1e9), (-1e-4, 0.0), (0.0, f64::NAN)] {
            assert!(check_calibration(&line(), &calibration(gain, offset)).is_err(), "{gain} {offset}");
        }
    }

    #[test]
    fn limits_that_contradict_each_other_are_refused() {
        let sound = Identity {
            session: 1,
            boot: 1,
            model: Text::new("bench"),
            serial: Text::new("7"),
            firmware: Text::new("1"),
            capabilities: capability::GRIP_DRIVE,
            channels: 1,
            min_period_us: 100,
            max_period_us: 100_000,
            supply_mv: (4_000, 5_000),
            travel_mdeg: (-3_000, 90_000),
            max_speed_mdeg_s: 200_000,
            max_drive_mv: 0,
        };
        check_limits(&sound).unwrap();
        for wrong in [
            Identity { min_period_us: 0, ..sound },
            Identity { min_period_us: 200_000, ..sound },
            Identity { max_period_us: u32::MAX, ..sound },
            Identity { supply_mv: (5_000, 4_000), ..sound },
            Identity { supply_mv: (0, 65_000), ..sound },
            Identity { travel_mdeg: (90_000, -3_000), ..sound },
            Identity { max_speed_mdeg_s: 0, ..sound },
        ] {
            let error = check_limits(&wrong).expect_err("it must be refused").to_string();
            assert!(error.contains("allowed"), "{error}");
        }
    }
}
