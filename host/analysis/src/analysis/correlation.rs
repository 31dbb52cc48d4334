//! Correlation of the two lines: what the second reads less what the sheet's line asks for, `r₂ − (m·r₁ + k)`.
//!
//! Worst: the largest magnitude over both directions' curves, smoothed over 0.5°. Offset: the mean over the travel. Slope: the
//! straight-line part from end to end. Worst scan: the largest magnitude of any single scan of the whole recording, at rests, turns and
//! lost contact too, which the averaged curve leaves out; so that no scan beyond a limit is without a figure. Noise alone makes the largest
//! of n scans stand out by z·σ, z the normal quantile of 1 − 1/2n (σ near that scan); that is taken off, and is the reach of its
//! uncertainty at 95 %: a scan beyond the limit is never within it. All in % of supply. Uncertainty: scatter (bootstrap); gains and offsets of both
//! converter channels and the supply, independent; the supply acts on the part of the residual that is `k` supplies; what the
//! loom drops and the rig's inputs draw (see `uncertainty`).

use super::budget::{Budget, Source};
use super::curve::Curves;
use super::dropout::{self, Wire};
use super::ends::{self, End};
use super::linearity::over;
use super::prepared::Prepared;
use super::smoothing::{SMOOTHING_DEG, Smoother};
use super::statistics;
use super::uncertainty::{Calibration, bootstrap};
use super::{Figure, PlotCurve};
use crate::quantity::{Condition, FigureName, Unit};
use crate::sheet::PartSheet;

/// Correlation of the pair.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Worst, offset, slope.
    pub figures: Vec<Figure>,
    /// Residual up and down, % of supply, smoothed.
    pub curves: Vec<PlotCurve>,
    /// Residual of every bin of both directions' mean curves, % of supply; for the histogram.
    pub deviations: Vec<f64>,
}

/// Correlation of the pair. None without both lines.
pub fn analyse(
    prepared: &Prepared<'_>,
    curves: &Curves,
    sheet: &PartSheet,
    calibration: &Calibration,
    cycles: u32,
) -> Option<Report> {
    let residual = Residual::new(curves, sheet)?;
    let smooth = Smoother::new(curves, 0.0);
    let n = curves.len();
    let joined: Vec<f64> = [residual.up.as_slice(), &residual.down].concat();
    let error: Vec<f64> = [residual.up_error.as_slice(), &residual.down_error].concat();
    let (_, at) = worst(&smooth, &joined, n)?;
    let [corrected] = bootstrap(&joined, &error, 0xC044, |y| worst(&smooth, y, n).map(|w| [w.0]))?;
    let place = at % n;
    let ratios = residual.ratios_at(place);
    let (offset, mean_ratios) = (statistics::mean(&residual.mean)?, residual.mean_ratios());
    let fit = statistics::fit_line(&curves.deg, &residual.mean)?;
    let travel = ends::travel_deg(prepared, curves);
    let unseen = Unseen::of(prepared, curves, sheet, &fit);
    let bins = joined.iter().filter(|v| v.is_finite()).count() as f64;
    let scatter = statistics::mean(&error).unwrap_or(0.0);
    let swing = residual.swing();
    let m = residual.m;
    let figure = |name, value: f64, budget: Budget, at_deg, what: &str| Figure {
        name,
        channel: None,
        value: 100.0 * value,
        budget: budget.scaled(100.0),
        upper_bound: None,
        added: 0.0,
        at_deg,
        condition: Condition::NONE,
        definition: format!(
            "{what} of second - ({m:.4} x first + {:.4}) in ratios of supply, the sheet's line, {}",
            residual.k,
            over(cycles)
        ),
    };
    let figures = vec![
        figure(
            FigureName::CorrelationWorst,
            corrected.value,
            corrected.budget().with(Source::Stop, unseen.beyond(corrected.value)).and(&at_rest(
                calibration,
                m,
                ratios,
            )),
            Some(curves.deg[place]),
            &format!(
                "largest magnitude over both directions, smoothed over {SMOOTHING_DEG} deg, scatter's share taken off,"
            ),
        ),
        figure(
            FigureName::CorrelationOffset,
            offset + unseen.offset,
            Budget::of(Source::Scatter, scatter / bins.sqrt())
                .with(Source::Stop, unseen.of_offset())
                .and(&at_rest(calibration, m, mean_ratios)),
            None,
            "mean over the travel, both directions,",
        ),
        figure(
            FigureName::CorrelationSlope,
            fit.slope * (travel + unseen.deg),
            // Scatter alone; a bend of the residual is not scatter. σ of a slope from n even points: σ√12/(L√n).
            Budget::of(Source::Scatter, scatter * (12.0 / bins).sqrt())
                .with(Source::Angle, fit.slope * prepared.angle_noise_deg)
                .with(Source::Stop, unseen.of_slope())
                .and(&of_change(calibration, m, swing)),
            None,
            "straight-line part from end to end, least squares over equal steps of travel,",
        ),
    ];
    let deviations = joined.iter().filter(|v| v.is_finite()).map(|v| 100.0 * v).collect();
    Some(Report { figures, curves: plots(&residual, &smooth), deviations })
}

/// Reach of an uncertainty that verdicts need on one side, standard uncertainties: 95 % of a normal distribution.
const GUARD: f64 = 1.644_853_626_951_472_2;
/// A time between the lines that is not known, µs: a logger that takes one channel after the other. Rectangular; a rig's is small.
const UNKNOWN_SKEW_US: f64 = 200.0;
/// Scans on each side of one that show the noise there.
const NEAR: usize = 64;
/// Lines come back so long after a supply that was lost, µs.
const AFTER_SUPPLY_US: f64 = 2000.0;

/// The largest residual of any scan, noise counted. None without both lines. Scans in which the supply itself was lost are left out:
/// they have findings of their own, and no ratio.
pub fn momentary(
    prepared: &Prepared<'_>,
    sheet: &PartSheet,
    calibration: &Calibration,
    dropouts: &dropout::Report,
) -> Option<Figure> {
    let (first, second) = (prepared.ratio[0].as_deref()?, prepared.ratio[1].as_deref()?);
    let (m, k) = sheet.correlation_line();
    let (slope, offset) = (m as f32, k as f32);
    let after = (AFTER_SUPPLY_US / prepared.period_us.max(1.0)).ceil() as usize + 1;
    let mut without = dropouts
        .events
        .iter()
        .filter(|e| e.wire == Wire::Supply)
        .map(|e| e.scans.start.saturating_sub(after)..e.scans.end + after)
        .peekable();
    let (mut at, mut largest, mut scans) = (None, -1.0f32, 0u64);
    for i in 0..first.len() {
        while without.peek().is_some_and(|w| w.end <= i) {
            without.next();
        }
        let away = (second[i] - slope * first[i] - offset).abs();
        if away.is_finite() && !without.peek().is_some_and(|w| w.contains(&i)) {
            scans += 1;
            if away > largest {
                (at, largest) = (Some(i), away);
            }
        }
    }
    let at = at?;
    let near = at.saturating_sub(NEAR)..(at + NEAR + 1).min(first.len());
    let mut residual: Vec<f32> = near.clone().map(|i| second[i] - slope * first[i] - offset).collect();
    residual.retain(|v| v.is_finite());
    let noise = dropout::noise(&residual).max(dropouts.noise.unwrap_or(0.0));
    let by_noise = noise * statistics::normal_quantile(1.0 - 0.5 / scans.max(2) as f64);
    let value = (f64::from(largest) - by_noise).max(0.0);
    let moved = f64::from(second[near.end - 1] - second[near.start]).abs() / (near.len() - 1).max(1) as f64;
    let late = if prepared.trace.provenance.rig.is_some() { 0.0 } else { UNKNOWN_SKEW_US / 3.0f64.sqrt() };
    let skew = if moved.is_finite() { moved * late / prepared.period_us.max(1.0) } else { 0.0 };
    let ratios = (f64::from(first[at]), f64::from(second[at]));
    let budget = Budget::of(Source::Scatter, by_noise / GUARD).with(Source::Lag, skew).and(&at_rest(
        calibration,
        m,
        ratios,
    ));
    Some(Figure {
        name: FigureName::CorrelationMomentary,
        channel: None,
        value: 100.0 * value,
        budget: budget.scaled(100.0),
        upper_bound: None,
        added: 0.0,
        at_deg: prepared.deg.get(at).map(|d| f64::from(*d)).filter(|d| d.is_finite()),
        condition: Condition::NONE,
        definition: format!(
            "largest magnitude of second - ({m:.4} x first + {k:.4}) in ratios of supply of any single scan, {:.3} %, less the {:.3} % by \
             which noise makes the largest of {scans} scans stand out",
            100.0 * largest,
            100.0 * by_noise
        ),
    })
}

/// The residual of each direction, smoothed, % of supply.
fn plots(residual: &Residual<'_>, smooth: &Smoother) -> Vec<PlotCurve> {
    [("up", &residual.up), ("down", &residual.down)]
        .into_iter()
        .filter(|(_, y)| y.iter().any(|v| v.is_finite()))
        .map(|(direction, y)| PlotCurve {
            name: "correlation_residual",
            channel: None,
            direction,
            unit: Unit::PercentSupply,
            deg: residual.curves.deg.clone(),
            y: smooth.apply(y).iter().map(|v| 100.0 * v).collect(),
        })
        .collect()
}

/// Largest magnitude and its index among up, then down.
fn worst(smooth: &Smoother, joined: &[f64], n: usize) -> Option<(f64, usize)> {
    let smoothed: Vec<f64> = [smooth.apply(&joined[..n]), smooth.apply(&joined[n..])].concat();
    let (at, value) = smoothed
        .iter()
        .map(|v| v.abs())
        .enumerate()
        .filter(|(_, v)| v.is_finite())
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some((value, at))
}

/// Uncertainty of a residual at ratios (r₁, r₂).
fn at_rest(c: &Calibration, m: f64, (r1, r2): (f64, f64)) -> Budget {
    let mut out = Budget::of(Source::Supply, (r2 - m * r1) * c.supply)
        .with(Source::Loom, wires(c, r2 - m * r1, 1.0 - r2 - m * (1.0 - r1)))
        .with(Source::Loading, loading(c, m, (r1, r2)));
    for (line, factor, ratio) in [(0, m, r1), (1, 1.0, r2)] {
        let l = c.line[line];
        out.add(Source::Gain, factor * ratio * l.gain);
        out.add(Source::Offset, factor * l.offset / c.supply_volts);
        out.add(Source::Steps, factor * l.resolution / 12.0f64.sqrt() / c.supply_volts);
    }
    out
}

/// Uncertainty of a change of the residual over which the lines change by (Δr₁, Δr₂).
fn of_change(c: &Calibration, m: f64, (d1, d2): (f64, f64)) -> Budget {
    Budget::of(Source::Gain, m * d1 * c.line[0].gain)
        .with(Source::Gain, d2 * c.line[1].gain)
        .with(Source::Supply, (d2 - m * d1) * c.supply)
        .with(Source::Loom, wires(c, d2 - m * d1, d2 - m * d1))
        .with(Source::Loading, loading(c, m, (d1, d2)))
}

/// What a drop in the supply wire, and one in the return, that are not known do to the residual.
fn wires(c: &Calibration, supply: f64, ground: f64) -> f64 {
    (supply * c.wire[0]).hypot(ground * c.wire[1]) / c.supply_volts
}

/// The rig's input draws both lines down: where m is negative both add up, else the larger shows.
fn loading(c: &Calibration, m: f64, (r1, r2): (f64, f64)) -> f64 {
    let (first, second) = (-m * c.most_loaded(0, r1), c.most_loaded(1, r2));
    let most = if m < 0.0 { first + second } else { first.abs().max(second) };
    most / 3.0f64.sqrt()
}

/// What a recording that stops short leaves open of figures over the whole travel: the straight line is carried on to the stop, and the
/// residual there may leave it by twice what it leaves it by where it was seen. Engineering assumption.
struct Unseen {
    /// Travel that was not seen, degrees.
    deg: f64,
    /// Its share of the whole travel, 0..1.
    share: f64,
    /// What the mean moves by when the line is carried on, ratio of supply.
    offset: f64,
    /// What the residual leaves its line by, one standard deviation, ratio of supply.
    apart: f64,
    /// Largest magnitude of the line at an end that was not seen, ratio of supply; 0 where both were.
    at_end: f64,
}

impl Unseen {
    fn of(prepared: &Prepared<'_>, curves: &Curves, sheet: &PartSheet, fit: &statistics::LineFit) -> Self {
        let (low, high) = (curves.deg[0], curves.deg[curves.len() - 1]);
        let reached = |end| ends::reached(prepared, sheet.travel_deg, end);
        let from = if reached(End::Closed) { low } else { low.min(0.0) };
        let to = if reached(End::Open) { high } else { high.max(sheet.travel_deg) };
        let deg = (low - from) + (to - high);
        let at = |end: f64, seen: f64| if end == seen { 0.0 } else { fit.at(end).abs() };
        Self {
            deg,
            share: deg / (to - from),
            offset: fit.slope * 0.5 * (from + to - low - high),
            apart: 2.0 * fit.residual_sd,
            at_end: at(from, low).max(at(to, high)),
        }
    }

    /// What the mean may be off by: the unseen share of it.
    fn of_offset(&self) -> f64 {
        self.share * self.apart
    }

    /// What the slope from end to end may be off by: a step d over the last share s of the travel adds 6·d·s·(1 − s) to it.
    fn of_slope(&self) -> f64 {
        6.0 * self.apart * self.share * (1.0 - self.share)
    }

    /// By how much the worst may lie beyond what was seen, rectangular.
    fn beyond(&self, worst: f64) -> f64 {
        if self.deg > 0.0 { (self.at_end + self.apart - worst).max(0.0) / 3.0f64.sqrt() } else { 0.0 }
    }
}

/// The residual on the grid, ratios of supply.
struct Residual<'a> {
    curves: &'a Curves,
    m: f64,
    k: f64,
    up: Vec<f64>,
    down: Vec<f64>,
    mean: Vec<f64>,
    up_error: Vec<f64>,
    down_error: Vec<f64>,
}

impl<'a> Residual<'a> {
    fn new(curves: &'a Curves, sheet: &PartSheet) -> Option<Self> {
        let (first, second) = (curves.line[0].as_ref()?, curves.line[1].as_ref()?);
        let (m, k) = sheet.correlation_line();
        let of = |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| b - m * a - k).collect() };
        let both =
            |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| b.hypot(m * a)).collect() };
        let (up, down) = (of(&first.up, &second.up), of(&first.down, &second.down));
        let mean = up.iter().zip(&down).map(|(u, d)| match (u.is_finite(), d.is_finite()) {
            (true, true) => 0.5 * (u + d),
            (true, false) => *u,
            _ => *d,
        });
        let mean: Vec<f64> = mean.collect();
        let (up_error, down_error) =
            (both(&first.up_error, &second.up_error), both(&first.down_error, &second.down_error));
        mean.iter().any(|v| v.is_finite()).then_some(Self {
            curves,
            m,
            k,
            up,
            down,
            mean,
            up_error,
            down_error,
        })
    }

    fn line(&self, index: usize) -> &[f64] {
        self.curves.line[index].as_ref().map_or(&[], |l| &l.mean)
    }

    fn ratios_at(&self, bin: usize) -> (f64, f64) {
        let at = |index: usize| {
            let y = self.line(index);
            y.get(bin).copied().filter(|v| v.is_finite()).or_else(|| statistics::mean(y)).unwrap_or(0.5)
        };
        (at(0), at(1))
    }

    fn mean_ratios(&self) -> (f64, f64) {
        let at = |index: usize| statistics::mean(self.line(index)).unwrap_or(0.5);
        (at(0), at(1))
    }

    fn swing(&self) -> (f64, f64) {
        let at = |index: usize| self.curves.line[index].as_ref().map_or(0.0, |l| l.span * l.slope.signum());
        (at(0), at(1))
    }
}
