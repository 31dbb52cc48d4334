//! Springs and friction from slow ramps. It judges nothing.
//!
//! At a slow, even speed the current carries spring and friction: i_up·K' = spring + friction, i_down·K' = spring − friction (the
//! hysteresis of a ramp: Isermann, Combustion Engine Diagnosis, 2017, 7.1.2). Half the sum is the spring, half the difference
//! the friction, place by place. Rest is where the spring's torque crosses zero; each side's trimmed line, read at rest, is its
//! preload. Torque is positive where the motor must open against the main spring.

use super::estimate::Estimate;
use super::motor::{Offsets, RAD, RigErrors};
use super::stretches::{Recording, mean};
use crate::analysis::statistics::{self, LineFit};
use crate::trace::Stimulus;

/// Width of a bin, degrees.
const BIN_DEG: f64 = 0.25;
/// Ramps faster than this are not slow, degrees per second.
const FASTEST_DEG_S: f64 = 60.0;
/// The beginning of a ramp, where the loop settles, s.
const SETTLE_S: f64 = 0.05;
/// A side's line leaves this much about rest out, degrees: above and below.
const ABOUT_REST_DEG: (f64, f64) = (2.0, 1.0);
/// And this much at the stops.
const AT_STOP_DEG: f64 = 1.3;
/// Friction this near to the closed stop tells sticking, degrees.
const NEAR_STOP_DEG: f64 = 3.0;
/// What speed and the loop's lag do to the short lower line, relative (the study, part B, 3.7: 2 %). Engineering assumption.
const SHORT_LINE: f64 = 0.015;

/// One place of the travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Where, degrees.
    pub deg: f64,
    /// Mean current upward, A.
    pub up: f64,
    /// Mean current downward, A.
    pub down: f64,
}

impl Place {
    /// Current that the spring takes, A.
    pub fn spring(&self) -> f64 {
        0.5 * (self.up + self.down)
    }

    /// Current that friction takes, A.
    pub fn friction(&self) -> f64 {
        0.5 * (self.up - self.down)
    }
}

/// Springs and friction, as current; torque is current times K'.
#[derive(Clone, Debug, PartialEq)]
pub struct Creep {
    /// Bins that were passed both ways, in order of travel.
    pub places: Vec<Place>,
    /// Where the spring's torque crosses zero, degrees.
    pub rest_deg: Option<Estimate>,
    /// Main spring at rest, A.
    pub main_amps: Option<Estimate>,
    /// Its rise, A per radian.
    pub main_amps_per_rad: Option<Estimate>,
    /// Default spring at rest, A, > 0 pulls open.
    pub default_amps: Option<Estimate>,
    /// Friction above rest, A.
    pub friction_amps: Option<Estimate>,
    /// Friction near the closed stop less that above rest, A.
    pub sticking_amps: Option<Estimate>,
    /// Where that was highest, degrees.
    pub sticking_deg: Option<f64>,
    /// Speed of the ramps, degrees per second.
    pub speed_deg_s: f64,
    /// Upward and downward ramps used.
    pub ramps: (usize, usize),
}

/// A torque, N m: a current by K', with the uncertainty of both.
pub fn torque(amps: Estimate, emf: Estimate) -> Option<Estimate> {
    let value = amps.value * emf.value;
    Estimate::new(value, (amps.uncertainty * emf.value).hypot(amps.value * emf.uncertainty))
}

/// Measures from every slow ramp. None where the plate was not led both ways over at least 5 degrees.
pub fn measure(recordings: &[&Recording], offsets: Offsets, rig: RigErrors) -> Option<Creep> {
    let mut sides: [Side; 2] = [Side::default(), Side::default()];
    let mut speeds = Vec::new();
    for r in recordings {
        for s in &r.stretches {
            let Stimulus::Ramp { to_deg, speed_deg_s, .. } = s.stimulus else { continue };
            let start = s.range.start + r.samples(SETTLE_S);
            let first = r.deg(s.range.clone()).iter().copied().find(|d| d.is_finite());
            let Some(first) = first.filter(|_| (0.5..FASTEST_DEG_S).contains(&speed_deg_s)) else { continue };
            if (to_deg - first).abs() < 5.0 || start >= s.range.end {
                continue;
            }
            speeds.push(speed_deg_s);
            let side = &mut sides[usize::from(to_deg < first)];
            side.ramps += 1;
            // Where the plate was stopped on its way, what the drive pulls with there is no spring's.
            let end = mean(r.deg(r.tail(&s.range, 0.01))).unwrap_or(f64::NAN);
            let stopped = end.is_nan() || (to_deg - end).abs() >= 5.0;
            for (deg, amps) in r.deg(start..s.range.end).iter().zip(r.amps(start..s.range.end)) {
                if !stopped || (deg - end).abs() > 1.0 {
                    side.add(*deg, amps - offsets.amps);
                }
            }
        }
    }
    let [up, down] = sides;
    let n = up.sum.len().min(down.sum.len());
    let places: Vec<Place> = (0..n)
        .filter_map(|k| Some(Place { deg: (k as f64 + 0.5) * BIN_DEG, up: up.mean(k)?, down: down.mean(k)? }))
        .collect();
    if places.len() < (5.0 / BIN_DEG) as usize {
        return None;
    }
    let speed_deg_s = statistics::median(&mut speeds).unwrap_or(0.0);
    let mut out = Creep {
        rest_deg: zero_crossing(&places),
        places,
        main_amps: None,
        main_amps_per_rad: None,
        default_amps: None,
        friction_amps: None,
        sticking_amps: None,
        sticking_deg: None,
        speed_deg_s,
        ramps: (up.ramps, down.ramps),
    };
    out.add_sides(rig);
    Some(out)
}

/// Sums of current per bin of one direction.
#[derive(Default)]
struct Side {
    sum: Vec<(f64, u32)>,
    ramps: usize,
}

impl Side {
    fn add(&mut self, deg: f64, amps: f64) {
        if !(0.0..360.0).contains(&deg) || !amps.is_finite() {
            return;
        }
        let bin = (deg / BIN_DEG) as usize;
        if self.sum.len() <= bin {
            self.sum.resize(bin + 1, (0.0, 0));
        }
        self.sum[bin].0 += amps;
        self.sum[bin].1 += 1;
    }

    fn mean(&self, bin: usize) -> Option<f64> {
        self.sum.get(bin).filter(|b| b.1 >= 3).map(|b| b.0 / f64::from(b.1))
    }
}

/// Median of the places where the spring's current goes from negative to positive.
fn zero_crossing(places: &[Place]) -> Option<Estimate> {
    let crossings: Vec<f64> = places
        .windows(2)
        .filter(|w| w[1].deg - w[0].deg < 1.5 * BIN_DEG && w[0].spring() < 0.0 && w[1].spring() >= 0.0)
        .map(|w| {
            let (a, b) = (w[0].spring(), w[1].spring());
            w[0].deg - a * (w[1].deg - w[0].deg) / (b - a)
        })
        .collect();
    // Within a bin of the step the place is known by interpolation only.
    Estimate::median_of(&crossings, 0.1 * BIN_DEG)
}

/// A line through places, four rounds of leaving out what lies 2.5 spreads off; and its uncertainties widened for neighbours that
/// resemble each other.
fn trimmed(places: &[Place]) -> Option<(LineFit, f64)> {
    let mut x: Vec<f64> = places.iter().map(|p| p.deg).collect();
    let mut y: Vec<f64> = places.iter().map(Place::spring).collect();
    for _ in 0..3 {
        let fit = statistics::fit_line(&x, &y)?;
        let residual: Vec<f64> = x.iter().zip(&y).map(|(x, y)| y - fit.at(*x)).collect();
        let sd = statistics::robust_sd(&mut residual.clone())?.max(1e-6);
        let keep: Vec<bool> = residual.iter().map(|r| r.abs() < 2.5 * sd).collect();
        let mut kept = keep.iter();
        x.retain(|_| *kept.next().unwrap_or(&false));
        let mut kept = keep.iter();
        y.retain(|_| *kept.next().unwrap_or(&false));
    }
    let fit = statistics::fit_line(&x, &y)?;
    let (sd, errors) = statistics::widened_by_resemblance(&x, &y, &fit);
    Some((fit, sd * errors))
}

impl Creep {
    fn add_sides(&mut self, rig: RigErrors) {
        let friction_of = |range: std::ops::Range<f64>| -> Vec<f64> {
            self.places.iter().filter(|p| range.contains(&p.deg)).map(Place::friction).collect()
        };
        // Where no rest is found the spring may be gone: friction is then read over all of the travel.
        let rest = self.rest_deg.map_or(0.0, |r| r.value);
        let top = self.places.last().map_or(0.0, |p| p.deg) - AT_STOP_DEG;
        let friction = friction_of(rest + ABOUT_REST_DEG.0..top);
        let least = friction.iter().fold(0.0f64, |a, b| a.max(b.abs())) * 1e-3;
        let amps = |e: Estimate| e.widened(e.value * rig.amps_gain);
        // Ripple repeats along the travel: one place in ten is independent.
        let friction_amps = Estimate::median_of(&friction, least)
            .map(|e| Estimate { uncertainty: e.uncertainty * 10.0f64.sqrt(), ..e });
        self.friction_amps = friction_amps.map(amps);
        self.add_sticking(rest, friction_amps, amps);
        let Some(rest) = self.rest_deg.map(|r| r.value) else { return };
        let above: Vec<Place> =
            self.places.iter().filter(|p| p.deg > rest + ABOUT_REST_DEG.0 && p.deg < top).copied().collect();
        if let Some((line, widened)) = trimmed(&above).filter(|_| above.len() >= 20) {
            self.main_amps = Estimate::new(line.at(rest), line.error_at(rest) * widened).map(amps);
            // The sensor's own bend stretches degrees unevenly.
            let span = above[above.len() - 1].deg - above[0].deg;
            let bend = line.slope * rig.bend_deg * 2.0f64.sqrt() / span;
            let slope = Estimate::new(line.slope / RAD, (line.slope_error * widened).hypot(bend) / RAD);
            self.main_amps_per_rad = slope.map(amps);
        }
        let below: Vec<Place> = self
            .places
            .iter()
            .filter(|p| p.deg < rest - ABOUT_REST_DEG.1 && p.deg > AT_STOP_DEG)
            .copied()
            .collect();
        if let Some((line, widened)) = trimmed(&below).filter(|_| below.len() >= 5) {
            let value = -line.at(rest);
            self.default_amps = Estimate::new(value, line.error_at(rest) * widened)
                .map(|e| amps(e.widened(SHORT_LINE * value)));
        }
    }

    /// Highest friction near the closed stop, mean of three neighbouring bins.
    fn add_sticking(&mut self, rest: f64, friction: Option<Estimate>, amps: impl Fn(Estimate) -> Estimate) {
        let limit = NEAR_STOP_DEG.min(0.5 * rest.max(2.0));
        let near: Vec<&Place> = self.places.iter().filter(|p| p.deg < limit).collect();
        let highest = near
            .windows(3)
            .map(|w| (w[1].deg, w.iter().map(|p| p.friction()).sum::<f64>() / 3.0))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let (Some((deg, highest)), Some(friction)) = (highest, friction) else { return };
        let scatter: Vec<f64> = near.iter().map(|p| p.friction()).collect();
        let spread = statistics::standard_deviation(&scatter).unwrap_or(0.0).min(0.05 * friction.value.abs());
        self.sticking_amps =
            Estimate::new(highest - friction.value, friction.uncertainty.hypot(spread)).map(amps);
        self.sticking_deg = Some(deg);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::body::stretches::Signals;

    /// Ramps up and down over 0.8 to 83 degrees at 20°/s with a spring and friction of known currents, A.
    fn ramps(spring: impl Fn(f64) -> f64, friction: impl Fn(f64) -> f64) -> Recording {
        let mut signals = Signals::default();
        let mut random = statistics::Resampler::new(5);
        let seconds = 82.2 / 20.0;
        for k in 0..(2.0 * seconds / 2e-4) as u64 {
            let t = k as f64 * 2e-4;
            let up = t < seconds;
            let deg = if up { 0.8 + 20.0 * t } else { 83.0 - 20.0 * (t - seconds) };
            let sign = if up { 1.0 } else { -1.0 };
            signals.time_us.push(k * 200);
            signals.deg.push(deg + 0.02 * random.normal());
            signals.amps.push(spring(deg) + sign * friction(deg) + 4e-3 * random.normal());
            signals.volts.push(0.0);
        }
        let ramp = |to_deg| Stimulus::Ramp { to_deg, speed_deg_s: 20.0, accel_deg_s2: 1e4 };
        let began = [(0, 0, 0), (1, 0, (seconds * 1e6) as u64)];
        Recording::new(signals, &[ramp(83.0), ramp(0.8)], &began, &[])
    }

    fn spring(deg: f64) -> f64 {
        let y = (deg - 6.5).to_radians();
        if y > 0.0 { 1.0 + 0.25 * y } else { -0.9 + 0.6 * y }
    }

    #[test]
    fn springs_and_friction_of_known_currents_come_back() {
        let found =
            measure(&[&ramps(spring, |_| 0.7)], Offsets::default(), RigErrors::default()).expect("both ways");
        let near = |e: Option<Estimate>, truth: f64, by: f64| {
            let e = e.expect("measured");
            assert!((e.value - truth).abs() < by, "{e:?} for {truth}");
        };
        near(found.rest_deg, 6.5, 0.1);
        near(found.main_amps, 1.0, 2e-3);
        near(found.main_amps_per_rad, 0.25, 5e-3);
        near(found.default_amps, 0.9, 0.01);
        near(found.friction_amps, 0.7, 2e-3);
        near(found.sticking_amps, 0.0, 0.01);
        assert_eq!(found.ramps, (1, 1));
    }

    #[test]
    fn sticking_is_told_where_it_is() {
        let sticky = |deg: f64| 0.7 + 0.4 * (-(deg / 2.0f64).powi(2)).exp();
        let found =
            measure(&[&ramps(spring, sticky)], Offsets::default(), RigErrors::default()).expect("both ways");
        let sticking = found.sticking_amps.expect("measured");
        // The first degree of a ramp is left out, so the middle of the first three bins lies at 2.1 degrees: 0.4·e^(−1.1).
        assert!((0.10..0.16).contains(&sticking.value), "{sticking:?}");
        assert!(found.sticking_deg < Some(2.5), "{:?}", found.sticking_deg);
    }

    #[test]
    fn a_plate_that_was_led_one_way_only_has_no_figures() {
        let mut recording = ramps(spring, |_| 0.7);
        recording.stretches.truncate(1);
        assert_eq!(measure(&[&recording], Offsets::default(), RigErrors::default()), None);
    }
}
