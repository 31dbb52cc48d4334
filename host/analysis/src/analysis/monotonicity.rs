//! Stretches where a line runs backwards against the grip, beyond scatter.

use super::curve::Curves;
use super::smoothing::Smoother;

/// Least retreat that counts, share of the span.
const LEAST: f64 = 0.002;

/// The largest retreat of a line: from and to in degrees, and its size in % of span. None when the line is monotone.
pub fn worst_reversal(curves: &Curves, line: usize) -> Option<(f64, f64, f64)> {
    let curve = curves.line[line].as_ref()?;
    let smooth = Smoother::new(curves, curve.slope);
    let sign = curve.slope.signum();
    let mut worst: Option<(f64, f64, f64)> = None;
    for (y, error) in [(&curve.up, &curve.up_error), (&curve.down, &curve.down_error)] {
        let mut crest: Option<(f64, f64)> = None;
        for (k, v) in smooth.apply(y).into_iter().enumerate().filter(|(_, v)| v.is_finite()) {
            let level = sign * v;
            let (at, top) = *crest.get_or_insert((curves.deg[k], level));
            if level >= top {
                crest = Some((curves.deg[k], level));
            } else if top - level > (LEAST * curve.span).max(6.0 * error[k])
                && worst.is_none_or(|w| 100.0 * (top - level) / curve.span > w.2)
            {
                worst = Some((at, curves.deg[k], 100.0 * (top - level) / curve.span));
            }
        }
    }
    worst
}
