//! Hysteresis of one line: the largest difference between both directions at one angle, in degrees of travel.
//!
//! 43 CFR 3175.135 takes the largest ascending-minus-descending difference at one input within a pair. Here the pairs are
//! averaged, the difference is taken as a mean over 2° (so that neither noise nor a bend shorter than the play makes it), and
//! it is divided by the line's mean slope: degrees. What remains of scatter between the 2° windows is taken out by shrinking
//! them towards their mean (empirical Bayes: James, Stein 1961). 1° at each stop is left out, where the play is not yet taken
//! up. It holds everything that lags with direction: play of the coupling and filters of the part as well. The lag of the
//! rig's own input filter is taken out (curves).

use super::Figure;
use super::curve::Curves;
use super::linearity::over;
use super::statistics;
use super::uncertainty::Calibration;
use crate::quantity::{Channel, FigureName};

/// Width of a window, degrees.
const WINDOW_DEG: f64 = 2.0;
/// Left out at each stop, degrees.
const EDGE_DEG: f64 = 1.0;
/// Timing between reference and lines that is not known better, standard uncertainty, µs. Engineering assumption.
const TIMING_US: f64 = 15.0;

/// Hysteresis of line `index`. None without both directions.
pub fn analyse(
    curves: &Curves,
    index: usize,
    calibration: &Calibration,
    speed_deg_s: f64,
    cycles: u32,
) -> Option<Figure> {
    let curve = curves.line[index].as_ref()?;
    let gap: Vec<f64> = curve.up.iter().zip(&curve.down).map(|(u, d)| (d - u) / curve.slope).collect();
    let (edge, width) = (curves.bins_in(EDGE_DEG), curves.bins_in(WINDOW_DEG));
    let inner = edge..gap.len().checked_sub(edge)?;
    if inner.len() < width {
        return None;
    }
    let mut windows: Vec<(f64, f64, f64)> = Vec::new();
    for start in inner.step_by(width) {
        let range = start..(start + width).min(gap.len() - edge);
        let known: Vec<usize> = range.filter(|k| gap[*k].is_finite()).collect();
        if 2 * known.len() < width {
            continue;
        }
        let n = known.len() as f64;
        let mean = known.iter().map(|k| gap[*k]).sum::<f64>() / n;
        let variance: f64 = known
            .iter()
            .map(|k| (curve.up_error[*k].powi(2) + curve.down_error[*k].powi(2)) / curve.slope.powi(2))
            .sum();
        let centre = known.iter().map(|k| curves.deg[*k]).sum::<f64>() / n;
        windows.push((mean, (variance / n).sqrt() / n.sqrt(), centre));
    }
    let values: Vec<f64> = windows.iter().map(|w| w.0).collect();
    let mean = statistics::mean(&values)?;
    let noise = windows.iter().map(|w| w.1 * w.1).sum::<f64>() / windows.len() as f64;
    let spread = statistics::standard_deviation(&values).map_or(0.0, |s| s * s);
    let kept = if spread > 0.0 { ((spread - noise) / spread).max(0.0) } else { 0.0 };
    let shrunk = |w: &(f64, f64, f64)| mean + kept * (w.0 - mean);
    let worst = windows.iter().max_by(|a, b| shrunk(a).abs().total_cmp(&shrunk(b).abs()))?;
    let timing = 2.0 * speed_deg_s * TIMING_US * 1e-6;
    let step = std::f64::consts::SQRT_2 * calibration.smoothed_step(index, curve.slope, WINDOW_DEG)
        / curve.slope.abs();
    // Scatter of the shrunk window, of the common mean, and of not knowing how much is real.
    let scatter = (kept.sqrt() * worst.1).hypot((noise / windows.len() as f64).sqrt());
    Some(Figure {
        name: FigureName::Hysteresis,
        channel: Some(Channel::SENSORS[index]),
        value: shrunk(worst).abs(),
        standard_uncertainty: scatter.hypot(timing).hypot(step),
        upper_bound: None,
        at_deg: Some(worst.2),
        definition: format!(
            "largest difference of both directions at one angle over the mean slope, {} averaged, means over {WINDOW_DEG} deg, \
             {EDGE_DEG} deg at each stop left out; play of the coupling included",
            over(cycles)
        ),
    })
}
