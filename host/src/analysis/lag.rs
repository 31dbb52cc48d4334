//! Time by which a line, or one line against another, lags: told from strokes of one direction at different speeds.
//!
//! At speed v a lag of τ moves a line by −slope·v·τ; play does not change with speed. So τ is the regression of the reading on
//! speed within each direction and place. Needs strokes of different speeds; it is no figure.

use super::curve::StrokeCurve;
use super::prepared::Direction;

/// Least spread of speeds, relative (1 sd), for the regression.
const SPREAD: f64 = 0.10;
/// Fewest readings beyond one per place and direction.
const FEWEST: u64 = 100;
/// Speed at a place is taken from this far before to as far after it, degrees.
const REACH_DEG: f64 = 0.5;

/// A lag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// Seconds; positive = later.
    pub seconds: f64,
    /// Its standard error.
    pub error: f64,
}

/// Lag of `weights[0]·first + weights[1]·second`, whose slope is `slope` (ratio per degree), on a grid of angles `deg` with
/// pitch `step_deg`. None when the speeds are too much alike, or a line that counts was not recorded.
pub fn by_speed(
    deg: &[f64],
    strokes: &[StrokeCurve],
    step_deg: f64,
    weights: [f64; 2],
    slope: f64,
) -> Option<Lag> {
    let counts = |line: usize| weights[line] != 0.0;
    let (mut sxx, mut sxy, mut syy, mut n, mut v2) = (0.0, 0.0, 0.0, 0u64, 0.0);
    for direction in [Direction::Up, Direction::Down] {
        let strokes: Vec<(&StrokeCurve, Vec<f64>)> = strokes
            .iter()
            .filter(|s| s.direction == direction)
            .filter(|s| (0..2).all(|line| !counts(line) || !s.ratio[line].is_empty()))
            .map(|s| (s, speeds(deg, s, step_deg)))
            .collect();
        let reading = |s: &StrokeCurve, k: usize| -> f64 {
            (0..2).filter(|line| counts(*line)).map(|line| weights[line] * s.ratio[line][k]).sum()
        };
        for k in 0..deg.len() {
            let here: Vec<(f64, f64)> = strokes
                .iter()
                .map(|(s, v)| (v[k], reading(s, k)))
                .filter(|p| p.0.is_finite() && p.1.is_finite())
                .collect();
            if here.len() < 2 {
                continue;
            }
            let count = here.len() as f64;
            let (mv, me) = here.iter().fold((0.0, 0.0), |a, p| (a.0 + p.0 / count, a.1 + p.1 / count));
            for (v, e) in &here {
                sxx += (v - mv).powi(2);
                sxy += (v - mv) * (e - me);
                syy += (e - me).powi(2);
                v2 += mv * mv;
            }
            n += here.len() as u64 - 1;
        }
    }
    if n < FEWEST || sxx < SPREAD * SPREAD * v2 || slope == 0.0 {
        return None;
    }
    let b = sxy / sxx;
    let residual = ((syy - b * sxy).max(0.0) / (n - 1) as f64).sqrt();
    Some(Lag { seconds: -b / slope, error: (residual / sxx.sqrt() / slope).abs() })
}

/// Signed speed at each place, degrees per second.
pub(super) fn speeds(deg: &[f64], stroke: &StrokeCurve, step_deg: f64) -> Vec<f64> {
    let reach = ((REACH_DEG / step_deg).round() as usize).max(1);
    (0..deg.len())
        .map(|k| {
            let (a, b) = (k.saturating_sub(reach), (k + reach).min(deg.len() - 1));
            (deg[b] - deg[a]) / (stroke.seconds[b] - stroke.seconds[a])
        })
        .collect()
}
