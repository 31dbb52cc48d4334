//! A channel's static transfer curve on a fine grid of grip angle, and what is true of it. No noise, no wires, no hysteresis.

use serde::{Deserialize, Serialize};

/// First angle of the grid, degrees.
pub const FROM_DEG: f64 = -10.0;
/// Last angle of the grid, degrees.
pub const TO_DEG: f64 = 95.0;
/// Pitch of the grid, degrees.
pub const PITCH_DEG: f64 = 0.02;
/// Points of the grid.
pub const POINTS: usize = 5251;

/// Ratio of supply against grip angle.
#[derive(Clone, Debug)]
pub struct Curve {
    ratio: Vec<f64>,
}

/// Angle of grid point `i`, degrees.
pub fn angle(i: usize) -> f64 {
    FROM_DEG + PITCH_DEG * i as f64
}

impl Curve {
    /// Tabulates `f` over the grid. Outputs cannot leave 0 to 1.
    pub fn tabulate(f: impl FnMut(usize) -> f64) -> Self {
        Self { ratio: (0..POINTS).map(f).map(|r| r.clamp(0.0, 1.0)).collect() }
    }

    /// Ratio of supply at an angle in degrees; the grid's end values beyond its ends.
    #[inline]
    pub fn at(&self, deg: f64) -> f64 {
        let x = ((deg - FROM_DEG) * (1.0 / PITCH_DEG)).clamp(0.0, (POINTS - 1) as f64 - 1e-6);
        let i = x as usize;
        let (a, b) = (self.ratio[i], self.ratio[i + 1]);
        a + (b - a) * (x - i as f64)
    }
}

/// True figures of a static curve between two angles.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CurveTruth {
    /// Ratio at the closed stop.
    pub closed_ratio: f64,
    /// Ratio at the open stop.
    pub open_ratio: f64,
    /// Largest deviation from the best line (exact minimax), % of span, stop to stop.
    pub linearity_independent_percent: f64,
    /// Largest deviation from the line through the end points, % of span, stop to stop.
    pub linearity_terminal_percent: f64,
}

/// Figures of `curve` between the stops, on a grid of 0.05°.
pub fn truth(curve: &Curve, closed_deg: f64, open_deg: f64) -> CurveTruth {
    let n = ((open_deg - closed_deg) / 0.05).ceil().max(2.0) as usize;
    let points: Vec<(f64, f64)> = (0..=n)
        .map(|i| closed_deg + (open_deg - closed_deg) * i as f64 / n as f64)
        .map(|x| (x, curve.at(x)))
        .collect();
    let (first, last) = (points[0], points[n]);
    let span = (last.1 - first.1).abs().max(1e-9);
    let slope = (last.1 - first.1) / (last.0 - first.0);
    let terminal = points.iter().map(|p| (p.1 - first.1 - slope * (p.0 - first.0)).abs()).fold(0.0, f64::max);
    CurveTruth {
        closed_ratio: first.1,
        open_ratio: last.1,
        linearity_independent_percent: 100.0 * minimax(&points) / span,
        linearity_terminal_percent: 100.0 * terminal / span,
    }
}

/// Half the height of the lowest strip that holds all points (x ascending): the best line's largest deviation. One border of that
/// strip lies on an edge of the convex hull (rotating calipers: Shamos 1978).
pub fn minimax(points: &[(f64, f64)]) -> f64 {
    let (upper, lower) = (hull(points, 1.0), hull(points, -1.0));
    let strip = |edges: &[(f64, f64)], others: &[(f64, f64)]| {
        edges
            .windows(2)
            .map(|e| {
                let slope = (e[1].1 - e[0].1) / (e[1].0 - e[0].0);
                others.iter().map(|p| (p.1 - e[0].1 - slope * (p.0 - e[0].0)).abs()).fold(0.0, f64::max)
            })
            .fold(f64::INFINITY, f64::min)
    };
    0.5 * strip(&upper, &lower).min(strip(&lower, &upper))
}

/// Upper (`side` = 1) or lower (−1) hull, monotone chain.
fn hull(points: &[(f64, f64)], side: f64) -> Vec<(f64, f64)> {
    let mut hull: Vec<(f64, f64)> = Vec::new();
    for &p in points {
        while let [.., a, b] = hull[..] {
            if side * ((b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0)) < 0.0 {
                break;
            }
            hull.pop();
        }
        hull.push(p);
    }
    hull
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_line_through_a_parabola_misses_by_an_eighth() {
        let on = |f: fn(f64) -> f64| {
            (0..=1000).map(|i| f64::from(i) / 1000.0).map(|x| (x, f(x))).collect::<Vec<_>>()
        };
        // Chebyshev: the best line to x² or √x on [0, 1] deviates by 1/8; the grid has x = 0.5 and x = 0.25 on it.
        assert!((minimax(&on(|x| x * x)) - 0.125).abs() < 1e-12);
        assert!((minimax(&on(f64::sqrt)) - 0.125).abs() < 1e-12);
    }

    #[test]
    fn a_straight_curve_has_no_deviation_and_keeps_its_ends() {
        let curve = Curve::tabulate(|i| 0.10 + 0.80 * angle(i) / 75.0);
        let t = truth(&curve, 0.0, 75.0);
        assert!(t.linearity_independent_percent < 1e-9 && t.linearity_terminal_percent < 1e-9);
        assert!((t.closed_ratio - 0.10).abs() < 1e-12 && (t.open_ratio - 0.90).abs() < 1e-12);
    }
}
