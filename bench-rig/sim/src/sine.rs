//! Sine by a table, for what repeats many times a second and is small: ripple, cogging, an encoder's eccentricity.

use std::f64::consts::TAU;
use std::sync::LazyLock;

/// Points of a period.
const POINTS: usize = 1024;
/// Keeps table positions positive for any angle that a rig meets: half a million turns.
const AHEAD: f64 = 524_288.0 * POINTS as f64;

static SINE: LazyLock<[f64; POINTS + 1]> =
    LazyLock::new(|| std::array::from_fn(|i| (TAU * i as f64 / POINTS as f64).sin()));

/// Sine of an angle above minus half a million turns, rad. Within 5e-6.
#[inline]
pub fn sine(rad: f64) -> f64 {
    let place = rad * (POINTS as f64 / TAU) + AHEAD;
    let i = place as i64;
    let k = (i & (POINTS as i64 - 1)) as usize;
    let table = &*SINE;
    table[k] + (table[k + 1] - table[k]) * (place - i as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_as_near_to_the_sine_as_it_says_forwards_and_backwards_and_after_days() {
        // 628 rad a second for two days are 1e8 rad.
        for start in [0.0, -40.0, 1e8] {
            let worst = (0..200_000)
                .map(|i| start + 0.000_123_4 * f64::from(i))
                .map(|rad| (sine(rad) - rad.sin()).abs())
                .fold(0.0, f64::max);
            assert!(worst < 5e-6, "{start}: {worst}");
        }
    }
}
