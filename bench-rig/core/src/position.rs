//! The loop that holds a throttle plate at its setpoint: from the first feedback line to the motor's voltage, in whole numbers.
//!
//! Proportional and integral on the deviation, derivative on it too, behind a first-order filter (structure: PID with
//! filtered derivative and conditional integration; K. J. Åström and T. Hägglund, PID Controllers, 1995, from memory). Two
//! bounds: the bridge's voltage, and a current limit that lowers the voltage while the current is beyond it. Nothing is
//! integrated while either bound is met in the integral's direction, nor within the dead zone. It does not know guards or states.

use trackpair_protocol::position_loop::LoopSettings;

use crate::board::Micros;

/// Largest gains a host may set: with them every product below fits in 64 bits.
const MAX_GAIN: u32 = 10_000_000;
/// Longest filter on the speed, µs.
const MAX_FILTER_US: u32 = 100_000;
/// Least difference of the feedback line between both ends, millionths of the supply.
const LEAST_SPAN_PPM: u32 = 50_000;
/// Largest travel, mdeg: a turn.
const MAX_TRAVEL_MDEG: u32 = 360_000;
/// The voltage is lowered by this per mA beyond the current limit and per ms, µV.
const FOLD_BACK_UV: i64 = 400;

/// Checks settings against what the loop bears; `current_ma` is the rig's own limit.
///
/// # Errors
/// Number of the first field out of range, in the order of the wire.
pub fn validate(settings: &LoopSettings, current_ma: u32) -> Result<(), u8> {
    let ratio = |ppm: i32| (-100_000..=1_100_000).contains(&ppm);
    let allowed = [
        ratio(settings.closed_ppm),
        ratio(settings.open_ppm) && settings.open_ppm.abs_diff(settings.closed_ppm) >= LEAST_SPAN_PPM,
        (1_000..=MAX_TRAVEL_MDEG).contains(&settings.travel_mdeg),
        settings.kp_uv_mdeg <= MAX_GAIN,
        settings.ki_uv_mdeg_s <= MAX_GAIN,
        settings.kd_nv_s_mdeg <= MAX_GAIN,
        settings.speed_filter_us <= MAX_FILTER_US,
        settings.dead_mdeg <= settings.travel_mdeg,
        (1..=current_ma).contains(&settings.current_ma),
    ];
    allowed.iter().position(|fits| !fits).map_or(Ok(()), |field| Err(field as u8))
}

/// A loop with its settings and its memory.
#[derive(Clone, Debug)]
pub struct PositionLoop {
    settings: LoopSettings,
    bridge_uv: i64,
    integral_uv: i64,
    slope_mdeg_s: i64,
    fold_uv: i64,
    last: Option<(Micros, i64)>,
}

impl PositionLoop {
    /// With validated settings, on a bridge that gives ± `max_drive_mv`.
    pub fn new(settings: LoopSettings, max_drive_mv: u16) -> Self {
        Self {
            settings,
            bridge_uv: i64::from(max_drive_mv) * 1_000,
            integral_uv: 0,
            slope_mdeg_s: 0,
            fold_uv: 0,
            last: None,
        }
    }

    /// Travel of the plate, mdeg.
    pub fn travel_mdeg(&self) -> i32 {
        // At most a turn.
        self.settings.travel_mdeg.min(MAX_TRAVEL_MDEG) as i32
    }

    /// Forgets what it has integrated: the drive was off or under another command.
    pub fn reset(&mut self) {
        (self.integral_uv, self.slope_mdeg_s, self.fold_uv, self.last) = (0, 0, 0, None);
    }

    /// Plate angle of a feedback ratio in millionths of the supply, mdeg; far outside the travel it stays at one travel beyond.
    pub fn plate_mdeg(&self, feedback_ppm: i32) -> i32 {
        let s = &self.settings;
        let span = i64::from(s.open_ppm) - i64::from(s.closed_ppm);
        let travel = i64::from(s.travel_mdeg);
        let angle = (i64::from(feedback_ppm) - i64::from(s.closed_ppm)) * travel / span;
        angle.clamp(-travel, 2 * travel) as i32
    }

    /// The motor's voltage for a setpoint, mV, given the plate's angle and the motor's current at `at`.
    pub fn volts_mv(&mut self, setpoint_mdeg: i32, plate_mdeg: i32, motor_ma: i32, at: Micros) -> i32 {
        let s = self.settings;
        let deviation = i64::from(setpoint_mdeg) - i64::from(plate_mdeg);
        let elapsed = match self.last {
            Some((then, before)) if at > then => {
                let us = (at - then).min(10_000) as i64;
                let slope = (deviation - before) * 1_000_000 / us;
                self.slope_mdeg_s += (slope - self.slope_mdeg_s) * us / (us + i64::from(s.speed_filter_us));
                us
            }
            _ => 0,
        };
        self.last = Some((at, deviation));
        let fast =
            i64::from(s.kp_uv_mdeg) * deviation + i64::from(s.kd_nv_s_mdeg) * self.slope_mdeg_s / 1_000;
        self.fold_back(motor_ma, elapsed);
        let bound = (self.bridge_uv - self.fold_uv).max(0);
        self.integrate(deviation, fast, bound, elapsed);
        ((fast + self.integral_uv).clamp(-bound, bound) / 1_000) as i32
    }

    /// Conditional integration: not within the dead zone, not further into a bound.
    fn integrate(&mut self, deviation: i64, fast: i64, bound: i64, us: i64) {
        let s = &self.settings;
        if deviation.abs() < i64::from(s.dead_mdeg) {
            return;
        }
        let step = i64::from(s.ki_uv_mdeg_s) * deviation / 1_000 * us / 1_000;
        let whole = fast + self.integral_uv;
        if (whole >= bound && step > 0) || (whole <= -bound && step < 0) {
            return;
        }
        self.integral_uv = (self.integral_uv + step).clamp(-self.bridge_uv, self.bridge_uv);
    }

    /// The voltage's bound sinks while the current is beyond its limit, and rises again below it.
    fn fold_back(&mut self, motor_ma: i32, us: i64) {
        let beyond = i64::from(motor_ma.unsigned_abs()) - i64::from(self.settings.current_ma);
        let step = beyond.max(-2_000) * FOLD_BACK_UV * us / 1_000;
        self.fold_uv = (self.fold_uv + step).clamp(0, self.bridge_uv);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SETTINGS: LoopSettings = LoopSettings {
        closed_ppm: 100_000,
        open_ppm: 900_000,
        travel_mdeg: 84_000,
        kp_uv_mdeg: 1_100,
        ki_uv_mdeg_s: 8_727,
        kd_nv_s_mdeg: 12_741,
        speed_filter_us: 531,
        dead_mdeg: 120,
        current_ma: 9_000,
    };

    #[test]
    fn the_plate_angle_lies_on_the_line_through_both_stops() {
        let position = PositionLoop::new(SETTINGS, 13_000);
        assert_eq!([100_000, 500_000, 900_000].map(|r| position.plate_mdeg(r)), [0, 42_000, 84_000]);
        // A falling line as well.
        let falling = LoopSettings { closed_ppm: 900_000, open_ppm: 100_000, ..SETTINGS };
        assert_eq!(PositionLoop::new(falling, 13_000).plate_mdeg(300_000), 63_000);
    }

    #[test]
    fn a_long_block_winds_nothing_up_beyond_the_bridge() {
        let mut position = PositionLoop::new(SETTINGS, 13_000);
        for ms in 1..60_000 {
            let mv = position.volts_mv(80_000, 10_000, 0, ms * 1_000);
            assert!(mv <= 13_000);
        }
        // The deviation turns: the voltage follows at once instead of unwinding a minute of error.
        let back = position.volts_mv(10_000, 40_000, 0, 60_000_000);
        assert!(back < -10_000, "{back} mV");
    }

    #[test]
    fn within_the_dead_zone_nothing_is_integrated() {
        let mut position = PositionLoop::new(SETTINGS, 13_000);
        let first = position.volts_mv(10_100, 10_000, 0, 1_000);
        let later = (2..5_000).map(|ms| position.volts_mv(10_100, 10_000, 0, ms * 1_000)).last();
        assert_eq!(later, Some(first));
    }

    #[test]
    fn current_beyond_the_limit_lowers_the_voltage_until_it_is_kept() {
        // A stalled motor of 1.15 ohm would draw 11.3 A from 13 V.
        let mut position = PositionLoop::new(LoopSettings { current_ma: 3_000, ..SETTINGS }, 13_000);
        let mut ma = 0;
        for ms in 1..2_000u64 {
            let mv = position.volts_mv(84_000, 0, ma, ms * 1_000);
            ma = mv * 100 / 115;
        }
        assert!((2_800..=3_200).contains(&ma), "{ma} mA");
    }

    #[test]
    fn a_setting_out_of_range_is_named_by_its_number() {
        assert_eq!(validate(&SETTINGS, 10_000), Ok(()));
        let wrong = [
            LoopSettings { closed_ppm: 2_000_000, ..SETTINGS },
            LoopSettings { open_ppm: 120_000, ..SETTINGS },
            LoopSettings { travel_mdeg: 0, ..SETTINGS },
            LoopSettings { kp_uv_mdeg: u32::MAX, ..SETTINGS },
            LoopSettings { ki_uv_mdeg_s: u32::MAX, ..SETTINGS },
            LoopSettings { kd_nv_s_mdeg: u32::MAX, ..SETTINGS },
            LoopSettings { speed_filter_us: u32::MAX, ..SETTINGS },
            LoopSettings { dead_mdeg: 90_000, ..SETTINGS },
            LoopSettings { current_ma: 10_001, ..SETTINGS },
        ];
        for (field, settings) in wrong.iter().enumerate() {
            assert_eq!(validate(settings, 10_000), Err(field as u8));
        }
    }
}
