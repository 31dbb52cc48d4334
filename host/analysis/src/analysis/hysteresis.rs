//! Hysteresis of one line: the largest difference between both directions at one angle, in degrees of travel.
//!
//! 43 CFR 3175.135 takes the largest ascending-minus-descending difference at one input within a pair. Here the pairs are
//! averaged, the difference is taken as a mean over 2° (so that neither noise nor a bend shorter than the play makes it), and
//! it is divided by the line's own slope over
//! those 2°: degrees. What remains of scatter between the 2° windows is taken out by shrinking
//! them towards their mean (empirical Bayes: James, Stein 1961). 1° at each stop is left out, and as much as the play where that
//! is more: there it is not yet taken up. It holds the play of the coupling as well. What lags with speed is no hysteresis: a lag that strokes of different
//! speeds show is taken out, else that of the rig's own input filter (curves); then the part's own delay is still in it.

use super::Figure;
use super::budget::{Budget, Source};
use super::curve::{Curves, LineCurve};
use super::linearity::over;
use super::prepared::Direction;
use super::statistics;
use super::uncertainty::Calibration;
use crate::quantity::{Channel, Condition, FigureName};
use std::ops::Range;

/// Width of a window, degrees.
const WINDOW_DEG: f64 = 2.0;
/// From one window to the next, degrees.
const STRIDE_DEG: f64 = 0.5;
/// Left out at each stop at least, degrees.
const EDGE_DEG: f64 = 1.0;
/// Timing between reference and lines that is not known better, standard uncertainty, µs. Engineering assumption.
const TIMING_US: f64 = 15.0;

/// Hysteresis of line `index`. None without both directions.
pub fn analyse(curves: &Curves, index: usize, calibration: &Calibration, cycles: u32) -> Option<Figure> {
    let curve = curves.line[index].as_ref()?;
    let gap: Vec<f64> = curve.up.iter().zip(&curve.down).map(|(u, d)| d - u).collect();
    let windows = windows(curves, index, curve, &gap)?;
    let values: Vec<f64> = windows.iter().map(|w| w.play).collect();
    let mean = statistics::mean(&values)?;
    let noise = windows.iter().map(|w| w.error * w.error).sum::<f64>() / windows.len() as f64;
    let spread = statistics::standard_deviation(&values).map_or(0.0, |s| s * s);
    let kept = if spread > 0.0 { ((spread - noise) / spread).max(0.0) } else { 0.0 };
    let shrunk = |w: &Window| mean + kept.sqrt() * (w.play - mean);
    let worst = windows.iter().max_by(|a, b| a.play.abs().total_cmp(&b.play.abs()))?;
    // What the shrinking took may be real, evenly between nothing and all of it: JCGM 100, 4.3.7.
    let taken = (worst.play - shrunk(worst)) / 3.0_f64.sqrt();
    let timing = 2.0 * curve.speed_deg_s * curve.lag.map_or(TIMING_US * 1e-6, |l| l.error);
    let step = std::f64::consts::SQRT_2 * calibration.smoothed_step(index, curve.slope, WINDOW_DEG)
        / curve.slope.abs();
    // Scatter of the shrunk window, of the common mean, and of not knowing how much is real. Windows overlap.
    let apart = (windows.len() as f64 * STRIDE_DEG / WINDOW_DEG).max(1.0);
    let scatter = (kept.sqrt() * worst.error).hypot((noise / apart).sqrt());
    // The slope that turns a ratio into degrees may be the window's own or that of the whole line: rectangular within both.
    let by_whole = |w: &Window| (w.play * w.slope / curve.slope).abs();
    let whole = windows.iter().map(by_whole).fold(0.0, f64::max);
    let slopes = (whole - worst.play.abs()).abs() / 3.0_f64.sqrt();
    Some(Figure {
        name: FigureName::Hysteresis,
        channel: Some(Channel::SENSORS[index]),
        value: shrunk(worst).abs(),
        budget: Budget::of(Source::Scatter, scatter)
            .with(Source::Lag, timing)
            .with(Source::Steps, step)
            .with(Source::Algorithm, taken.hypot(slopes)),
        upper_bound: None,
        added: 0.0,
        at_deg: Some(worst.centre),
        condition: Condition::NONE,
        definition: format!(
            "largest difference of both directions at one angle over the local slope, {} averaged, means over {WINDOW_DEG} deg, \
             {EDGE_DEG} deg or the play at each stop left out; play of the coupling included, {}",
            over(cycles),
            match curve.lag {
                Some(lag) => format!("a lag of {:.0} us taken out", 1e6 * lag.seconds),
                None => "so is any delay of the part at this one speed".to_owned(),
            }
        ),
    })
}

/// Mean difference over the local slope, its standard error, and the centre; degrees.
struct Window {
    play: f64,
    /// Slope that it was divided by, ratio per degree.
    slope: f64,
    error: f64,
    centre: f64,
    bins: Range<usize>,
}

/// Windows over the travel without its ends. None when there is none.
fn windows(curves: &Curves, index: usize, curve: &LineCurve, gap: &[f64]) -> Option<Vec<Window>> {
    let play = curve.hysteresis_deg.unwrap_or(0.0).abs();
    let (edge, width) = (curves.bins_in(EDGE_DEG.max(play)), curves.bins_in(WINDOW_DEG));
    let end = gap.len().checked_sub(edge)?;
    let mut out = Vec::new();
    for start in (edge..end.saturating_sub(width - 1)).step_by(curves.bins_in(STRIDE_DEG)) {
        let known: Vec<usize> = (start..start + width).filter(|k| gap[*k].is_finite()).collect();
        if 2 * known.len() < width {
            continue;
        }
        let n = known.len() as f64;
        // A play h moves the curve by ±h/2: the mean difference over a window is h times the window's own secant slope, to
        // first order. A flat spot may take the slope away: half of the mean slope is the least.
        let (a, b) = (known[0], known[known.len() - 1]);
        let secant = (curve.mean[b] - curve.mean[a]) / (curves.deg[b] - curves.deg[a]);
        let least = 0.5 * curve.slope;
        let slope = if secant.is_finite() && secant / least >= 1.0 { secant } else { curve.slope };
        let variance: f64 =
            known.iter().map(|k| curve.up_error[*k].powi(2) + curve.down_error[*k].powi(2)).sum();
        out.push(Window {
            play: known.iter().map(|k| gap[*k]).sum::<f64>() / n / slope,
            slope,
            error: variance.sqrt() / n / slope.abs(),
            centre: known.iter().map(|k| curves.deg[*k]).sum::<f64>() / n,
            bins: start..start + width,
        });
    }
    let scatter = scatter(curves, index, &out);
    for w in &mut out {
        w.error = w.error.max(scatter.unwrap_or(0.0) / curve.slope.abs());
    }
    (!out.is_empty()).then_some(out)
}

/// Standard error of a window's difference, ratio, from how its mean scatters between strokes of one direction; pooled over the
/// windows. It holds what neighbouring bins share. None with fewer than two strokes of either direction.
fn scatter(curves: &Curves, index: usize, windows: &[Window]) -> Option<f64> {
    let mut sum = 0.0;
    for direction in [Direction::Up, Direction::Down] {
        let strokes: Vec<&[f64]> = curves
            .of(direction)
            .map(|s| s.ratio[index].as_slice())
            .filter(|ratio| !ratio.is_empty())
            .collect();
        let mut variances = Vec::with_capacity(windows.len());
        for w in windows {
            let means: Vec<f64> = strokes
                .iter()
                .map(|y| y[w.bins.clone()].iter().sum::<f64>() / w.bins.len() as f64)
                .filter(|m| m.is_finite())
                .collect();
            if let Some(sd) = statistics::standard_deviation(&means).filter(|_| means.len() > 1) {
                variances.push(sd * sd / means.len() as f64);
            }
        }
        sum += statistics::mean(&variances)?;
    }
    Some(sum.sqrt())
}
