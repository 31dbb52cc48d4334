//! A supply that was not logged, or logged in coarse steps, or that dipped in front of where it was logged: what both lines do together may then
//! be the supply's doing.

use super::{JUMP_STEPS, LimitKind, RecordingLimit, of_lines};
use crate::analysis::prepared::{AngleSource, Prepared, SupplySource};
use crate::analysis::statistics;
use crate::quantity::{Channel, FigureName, FindingKind};
use crate::sheet::{PartSheet, Topology};

/// Steps of the supply from which they are named, as a share of it: 5 mV of 5 V. Engineering assumption.
const COARSE: f64 = 0.001;
/// A supply of its own ripples and sags by up to 3 % (common practice, no source), mV of 5 V: with the other line low it shows in one alone.
const UNLOGGED_MV: f64 = 150.0;
/// What both lines do together is named from this share of the supply on, one standard deviation: 2.5 mV of 5 V. Engineering assumption.
const SHARED: f64 = 0.0005;
/// Least correlation of what both lines do together.
const ALIKE: f64 = 0.3;
/// A line is read where it is at least this share of the supply.
const LEAST_LEVEL: f32 = 0.04;
/// Standard deviations that a ripple and a reading that is held may reach together.
const CREST: f64 = 6.0;
/// Ripple of the supply from which it is named, one standard deviation as a share: 30 mV of 5 V. Engineering assumption.
const RIPPLE: f64 = 0.006;
/// Time between lines and supply from which a smaller ripple counts too, µs. Engineering assumption.
const LATE_US: f64 = 250.0;
/// Time to either side over which a bend shows ripple of 50 to 300 Hz, µs.
const BEND_US: f64 = 1500.0;
/// Times over which slower ripple, down to mains, shows as well, µs. Over these a turning part bends too, which lines that run against one
/// another do not take for the supply's; others are looked at where the part stands.
const SLOW_BENDS_US: [f64; 3] = [BEND_US, 3000.0, 6000.0];
/// Times over which ripple near a multiple of the scans' own rate shows, which they fold down to a few Hz, µs: where the part stands.
const FOLDED_BENDS_US: [f64; 4] = [12_500.0, 25_000.0, 50_000.0, 100_000.0];
/// A supply that moves in fewer than one of so many scans moves by steps of its converter.
const RARELY: usize = 20;
/// A part that goes less far than this between both ends of a bend stands, degrees.
const STANDS_DEG: f64 = 0.03;
/// Ripple may move a curve by so many standard deviations of it, at the few passes that a place has.
const MOVES: f64 = 2.0;
/// A supply that is lower by this share has fallen; half of what a line must lose for it to matter. Engineering assumption.
const FELL: f64 = 0.003;
/// The edge of a fall may show in one column alone for so many scans, or so long, µs: as far as logged channels lie apart.
const EDGE_SCANS: f64 = 1.5;
const EDGE_US: f64 = 500.0;
/// Scans that are compared at most.
const PLACES: usize = 50_000;

/// The supply's limits of a recording.
pub(super) fn find(prepared: &Prepared<'_>, sheet: &PartSheet) -> Vec<RecordingLimit> {
    let (SupplySource::Measured, Some(volts)) =
        (prepared.supply_source, prepared.trace.channel(Channel::Supply))
    else {
        return vec![unlogged(prepared, sheet)];
    };
    // A rig states what its supply channel can.
    if prepared.trace.provenance.rig.is_some() {
        return Vec::new();
    }
    let opposed = sheet.topology == Topology::Complementary;
    // A column that never changes says nothing of a supply.
    if volts.iter().all(|v| !v.is_finite() || *v == volts[0]) {
        return vec![unlogged(prepared, sheet)];
    }
    let step = step_of(volts) / prepared.supply_volts;
    let mut out: Vec<RecordingLimit> = deepest_fall(volts, prepared.supply_volts)
        .map(|fall| dips(prepared, fall, sheet))
        .into_iter()
        .collect();
    out.extend((step >= COARSE).then(|| coarse(step, sheet)));
    let ripples = ripples(prepared, volts, opposed);
    out.extend(
        ripples
            .map(|(words, sd)| unseen(format!("{words}; log it in the same scan as the lines"), sd, sheet)),
    );
    out
}

/// The largest that a supply was seen to ripple by, in words and as one standard deviation of it, where that stays in the lines.
fn ripples(prepared: &Prepared<'_>, volts: &[f32], opposed: bool) -> Option<(String, f64)> {
    let late = prepared.supply_late_us.abs();
    let percent = |sd: f64| format!("{:.1} %", 100.0 * sd);
    // What its column shows may be a part of it, where that is slow: the lines show the whole.
    let hidden = shared_by_any(prepared, opposed).map(|sd| {
        let by = percent(sd);
        let words = format!(
            "both lines move together by {by} as a supply does, and its column does not show it: logged too slowly, filtered, or at another time"
        );
        (words, sd)
    });
    let held = prepared.supply_held_us.and_then(|us| ripple(prepared, volts, us)).filter(|sd| *sd > SHARED);
    let held = held.map(|sd| {
        let by = percent(sd);
        let words = format!(
            "the supply moves by {by} from one fresh value to the next, and scans in between have no value of their own"
        );
        (words, sd)
    });
    let apart =
        ripple(prepared, volts, BEND_US).filter(|sd| *sd > RIPPLE || (late > LATE_US && *sd > SHARED));
    let apart = apart.map(|sd| {
        let by = percent(sd);
        (format!("the supply ripples by {by}, and lines and supply are not read at one time"), sd)
    });
    // Of two as large the later one counts.
    [hidden, held, apart].into_iter().flatten().max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Steps that a supply was logged in, volts; 0 where there are none. One that moves rarely moves by a step of its converter.
fn step_of(volts: &[f32]) -> f64 {
    let known = || volts.iter().map(|v| f64::from(*v)).filter(|v| v.is_finite());
    let moves = known().zip(known().skip(1)).map(|(a, b)| (b - a).abs()).filter(|d| *d > 0.0);
    let (count, least) = moves.fold((0, f64::INFINITY), |(n, least), d| (n + 1, least.min(d)));
    if count * RARELY > known().count() {
        return statistics::quantum(volts);
    }
    if count > 0 { least } else { 0.0 }
}

/// Scans to either side that a bend is taken over, and all scans at which it can be.
fn places(prepared: &Prepared<'_>, bend_us: f64) -> (usize, impl Iterator<Item = usize>) {
    let reach = (bend_us / prepared.period_us.max(1.0)).round().max(1.0) as usize;
    let inside = || prepared.segments.iter().map(move |s| s.start + reach..s.end.saturating_sub(reach));
    let every = (inside().map(|r| r.len()).sum::<usize>() / PLACES).max(1);
    (reach, inside().flatten().step_by(every))
}

/// Second difference as a share of what is read; none where that is next to nothing.
fn bend(v: &[f32], i: usize, reach: usize) -> Option<f64> {
    (v[i] > LEAST_LEVEL).then(|| f64::from(v[i - reach] - 2.0 * v[i] + v[i + reach]) / f64::from(v[i]))
}

/// How far the supply ripples, one standard deviation as a share of it.
fn ripple(prepared: &Prepared<'_>, volts: &[f32], bend_us: f64) -> Option<f64> {
    let (reach, places) = places(prepared, bend_us);
    let bends: Vec<f64> = places.filter_map(|i| bend(volts, i, reach)).filter(|b| b.is_finite()).collect();
    let sd = (bends.iter().map(|b| b * b).sum::<f64>() / bends.len().max(1) as f64 / 6.0).sqrt();
    sd.is_finite().then_some(sd)
}

/// By how much both lines move together in proportion to what they read, one standard deviation as a share of the supply: so moves a supply that its
/// own column does not show. With `standing` only where the part stands. From second differences, whose variance is 6 times that of a scan.
fn shared(prepared: &Prepared<'_>, bend_us: f64, standing: bool) -> Option<f64> {
    let [Some(first), Some(second)] = &prepared.ratio else { return None };
    let (reach, places) = places(prepared, bend_us);
    let stands = |i: usize| {
        let near = STANDS_DEG.max(4.0 * prepared.angle_noise_deg);
        let moved = f64::from((prepared.deg[i + reach] - prepared.deg[i - reach]).abs());
        prepared.angle_source == AngleSource::Reference && moved < near
    };
    let pairs: Vec<(f64, f64)> = places
        .filter(|i| !standing || stands(*i))
        .filter_map(|i| Some((bend(first, i, reach)?, bend(second, i, reach)?)))
        .filter(|(a, b)| a.is_finite() && b.is_finite())
        .collect();
    let n = pairs.len() as f64;
    let sum = |f: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(f).sum::<f64>() / n;
    let (both, a, b) = (sum(&|p| p.0 * p.1), sum(&|p| p.0 * p.0), sum(&|p| p.1 * p.1));
    let sd = (both / 6.0).max(0.0).sqrt();
    (n >= 200.0 && both > ALIKE * (a * b).sqrt() && sd > SHARED).then_some(sd)
}

/// The most of that over times down to mains, and for lines that run against one another down to ripple that a slow log folds down.
fn shared_by_any(prepared: &Prepared<'_>, opposed: bool) -> Option<f64> {
    let fast = SLOW_BENDS_US.into_iter().map(|us| (us, !opposed && us > BEND_US));
    let folded = FOLDED_BENDS_US.into_iter().filter(|_| opposed).map(|us| (us, true));
    fast.chain(folded).filter_map(|(us, standing)| shared(prepared, us, standing)).reduce(f64::max)
}

/// What a supply that its column does not show may have made, of which the lines show this much, one standard deviation as a share of it.
fn unseen(text: String, sd: f64, sheet: &PartSheet) -> RecordingLimit {
    let mut limit = RecordingLimit::new(LimitKind::Supply, None, text);
    // A line that reads more follows the supply by more.
    limit.imitates.push(FindingKind::NoisyTrack);
    limit.imitates_common_mv = f64::INFINITY;
    limit.imitates_jump_mv = CREST * 1e3 * sd * sheet.supply_volts;
    for (channel, nominal) in Channel::SENSORS.into_iter().zip([sheet.rising, sheet.falling]) {
        let level = nominal.open.max(nominal.closed);
        let span = (nominal.open - nominal.closed).abs();
        limit.may_be_all.push((FigureName::Noise, Some(channel)));
        limit.may_be_all.push((FigureName::Repeatability, Some(channel)));
        let open = 0.5 * CREST * sd * level / span * sheet.travel_deg;
        limit.moves.push((FigureName::Hysteresis, Some(channel), open));
        let linearities =
            [FigureName::LinearityIndependent, FigureName::LinearityTerminal, FigureName::LinearityZeroBased];
        limit.moves.extend(linearities.map(|name| (name, Some(channel), 100.0 * MOVES * sd * level / span)));
    }
    limit.may_be_all.extend((sd > 0.0).then_some((FigureName::Skew, None)));
    limit.moves.push((FigureName::CorrelationWorst, None, 100.0 * MOVES * sd));
    limit.moves.push((FigureName::CorrelationMomentary, None, 100.0 * 0.5 * CREST * sd));
    limit
}

/// Nothing distinguishes the supply's own ripple and sag from the part's; what both lines share shows how large it is at least.
fn unlogged(prepared: &Prepared<'_>, sheet: &PartSheet) -> RecordingLimit {
    let text = "the supply was not logged: ripple and sags of its own can't be told from what the part does; log it in the same scan".into();
    let ripple = shared_by_any(prepared, sheet.topology == Topology::Complementary).unwrap_or(0.0);
    let mut limit = unseen(text, ripple, sheet);
    limit.imitates_jump_mv = limit.imitates_jump_mv.max(UNLOGGED_MV);
    limit.imitates_depth_deg = f64::INFINITY;
    limit.may_be_all.extend(of_lines(FigureName::Hysteresis));
    limit
}

/// A ratio is then off by up to half a step, `step` being a share of the supply.
fn coarse(step: f64, sheet: &PartSheet) -> RecordingLimit {
    let millivolts = 1e3 * step * sheet.supply_volts;
    let text = format!(
        "the supply was logged in steps of {millivolts:.0} mV: both lines jump together by up to that share when it passes from one to the next; \
         log it as finely as the lines"
    );
    let mut limit = RecordingLimit::new(LimitKind::Supply, None, text);
    limit.imitates_common_mv = JUMP_STEPS * millivolts;
    // With the other line low it shows in one alone.
    limit.imitates_jump_mv = JUMP_STEPS * millivolts;
    for (channel, nominal) in Channel::SENSORS.into_iter().zip([sheet.rising, sheet.falling]) {
        let off = 0.5 * step * nominal.open.max(nominal.closed);
        let span = (nominal.open - nominal.closed).abs();
        let adds = [
            (FigureName::Noise, 5000.0 * off),
            // Between a pass at one end of a step and a pass at the other.
            (FigureName::Repeatability, 100.0 * 2.0 * off / span),
            (FigureName::Hysteresis, off / span * sheet.travel_deg),
        ];
        limit.adds.extend(adds.map(|(name, off)| (name, Some(channel), off * off)));
    }
    let pair = 100.0 * 0.5 * step;
    limit.adds.extend(
        [FigureName::CorrelationWorst, FigureName::CorrelationMomentary]
            .map(|name| (name, None, pair * pair)),
    );
    limit
}

/// How far the supply fell below what it usually is, as a share of it; none where it fell by nothing that counts.
fn deepest_fall(volts: &[f32], usual: f64) -> Option<f64> {
    let least = volts.iter().map(|v| f64::from(*v)).filter(|v| v.is_finite()).fold(usual, f64::min);
    Some(1.0 - least / usual).filter(|fall| *fall > FELL)
}

/// Where somebody else's logger says that the supply fell, its place is not known: in front of it lies the bench. A fall that begins or ends
/// between two scans shows in a line and not in the supply, or the other way round.
fn dips(prepared: &Prepared<'_>, fall: f64, sheet: &PartSheet) -> RecordingLimit {
    let text = "the supply itself fell where it was logged: whatever feeds it may have done so; secure the supply's wires and repeat";
    let mut limit = RecordingLimit::new(LimitKind::SupplyFell, None, text.into());
    limit.imitates_supply_fall = true;
    limit.imitates_short_us = (EDGE_SCANS * prepared.period_us).max(EDGE_US);
    limit.imitates_short_mv = 1e3 * fall * sheet.supply_volts;
    // The edges of such a fall, where lines and supply are not read at one time.
    limit.spoils.push((FigureName::CorrelationMomentary, None));
    // Without an angle such edges also stand at places that the part never came to.
    if prepared.angle_source == AngleSource::FirstLine {
        limit.spoils.push((FigureName::CorrelationWorst, None));
    }
    limit
}
