//! Motion programs in degrees and seconds, and how long they take. It does not know what they are for.

use crate::trace::Stimulus;
use trackpair_protocol::program::{MAX_SEGMENTS, Program, Segment};

/// Time in which a ramp reaches its speed, s. Short against a stroke, long against the drive's own response.
const RAMP_UP_S: f64 = 0.1;

/// A program being written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Motion {
    segments: Vec<Segment>,
}

impl Motion {
    /// No segment yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a ramp to `to_deg` at `speed_deg_s` > 0.
    pub fn ramp(mut self, to_deg: f64, speed_deg_s: f64) -> Self {
        let accel = speed_deg_s / RAMP_UP_S;
        self.segments.push(Segment::Ramp {
            to_mdeg: mdeg(to_deg),
            speed_mdeg_s: mdeg(speed_deg_s).max(1).unsigned_abs(),
            accel_mdeg_s2: mdeg(accel).max(1).unsigned_abs(),
        });
        self
    }

    /// Adds a hold, µs.
    pub fn hold(mut self, us: u32) -> Self {
        self.segments.push(Segment::Hold { us });
        self
    }

    /// Puts the setpoint at an angle at once and stays there, µs.
    pub fn step(mut self, to_deg: f64, us: u32) -> Self {
        self.segments.push(Segment::Step { to_mdeg: mdeg(to_deg), us });
        self
    }

    /// Gives the motor a voltage for a time, µs.
    pub fn volts(mut self, volts: f64, us: u32) -> Self {
        self.segments.push(Segment::Volts { mv: millivolts(volts), us });
        self
    }

    /// Moves the motor's voltage evenly to a level, in a time, µs.
    pub fn volts_ramp(mut self, to_volts: f64, us: u32) -> Self {
        self.segments.push(Segment::VoltsRamp { to_mv: millivolts(to_volts), us });
        self
    }

    /// Joins the motor's terminals for a time, µs.
    pub fn brake(mut self, us: u32) -> Self {
        self.segments.push(Segment::Brake { us });
        self
    }

    /// Adds a time without drive, µs.
    pub fn release(mut self, us: u32) -> Self {
        self.segments.push(Segment::Release { us });
        self
    }

    /// Goes back to segment `from`, `times` more times; nothing when 0.
    pub fn repeat(mut self, from: u8, times: u16) -> Self {
        if times > 0 {
            self.segments.push(Segment::Repeat { from, times });
        }
        self
    }

    /// Number of the next segment.
    pub fn next_segment(&self) -> u8 {
        self.segments.len().min(MAX_SEGMENTS) as u8
    }

    /// The program; none when it has too many segments.
    pub fn program(&self) -> Option<Program> {
        Program::from_slice(&self.segments)
    }

    /// The program as it is stored with a trace.
    pub fn stimuli(&self) -> Vec<Stimulus> {
        self.segments.iter().map(stimulus).collect()
    }

    /// How long it takes from `start_deg` on, µs.
    pub fn duration_us(&self, start_deg: f64) -> u64 {
        let mut at = mdeg(start_deg);
        let (mut total, mut ends) = (0, Vec::with_capacity(self.segments.len()));
        for segment in &self.segments {
            ends.push((total, at));
            match *segment {
                Segment::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 } => {
                    total += ramp_us(at.abs_diff(to_mdeg), speed_mdeg_s, accel_mdeg_s2);
                    at = to_mdeg;
                }
                Segment::Hold { us }
                | Segment::Release { us }
                | Segment::Volts { us, .. }
                | Segment::VoltsRamp { us, .. }
                | Segment::Brake { us } => total += u64::from(us),
                Segment::Step { to_mdeg, us } => {
                    total += u64::from(us);
                    at = to_mdeg;
                }
                Segment::Repeat { from, times } => {
                    // From the second time on the loop begins where it ends.
                    let body = &self.segments[usize::from(from).min(self.segments.len())..ends.len() - 1];
                    let again = Self { segments: body.to_vec() }.duration_us(f64::from(at) / 1e3);
                    total += again * u64::from(times);
                }
            }
        }
        total
    }
}

/// Degrees to thousandths of a degree.
pub fn mdeg(deg: f64) -> i32 {
    (deg * 1e3).round() as i32
}

fn millivolts(volts: f64) -> i32 {
    (volts * 1e3).round() as i32
}

fn stimulus(segment: &Segment) -> Stimulus {
    let seconds = |us: u32| f64::from(us) * 1e-6;
    let milli = |value: i32| f64::from(value) * 1e-3;
    match *segment {
        Segment::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 } => Stimulus::Ramp {
            to_deg: milli(to_mdeg),
            speed_deg_s: f64::from(speed_mdeg_s) * 1e-3,
            accel_deg_s2: f64::from(accel_mdeg_s2) * 1e-3,
        },
        Segment::Hold { us } => Stimulus::Hold { seconds: seconds(us) },
        Segment::Step { to_mdeg, us } => Stimulus::Step { to_deg: milli(to_mdeg), seconds: seconds(us) },
        Segment::Release { us } => Stimulus::Release { seconds: seconds(us) },
        Segment::Volts { mv, us } => Stimulus::Volts { volts: milli(mv), seconds: seconds(us) },
        Segment::VoltsRamp { to_mv, us } => {
            Stimulus::VoltsRamp { to_volts: milli(to_mv), seconds: seconds(us) }
        }
        Segment::Brake { us } => Stimulus::Brake { seconds: seconds(us) },
        Segment::Repeat { from, times } => Stimulus::Repeat { from, times },
    }
}

/// Duration of a ramp with trapezoidal speed, µs.
fn ramp_us(distance_mdeg: u32, speed: u32, accel: u32) -> u64 {
    let (distance, speed, accel) = (f64::from(distance_mdeg), f64::from(speed), f64::from(accel));
    let full_speed = speed * speed / accel;
    let seconds = if distance >= full_speed {
        distance / speed + speed / accel
    } else {
        2.0 * (distance / accel).sqrt()
    };
    (seconds * 1e6).ceil() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_duration_is_that_of_the_trapezoids_and_holds() {
        // 60 deg at 60 deg/s with 600 deg/s²: 1 s and the two halves of 0.1 s.
        let once = Motion::new().ramp(60.0, 60.0).hold(200_000).ramp(0.0, 60.0);
        assert_eq!(once.duration_us(0.0), 1_100_000 + 200_000 + 1_100_000);
        assert_eq!(once.clone().repeat(0, 4).duration_us(0.0), 5 * 2_400_000);
        // Too short to reach the speed: 1.5 deg up and down in 2 √(1.5/600) s.
        assert_eq!(Motion::new().ramp(1.5, 60.0).duration_us(0.0), 100_000);
    }

    #[test]
    fn a_repeat_of_no_times_is_left_out() {
        let program = Motion::new().hold(1_000).repeat(0, 0).program().unwrap();
        assert_eq!(program.segments().len(), 1);
    }
}
