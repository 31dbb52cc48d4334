//! Springs and friction from slow ramps. It judges nothing.
//!
//! At a slow, even speed the current carries spring and friction: i_up·K' = spring + friction, i_down·K' = spring − friction (the
//! hysteresis of a ramp: Isermann, Combustion Engine Diagnosis, 2017, 7.1.2). Half the sum is the spring, half the difference
//! the friction, place by place. Rest is where the spring's torque crosses zero; each side's trimmed line, read at rest, is its
//! preload. Torque is positive where the motor must open against the main spring.
//!
//! All of that holds only where the plate goes with the ramp: places that it jumps or stands at are left out, and a line that does not
//! fit what is left shows no spring. Friction that grows with the springs' torque (their own hysteresis, the gears' loss) is distinguished from
//! friction that does not by its slope over the spring's current along the travel; what that slope leaves open stands in the
//! uncertainty ([`LOAD_SHARE`]). What the spring has left over friction at its weakest place is the return margin: downward above
//! rest the current itself is spring − friction, so K' and gains drop out of the ratio.

use super::estimate::Estimate;
use super::motor::{Offsets, RAD, RigErrors};
use super::stretches::Recording;
use crate::analysis::statistics::{self, LineFit, mean};
use crate::trace::Stimulus;

/// Width of a bin, degrees.
const BIN_DEG: f64 = 0.25;
/// Ramps faster than this are not slow, degrees per second.
const FASTEST_DEG_S: f64 = 60.0;
/// The beginning of a ramp, where the loop settles, s.
const SETTLE_S: f64 = 0.05;
/// A side's line leaves this much about rest out, degrees: above and below.
const ABOUT_REST_DEG: (f64, f64) = (2.0, 1.0);
/// The current crosses zero within this of where the plate rests when it is let go, degrees: the loop lags where the springs turn round.
const LET_GO_DEG: f64 = 2.5;
/// And this much at the stops.
const AT_STOP_DEG: f64 = 1.3;
/// Friction this near to the closed stop shows sticking, degrees.
const NEAR_STOP_DEG: f64 = 3.0;
/// Blocks whose speed says whether the plate goes with the ramp, s, and the share of the ramp's speed that counts as going with it.
const BLOCK_S: f64 = 0.005;
const WITH_THE_RAMP: std::ops::Range<f64> = 0.4..1.8;
/// A place counts when so much of its samples went with the ramp, both ways.
const STEADY: f64 = 0.7;
/// A side's line must hold for so many of its places, and miss them by no more than this share of the friction, robust spread:
/// ripple of the motor and of gears with 0.04 degrees of transmission error stays below half of that. Engineering assumption.
const FITS: (f64, f64) = (0.6, 0.3);
/// Share of the springs' torque that springs and gears lose by themselves: what is known before a part is measured. Engineering assumption
/// (hysteresis of springs and load-dependent loss of gears: none to a tenth).
pub const LOAD_SHARE: Estimate = Estimate { value: 0.05, uncertainty: 0.05 };
/// Returned means within this of rest ([`super::release::NEAR_DEG`]); nearer the springs' pull ends by design.
const RETURNED_DEG: f64 = super::release::NEAR_DEG;
/// The return margin is a mean over so many places: the motor's commutation repeats within them.
const MARGIN_PLACES: usize = 6;
/// A gear that loses with load loses more upward, where it carries the plate's friction too, than downward, so that half the sum of both currents
/// is up to a tenth of that friction above the spring: share of all friction, 0.4 of it the plate's. Engineering assumption.
const GEAR_LOSS: f64 = 0.06 * 0.4;
/// Rise of a default spring over its torque at rest, 1/rad, and its spread (the physics study: 0.25 N m/rad over 0.36 N m). Engineering
/// assumption.
const DEFAULT_RISE: (f64, f64) = (0.7, 0.5);
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
    /// Whether the plate went with the ramp there, both ways.
    pub steady: bool,
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
    /// The share of it that does not grow with the springs' torque, A: its uncertainty holds what can't be distinguished.
    pub constant_amps: Option<Estimate>,
    /// How much friction grows with the spring's torque, share of it.
    pub load_share: Option<Estimate>,
    /// What the spring pulls with beyond friction at its weakest place, share of friction.
    pub return_margin: Option<Estimate>,
    /// Where that is, degrees.
    pub return_margin_deg: Option<f64>,
    /// Places of the travel that the plate jumped or stood at, share.
    pub unsteady: f64,
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
/// `let_go_deg` = where the plate rests when it is let go, where known: gears that jump make the current cross zero elsewhere too.
pub fn measure(
    recordings: &[&Recording],
    offsets: Offsets,
    rig: RigErrors,
    let_go_deg: Option<f64>,
) -> Option<Creep> {
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
            let goes = going(r, start..s.range.end, (to_deg - first).signum() * speed_deg_s);
            let samples = r.deg(start..s.range.end).iter().zip(r.amps(start..s.range.end)).zip(goes);
            for ((deg, amps), goes) in samples {
                if let Some(goes) = goes
                    && (!stopped || (deg - end).abs() > 1.0)
                {
                    side.add(*deg, amps - offsets.amps, goes);
                }
            }
        }
    }
    let [up, down] = sides;
    let n = up.sum.len().min(down.sum.len());
    let places: Vec<Place> = (0..n)
        .filter_map(|k| {
            let (deg, steady) = ((k as f64 + 0.5) * BIN_DEG, up.steady(k) && down.steady(k));
            Some(Place { deg, up: up.mean(k)?, down: down.mean(k)?, steady })
        })
        .collect();
    if places.len() < (5.0 / BIN_DEG) as usize {
        return None;
    }
    let speed_deg_s = statistics::median(&mut speeds).unwrap_or(0.0);
    let mut out = Creep {
        rest_deg: zero_crossing(&places, let_go_deg),
        unsteady: places.iter().filter(|p| !p.steady).count() as f64 / places.len() as f64,
        places,
        main_amps: None,
        main_amps_per_rad: None,
        default_amps: None,
        friction_amps: None,
        constant_amps: None,
        load_share: None,
        return_margin: None,
        return_margin_deg: None,
        sticking_amps: None,
        sticking_deg: None,
        speed_deg_s,
        ramps: (up.ramps, down.ramps),
    };
    out.add_sides(rig);
    Some(out)
}

/// Whether the plate goes with a ramp of `speed` degrees per second at each sample; none where scans that would show are lacking.
fn going(r: &Recording, range: std::ops::Range<usize>, speed: f64) -> Vec<Option<bool>> {
    let n = r.samples(BLOCK_S);
    let means: Vec<f64> = r.deg(range.clone()).chunks(n).map(|b| mean(b).unwrap_or(f64::NAN)).collect();
    let block_s = n as f64 * r.period_s;
    let goes = |k: usize| {
        let (a, b) = (k.saturating_sub(2), (k + 2).min(means.len() - 1));
        let share = (means[b] - means[a]) / ((b - a) as f64 * block_s) / speed;
        share.is_finite().then(|| WITH_THE_RAMP.contains(&share))
    };
    let blocks: Vec<Option<bool>> =
        (0..means.len()).map(|k| if means.len() > 4 { goes(k) } else { Some(false) }).collect();
    (0..range.len()).map(|k| blocks.get(k / n).copied().unwrap_or(Some(false))).collect()
}

/// Sums of current per bin of one direction.
#[derive(Default)]
struct Side {
    /// Sum, number, and how many of them went with the ramp.
    sum: Vec<(f64, u32, u32)>,
    ramps: usize,
}

impl Side {
    fn add(&mut self, deg: f64, amps: f64, goes: bool) {
        if !(0.0..360.0).contains(&deg) || !amps.is_finite() {
            return;
        }
        let bin = (deg / BIN_DEG) as usize;
        if self.sum.len() <= bin {
            self.sum.resize(bin + 1, (0.0, 0, 0));
        }
        self.sum[bin].0 += amps;
        self.sum[bin].1 += 1;
        self.sum[bin].2 += u32::from(goes);
    }

    fn steady(&self, bin: usize) -> bool {
        self.sum.get(bin).is_some_and(|b| f64::from(b.2) >= STEADY * f64::from(b.1))
    }

    fn mean(&self, bin: usize) -> Option<f64> {
        self.sum.get(bin).filter(|b| b.1 >= 3).map(|b| b.0 / f64::from(b.1))
    }
}

/// Median of the places where the spring's current goes from negative to positive.
fn zero_crossing(places: &[Place], let_go_deg: Option<f64>) -> Option<Estimate> {
    let crossings: Vec<f64> = places
        .windows(2)
        .filter(|w| w[1].deg - w[0].deg < 1.5 * BIN_DEG && w[0].spring() < 0.0 && w[1].spring() >= 0.0)
        .map(|w| {
            let (a, b) = (w[0].spring(), w[1].spring());
            w[0].deg - a * (w[1].deg - w[0].deg) / (b - a)
        })
        .filter(|at: &f64| let_go_deg.is_none_or(|rest| (at - rest).abs() < LET_GO_DEG))
        .collect();
    // Within a bin of the step the place is known by interpolation only.
    Estimate::median_of(&crossings, 0.1 * BIN_DEG)
}

/// A line through the steady ones of places, rounds of leaving out what lies 2.5 spreads off, and its uncertainties widened for
/// neighbours that resemble each other. None where the line does not hold for most of the places, or misses them by a good part of the
/// friction: then the current is not spring and friction.
fn trimmed(places: &[Place], least: usize, friction: f64) -> Option<(LineFit, f64)> {
    let steady = || places.iter().filter(|p| p.steady);
    let mut x: Vec<f64> = steady().map(|p| p.deg).collect();
    let mut y: Vec<f64> = steady().map(Place::spring).collect();
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
    let mut residual: Vec<f64> = steady().map(|p| p.spring() - fit.at(p.deg)).collect();
    let missed = statistics::robust_sd(&mut residual)?;
    let holds = x.len() >= least.max((FITS.0 * places.len() as f64).ceil() as usize);
    if !holds || missed > FITS.1 * friction.abs() {
        return None;
    }
    let (sd, errors) = statistics::widened_by_resemblance(&x, &y, &fit);
    Some((fit, sd * errors))
}

/// A short line of the default spring read at rest: its level is measured well, its slope hardly, so what is known of such springs helps.
fn at_rest(line: &LineFit, widened: f64, places: &[Place], rest: f64) -> Option<Estimate> {
    let middle = mean(&places.iter().filter(|p| p.steady).map(|p| p.deg).collect::<Vec<f64>>())?;
    let level = Estimate::new(-line.at(middle), line.error_at(middle) * widened)?;
    let known = Estimate::new(DEFAULT_RISE.0 * RAD * level.value, DEFAULT_RISE.1 * RAD * level.value)?;
    let rise = Estimate::fused(&[known, Estimate::new(line.slope, line.slope_error * widened)?], 0.0)?;
    let way = rest - middle;
    Estimate::new(level.value - rise.value * way, level.uncertainty.hypot(rise.uncertainty * way))
}

/// What the spring pulls with beyond friction, share of friction, at the weakest of the stretches of [`MARGIN_PLACES`] places; and where.
fn weakest(places: &[Place], rest: f64, top: f64) -> Option<(Estimate, f64)> {
    let beyond = |p: &&Place| {
        let above = p.deg > rest + RETURNED_DEG && p.deg < top;
        p.steady && (above || (p.deg < rest - RETURNED_DEG && p.deg > AT_STOP_DEG))
    };
    let outside: Vec<Place> = places.iter().filter(beyond).copied().collect();
    let near = |w: &&[Place]| w[w.len() - 1].deg - w[0].deg < (MARGIN_PLACES as f64 - 0.5) * BIN_DEG;
    let of = |w: &[Place]| {
        // Towards rest the current is spring less friction, away from it their sum.
        let left: Vec<f64> = w.iter().map(|p| if p.deg > rest { p.down } else { -p.up }).collect();
        let friction = mean(&w.iter().map(Place::friction).collect::<Vec<f64>>())?;
        // Where the springs seem to pull away from rest, the current shows something else.
        let towards = mean(
            &w.iter().map(|p| if p.deg > rest { p.spring() } else { -p.spring() }).collect::<Vec<f64>>(),
        )?;
        let spread = statistics::standard_deviation(&left)?;
        // Ripple of neighbours hangs together: half of them are independent.
        let error = spread / (0.5 * w.len() as f64).sqrt() / friction;
        let margin = Estimate::new(mean(&left)? / friction, error)?;
        (friction > 0.0 && towards > -0.3 * friction).then_some((margin, w[w.len() / 2].deg))
    };
    // The weakest is the one that stands out: a place of great scatter says little.
    let sure = |m: &(Estimate, f64)| m.0.value + m.0.uncertainty;
    outside.windows(MARGIN_PLACES).filter(near).filter_map(of).min_by(|a, b| sure(a).total_cmp(&sure(b)))
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
        self.add_load_share(rest, top);
        self.add_sticking(rest, friction_amps, amps);
        let Some(rest) = self.rest_deg.map(|r| r.value) else { return };
        if let Some((margin, deg)) = weakest(&self.places, rest, top) {
            (self.return_margin, self.return_margin_deg) = (Some(margin), Some(deg));
        }
        let friction = friction_amps.map_or(0.0, |f| f.value);
        let gears = GEAR_LOSS * friction;
        let above: Vec<Place> =
            self.places.iter().filter(|p| p.deg > rest + ABOUT_REST_DEG.0 && p.deg < top).copied().collect();
        if let Some((line, widened)) = trimmed(&above, 20, friction) {
            self.main_amps =
                Estimate::new(line.at(rest), line.error_at(rest) * widened).map(|e| amps(e.widened(gears)));
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
        if let Some((line, widened)) = trimmed(&below, 5, friction) {
            self.default_amps = at_rest(&line, widened, &below, rest)
                .map(|e| amps(e.widened(SHORT_LINE * e.value).widened(gears)));
        }
    }

    /// Friction that does not grow with the springs' torque: a line of friction over the spring's current above rest, together with what is
    /// known of such losses before.
    fn add_load_share(&mut self, rest: f64, top: f64) {
        let above = self.places.iter().filter(|p| p.steady && p.deg > rest + ABOUT_REST_DEG.0 && p.deg < top);
        let (spring, friction): (Vec<f64>, Vec<f64>) =
            above.map(|p| (p.spring().abs(), p.friction())).unzip();
        let (Some(all), Some(middle)) = (self.friction_amps, mean(&spring)) else { return };
        let slope = statistics::fit_line(&spring, &friction).and_then(|fit| {
            let (sd, errors) = statistics::widened_by_resemblance(&spring, &friction, &fit);
            Estimate::new(fit.slope, fit.slope_error * sd * errors)
        });
        let known: Vec<Estimate> = [Some(LOAD_SHARE), slope].into_iter().flatten().collect();
        let Some(share) = Estimate::fused(&known, 0.0) else { return };
        // No spring gives torque back: what lies below none is none.
        let share = Estimate { value: share.value.max(0.0), ..share };
        self.load_share = Some(share);
        self.constant_amps = Estimate::new(all.value - share.value * middle, all.uncertainty)
            .map(|e| e.widened(share.uncertainty * middle));
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
        let found = measure(&[&ramps(spring, |_| 0.7)], Offsets::default(), RigErrors::default(), None)
            .expect("both ways");
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
        let found = measure(&[&ramps(spring, sticky)], Offsets::default(), RigErrors::default(), None)
            .expect("both ways");
        let sticking = found.sticking_amps.expect("measured");
        // The first degree of a ramp is left out, so the middle of the first three bins lies at 2.1 degrees: 0.4·e^(−1.1).
        assert!((0.10..0.16).contains(&sticking.value), "{sticking:?}");
        assert!(found.sticking_deg < Some(2.5), "{:?}", found.sticking_deg);
    }

    #[test]
    fn the_return_margin_is_what_the_spring_leaves_over_friction_at_its_weakest_place() {
        let margin = |friction: fn(f64) -> f64| {
            let found = measure(&[&ramps(spring, friction)], Offsets::default(), RigErrors::default(), None);
            let found = found.expect("both ways");
            (found.return_margin.expect("measured"), found.return_margin_deg.expect("a place"))
        };
        // The default spring is the weaker: 0.84 A at 1.3 degrees, the line's lower end; friction 0.7 A.
        let (even, _) = margin(|_| 0.7);
        assert!((even.value - (0.9 - 0.6 * 1.0f64.to_radians()) / 0.7 + 1.0).abs() < 0.1, "{even:?}");
        // A place of the travel that drags: 1.04 A of spring against 0.95 A.
        let (weak, at) = margin(|deg| if (40.0..43.0).contains(&deg) { 1.05 } else { 0.7 });
        assert!((weak.value - (1.0 + 0.25 * 35.0f64.to_radians() - 1.05) / 1.05).abs() < 0.03, "{weak:?}");
        assert!((40.0..43.0).contains(&at) && weak.uncertainty < 0.02, "{weak:?} at {at}");
        let (none, _) = margin(|deg| if (60.0..63.0).contains(&deg) { 1.4 } else { 0.7 });
        assert!(none.value < 0.0, "{none:?}");
    }

    #[test]
    fn friction_that_grows_with_the_springs_torque_is_not_all_counted_as_the_bearings() {
        let found = measure(
            &[&ramps(spring, |deg| 0.6 + 0.1 * spring(deg).abs())],
            Offsets::default(),
            RigErrors::default(),
            None,
        );
        let found = found.expect("both ways");
        let (all, constant) = (found.friction_amps.expect("all"), found.constant_amps.expect("constant"));
        assert!((all.value - 0.72).abs() < 0.01, "{all:?}");
        assert!((constant.value - 0.6).abs() < 2.0 * constant.uncertainty, "{constant:?}");
    }

    #[test]
    fn a_line_that_does_not_fit_its_places_tells_no_spring() {
        let torn = |deg: f64| if deg < 5.5 { -0.9 + 0.8 * (9.0 * deg).sin() } else { spring(deg) };
        let found = measure(&[&ramps(torn, |_| 0.7)], Offsets::default(), RigErrors::default(), None)
            .expect("both ways");
        assert_eq!(found.default_amps, None);
        assert!(found.main_amps.is_some());
    }

    #[test]
    fn a_plate_that_was_led_one_way_only_has_no_figures() {
        let mut recording = ramps(spring, |_| 0.7);
        recording.stretches.truncate(1);
        assert_eq!(measure(&[&recording], Offsets::default(), RigErrors::default(), None), None);
    }
}
