//! The motion program turned into setpoints over time, in whole numbers: a rig's processor may have no floating point.
//!
//! Angles are mdeg on the reference, times µs. A ramp is the trapezoid of constant acceleration, or the triangle when it
//! is too short to reach its speed: `T = D/v + v/a` when `D ≥ v²/a`, else `T = 2·√(D/a)` (kinematics of constant
//! acceleration). It does not know guards or states: asked for a setpoint, it answers.

use trackpair_protocol::message::{Identity, capability};
use trackpair_protocol::program::{Program, Segment};

use crate::board::{Drive, Micros};

/// The control tick, µs. No segment may be shorter, and no ramp lasts shorter.
pub const TICK_US: Micros = 1_000;

/// Largest angle either way, mdeg (five turns): with it every product below fits in 64 bits.
pub const MAX_ANGLE_MDEG: i32 = 1_800_000;
/// Largest speed, mdeg/s.
pub const MAX_SPEED_MDEG_S: u32 = 10_000_000;
/// Largest acceleration, mdeg/s².
pub const MAX_ACCEL_MDEG_S2: u32 = 1_000_000_000;

/// What a program may ask of the drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Lowest and highest angle, mdeg.
    pub travel_mdeg: (i32, i32),
    /// Largest speed, mdeg/s.
    pub speed_mdeg_s: u32,
    /// Largest voltage of a motor bridge either way, mV; 0 without one.
    pub drive_mv: u16,
    /// Whether the drive can be sent to an angle: a grip drive always, a motor bridge once its position loop is set.
    pub positions: bool,
}

impl Limits {
    /// What the rig declares, within what the arithmetic bears.
    pub fn of(identity: &Identity) -> Self {
        let bear = |angle: i32| angle.clamp(-MAX_ANGLE_MDEG, MAX_ANGLE_MDEG);
        let low = bear(identity.travel_mdeg.0);
        Self {
            travel_mdeg: (low, bear(identity.travel_mdeg.1).max(low)),
            speed_mdeg_s: identity.max_speed_mdeg_s.min(MAX_SPEED_MDEG_S),
            drive_mv: identity.max_drive_mv,
            positions: identity.capabilities & capability::GRIP_DRIVE != 0,
        }
    }

    fn reaches(&self, angle: i32) -> bool {
        (self.travel_mdeg.0..=self.travel_mdeg.1).contains(&angle)
    }

    fn clamp(&self, angle: i32) -> i32 {
        angle.clamp(self.travel_mdeg.0, self.travel_mdeg.1)
    }
}

/// Checks a program.
///
/// # Errors
/// The number of the first segment that asks for what the rig does not allow: an angle outside its travel, a speed or
/// acceleration of 0 or beyond its limit, a voltage beyond the bridge's or without one, an angle on a motor bridge whose position
/// loop is not set, a time shorter than [`TICK_US`], a repeat that goes forward, 0 times, or over
/// another repeat. 0 for an empty program.
pub fn validate(program: &Program, limits: &Limits) -> Result<(), u8> {
    let segments = program.segments();
    if segments.is_empty() {
        return Err(0);
    }
    for (number, segment) in segments.iter().enumerate() {
        let long_enough = |us: u32| Micros::from(us) >= TICK_US;
        let bears = |mv: i32| limits.drive_mv > 0 && mv.unsigned_abs() <= u32::from(limits.drive_mv);
        let allowed = match *segment {
            Segment::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 } => {
                limits.positions
                    && limits.reaches(to_mdeg)
                    && (1..=limits.speed_mdeg_s).contains(&speed_mdeg_s)
                    && (1..=MAX_ACCEL_MDEG_S2).contains(&accel_mdeg_s2)
            }
            Segment::Hold { us } => limits.positions && long_enough(us),
            Segment::Release { us } => long_enough(us),
            Segment::Step { to_mdeg, us } => limits.positions && limits.reaches(to_mdeg) && long_enough(us),
            Segment::Volts { mv, us } | Segment::VoltsRamp { to_mv: mv, us } => bears(mv) && long_enough(us),
            Segment::Brake { us } => limits.drive_mv > 0 && long_enough(us),
            Segment::Repeat { from, times } => {
                let body = segments.get(usize::from(from)..number).unwrap_or(&[]);
                times > 0 && !body.is_empty() && !body.iter().any(|s| matches!(s, Segment::Repeat { .. }))
            }
        };
        if !allowed {
            return Err(number as u8);
        }
    }
    Ok(())
}

/// One ramp: setpoint over the time since it began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ramp {
    from: i32,
    to: i32,
    distance: u64,
    speed: u64,
    accel: u64,
    accel_us: u64,
    duration_us: u64,
}

impl Ramp {
    /// A ramp between angles within ±[`MAX_ANGLE_MDEG`], with a speed of 1 to [`MAX_SPEED_MDEG_S`] mdeg/s and an
    /// acceleration of 1 to [`MAX_ACCEL_MDEG_S2`] mdeg/s²; values beyond are taken as the nearest of these.
    pub fn new(from: i32, to: i32, speed_mdeg_s: u32, accel_mdeg_s2: u32) -> Self {
        let from = from.clamp(-MAX_ANGLE_MDEG, MAX_ANGLE_MDEG);
        let to = to.clamp(-MAX_ANGLE_MDEG, MAX_ANGLE_MDEG);
        let speed = u64::from(speed_mdeg_s.clamp(1, MAX_SPEED_MDEG_S));
        let accel = u64::from(accel_mdeg_s2.clamp(1, MAX_ACCEL_MDEG_S2));
        let distance = u64::from(from.abs_diff(to));
        let exact = if distance * accel >= speed * speed {
            // In ns, so that two rounded quotients make one rounded µs.
            let cruise = (distance * 1_000_000_000).div_ceil(speed);
            let ends = (speed * 1_000_000_000).div_ceil(accel);
            (cruise + ends).div_ceil(1_000)
        } else {
            // distance ≤ 3.6e6 mdeg, so this is at most 1.44e19: it fits.
            let square = (4 * distance * 1_000_000_000_000).div_ceil(accel);
            let root = square.isqrt();
            root + u64::from(root * root < square)
        };
        let accel_us = (speed * 1_000_000).div_ceil(accel);
        Self { from, to, distance, speed, accel, accel_us, duration_us: exact.max(TICK_US) }
    }

    /// How long it takes, µs, rounded up; at least [`TICK_US`].
    pub fn duration_us(&self) -> Micros {
        self.duration_us
    }

    /// Setpoint `t` µs after its beginning, mdeg, rounded to the nearest.
    pub fn at(&self, t: Micros) -> i32 {
        let half = self.distance / 2;
        let gone = if t >= self.duration_us {
            self.distance
        } else if 2 * t < self.duration_us {
            self.covered(t).min(half)
        } else {
            // The same backwards: the halves meet in the middle within the rounding of the duration.
            self.distance.saturating_sub(self.covered(self.duration_us - t)).max(half)
        };
        // At most 3.6e6: fits.
        let gone = gone as i32;
        if self.to >= self.from { self.from + gone } else { self.from - gone }
    }

    /// Distance covered `t` µs after starting to accelerate, mdeg, never braking. `t` up to half the duration.
    fn covered(&self, t: Micros) -> u64 {
        if t < self.accel_us {
            // accel·t² ≤ distance·1e12 ≤ 3.6e18: it fits.
            (self.accel * t * t + 1_000_000_000_000) / 2_000_000_000_000
        } else {
            // speed·t − speed²/(2·accel), in thousandths of a mdeg.
            let cruised = self.speed * t / 1_000;
            (cruised.saturating_sub(self.speed * self.speed * 500 / self.accel) + 500) / 1_000
        }
    }
}

/// What the drive does in a segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Course {
    Follow(Ramp),
    Stay(i32),
    LetGo,
    /// From one voltage to another, mV.
    Apply {
        from: i32,
        to: i32,
    },
    Join,
}

/// A segment that the program has come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reached {
    /// Its number.
    pub segment: u8,
    /// How many times the enclosing repeat has gone back so far; 0 outside any.
    pub pass: u16,
}

/// A validated program being driven.
#[derive(Clone, Debug)]
pub struct Motion {
    limits: Limits,
    program: Program,
    /// Number of the next segment to come to.
    next: usize,
    pass: u16,
    began: Micros,
    ends: Micros,
    course: Course,
}

impl Motion {
    /// No program loaded.
    pub fn new(limits: Limits) -> Self {
        Self { limits, program: Program::EMPTY, next: 0, pass: 0, began: 0, ends: 0, course: Course::LetGo }
    }

    /// Whether a program is loaded.
    pub fn has_program(&self) -> bool {
        !self.program.segments().is_empty()
    }

    /// The position loop is set: the motor bridge can be sent to angles from now on.
    pub fn allow_positions(&mut self) {
        self.limits.positions = true;
    }

    /// Replaces the program.
    ///
    /// # Errors
    /// See [`validate`]; the old program stays.
    pub fn load(&mut self, program: &Program) -> Result<(), u8> {
        validate(program, &self.limits)?;
        self.program = *program;
        Ok(())
    }

    /// Goes to before the first segment, which is then due at `at`.
    pub fn rewind(&mut self, at: Micros) {
        (self.next, self.pass, self.began, self.ends, self.course) = (0, 0, at, at, Course::LetGo);
    }

    /// When the segment ends and [`Motion::advance`] is due.
    pub fn ends(&self) -> Micros {
        self.ends
    }

    /// Goes on to the next segment, which begins when the last one ended. `measured_mdeg` is where the part is now: the
    /// setpoint starts there when the drive was off. `None`: the program is done. A repeat takes no time and is not
    /// reported.
    pub fn advance(&mut self, measured_mdeg: i32) -> Option<Reached> {
        let start = self.setpoint(self.ends).unwrap_or_else(|| self.limits.clamp(measured_mdeg));
        loop {
            let number = self.next;
            let (course, duration) = match *self.program.segments().get(number)? {
                Segment::Repeat { from, times } => {
                    if self.pass < times {
                        self.pass += 1;
                        self.next = usize::from(from);
                    } else {
                        self.pass = 0;
                        self.next += 1;
                    }
                    continue;
                }
                Segment::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 } => {
                    let ramp = Ramp::new(start, to_mdeg, speed_mdeg_s, accel_mdeg_s2);
                    (Course::Follow(ramp), ramp.duration_us())
                }
                Segment::Hold { us } => (Course::Stay(start), us.into()),
                Segment::Step { to_mdeg, us } => (Course::Stay(to_mdeg), us.into()),
                Segment::Release { us } => (Course::LetGo, us.into()),
                Segment::Volts { mv, us } => (Course::Apply { from: mv, to: mv }, us.into()),
                Segment::VoltsRamp { to_mv, us } => {
                    (Course::Apply { from: self.volts_mv(self.ends).unwrap_or(0), to: to_mv }, us.into())
                }
                Segment::Brake { us } => (Course::Join, us.into()),
            };
            self.next += 1;
            self.course = course;
            self.began = self.ends;
            self.ends += duration;
            return Some(Reached { segment: number as u8, pass: self.pass });
        }
    }

    /// What the drive is to do at `at`, within the current segment.
    pub fn drive(&self, at: Micros) -> Drive {
        match self.course {
            Course::Join => Drive::Brake,
            _ => self
                .setpoint(at)
                .map(Drive::Position)
                .or_else(|| self.volts_mv(at).map(Drive::Volts))
                .unwrap_or(Drive::Off),
        }
    }

    /// The voltage that the current segment asks for, mV.
    fn volts_mv(&self, at: Micros) -> Option<i32> {
        let Course::Apply { from, to } = self.course else { return None };
        let whole = self.ends.saturating_sub(self.began).max(1) as i64;
        let gone = (at.saturating_sub(self.began) as i64).min(whole);
        Some(from + ((i64::from(to) - i64::from(from)) * gone / whole) as i32)
    }

    fn setpoint(&self, at: Micros) -> Option<i32> {
        match self.course {
            Course::Follow(ramp) => Some(ramp.at(at.saturating_sub(self.began))),
            Course::Stay(angle) => Some(angle),
            Course::LetGo | Course::Apply { .. } | Course::Join => None,
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec;
    use std::vec::Vec;

    const LIMITS: Limits =
        Limits { travel_mdeg: (-2_000, 90_000), speed_mdeg_s: 400_000, drive_mv: 0, positions: true };

    fn ramps() -> impl Strategy<Value = (i32, i32, u32, u32)> {
        let angle = -MAX_ANGLE_MDEG..=MAX_ANGLE_MDEG;
        let small = -100_000..100_000;
        (
            prop_oneof![angle.clone(), small.clone()],
            prop_oneof![angle, small],
            prop_oneof![1..=MAX_SPEED_MDEG_S, 100u32..400_000],
            prop_oneof![1..=MAX_ACCEL_MDEG_S2, 1_000u32..4_000_000],
        )
    }

    /// Closed form in binary64, an independent reading of the same kinematics, µs.
    fn closed_form_us(distance: f64, v: f64, a: f64) -> f64 {
        1e6 * if distance >= v * v / a { distance / v + v / a } else { 2.0 * (distance / a).sqrt() }
    }

    proptest! {
        #[test]
        fn a_ramp_lasts_the_closed_form_rounded_up_and_at_least_a_tick((from, to, v, a) in ramps()) {
            let ramp = Ramp::new(from, to, v, a);
            let exact = closed_form_us(f64::from(from.abs_diff(to)), v.into(), a.into());
            let got = ramp.duration_us() as f64;
            // binary64 keeps 1 part in 2^52 of up to 3.6e12 µs.
            prop_assert!(got >= exact.max(1_000.0) - 0.01 && got <= exact.max(1_000.0) + 1.01, "{got} for {exact}");
        }

        #[test]
        fn a_ramp_starts_and_ends_exactly_and_never_turns_back(
            (from, to, v, a) in ramps(), mut marks in prop::collection::vec(0.0..1.0f64, 2..50),
        ) {
            let ramp = Ramp::new(from, to, v, a);
            prop_assert_eq!(ramp.at(0), from);
            prop_assert_eq!(ramp.at(ramp.duration_us()), to);
            prop_assert_eq!(ramp.at(u64::MAX), to);
            marks.sort_by(f64::total_cmp);
            let angles: Vec<i32> = marks.iter().map(|m| ramp.at((m * ramp.duration_us() as f64) as u64)).collect();
            for pair in angles.windows(2) {
                prop_assert!((i64::from(pair[1]) - i64::from(pair[0])) * (i64::from(to) - i64::from(from)).signum() >= 0);
            }
        }

        #[test]
        fn a_ramp_keeps_its_speed_and_is_continuous((from, to, v, a) in ramps(), m in 0.0..1.0f64, dt in 1u64..20_000) {
            let ramp = Ramp::new(from, to, v, a);
            let t = (m * ramp.duration_us() as f64) as u64;
            let moved = ramp.at(t).abs_diff(ramp.at(t + dt));
            // Two setpoints each rounded by half a mdeg, and the durations rounded up by 1 µs.
            let most = f64::from(v) * (dt as f64 + 1.0) / 1e6 + 2.0;
            prop_assert!(f64::from(moved) <= most, "{moved} mdeg in {dt} us");
        }

        #[test]
        fn a_ramp_keeps_its_acceleration((from, to, v, a) in ramps(), m in 0.0..1.0f64, part in 0.0..0.5f64) {
            let ramp = Ramp::new(from, to, v, a);
            let dt = (part * ramp.duration_us() as f64) as u64;
            let t = dt + (m * (ramp.duration_us() - 2 * dt) as f64) as u64;
            let [before, here, after] = [t - dt, t, t + dt].map(|t| f64::from(ramp.at(t)));
            let bend = (after - 2.0 * here + before).abs();
            // |s(t+h) − 2s(t) + s(t−h)| ≤ a·h²; four half-mdeg roundings, and 1 µs of pause at the middle.
            let most = f64::from(a) * (dt as f64 / 1e6).powi(2) + 3.0 + 2.0 * f64::from(v) / 1e6;
            let stretched = ramp.duration_us() == TICK_US;
            prop_assert!(stretched || bend <= most * (1.0 + 1e-9), "{bend} > {most}");
        }
    }

    fn motion(segments: &[Segment]) -> Motion {
        let mut motion = Motion::new(LIMITS);
        motion.load(&Program::from_slice(segments).expect("fits")).expect("valid");
        motion.rewind(500);
        motion
    }

    const RAMP: Segment = Segment::Ramp { to_mdeg: 10_000, speed_mdeg_s: 10_000, accel_mdeg_s2: 20_000 };

    #[test]
    fn segments_follow_each_other_without_a_gap_and_carry_the_setpoint_on() {
        let mut m = motion(&[RAMP, Segment::Hold { us: 7_000 }, Segment::Step { to_mdeg: 3, us: 2_000 }]);
        assert_eq!(m.advance(0), Some(Reached { segment: 0, pass: 0 }));
        // 10 deg at 10 deg/s and 20 deg/s²: 1 s + 0.5 s.
        assert_eq!(m.ends(), 500 + 1_500_000);
        assert_eq!(m.drive(500), Drive::Position(0));
        // Half way at half time; after 0.25 s of acceleration ½·20·0.25² = 0.625 deg.
        assert_eq!(m.drive(750_500), Drive::Position(5_000));
        assert_eq!(m.drive(250_500), Drive::Position(625));
        m.advance(123).expect("hold");
        assert_eq!((m.ends(), m.drive(1_500_500)), (1_507_500, Drive::Position(10_000)));
        m.advance(123).expect("step");
        assert_eq!((m.ends(), m.drive(1_507_500)), (1_509_500, Drive::Position(3)));
        assert_eq!(m.advance(123), None);
    }

    #[test]
    fn after_a_release_the_setpoint_starts_where_the_part_is() {
        let mut m = motion(&[Segment::Release { us: 1_000 }, Segment::Hold { us: 1_000 }]);
        m.advance(0).expect("release");
        assert_eq!(m.drive(900), Drive::Off);
        m.advance(4_321).expect("hold");
        assert_eq!(m.drive(1_500), Drive::Position(4_321));
        let mut m = motion(&[Segment::Hold { us: 1_000 }]);
        m.advance(95_000).expect("hold");
        assert_eq!(m.drive(600), Drive::Position(90_000), "never sent outside the travel");
    }

    #[test]
    fn repeats_count_their_passes_and_a_second_one_starts_afresh() {
        let hold = Segment::Hold { us: 1_000 };
        let mut m = motion(&[
            hold,
            hold,
            Segment::Repeat { from: 1, times: 2 },
            hold,
            Segment::Repeat { from: 3, times: 1 },
            hold,
        ]);
        let reached: Vec<(u8, u16)> =
            std::iter::from_fn(|| m.advance(0)).map(|r| (r.segment, r.pass)).collect();
        assert_eq!(reached, [(0, 0), (1, 0), (1, 1), (1, 2), (3, 0), (3, 1), (5, 0)]);
        assert_eq!(m.ends(), 500 + 7_000);
    }

    #[test]
    fn a_bad_program_is_refused_with_the_number_of_its_first_bad_segment() {
        let ramp =
            |to_mdeg, speed_mdeg_s, accel_mdeg_s2| Segment::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 };
        let hold = Segment::Hold { us: 1_000 };
        let cases: Vec<(Vec<Segment>, u8)> = vec![
            (vec![], 0),
            (vec![hold, ramp(90_001, 1, 1)], 1),
            (vec![ramp(-2_001, 1, 1)], 0),
            (vec![hold, hold, ramp(0, 0, 1)], 2),
            (vec![ramp(0, 400_001, 1)], 0),
            (vec![ramp(0, 1, 0)], 0),
            (vec![ramp(0, 1, MAX_ACCEL_MDEG_S2 + 1)], 0),
            (vec![Segment::Hold { us: 999 }], 0),
            (vec![hold, Segment::Release { us: 0 }], 1),
            (vec![Segment::Step { to_mdeg: 0, us: 999 }], 0),
            (vec![Segment::Step { to_mdeg: 90_001, us: 1_000 }], 0),
            (vec![Segment::Repeat { from: 0, times: 1 }], 0),
            (vec![hold, Segment::Repeat { from: 1, times: 1 }], 1),
            (vec![hold, Segment::Repeat { from: 200, times: 1 }], 1),
            (vec![hold, Segment::Repeat { from: 0, times: 0 }], 1),
            (
                vec![
                    hold,
                    Segment::Repeat { from: 0, times: 1 },
                    hold,
                    Segment::Repeat { from: 0, times: 1 },
                ],
                3,
            ),
        ];
        for (segments, number) in cases {
            let program = Program::from_slice(&segments).expect("fits");
            assert_eq!(validate(&program, &LIMITS), Err(number), "{segments:?}");
        }
    }
}
