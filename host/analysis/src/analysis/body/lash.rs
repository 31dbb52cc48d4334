//! Free travel of the gears at rest, without an encoder on the motor and without opening the cover. It judges nothing.
//!
//! Above and below the rest position the springs keep the gears on one flank; only at rest does the motor cross its play.
//!
//! - Swing (S): volts too small to move the plate take the rotor from flank to flank; ∫(v − R·i − V_b)dt / K' is its travel, less
//!   that of the plate. The window begins and ends without current, so inductance drops out. R and V_b come from the stalls at
//!   three levels on the flank itself: the brushes' ripple makes R there differ from its mean. A plate that the springs still press back
//!   takes the rotor along there; the EMF of its own speed is taken off.
//! - Coast arrest (C): let go a few degrees above rest, the plate stops there and the rotor runs on through the play:
//!   lash = the drop of ∫v dt / K' − θ from before the arrest to where the other flank carries, less what the gears wind up by, which the
//!   same arrest shows ([`super::wind_up`]: nothing is assumed of the mesh's stiffness).
//!
//! Both methods' own uncertainties come from simulation (the physics study, part B, 3.5): engineering assumptions.

use super::estimate::Estimate;
use super::motor::{BRUSH_PER_A, Motor, Offsets, RAD, integral};
use super::rest::stands;
use super::stretches::{Recording, Stretch};
use super::wind_up;
use crate::analysis::statistics::{self, mean};
use crate::trace::Stimulus;
use std::ops::Range;

/// Wind-up of the gears over an arrest that does not show it, and its standard uncertainty, degrees: a mesh between a third and three times
/// as stiff as the study's. Engineering assumption.
const UNSEEN_WIND_UP_DEG: (f64, f64) = (0.08, 0.05);
/// Standard uncertainty of the arrest's model without its wind-up: ripple of the EMF, errors of gears and sensor at a place; degrees, and per
/// degree of lash. Against the truth of 32 bodies of the second world an arrest is off by 0.05 deg (standard deviation).
const ARREST: (f64, f64) = (0.025, 0.045);
/// The same of the swing: ripple of resistance between the flanks, blows that move the plate. Against the same truth 0.06 deg.
const SWING: (f64, f64) = (0.05, 0.08);
/// Volts below this count as none.
const NO_VOLTS: f64 = 0.05;
/// End of a level over which a stall is read, s.
const STALL_S: f64 = 0.006;
/// A plate that a swing moves further than this was driven, not its lash measured, degrees.
const DRIVEN_DEG: f64 = 0.6;
/// A swing that reads less than this did not move the rotor against its own friction, degrees.
const STOOD_DEG: f64 = 0.08;
/// The methods contradict each other beyond so many standard uncertainties.
const AGREE: f64 = 2.5;
/// Coasts used begin this far above rest, degrees.
const ARREST_FROM_DEG: Range<f64> = 3.0..8.0;
/// The rotor reaches the other flank within this time, s.
const ARREST_S: f64 = 0.06;
/// The rotor has left its flank once it and the plate have gone this far apart, degrees.
const LEAST_WAY_DEG: f64 = 0.06;
/// Over so many samples they must go apart by this share of the rotor's way, else the other flank carries.
const GOING: usize = 6;
const STILL_APART: f64 = 0.25;
/// Samples after the contact whose median is the way.
const SETTLED: Range<usize> = 3..15;
/// Where the arrest begins, degrees above rest: as near as the default spring's own slack allows, so that what sensor and gears err by at
/// a place is the same before and after.
const ARREST_DEG_ABOVE: f64 = 0.3;
/// Samples before that whose median is the level: from the first to the last, counted back.
const BEFORE: (usize, usize) = (22, 2);

/// Free travel at rest.
#[derive(Clone, Debug, PartialEq)]
pub struct Lash {
    /// Both methods together, degrees of plate.
    pub fused: Estimate,
    /// By swinging.
    pub swing: Option<Estimate>,
    /// By arrest.
    pub arrest: Option<Estimate>,
    /// Cycles used, there and back.
    pub swings: usize,
    /// Arrests used.
    pub arrests: usize,
    /// How far the plate went with the swing, degrees: a gap between the springs shows here, lash does not.
    pub plate_moved_deg: Option<f64>,
}

/// Why it can't be had.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoLash {
    /// The plate does not return to rest.
    NoRest,
    /// K' is not known.
    NoEmf,
    /// No swing and no arrest in the recording.
    NoData,
}

/// Measures lash at rest. `sensor_lag` = how late the plate's sensor is, s.
///
/// # Errors
/// Says what was missing.
pub fn measure(
    recordings: &[&Recording],
    motor: &Motor,
    rest_deg: Option<f64>,
    sensor_lag: Estimate,
) -> Result<Lash, NoLash> {
    let rest_deg = rest_deg.ok_or(NoLash::NoRest)?;
    let emf = motor.emf.ok_or(NoLash::NoEmf)?;
    let halves: Vec<Half> =
        recordings.iter().flat_map(|r| halves(r, motor.offsets, rest_deg, emf.value)).collect();
    let crossings = to_and_fro(&crossings(&halves, emf.value));
    let mut moved: Vec<f64> =
        halves.windows(2).map(|w| (w[1].pressed_deg - w[0].pressed_deg).abs()).collect();
    let arrests = arrests(recordings, emf.value, rest_deg, sensor_lag);
    let by_arrest: Vec<f64> = arrests.iter().map(|a| a.lash_deg).collect();
    let middle =
        |of: fn(&Arrest) -> f64| statistics::median(&mut arrests.iter().map(of).collect::<Vec<f64>>());
    let late = middle(|a| a.late_deg).unwrap_or(0.0);
    let held = middle(|a| a.held_deg).unwrap_or(0.0);
    let wind_up_error = middle(|a| a.wound_uncertainty_deg).unwrap_or(0.0);
    let plain = (
        // After a half cycle the rotor's friction still holds some of the wind-up, on either flank.
        Estimate::median_of(&crossings, 0.01).map(|e| e.widened(held)),
        Estimate::median_of(&by_arrest, 0.02).map(|e| e.widened(wind_up_error).widened(late)),
    );
    // Both models err with the lash there is, not with what one of them found of it.
    let most = [plain.0, plain.1].into_iter().flatten().map(|e| e.value.abs()).fold(0.0, f64::max);
    let swing = plain.0.map(|e| modelled(e, SWING, most)).filter(|e| e.value > STOOD_DEG);
    let arrest = plain.1.map(|e| modelled(e, ARREST, most));
    let fused = fused(swing, arrest).ok_or(NoLash::NoData)?;
    Ok(Lash {
        fused: fused.widened(fused.value * emf.uncertainty / emf.value),
        swing,
        arrest,
        swings: crossings.len(),
        arrests: arrests.len(),
        plate_moved_deg: statistics::median(&mut moved),
    })
}

/// Both methods together; where they contradict each other the arrest alone: a swing too weak for the rotor, or one that moves the
/// plate, reads wrong, and an arrest has no voltage to choose. Both go by one K', by the same teeth and by the friction that holds the gears wound:
/// what they err by may be the same, and nothing is gained by their number (fully correlated, JCGM 100, 5.2.2).
fn fused(swing: Option<Estimate>, arrest: Option<Estimate>) -> Option<Estimate> {
    match (swing, arrest) {
        (Some(s), Some(a)) if (s.value - a.value).abs() < AGREE * s.uncertainty.hypot(a.uncertainty) => {
            let together = (1.0 / s.uncertainty + 1.0 / a.uncertainty)
                / (s.uncertainty.powi(-2) + a.uncertainty.powi(-2));
            Estimate::fused(&[s, a], 0.0).map(|e| Estimate { uncertainty: e.uncertainty.max(together), ..e })
        }
        (_, Some(a)) => Some(a),
        (s, None) => s,
    }
}

fn modelled(e: Estimate, (least, per_deg): (f64, f64), lash_deg: f64) -> Estimate {
    e.widened(least.hypot(per_deg * lash_deg))
}

/// One half cycle of a swing, offsets taken off.
struct Half {
    opening: bool,
    volts: Vec<f64>,
    amps: Vec<f64>,
    period_s: f64,
    /// Stalls: amps and volts at the end of each level.
    stalls: Vec<(f64, f64)>,
    /// Plate at the end of the highest level, degrees.
    pressed_deg: f64,
    /// How far the plate went from the rest before to the rest after, degrees.
    plate_deg: f64,
    /// Whether it follows another half cycle of the other polarity.
    crosses: bool,
}

fn volts_of(s: &Stretch) -> Option<f64> {
    match s.stimulus {
        Stimulus::Volts { volts, .. } if s.whole => Some(volts),
        _ => None,
    }
}

fn halves(r: &Recording, offsets: Offsets, rest_deg: f64, emf: f64) -> Vec<Half> {
    let mut out: Vec<Half> = Vec::new();
    let mut last_end = None;
    let mut k = 0;
    while k < r.stretches.len() {
        let Some(volts) = volts_of(&r.stretches[k]).filter(|v| v.abs() > NO_VOLTS) else {
            k += 1;
            continue;
        };
        let same =
            |s: &Stretch| s.follows && volts_of(s).is_some_and(|v| v * volts > 0.0 && v.abs() > NO_VOLTS);
        let levels = 1 + r.stretches[k + 1..].iter().take_while(|s| same(s)).count();
        let after = r.stretches.get(k + levels);
        let zero = after.filter(|s| s.follows && volts_of(s).is_some_and(|v| v.abs() <= NO_VOLTS));
        if let (Some(zero), true) = (zero, levels >= 2) {
            let begin = r.stretches[k].range.start;
            let crosses = last_end == Some(begin) && out.last().is_some_and(|h| h.opening != (volts > 0.0));
            let half = half(r, &r.stretches[k..k + levels], zero, (offsets, emf), crosses);
            let quiet = |h: &Half| (h.pressed_deg - rest_deg).abs() < DRIVEN_DEG;
            last_end = None;
            if let Some(half) = half.filter(quiet) {
                last_end = Some(zero.range.end);
                out.push(half);
            }
        }
        k += levels;
    }
    out
}

fn half(
    r: &Recording,
    levels: &[Stretch],
    zero: &Stretch,
    (offsets, emf): (Offsets, f64),
    crosses: bool,
) -> Option<Half> {
    let range = levels[0].range.start..zero.range.end;
    let end_mean = |values: &[f64], range: &Range<usize>| mean(values.get(r.tail(range, STALL_S))?);
    let stalls: Option<Vec<(f64, f64)>> = levels
        .iter()
        .map(|s| {
            let amps = end_mean(&r.signals.amps, &s.range)? - offsets.amps;
            let moving = emf * RAD * wind_up::slope(r.deg(r.tail(&s.range, STALL_S)))? / r.period_s;
            Some((amps, end_mean(&r.signals.volts, &s.range)? - offsets.volts - moving))
        })
        .collect();
    let before = levels[0].range.start.saturating_sub(r.samples(STALL_S))..levels[0].range.start;
    let plate_deg = end_mean(&r.signals.deg, &zero.range)? - mean(r.deg(before)).unwrap_or(f64::NAN);
    Some(Half {
        opening: volts_of(levels.first()?)? > 0.0,
        volts: r.volts(range.clone()).iter().map(|v| v - offsets.volts).collect(),
        amps: r.amps(range).iter().map(|i| i - offsets.amps).collect(),
        period_s: r.period_s,
        stalls: stalls?,
        pressed_deg: end_mean(&r.signals.deg, &levels[0].range)?,
        plate_deg,
        crosses,
    })
}

/// R and brush volts at the stalls of one polarity.
fn stall_line(halves: &[Half], opening: bool) -> Option<(f64, f64)> {
    let stalls = halves.iter().filter(|h| h.opening == opening).flat_map(|h| &h.stalls);
    let (amps, volts): (Vec<f64>, Vec<f64>) = stalls.copied().unzip();
    let fit = statistics::fit_line(&amps, &volts)?;
    let brush = if opening { fit.intercept } else { -fit.intercept };
    (fit.slope > 0.0).then_some((fit.slope, brush))
}

/// The means of each crossing and the next one back, degrees: what an offset of volts or a plate that gives way adds on the way there it takes
/// off on the way back.
fn to_and_fro(crossings: &[(bool, f64)]) -> Vec<f64> {
    let mut out = Vec::new();
    let mut k = 0;
    while k + 1 < crossings.len() {
        let ((one, there), (other, back)) = (crossings[k], crossings[k + 1]);
        if one != other {
            out.push(0.5 * (there + back));
            k += 1;
        }
        k += 1;
    }
    out
}

/// Travel of the rotor against the plate in every half cycle that crosses the play, degrees, and whether it opens.
fn crossings(halves: &[Half], emf: f64) -> Vec<(bool, f64)> {
    let (Some(open), Some(close)) = (stall_line(halves, true), stall_line(halves, false)) else {
        return Vec::new();
    };
    halves
        .iter()
        .filter(|h| h.crosses)
        .filter_map(|h| {
            let (ohm, brush) = if h.opening { open } else { close };
            let sign = if h.opening { 1.0 } else { -1.0 };
            let left: Vec<f64> = h
                .volts
                .iter()
                .zip(&h.amps)
                .map(|(v, i)| v - ohm * i - brush * (BRUSH_PER_A * i).tanh())
                .collect();
            let travel = integral(&left, 0.0, h.period_s)? / emf / RAD;
            let lash = sign * (travel - h.plate_deg);
            lash.is_finite().then_some((h.opening, lash))
        })
        .collect()
}

/// One arrest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrest {
    /// Lash, degrees.
    pub lash_deg: f64,
    /// What the uncertainty of the sensor's lag makes of it, degrees.
    pub late_deg: f64,
    /// What the rotor's friction can hold the gears wound up by, degrees.
    pub held_deg: f64,
    /// What all arrests share of the uncertainty of the wind-up that was taken off, degrees.
    pub wound_uncertainty_deg: f64,
}

/// Lash by every arrest, in order of time.
pub fn arrests(recordings: &[&Recording], emf: f64, rest_deg: f64, sensor_lag: Estimate) -> Vec<Arrest> {
    let releases = |r: &'_ &Recording| {
        let of = r.stretches.iter().filter(|s| matches!(s.stimulus, Stimulus::Release { .. }));
        of.filter_map(|s| arrest(r, s, emf, rest_deg, sensor_lag)).collect::<Vec<Arrest>>()
    };
    recordings.iter().flat_map(releases).collect()
}

fn arrest(r: &Recording, release: &Stretch, emf: f64, rest_deg: f64, sensor_lag: Estimate) -> Option<Arrest> {
    let from = mean(r.deg(release.range.start..release.range.start + r.samples(0.002)))?;
    if !ARREST_FROM_DEG.contains(&(from - rest_deg)) {
        return None;
    }
    let tail = r.tail(&release.range, 0.1);
    // Another rest than the part's own is a plate that hangs.
    stands(r, tail.clone()).filter(|at| (at - rest_deg).abs() < 1.0)?;
    let offset = mean(r.volts(tail))?;
    let start = release.range.start + r.samples(0.010);
    let (volts, deg) = (r.volts(start..release.range.end), r.deg(start..release.range.end));
    let mut flux = 0.0;
    let mut relative = Vec::with_capacity(deg.len());
    for k in 0..deg.len() {
        if k > 0 {
            flux += integral(&volts[k - 1..=k], offset, r.period_s)?;
        }
        relative.push(flux / emf / RAD - deg[k]);
    }
    // Speed at which the rotor closes, degrees of plate per second; a late sensor shows the plate behind.
    let speed: Vec<f64> = volts.iter().map(|v| (offset - v) / emf / RAD).collect();
    let rotor: Vec<f64> = relative.iter().zip(deg).map(|(apart, d)| apart + d).collect();
    let relative: Vec<f64> = relative.iter().zip(&speed).map(|(a, w)| a + sensor_lag.value * w).collect();
    let smooth: Vec<f64> = relative.windows(5).map(|w| w.iter().sum::<f64>() / 5.0).collect();
    let at = deg.iter().position(|d| *d < rest_deg + ARREST_DEG_ABOVE)?;
    let before_at = at.saturating_sub(BEFORE.0)..at.saturating_sub(BEFORE.1).max(5);
    let mut before: Vec<f64> = smooth.get(before_at.clone())?.to_vec();
    let level = statistics::median(&mut before)?;
    let end = (at + r.samples(ARREST_S)).min(smooth.len().checked_sub(SETTLED.end)?);
    // The other flank carries from where rotor and plate stop going apart; a mean over five samples lies two on.
    let apart = |k: usize| level - smooth[k];
    let first = (at.saturating_sub(2)..end).find(|k| apart(*k) > LEAST_WAY_DEG)?;
    let share =
        |k: usize| (apart(k + GOING) - apart(k)) / (GOING as f64 * r.period_s * speed[k + 2].max(1.0));
    let contact = (first..end).find(|k| share(*k) < STILL_APART)?;
    let mut settled: Vec<f64> = (contact + SETTLED.start..contact + SETTLED.end).map(apart).collect();
    let way = statistics::median(&mut settled)?;
    let found = wind_up::measure(&wind_up::Arrested {
        apart_deg: &relative,
        rotor_deg: &rotor,
        closing_deg_s: &speed,
        before: before_at,
        contact: contact + 2,
    });
    // A sensor that is late is so by other speeds on the way down and back.
    let told = found.filter(|w| w.wound_deg.uncertainty < 2.0 * UNSEEN_WIND_UP_DEG.1);
    let (wound_deg, common_deg, held_deg) =
        told.map_or((UNSEEN_WIND_UP_DEG.0, UNSEEN_WIND_UP_DEG.1, 0.02), |w| {
            let factor = w.wound_deg.value / w.hysteresis_deg.value.max(0.003);
            let late = factor * sensor_lag.uncertainty * speed[contact + 2];
            // What single arrests scatter by shows in their median.
            (w.wound_deg.value, w.common_deg.hypot(late), w.held_deg)
        });
    // Where the plate was taken along at once it lags as much as before; where it stood, by all of its speed.
    let late_deg = (speed[at] - speed[contact + 2]).abs() * sensor_lag.uncertainty;
    let lash_deg = way - wound_deg;
    lash_deg.is_finite().then_some(Arrest { lash_deg, late_deg, held_deg, wound_uncertainty_deg: common_deg })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_one_way_adds_and_the_way_back_takes_off_is_not_in_the_lash() {
        // An offset of volts: 0.38 deg read as 0.46 opening and 0.30 closing; one crossing more of one kind.
        let read: Vec<(bool, f64)> =
            (0..19).map(|k| (k % 2 == 0, if k % 2 == 0 { 0.46 } else { 0.30 })).collect();
        let cycles = to_and_fro(&read);
        assert!(cycles.len() == 9 && cycles.iter().all(|c| (c - 0.38).abs() < 1e-12), "{cycles:?}");
        // A way whose way back was not read shows nothing.
        assert_eq!(to_and_fro(&[(true, 0.46), (true, 0.46), (false, 0.30)]), [0.38]);
        assert!(to_and_fro(&[(false, 0.3)]).is_empty());
    }
}
