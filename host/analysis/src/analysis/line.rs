//! Exact minimax, terminal and zero-based lines through a set of points, x strictly rising.
//!
//! The minimax line halves the smallest vertical strip that holds all points. An edge of the convex hull lies in one border
//! of that strip (Chebyshev's equioscillation: three points, alternating), so every hull edge is tried against the opposite
//! vertex: exact, O(n) after the hull. The zero-based line is the minimax line of the points and their mirror images in the
//! fixed point: by symmetry and convexity it passes through that point.

/// A straight line and its largest deviation from the points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Slope.
    pub slope: f64,
    /// Value at x = 0.
    pub intercept: f64,
    /// Largest |y − line|, ≥ 0.
    pub deviation: f64,
    /// x of the point that has it (of the middle one, when several share it).
    pub at: f64,
}

impl Line {
    /// Value of the line at `x`.
    pub fn value(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }
}

/// The line whose largest deviation is the smallest of all lines. None with fewer than 2 points.
pub fn minimax(points: &[(f64, f64)]) -> Option<Line> {
    let (first, last) = (points.first()?, points.last()?);
    if last.0 <= first.0 {
        return None;
    }
    let (upper, lower) = (hull(points, -1.0), hull(points, 1.0));
    let mut best: Option<Line> = None;
    for (edges, opposite, turn) in [(&upper, &lower, 1.0), (&lower, &upper, -1.0)] {
        for edge in edges.windows(2) {
            let slope = (edge[1].1 - edge[0].1) / (edge[1].0 - edge[0].0);
            let touch = tangent(opposite, slope, turn);
            let (a, b) = (edge[0].1 - slope * edge[0].0, touch.1 - slope * touch.0);
            let deviation = 0.5 * (a - b).abs();
            if best.is_none_or(|l| deviation < l.deviation) {
                best = Some(Line { slope, intercept: 0.5 * (a + b), deviation, at: touch.0 });
            }
        }
    }
    best
}

/// The line through `fixed` whose largest deviation is the smallest. None without a point away from it.
pub fn zero_based(points: &[(f64, f64)], fixed: (f64, f64)) -> Option<Line> {
    let right = points.iter().filter(|p| p.0 > fixed.0).map(|p| (p.0 - fixed.0, p.1 - fixed.1));
    let mirrored: Vec<(f64, f64)> = right.clone().rev().map(|(x, y)| (-x, -y)).collect();
    let both: Vec<(f64, f64)> = mirrored.into_iter().chain([(0.0, 0.0)]).chain(right).collect();
    let line = minimax(&both)?;
    Some(through(points, fixed, line.slope))
}

/// The line through two given points, and its largest deviation from `points`. None when both have the same x.
pub fn terminal(points: &[(f64, f64)], closed: (f64, f64), open: (f64, f64)) -> Option<Line> {
    (closed.0 != open.0).then(|| through(points, closed, (open.1 - closed.1) / (open.0 - closed.0)))
}

fn through(points: &[(f64, f64)], fixed: (f64, f64), slope: f64) -> Line {
    let mut line = Line { slope, intercept: fixed.1 - slope * fixed.0, deviation: 0.0, at: fixed.0 };
    for p in points {
        let deviation = (p.1 - fixed.1 - slope * (p.0 - fixed.0)).abs();
        if deviation > line.deviation {
            (line.deviation, line.at) = (deviation, p.0);
        }
    }
    line
}

/// Monotone chain: lower hull for `turn` = 1, upper for −1.
fn hull(points: &[(f64, f64)], turn: f64) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::with_capacity(64);
    for p in points {
        while let [.., a, b] = out[..] {
            if turn * ((b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0)) > 0.0 {
                break;
            }
            out.pop();
        }
        out.push(*p);
    }
    out
}

/// Vertex of a hull that a line of this slope touches; slopes of the edges rise (`turn` = 1, lower hull) or fall (−1).
fn tangent(hull: &[(f64, f64)], slope: f64, turn: f64) -> (f64, f64) {
    let (mut low, mut high) = (0, hull.len() - 1);
    while low < high {
        let middle = usize::midpoint(low, high);
        let (a, b) = (hull[middle], hull[middle + 1]);
        if turn * ((b.1 - a.1) - slope * (b.0 - a.0)) < 0.0 {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    hull[low]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sampled(f: impl Fn(f64) -> f64, from: f64, to: f64, n: usize) -> Vec<(f64, f64)> {
        (0..=n).map(|i| from + (to - from) * i as f64 / n as f64).map(|x| (x, f(x))).collect()
    }

    #[track_caller]
    fn check(line: Line, slope: f64, intercept: f64, deviation: f64, tolerance: f64) {
        assert!((line.slope - slope).abs() < tolerance, "slope {} for {slope}", line.slope);
        assert!(
            (line.intercept - intercept).abs() < tolerance,
            "intercept {} for {intercept}",
            line.intercept
        );
        assert!(
            (line.deviation - deviation).abs() < tolerance,
            "deviation {} for {deviation}",
            line.deviation
        );
    }

    #[test]
    fn minimax_lines_agree_with_closed_forms() {
        // Chebyshev's construction for convex functions (Cheney, Introduction to Approximation Theory, 1966, from memory); the
        // numbers below are computed from it. A fine grid misses the interior point by half a step: second order.
        check(minimax(&sampled(f64::sqrt, 0.0, 1.0, 4000)).unwrap(), 1.0, 0.125, 0.125, 1e-9);
        check(minimax(&sampled(|x| x * x, 0.0, 1.0, 4000)).unwrap(), 1.0, -0.125, 0.125, 1e-9);
        check(
            minimax(&sampled(f64::exp, -1.0, 1.0, 20_000)).unwrap(),
            1.175_201_193_643_80,
            1.264_279_049_019_74,
            0.278_801_585_795_502,
            2e-8,
        );
        // y = x² at 0..4: 4x − 2, deviation 2, exactly.
        check(minimax(&sampled(|x| x * x, 0.0, 4.0, 4)).unwrap(), 4.0, -2.0, 2.0, 1e-15);
    }

    #[test]
    fn three_conventions_agree_with_the_constructed_up_and_down_set() {
        // Constructed set, invented; its lines computed independently by linear programming (average of up and down readings).
        let average = [0.05, 9.99, 19.94, 29.91, 39.92, 49.95, 59.99, 70.05, 80.12, 90.125, 100.1];
        let points: Vec<(f64, f64)> =
            average.iter().enumerate().map(|(i, y)| (10.0 * i as f64, *y)).collect();
        check(minimax(&points).unwrap(), 1.000875, -0.033125, 0.083125, 1e-12);
        check(terminal(&points, points[0], points[10]).unwrap(), 1.0005, 0.05, 0.155, 1e-12);
        check(zero_based(&points, points[0]).unwrap(), 0.999_458_333_333_333_3, 0.05, 0.12375, 1e-12);
    }

    #[test]
    fn degenerate_sets_are_handled() {
        assert_eq!(minimax(&[]), None);
        assert_eq!(minimax(&[(1.0, 2.0)]), None);
        check(minimax(&[(0.0, 1.0), (2.0, 5.0)]).unwrap(), 2.0, 1.0, 0.0, 1e-15);
        check(minimax(&sampled(|x| 3.0 * x - 1.0, 0.0, 10.0, 10)).unwrap(), 3.0, -1.0, 0.0, 1e-12);
        assert_eq!(zero_based(&[(0.0, 0.0)], (0.0, 0.0)), None);
        assert_eq!(terminal(&[], (1.0, 0.0), (1.0, 1.0)), None);
    }

    proptest! {
        #[test]
        fn no_other_line_beats_the_minimax_line_and_it_touches_three_points(
            ys in prop::collection::vec(-1.0f64..1.0, 3..60),
            slope in -0.5f64..0.5, intercept in -1.0f64..1.0,
        ) {
            let points: Vec<(f64, f64)> = ys.iter().enumerate().map(|(i, y)| (i as f64, *y)).collect();
            let line = minimax(&points).unwrap();
            let worst = |m: f64, b: f64| points.iter().map(|p| (p.1 - b - m * p.0).abs()).fold(0.0, f64::max);
            prop_assert!((worst(line.slope, line.intercept) - line.deviation).abs() < 1e-12);
            prop_assert!(worst(slope, intercept) >= line.deviation - 1e-12);
            prop_assert!(worst(line.slope + 1e-3 * slope, line.intercept + 1e-3 * intercept) >= line.deviation - 1e-12);
            // Signs of the touching points alternate at least twice.
            let signs: Vec<f64> = points.iter().map(|p| p.1 - line.value(p.0))
                .filter(|d| d.abs() > line.deviation - 1e-12).map(f64::signum).collect();
            prop_assert!(signs.windows(2).filter(|w| w[0] != w[1]).count() >= 2, "{signs:?}");
        }

        #[test]
        fn deviations_scale_with_y_and_ignore_an_added_line(
            ys in prop::collection::vec(-1.0f64..1.0, 3..60), factor in -9.0f64..9.0, m in -3.0f64..3.0, b in -3.0f64..3.0,
        ) {
            let points: Vec<(f64, f64)> = ys.iter().enumerate().map(|(i, y)| (i as f64, *y)).collect();
            let changed: Vec<(f64, f64)> = points.iter().map(|p| (p.0, factor * p.1 + m * p.0 + b)).collect();
            let n = points.len() - 1;
            let all = |p: &[(f64, f64)]| [
                minimax(p).unwrap().deviation,
                terminal(p, p[0], p[n]).unwrap().deviation,
                zero_based(p, p[0]).unwrap().deviation,
            ];
            for (a, c) in all(&points).into_iter().zip(all(&changed)) {
                prop_assert!((a * factor.abs() - c).abs() < 1e-9, "{a} {c}");
            }
        }

        #[test]
        fn the_zero_based_line_beats_every_line_through_its_point_and_never_the_free_one(
            ys in prop::collection::vec(-1.0f64..1.0, 3..60), slope in -1.0f64..1.0,
        ) {
            let points: Vec<(f64, f64)> = ys.iter().enumerate().map(|(i, y)| (i as f64, *y)).collect();
            let zero = zero_based(&points, points[0]).unwrap();
            prop_assert!(zero.deviation <= through(&points, points[0], slope).deviation + 1e-12);
            prop_assert!(zero.deviation >= minimax(&points).unwrap().deviation - 1e-12);
            prop_assert!(terminal(&points, points[0], *points.last().unwrap()).unwrap().deviation >= zero.deviation - 1e-12);
        }
    }
}
