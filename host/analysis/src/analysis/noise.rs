//! Random noise of one line, one standard deviation, mV at 5 V.
//!
//! From second differences over √6, which leave motion out (von Neumann 1941 for first differences). Their spread is a root
//! mean square, trimmed at 5 robust sd against dropouts: a median would collapse or jump when the noise is about one step of
//! the sensor's own output. It holds everything that changes from scan to scan: the sensor's steps (step²/12, Sheppard), the
//! rig's own noise. A filter longer than a scan makes it read less; stated. So does a sensor whose
//! steps are many scans apart: its staircase is no white noise. Ripple and noise of the supply go out with the ratio (`supply`); what
//! remains of them is in the uncertainty. A rough track changes from scan to scan as well, the more the faster: the slowest strokes are used, and what
//! two speeds say of the grain is in the uncertainty.

use super::Figure;
use super::budget::{Budget, Source};
use super::prepared::Prepared;
use super::statistics;
use crate::quantity::{Channel, Condition, FigureName};
use std::ops::Range;

/// While moving, a scan may cover this much travel at most; else only rests are used, degrees.
const MOST_DEG_PER_SCAN: f64 = 0.1;
/// Scans of the slowest strokes that show the noise, or a quarter of all where that is more.
const ENOUGH: usize = 4000;
/// Strokes whose speeds differ by less than this factor are of one speed.
const ALIKE: f64 = 1.3;
/// Second differences used at most.
const MOST: usize = 100_000;
/// Pairs of second differences that are compared: more say no more of what both lines share.
const MOST_PAIRS: usize = 1_000_000;
/// 90 % point of |N(0,1)|.
const P90: f64 = 1.644_853_626_951_472;

/// Noise of a line. None when no stretch is slow enough.
pub fn analyse(prepared: &Prepared<'_>, line: usize) -> Option<Figure> {
    let ratio = prepared.ratio[line].as_ref()?;
    let moving =
        prepared.speed_deg_s * prepared.period_us * 1e-6 <= MOST_DEG_PER_SCAN && !prepared.strokes.is_empty();
    let stretches: Vec<Range<usize>> =
        if moving { prepared.strokes.iter().map(|s| s.range.clone()).collect() } else { rests(prepared) };
    let (stretches, faster) = if moving { by_speed(prepared, stretches) } else { (stretches, Vec::new()) };
    let (sd, kept, every) = from_second_differences(ratio, &stretches)?;
    let noise = 5000.0 * sd / 6.0f64.sqrt();
    // Overlapping second differences of white noise: n_eff = n·18/35 degrees of freedom (Σρ² = 35/18); thinned ones are free.
    let freedom = kept as f64 * if every > 2 { 1.0 } else { 18.0 / 35.0 };
    let known = prepared.trace.provenance.channel(Channel::SENSORS[line]);
    let step = 1000.0 * known.map_or(0.0, |c| c.resolution) / 12.0f64.sqrt() * 5.0 / prepared.supply_volts;
    // Steps are only on average like noise of step/√12: a tenth of that share is left uncertain.
    let steps = if noise > 0.0 { 0.1 * step * (step / noise).min(1.0) } else { step };
    let grain = by_grain(prepared, ratio, noise, &stretches, &faster);
    // What of the supply's own noise is in the ratio is not the line's.
    let from_supply = 5000.0 * prepared.supply_noise[line];
    let of_supply = noise - (noise * noise - from_supply * from_supply).max(0.0).sqrt();
    let of_both = noise - (noise * noise - moved_together(prepared, line, &stretches)).max(0.0).sqrt();
    let filter = match known.map_or(0, |c| c.filter_us) {
        0 => String::new(),
        us => format!(", behind the rig's {us} us filter"),
    };
    Some(Figure {
        name: FigureName::Noise,
        channel: Some(Channel::SENSORS[line]),
        value: noise,
        budget: Budget::of(Source::Scatter, noise / (2.0 * freedom).sqrt())
            .with(Source::Steps, steps)
            .with(Source::Algorithm, (0.005 * noise).hypot(grain / 3.0f64.sqrt()))
            .with(Source::Supply, of_supply)
            .with(Source::Recording, of_both),
        upper_bound: None,
        added: 0.0,
        at_deg: None,
        condition: Condition::NONE,
        definition: format!(
            "one standard deviation from second differences {}, dropouts left out, steps of sensor and rig included{filter}",
            if moving { "while moving slowest" } else { "at rest" }
        ),
    })
}

/// Trimmed root mean square of the second differences of some stretches, how many were used, and of how many one.
fn from_second_differences(ratio: &[f32], stretches: &[Range<usize>]) -> Option<(f64, usize, usize)> {
    let total: usize = stretches.iter().map(ExactSizeIterator::len).sum();
    let every = (total / MOST).max(1);
    let mut second: Vec<f64> = stretches
        .iter()
        .flat_map(|r| ratio[r.clone()].windows(3).step_by(every))
        .map(bend)
        .filter(|d| d.is_finite())
        .collect();
    trimmed_rms(&mut second).map(|(sd, kept)| (sd, kept, every))
}

/// Mean travel from one scan to the next, degrees.
fn deg_per_scan(prepared: &Prepared<'_>, stretches: &[Range<usize>]) -> f64 {
    let (mut deg, mut scans) = (0.0, 0);
    for r in stretches.iter().filter(|r| !r.is_empty()) {
        deg += (f64::from(prepared.deg[r.end - 1]) - f64::from(prepared.deg[r.start])).abs();
        scans += r.len();
    }
    deg / scans.max(1) as f64
}

/// The slowest strokes that hold enough scans, and the others: what a track's grain changes from one scan to the next looks like noise, the
/// less the slower.
fn by_speed(prepared: &Prepared<'_>, strokes: Vec<Range<usize>>) -> (Vec<Range<usize>>, Vec<Range<usize>>) {
    let total: usize = strokes.iter().map(ExactSizeIterator::len).sum();
    let enough = ENOUGH.max(total / 4);
    let mut all: Vec<(f64, Range<usize>)> =
        strokes.into_iter().map(|r| (deg_per_scan(prepared, std::slice::from_ref(&r)), r)).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut scans, mut last, mut slow) = (0, 0.0, 0);
    for (speed, range) in &all {
        // Strokes of the same speed stay together: which of them were taken would be chance.
        if scans >= enough && *speed > ALIKE * last {
            break;
        }
        scans += range.len();
        last = *speed;
        slow += 1;
    }
    let mut faster: Vec<Range<usize>> = all.split_off(slow).into_iter().map(|(_, r)| r).collect();
    let mut slowest: Vec<Range<usize>> = all.into_iter().map(|(_, r)| r).collect();
    slowest.sort_by_key(|r| r.start);
    faster.sort_by_key(|r| r.start);
    (slowest, faster)
}

/// How much of a noise a track's grain may be, in its unit: what grows with speed. Between two scans a rough track changes by a variance in
/// proportion to the travel, so noise² = white + grain·travel; two speeds show both.
fn by_grain(
    prepared: &Prepared<'_>,
    ratio: &[f32],
    noise: f64,
    slow: &[Range<usize>],
    fast: &[Range<usize>],
) -> f64 {
    let Some((sd, ..)) = from_second_differences(ratio, fast) else { return 0.0 };
    let faster = 5000.0 * sd / 6.0f64.sqrt();
    let (v, w) = (deg_per_scan(prepared, slow), deg_per_scan(prepared, fast));
    if w <= ALIKE * v || faster <= noise {
        return 0.0;
    }
    let grain = (faster * faster - noise * noise) / (w - v) * v;
    noise - (noise * noise - grain).max(0.0).sqrt()
}

/// Second difference of three scans.
fn bend(w: &[f32]) -> f64 {
    f64::from(w[2]) - 2.0 * f64::from(w[1]) + f64::from(w[0])
}

/// Variance of a scan, (mV at 5 V)², that a line shares with the other one: times that a log writes wrongly make motion of it, and a supply that
/// its column does not show ripples in both. A rig's own times are exact, and its supply is measured in the same scan.
fn moved_together(prepared: &Prepared<'_>, line: usize, stretches: &[Range<usize>]) -> f64 {
    let (Some(own), Some(other), None) =
        (&prepared.ratio[line], &prepared.ratio[1 - line], &prepared.trace.provenance.rig)
    else {
        return 0.0;
    };
    let total: usize = stretches.iter().map(ExactSizeIterator::len).sum();
    let every = (total / MOST_PAIRS).max(1);
    let pairs: Vec<(f64, f64)> = stretches
        .iter()
        .flat_map(|r| own[r.clone()].windows(3).zip(other[r.clone()].windows(3)).step_by(every))
        .map(|(a, b)| (bend(a), bend(b)))
        .filter(|(a, b)| a.is_finite() && b.is_finite())
        .collect();
    let cut = |of: fn(&(f64, f64)) -> f64| {
        let mut all: Vec<f64> = pairs.iter().map(|p| of(p).abs()).collect();
        5.0 * statistics::quantile(&mut all, 0.9).unwrap_or(0.0) / P90
    };
    let (a_most, b_most) = (cut(|p| p.0), cut(|p| p.1));
    let kept: Vec<(f64, f64)> =
        pairs.into_iter().filter(|(a, b)| a.abs() <= a_most && b.abs() <= b_most).collect();
    let n = kept.len() as f64;
    let sum = |of: fn(&(f64, f64)) -> f64| kept.iter().map(of).sum::<f64>();
    let (aa, bb, ab) = (sum(|p| p.0 * p.0), sum(|p| p.1 * p.1), sum(|p| p.0 * p.1));
    // The correlation of what is independent scatters by √(35/18/n) for overlapping second differences.
    let alike = (ab / (aa * bb).sqrt()).abs() - 3.0 * (35.0 / 18.0 / n).sqrt();
    if alike > 0.0 { 5000.0f64.powi(2) * aa / n / 6.0 * alike } else { 0.0 }
}

/// Root mean square without values beyond 5 of its own sd, and how many were kept. None with fewer than 30.
fn trimmed_rms(values: &mut [f64]) -> Option<(f64, usize)> {
    if values.len() < 30 {
        return None;
    }
    values.iter_mut().for_each(|v| *v = v.abs());
    let rms = |cut: f64| {
        let kept = values.iter().filter(|v| **v <= cut);
        let n = kept.clone().count();
        ((kept.map(|v| v * v).sum::<f64>() / n.max(1) as f64).sqrt(), n)
    };
    let mut sorted = values.to_vec();
    let scale = statistics::quantile(&mut sorted, 0.9)? / P90;
    if scale == 0.0 {
        // Nine in ten did not change at all: what is left is steps of the output.
        return Some(rms(f64::INFINITY));
    }
    let (first, _) = rms(5.0 * scale);
    Some(rms(5.0 * first.max(0.5 * scale)))
}

/// Stretches between strokes without a gap.
fn rests(prepared: &Prepared<'_>) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    for segment in &prepared.segments {
        let mut start = segment.start;
        for stroke in prepared.strokes.iter().filter(|s| segment.contains(&s.range.start)) {
            out.push(start..stroke.range.start);
            start = stroke.range.end;
        }
        out.push(start..segment.end);
    }
    out.retain(|r| r.len() >= 3);
    out
}
