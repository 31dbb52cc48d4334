//! What the guards of a motor bridge remember from tick to tick: a stall, heat, a plate that does not follow.
//!
//! Heat is the current's square beyond what the motor bears for ever, summed over time (the I²t rule of motor protection, IEC
//! 60255-149 in its simplest form, from memory); it flows off at the same rate as such a current brings it in.

use crate::board::{Micros, MotorLimits, Vitals};

/// Longest time one tick may count for, µs: after a pause the motor is taken to have carried its last current no longer.
const LONGEST_TICK_US: Micros = 10_000;

/// The memory of a motor bridge's guards.
#[derive(Clone, Debug)]
pub struct MotorGuards {
    limits: MotorLimits,
    heat_ma2_ms: u64,
    last: Option<Micros>,
    stalled_since: Option<(Micros, i32)>,
    astray_since: Option<Micros>,
}

/// Which of them are broken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Broken {
    /// Current without motion.
    pub stall: bool,
    /// Heat beyond the budget.
    pub heat: bool,
    /// Deviation from the setpoint held too long.
    pub not_following: bool,
}

impl MotorGuards {
    /// Cold.
    pub fn new(limits: MotorLimits) -> Self {
        Self { limits, heat_ma2_ms: 0, last: None, stalled_since: None, astray_since: None }
    }

    /// Heat in thousandths of the budget.
    pub fn heat_permille(&self) -> u16 {
        let permille = self.heat_ma2_ms.saturating_mul(1_000) / self.limits.heat_budget_ma2_ms.max(1);
        u16::try_from(permille).unwrap_or(u16::MAX)
    }

    /// Looks at one tick. `deviation_mdeg` is setpoint less plate while the position loop works.
    pub fn check(&mut self, vitals: &Vitals, deviation_mdeg: Option<i32>, at: Micros) -> Broken {
        self.warm(vitals.motor_ma, at);
        Broken {
            stall: self.stalls(vitals, at),
            heat: self.heat_ma2_ms > self.limits.heat_budget_ma2_ms,
            not_following: self.strays(deviation_mdeg, at),
        }
    }

    fn warm(&mut self, motor_ma: i32, at: Micros) {
        let us = self.last.map_or(0, |last| at.saturating_sub(last).min(LONGEST_TICK_US));
        self.last = Some(at);
        let square = |ma: u32| u64::from(ma) * u64::from(ma);
        let (now, free) = (square(motor_ma.unsigned_abs()), square(self.limits.heat_free_ma));
        self.heat_ma2_ms = if now >= free {
            self.heat_ma2_ms.saturating_add((now - free) / 1_000 * us)
        } else {
            self.heat_ma2_ms.saturating_sub((free - now) / 1_000 * us)
        };
    }

    fn stalls(&mut self, vitals: &Vitals, at: Micros) -> bool {
        if vitals.motor_ma.unsigned_abs() <= self.limits.stall_ma {
            self.stalled_since = None;
            return false;
        }
        let (since, place) = *self.stalled_since.get_or_insert((at, vitals.feedback_ppm));
        if vitals.feedback_ppm.abs_diff(place) > self.limits.stall_ppm {
            self.stalled_since = Some((at, vitals.feedback_ppm));
            return false;
        }
        at.saturating_sub(since) >= self.limits.stall_us
    }

    fn strays(&mut self, deviation_mdeg: Option<i32>, at: Micros) -> bool {
        let Some(_) = deviation_mdeg.filter(|d| d.unsigned_abs() > self.limits.follow_mdeg) else {
            self.astray_since = None;
            return false;
        };
        at.saturating_sub(*self.astray_since.get_or_insert(at)) >= self.limits.follow_us
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: MotorLimits = MotorLimits {
        current_ma: 10_000,
        stall_ma: 5_000,
        stall_us: 300_000,
        stall_ppm: 3_000,
        heat_free_ma: 2_000,
        heat_budget_ma2_ms: 100_000_000_000,
        follow_mdeg: 10_000,
        follow_us: 500_000,
    };

    fn vitals(motor_ma: i32, feedback_ppm: i32) -> Vitals {
        Vitals { motor_ma, feedback_ppm, ..Vitals::default() }
    }

    /// Time until a tick breaks what `broken` looks at, µs; none within 10 s.
    fn time_until(
        mut vitals_at: impl FnMut(Micros) -> Vitals,
        deviation: Option<i32>,
        broken: fn(Broken) -> bool,
    ) -> Option<Micros> {
        let mut guards = MotorGuards::new(LIMITS);
        (0..10_000).map(|ms| ms * 1_000).find(|at| broken(guards.check(&vitals_at(*at), deviation, *at)))
    }

    #[test]
    fn current_without_motion_stalls_and_with_motion_does_not() {
        assert_eq!(time_until(|_| vitals(6_000, 0), None, |b| b.stall), Some(300_000));
        assert_eq!(time_until(|_| vitals(-6_000, 0), None, |b| b.stall), Some(300_000));
        assert_eq!(time_until(|at| vitals(6_000, (at / 50) as i32), None, |b| b.stall), None);
        assert_eq!(time_until(|_| vitals(5_000, 0), None, |b| b.stall), None);
    }

    #[test]
    fn heat_is_the_square_of_the_current_over_time_and_flows_off() {
        // (100 - 4) A² fill 100 A²s in 1.042 s.
        let hot = time_until(|at| vitals(10_000, (at / 10) as i32), None, |b| b.heat).unwrap();
        assert!((1_040_000..=1_045_000).contains(&hot), "{hot}");
        assert_eq!(time_until(|_| vitals(2_000, 0), None, |b| b.heat), None);
        let mut guards = MotorGuards::new(LIMITS);
        for ms in 0..500 {
            guards.check(&vitals(10_000, 0), None, ms * 1_000);
        }
        let warm = guards.heat_permille();
        for ms in 500..5_500 {
            guards.check(&vitals(0, 0), None, ms * 1_000);
        }
        // Five seconds at 4 A² take 20 A²s off.
        assert_eq!(warm - guards.heat_permille(), 200);
    }

    #[test]
    fn a_deviation_must_last_before_the_plate_counts_as_not_following() {
        assert_eq!(time_until(|_| vitals(0, 0), Some(-10_001), |b| b.not_following), Some(500_000));
        assert_eq!(time_until(|_| vitals(0, 0), Some(10_000), |b| b.not_following), None);
        assert_eq!(time_until(|_| vitals(0, 0), None, |b| b.not_following), None);
    }
}
