//! Linearity of one line against the reference: independent, terminal and zero-based, and the deviation curves.
//!
//! Conventions (potentiometer standard as quoted in makers' handbooks): independent: the line that minimises the largest
//! deviation; terminal: the line through both ends of travel; zero-based: the line through the closed end that minimises it.
//! All on the average of both directions (43 CFR 3175.135), smoothed over 0.5°, in % of the line's own output span. The ends
//! are the outputs at rest on both stops; without rests there, straight fits through the first and last 1°. Uncertainty: scatter
//! (bootstrap), that of the ends, eccentricity left in the reference
//! (its bend over this travel), what the rig's input draws from a track, resolution. Gains and offsets of the converter cancel.

use super::curve::{Curves, LineCurve, window_mean};
use super::ends::{self, End};
use super::line::{self, Line};
use super::prepared::Prepared;
use super::statistics;
use super::uncertainty::{Calibration, bootstrap, eccentricity_gain};
use super::{Figure, PlotCurve};
use crate::quantity::{Channel, Condition, FigureName, Unit};

/// Curves are smoothed over this much before a maximum is taken, degrees.
pub const SMOOTHING_DEG: f64 = 0.5;
/// Where there was no rest on the stops, ends of travel are straight fits over this much, degrees.
const END_FIT_DEG: f64 = 1.0;

/// Linearity of one line.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Independent, terminal, zero-based.
    pub figures: Vec<Figure>,
    /// Deviations from the independent line: up, down and mean, % of span.
    pub curves: Vec<PlotCurve>,
    /// The mean's deviations, % of span, one per bin of travel; for the histogram.
    pub deviations: Vec<f64>,
}

/// Linearity of line `index`. None without its curve.
pub fn analyse(
    prepared: &Prepared<'_>,
    curves: &Curves,
    index: usize,
    calibration: &Calibration,
    cycles: u32,
) -> Option<Report> {
    let curve = curves.line[index].as_ref()?;
    let smooth = Smoother::new(curves, curve.slope);
    let rests = at_rest(prepared, curves, curve, index);
    let (lines, ends) = three_lines(curves, &smooth, &curve.mean, rests)?;
    let end_errors = [0.0, ends[0].error.hypot(ends[1].error), ends[0].error];
    let percent = 100.0 / curve.span;
    let corrected = bootstrap(&curve.mean, &curve.mean_error, 0x11E4 + index as u64, |y| {
        three_lines(curves, &smooth, y, rests).map(|(l, _)| l.map(|l| l.deviation))
    })?;
    let travel = curves.deg[curves.len() - 1] - curves.deg[0];
    let bend = eccentricity_gain(travel);
    let loading = calibration.loading_bend(index);
    let channel = Some(Channel::SENSORS[index]);
    let names =
        [FigureName::LinearityIndependent, FigureName::LinearityTerminal, FigureName::LinearityZeroBased];
    let conventions = [
        "the line that makes it smallest (exact minimax over all grid points)",
        "the line through both ends of travel",
        "the line through the closed end that makes it smallest",
    ];
    let figures = (0..3)
        .map(|i| {
            let reference = calibration.reference.offset * bend[i] * curve.slope.abs();
            let step = calibration.smoothed_step(index, curve.slope, SMOOTHING_DEG);
            let other = corrected[i].scatter.hypot(end_errors[i]).hypot(loading[i]).hypot(step);
            Figure {
                name: names[i],
                channel,
                value: percent * corrected[i].value,
                standard_uncertainty: percent * other.hypot(reference),
                upper_bound: None,
                added: 0.0,
                at_deg: Some(lines[i].at),
                condition: Condition::NONE,
                definition: format!(
                    "largest deviation of the up/down average from {}, {}, smoothed over {SMOOTHING_DEG} deg, of the line's \
                     span; scatter's share in the maximum taken off",
                    conventions[i],
                    over(cycles)
                ),
            }
        })
        .collect();
    let (curves, deviations) = plots(curves, curve, &smooth, &lines[0], percent, channel);
    Some(Report { figures, curves, deviations })
}

/// "3 cycles", for definitions.
pub fn over(cycles: u32) -> String {
    match cycles {
        0 => "no full cycle".into(),
        1 => "1 cycle".into(),
        n => format!("{n} cycles"),
    }
}

/// Smoothing that does not bend at the ends: a straight line is taken out first.
pub struct Smoother {
    half: usize,
    trend: Vec<f64>,
}

impl Smoother {
    /// For curves with about this slope, ratio per degree.
    pub fn new(curves: &Curves, slope: f64) -> Self {
        let half = curves.bins_in(SMOOTHING_DEG) / 2;
        Self { half, trend: curves.deg.iter().map(|d| slope * d).collect() }
    }

    /// Smoothed; NaN where `y` is NaN.
    pub fn apply(&self, y: &[f64]) -> Vec<f64> {
        let flat: Vec<f64> = y.iter().zip(&self.trend).map(|(y, t)| y - t).collect();
        let mut out = window_mean(&flat, self.half);
        for k in 0..y.len() {
            out[k] = if y[k].is_finite() { out[k] + self.trend[k] } else { f64::NAN };
        }
        out
    }
}

/// An end of travel as a point of the curve.
#[derive(Clone, Copy, Debug)]
struct EndPoint {
    deg: f64,
    ratio: f64,
    /// Standard error of the ratio.
    error: f64,
}

/// Both ends from the rests on the stops. The curve is the middle of both directions: what is read at an angle while the play
/// is taken up belongs half a play further on. None without a rest on both.
fn at_rest(
    prepared: &Prepared<'_>,
    curves: &Curves,
    curve: &LineCurve,
    index: usize,
) -> Option<[EndPoint; 2]> {
    let half = 0.5 * curve.hysteresis_deg?;
    let end = |end: End, inwards: f64| {
        let stop = ends::stop(prepared, curves, index, end).filter(|s| s.visits > 0)?;
        let place = curve.slope.abs() * prepared.angle_noise_deg / 12.0f64.sqrt();
        Some(EndPoint { deg: stop.deg + inwards, ratio: stop.ratio, error: stop.scatter.hypot(place) })
    };
    Some([end(End::Closed, half)?, end(End::Open, -half)?])
}

/// Independent, terminal and zero-based line, and the ends that the latter two go through.
fn three_lines(
    curves: &Curves,
    smooth: &Smoother,
    mean: &[f64],
    rests: Option<[EndPoint; 2]>,
) -> Option<([Line; 3], [EndPoint; 2])> {
    let smoothed = smooth.apply(mean);
    let points: Vec<(f64, f64)> =
        curves.deg.iter().copied().zip(smoothed.iter().copied()).filter(|p| p.1.is_finite()).collect();
    let n = points.len();
    if n < 10 {
        return None;
    }
    let fit = curves.bins_in(END_FIT_DEG).clamp(3, n);
    let fitted = |points: &[(f64, f64)], at: f64| {
        let (x, y): (Vec<f64>, Vec<f64>) = points.iter().map(|p| (p.0 - at, p.1)).unzip();
        let fit = statistics::fit_line(&x, &y)?;
        let (_, widened) = statistics::widened_by_resemblance(&x, &y, &fit);
        Some(EndPoint { deg: at, ratio: fit.intercept, error: widened * fit.intercept_error })
    };
    let ends = match rests {
        Some(rests) => rests,
        None => [fitted(&points[..fit], points[0].0)?, fitted(&points[n - fit..], points[n - 1].0)?],
    };
    let [closed, open] = ends.map(|e| (e.deg, e.ratio));
    let lines =
        [line::minimax(&points)?, line::terminal(&points, closed, open)?, line::zero_based(&points, closed)?];
    Some((lines, ends))
}

fn plots(
    curves: &Curves,
    curve: &LineCurve,
    smooth: &Smoother,
    independent: &Line,
    percent: f64,
    channel: Option<Channel>,
) -> (Vec<PlotCurve>, Vec<f64>) {
    let deviation = |y: &[f64]| -> Vec<f64> {
        smooth.apply(y).iter().zip(&curves.deg).map(|(y, d)| percent * (y - independent.value(*d))).collect()
    };
    let plot = |direction, y| PlotCurve {
        name: "linearity_deviation",
        channel,
        direction,
        unit: Unit::PercentSpan,
        deg: curves.deg.clone(),
        y,
    };
    let mean = deviation(&curve.mean);
    let finite = mean.iter().copied().filter(|v| v.is_finite()).collect();
    let all = [("up", deviation(&curve.up)), ("down", deviation(&curve.down)), ("mean", mean)];
    let seen = all.into_iter().filter(|(_, y)| y.iter().any(|v| v.is_finite()));
    (seen.map(|(direction, y)| plot(direction, y)).collect(), finite)
}
