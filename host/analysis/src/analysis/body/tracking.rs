//! How well the plate follows a moving set point. It says as much about the rig's loop as about the part.

use super::estimate::Estimate;
use super::stretches::{Recording, Stretch, closed_loop};
use crate::analysis::statistics::mean;
use crate::trace::Stimulus;

/// Tracking of all ramps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tracking {
    /// Largest deviation of the plate from the set point, degrees.
    pub worst: Estimate,
    /// Where, degrees.
    pub at_deg: f64,
    /// Root mean square, degrees.
    pub rms_deg: f64,
    /// Ramps.
    pub ramps: usize,
    /// Fastest of them, degrees per second.
    pub speed_deg_s: f64,
}

/// Set point after `t` s of a ramp over `way` degrees: even acceleration, even speed, even deceleration.
fn set_point(way: f64, speed: f64, accel: f64, t: f64) -> f64 {
    let size = way.abs();
    // Too short to reach the speed: the peak is √(size·accel).
    let peak = if accel > 0.0 { speed.min((size * accel).sqrt()) } else { speed };
    let rise = if accel > 0.0 { peak / accel } else { 0.0 };
    let cruise = if peak > 0.0 { (size - peak * rise) / peak } else { 0.0 };
    let total = 2.0 * rise + cruise;
    let at = if t < rise {
        0.5 * accel * t * t
    } else if t < rise + cruise {
        0.5 * peak * rise + peak * (t - rise)
    } else if t < total {
        size - 0.5 * accel * (total - t).powi(2)
    } else {
        size
    };
    way.signum() * at
}

/// Where the set point stood when a stretch began, as far as the stretches before it show.
fn set_before(before: &Stretch, earlier: Option<&Stretch>) -> Option<f64> {
    match (before.stimulus, earlier.map(|e| e.stimulus)) {
        (Stimulus::Ramp { to_deg, .. } | Stimulus::Step { to_deg, .. }, _) => Some(to_deg),
        (Stimulus::Hold { .. }, Some(Stimulus::Ramp { to_deg, .. } | Stimulus::Step { to_deg, .. })) => {
            Some(to_deg)
        }
        _ => None,
    }
}

/// Tracking over every ramp whose beginning is known. None without one.
pub fn measure(recordings: &[&Recording]) -> Option<Tracking> {
    let mut out: Option<Tracking> = None;
    let (mut squares, mut n) = (0.0, 0u64);
    for r in recordings {
        for k in 1..r.stretches.len() {
            let (before, s) = (&r.stretches[k - 1], &r.stretches[k]);
            let Stimulus::Ramp { to_deg, speed_deg_s, accel_deg_s2 } = s.stimulus else { continue };
            let earlier = k.checked_sub(2).map(|e| &r.stretches[e]).filter(|_| before.follows);
            let Some(from) =
                set_before(before, earlier).filter(|_| s.follows && closed_loop(before.stimulus))
            else {
                continue;
            };
            if speed_deg_s.is_nan() || speed_deg_s <= 0.0 {
                continue;
            }
            let (mut worst, mut at) = (0.0f64, f64::NAN);
            for (i, w) in r.deg(s.range.clone()).windows(5).enumerate() {
                let Some(deg) = mean(w) else { continue };
                let t = (r.signals.time_us[s.range.start + i + 2] as f64 - s.began_us as f64) * 1e-6;
                let off = deg - from - set_point(to_deg - from, speed_deg_s, accel_deg_s2, t);
                (squares, n) = (squares + off * off, n + 1);
                if off.abs() > worst {
                    (worst, at) = (off.abs(), deg);
                }
            }
            let noise = r.noise_deg / 5.0f64.sqrt();
            let Some(worst) = Estimate::new(worst, noise.max(0.005)).filter(|_| at.is_finite()) else {
                continue;
            };
            let held =
                out.get_or_insert(Tracking { worst, at_deg: at, rms_deg: 0.0, ramps: 0, speed_deg_s: 0.0 });
            held.ramps += 1;
            held.speed_deg_s = held.speed_deg_s.max(speed_deg_s);
            if worst.value > held.worst.value {
                (held.worst, held.at_deg) = (worst, at);
            }
        }
    }
    out.map(|t| Tracking { rms_deg: (squares / n.max(1) as f64).sqrt(), ..t })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_accelerates_runs_and_stops_at_its_end() {
        // 10° at 20°/s and 100°/s²: 0.2 s and 2° to speed, 0.3 s cruise, 0.7 s in all.
        for (t, at) in [(0.1, 0.5), (0.2, 2.0), (0.35, 5.0), (0.5, 8.0), (0.6, 9.5), (0.9, 10.0)] {
            assert!((set_point(10.0, 20.0, 100.0, t) - at).abs() < 1e-9, "{t}");
            assert!((set_point(-10.0, 20.0, 100.0, t) + at).abs() < 1e-9, "{t}");
        }
        // 1° is too short for the speed: the peak is 10°/s after 0.1 s.
        assert!((set_point(1.0, 20.0, 100.0, 0.1) - 0.5).abs() < 1e-9);
    }
}
