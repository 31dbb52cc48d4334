//! The shape of a body's feedback lines: the second against the first over the whole travel, and each against the rotor. It knows no limit.
//!
//! Nothing on the bench measures the plate's angle apart from its own two lines, but two things come near it:
//! - the first line, while the plate creeps up and down: what the second does against it (linearity is left to the rotor, because a
//!   bend of the first would be blamed on the second);
//! - the rotor, while the plate coasts home with the bridge open: the mesh stays on its opening flank above the rest position, so the
//!   rotor turns with the plate, and its EMF, which needs neither resistance nor current, integrates to its angle:
//!   θ_r = ∫(v − v₀)dt / K'. A bend that both lines share shows against it. K' is a scale and an anchor an offset, so neither bends a line.
//!   What does: the drift of the integral by the error of v₀, and the transmission error of the gears (`GEARS_DEG`).
//!
//! Linearity is independent: the exact minimax line (`analysis/line.rs`), % of the line's span from stop to stop.

use super::super::budget::{Budget, Source};
use super::estimate::Estimate;
use super::measured::Recordings;
use super::motor::RAD;
use super::rest::stands;
use super::stretches::{Recording, Stretch};
use crate::analysis::curve::Curves;
use crate::analysis::ends::End;
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::analysis::statistics::mean;
use crate::analysis::uncertainty::Calibration;
use crate::analysis::{Figure, NotTestable, dead_band, hysteresis, line, repeatability, statistics};
use crate::quantity::{Channel, Condition, FigureName};
use crate::sheet::PartSheet;
use crate::trace::{MarkKind, Stimulus, Trace};

/// After the bridge opens, the time until the winding's current is gone and the gears have relaxed, s.
const FLYBACK_S: f64 = 0.012;
/// The coast is used down to here above rest, degrees: nearer the rotor runs on through the play.
const NEAR_REST_DEG: f64 = 1.0;
/// Coasts begin at least this far above rest, degrees.
const LEAST_DEG: f64 = 20.0;
/// Coasts are laid on each other by the first line over this stretch above [`NEAR_REST_DEG`], degrees.
const ANCHOR_DEG: f64 = 2.0;
/// Width of a bin along the travel, degrees.
const BIN_DEG: f64 = 1.0;
/// What the gears' own transmission error bends the rotor's angle by, degrees, one standard deviation of its largest value along the
/// travel. Engineering assumption.
const GEARS_DEG: f64 = 0.05;
/// A longer part of the travel must be seen, share of it.
const LEAST_SHARE: f64 = 0.6;

/// Both lines along the rotor.
#[derive(Clone, Debug, PartialEq)]
pub struct AgainstRotor {
    /// Where, degrees of plate.
    pub deg: Vec<f64>,
    /// What each line deviates by from its own straight line there, degrees of plate, as if it measured the angle.
    pub off_deg: [Option<Vec<f64>>; 2],
    /// Largest deviation of each line, degrees, with its uncertainty, and where.
    pub worst: [Option<(Estimate, f64)>; 2],
    /// Largest bend that both lines share, degrees, and where; none without both lines.
    pub shared: Option<(Estimate, f64)>,
    /// Coasts.
    pub coasts: usize,
}

/// Both lines against the rotor over every coast with the bridge open. None where no coast goes far enough.
pub fn against_rotor(
    traces: &[(&Trace, &Recording)],
    recordings: &Recordings,
    rest_deg: f64,
    emf: Estimate,
    sheet: &PartSheet,
) -> Option<AgainstRotor> {
    let travel = recordings.plate?.travel_deg;
    let bins = (travel / BIN_DEG).ceil() as usize + 1;
    let mut coasts = Vec::new();
    for (trace, r) in traces {
        let prepared = Prepared::new(trace, sheet);
        for s in r.stretches.iter().filter(|s| matches!(s.stimulus, Stimulus::Release { .. })) {
            coasts.extend(coast(r, s, &prepared, rest_deg, emf.value, bins));
        }
    }
    let drift = mean(&coasts.iter().map(|c| c.drift_deg).collect::<Vec<f64>>())?;
    let lines = [0, 1].map(|line| along(&coasts, line, bins));
    let seen = lines[0].as_ref()?;
    let known: Vec<usize> = (0..bins).filter(|k| seen[*k].is_some()).collect();
    let (first, last) = (*known.first()?, *known.last()?);
    if ((last - first) as f64) * BIN_DEG < LEAST_SHARE * (travel - rest_deg) || known.len() < 20 {
        return None;
    }
    let deg: Vec<f64> = known.iter().map(|k| *k as f64 * BIN_DEG).collect();
    let mut out =
        AgainstRotor { off_deg: [None, None], worst: [None, None], shared: None, coasts: coasts.len(), deg };
    let scale = drift.hypot(GEARS_DEG);
    let mut repeat = 0.0f64;
    for (line, bins) in lines.iter().enumerate() {
        let Some(bins) = bins else { continue };
        let values: Option<Vec<(f64, f64)>> = known.iter().map(|k| bins[*k]).collect();
        let Some(values) = values else { continue };
        let points: Vec<(f64, f64)> = out.deg.iter().copied().zip(values.iter().map(|v| v.0)).collect();
        let Some(straight) = line::minimax(&points).filter(|l| l.slope.abs() > 1e-6) else { continue };
        let off: Vec<f64> = points.iter().map(|(x, y)| (y - straight.value(*x)) / straight.slope).collect();
        let scatter = values.iter().map(|v| v.1).fold(0.0, f64::max) / straight.slope.abs();
        repeat = repeat.max(scatter);
        out.worst[line] = Estimate::new(straight.deviation / straight.slope.abs(), scale.hypot(scatter))
            .map(|e| (e, straight.at));
        out.off_deg[line] = Some(off);
    }
    if let [Some(a), Some(b)] = &out.off_deg {
        let both: Vec<(f64, f64)> =
            out.deg.iter().copied().zip(a.iter().zip(b).map(|(a, b)| 0.5 * (a + b))).collect();
        out.shared =
            line::minimax(&both).and_then(|l| Some((Estimate::new(l.deviation, scale.hypot(repeat))?, l.at)));
    }
    Some(out)
}

/// One coast: mean ratio of each line per bin of rotor angle.
struct Coast {
    bins: [Vec<Option<f64>>; 2],
    /// What the error of v₀ may have added to the integral, degrees.
    drift_deg: f64,
}

fn coast(
    r: &Recording,
    release: &Stretch,
    prepared: &Prepared<'_>,
    rest_deg: f64,
    emf: f64,
    bins: usize,
) -> Option<Coast> {
    let from = mean(r.deg(release.range.start..release.range.start + r.samples(0.002)))?;
    if from < rest_deg + LEAST_DEG {
        return None;
    }
    let tail = r.tail(&release.range, 0.05);
    stands(r, tail.clone()).filter(|at| (at - rest_deg).abs() < 2.0)?;
    let still: Vec<f64> = r.volts(tail.clone()).iter().copied().filter(|v| v.is_finite()).collect();
    let offset = mean(&still)?;
    let offset_error = statistics::standard_deviation(&still)? / (still.len() as f64).sqrt();
    let start = release.range.start + r.samples(FLYBACK_S);
    let low = rest_deg + NEAR_REST_DEG;
    let deg = r.deg(start..release.range.end);
    let end = start + deg.iter().position(|d| *d < low)?;
    let (deg, volts) = (r.deg(start..end), r.volts(start..end));
    if deg.len() < 50 || !deg.iter().chain(volts).all(|v| v.is_finite()) {
        return None;
    }
    let mut turned = vec![0.0; deg.len()];
    for k in 1..deg.len() {
        let flux = (0.5 * (volts[k - 1] + volts[k]) - offset) * r.period_s;
        turned[k] = turned[k - 1] + flux / emf / RAD;
    }
    // The offset of the rotor's angle: where the first line says that the plate is near the end of the coast.
    let near: Vec<f64> =
        deg.iter().zip(&turned).filter(|(d, _)| **d < low + ANCHOR_DEG).map(|(d, t)| d - t).collect();
    let anchor = mean(&near)?;
    let of = |line: usize| -> Vec<Option<f64>> {
        let Some(ratio) = prepared.ratio[line].as_ref() else { return vec![None; bins] };
        let mut sums = vec![(0.0, 0.0, 0u32); bins];
        for (k, t) in turned.iter().enumerate() {
            let (x, y) = (t + anchor, f64::from(ratio[start + k]));
            let bin = (x / BIN_DEG).round();
            if y.is_finite() && bin >= 0.0 && bin < bins as f64 {
                let b = &mut sums[bin as usize];
                *b = (b.0 + y, b.1 + x - bin * BIN_DEG, b.2 + 1);
            }
        }
        // Where in its bin the plate was on average: a line that changes by `slope` a degree is taken to the bin's middle.
        let slope = slope_of(&sums);
        let middle = |(y, x, n): &(f64, f64, u32)| (*n >= 3).then(|| (y - slope * x) / f64::from(*n));
        sums.iter().map(middle).collect()
    };
    Some(Coast {
        bins: [of(0), of(1)],
        drift_deg: offset_error * (deg.len() as f64) * r.period_s / emf / RAD,
    })
}

/// Change of a line per degree, by the means of bins.
fn slope_of(sums: &[(f64, f64, u32)]) -> f64 {
    let seen = sums.iter().enumerate().filter(|(_, b)| b.2 >= 3);
    let (x, y): (Vec<f64>, Vec<f64>) =
        seen.map(|(k, b)| (k as f64 * BIN_DEG + b.1 / f64::from(b.2), b.0 / f64::from(b.2))).unzip();
    statistics::fit_line(&x, &y).map_or(0.0, |fit| fit.slope)
}

/// Mean over coasts per bin with its standard error; none of a line that no coast has.
fn along(coasts: &[Coast], line: usize, bins: usize) -> Option<Vec<Option<(f64, f64)>>> {
    let at = |k: usize| {
        let values: Vec<f64> = coasts.iter().filter_map(|c| c.bins[line][k]).collect();
        let n = values.len() as f64;
        let error = statistics::standard_deviation(&values).map_or(0.0, |s| s / n.sqrt());
        Some((mean(&values)?, error))
    };
    let all: Vec<Option<(f64, f64)>> = (0..bins).map(at).collect();
    all.iter().any(Option::is_some).then_some(all)
}

/// Linearity of each line against the rotor.
pub fn linearity(rotor: Option<&AgainstRotor>, travel_deg: f64) -> (Vec<Figure>, Vec<NotTestable>) {
    let (mut figures, mut missing) = (Vec::new(), Vec::new());
    let percent = 100.0 / travel_deg;
    for (line, channel) in Channel::SENSORS.into_iter().enumerate() {
        let Some((rotor, (worst, at))) = rotor.and_then(|r| Some((r, r.worst[line]?))) else {
            let what = format!("linearity {channel}");
            let why = "no coast with the bridge open went over most of the travel, so the rotor tells no angle: run creep and release";
            missing.push(NotTestable { what, why: why.to_owned() });
            continue;
        };
        let (from, to) = (rotor.deg[0], rotor.deg[rotor.deg.len() - 1]);
        figures.push(Figure {
            name: FigureName::LinearityIndependent,
            channel: Some(channel),
            value: percent * worst.value,
            budget: Budget::of(Source::Combined, percent * worst.uncertainty),
            upper_bound: None,
            added: 0.0,
            at_deg: Some(at),
            condition: Condition::NONE,
            definition: format!(
                "largest deviation from the line that makes it smallest (exact minimax), against the rotor's angle by its EMF, {} coasts, \
                 {from:.0} to {to:.0} deg, {BIN_DEG} deg means, of the line's span; the gears' own error counts {GEARS_DEG} deg",
                rotor.coasts
            ),
        });
    }
    let ends = "the rotor's angle is known where the plate coasts, not at the stops";
    for name in [FigureName::LinearityTerminal, FigureName::LinearityZeroBased] {
        missing.push(NotTestable { what: name.name().to_owned(), why: ends.to_owned() });
    }
    (figures, missing)
}

/// What the second line does against the first: hysteresis and repeatability over slow ramps, dead bands at the stops.
pub fn against_first(
    creep: Option<&Trace>,
    rest: Option<&Trace>,
    sheet: &PartSheet,
) -> (Vec<Figure>, Vec<NotTestable>) {
    const SECOND: usize = 1;
    let (mut figures, mut missing) = (Vec::new(), Vec::new());
    let named = |name: FigureName| format!("{} {}", name.name(), Channel::SENSORS[SECOND]);
    let slow = creep.map(without_coasts);
    match slow.as_ref().map(|t| Prepared::new(t, sheet)).filter(told_by_first) {
        Some(prepared) => {
            let (curves, calibration) = (Curves::new(&prepared, sheet), Calibration::of(&prepared, None));
            let cycles = prepared.cycles();
            let of = |f: &dyn Fn(&Curves) -> Option<Figure>| curves.as_ref().and_then(f);
            let rows = [
                (FigureName::Hysteresis, of(&|c| hysteresis::analyse(c, SECOND, &calibration, cycles))),
                (FigureName::Repeatability, of(&|c| repeatability::analyse(c, SECOND, &calibration))),
            ];
            for (name, figure) in rows {
                match figure {
                    Some(f) => figures.push(of_second(f)),
                    None => missing.push(NotTestable {
                        what: named(name),
                        why: "it needs both lines over slow ramps up and down: run creep".to_owned(),
                    }),
                }
            }
        }
        None => {
            let what = format!("hysteresis, repeatability {}", Channel::SENSORS[SECOND]);
            let why = "it needs both lines over slow ramps up and down: run creep".to_owned();
            missing.push(NotTestable { what, why });
        }
    }
    let stops = rest.map(|t| Prepared::new(t, sheet)).filter(told_by_first);
    let curves = stops.as_ref().and_then(|p| Curves::new(p, sheet));
    for (end, name) in [(End::Closed, FigureName::DeadBandClosed), (End::Open, FigureName::DeadBandOpen)] {
        let figure = stops.as_ref().zip(curves.as_ref()).and_then(|(p, c)| {
            dead_band::analyse(p, c, SECOND, end, &Calibration::of(p, None), sheet.travel_deg)
        });
        match figure {
            Some(f) => figures.push(of_second(f)),
            None => missing.push(NotTestable {
                what: named(name),
                why: "the plate was not seen to arrive at that stop with both lines: run rest".to_owned(),
            }),
        }
    }
    let what = format!("hysteresis, repeatability, dead bands {}", Channel::SENSORS[0]);
    let why = "nothing on the bench measures the plate's angle but the pair itself: the second line is held against the first";
    missing.push(NotTestable { what, why: why.to_owned() });
    (figures, missing)
}

fn told_by_first(prepared: &Prepared<'_>) -> bool {
    prepared.angle_source == AngleSource::FirstLine && prepared.ratio.iter().all(Option::is_some)
}

fn of_second(figure: Figure) -> Figure {
    let definition = format!("against the angle by the first line: {}", figure.definition);
    Figure { definition, ..figure }
}

/// The slow ramps alone: the trace up to where the plate is first let go.
fn without_coasts(trace: &Trace) -> Trace {
    let released = |kind: &MarkKind| match kind {
        MarkKind::Segment { segment, .. } => {
            matches!(trace.provenance.program.get(usize::from(*segment)), Some(Stimulus::Release { .. }))
        }
        _ => false,
    };
    let end = trace
        .marks
        .iter()
        .find(|m| released(&m.kind))
        .map_or(trace.len(), |m| trace.time_us.partition_point(|t| *t < m.at_us));
    let mut cut = trace.clone();
    cut.time_us.truncate(end);
    cut.columns.iter_mut().for_each(|c| c.values.truncate(end));
    cut.gaps.retain(|g| g.index < end);
    let last = cut.time_us.last().copied().unwrap_or(0);
    cut.marks.retain(|m| m.at_us <= last);
    cut
}
