//! When a plate that stood began to move after a jump of the motor's voltage: the truth that a measured latency is held against. It
//! never goes through the protocol.

use std::collections::VecDeque;

/// A jump of the voltage, V, that counts.
const JUMP_VOLTS: f64 = 3.0;
/// The plate has left when it is this far from where it stood, degrees.
const LEFT_DEG: f64 = 0.004;
/// A plate slower than this stands or creeps, rad/s: it has left when it is away from where the creep would have taken it.
const STANDS_RAD_S: f64 = 1e-2;
/// Longest wait for it, µs.
const PATIENCE_US: f64 = 50_000.0;
/// Departures kept.
const KEPT: usize = 20_000;

/// One departure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// When the voltage jumped, rig µs.
    pub jump_us: f64,
    /// How long the plate took to leave, µs.
    pub latency_us: f64,
    /// Where it stood, degrees.
    pub deg: f64,
    /// Whether the voltage jumped towards opening.
    pub opening: bool,
}

/// Watches for departures.
#[derive(Clone, Debug, Default)]
pub struct Departures {
    awaited: Option<Departure>,
    /// Degrees per µs at which the plate crept at the jump.
    creep: f64,
    seen: VecDeque<Departure>,
}

impl Departures {
    /// The voltage goes from one level to another at a time, µs; the plate is at `deg` and moves with `rad_s`.
    pub fn jump(&mut self, us: f64, from_volts: f64, to_volts: f64, deg: f64, rad_s: f64) {
        let jump = to_volts - from_volts;
        self.creep = rad_s.to_degrees() * 1e-6;
        self.awaited = (jump.abs() >= JUMP_VOLTS && rad_s.abs() < STANDS_RAD_S).then_some(Departure {
            jump_us: us,
            latency_us: f64::NAN,
            deg,
            opening: jump > 0.0,
        });
    }

    /// Whether one is awaited.
    pub fn awaits(&self) -> bool {
        self.awaited.is_some()
    }

    /// The plate is at `deg` at a time, µs.
    pub fn look(&mut self, us: f64, deg: f64) {
        let Some(awaited) = self.awaited else { return };
        let waited = us - awaited.jump_us;
        if (deg - awaited.deg - self.creep * waited).abs() >= LEFT_DEG {
            if self.seen.len() == KEPT {
                self.seen.pop_front();
            }
            self.seen.push_back(Departure { latency_us: waited, ..awaited });
            self.awaited = None;
        } else if waited > PATIENCE_US {
            self.awaited = None;
        }
    }

    /// Those seen, the newest last; bounded.
    pub fn seen(&self) -> &VecDeque<Departure> {
        &self.seen
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_jump_on_a_plate_that_stands_is_timed() {
        let mut departures = Departures::default();
        departures.jump(100.0, 1.0, 2.0, 10.0, 0.0);
        assert!(!departures.awaits());
        departures.jump(100.0, 1.0, 8.0, 10.0, 0.1);
        assert!(!departures.awaits());
        departures.jump(100.0, 1.0, -8.0, 10.0, 0.0);
        departures.look(600.0, 9.998);
        departures.look(1_100.0, 9.99);
        let seen: Vec<Departure> = departures.seen().iter().copied().collect();
        assert_eq!(seen, [Departure { jump_us: 100.0, latency_us: 1_000.0, deg: 10.0, opening: false }]);
    }
}
