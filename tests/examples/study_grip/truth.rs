//! What is true of a part's figures by the definitions that the host states: from the simulator's static curves and play alone,
//! without noise, rig or host. It is what stated uncertainties are held against.
//!
//! Outputs at the stops are those of where each output stood within its play while the part rested: it comes with a blow, springs back a
//! little, and the output stays behind. A play h shifts the curve by h/2 against the direction, and is not yet taken up just behind a stop. Linearity is taken from
//! the average of both directions, each moved by half of the play against the other: the curve itself between the angles
//! that the play leaves; its ends are what it reads at rest on the stops. Correlation is smoothed over 0.5 deg.

use trackpair::quantity::FigureName;
use trackpair_rig_sim::Part;
use trackpair_rig_sim::curve::minimax;

/// Pitch of the grid, degrees.
const STEP_DEG: f64 = 0.05;
/// Half of the smoothing, grid points: 0.5 deg in all.
const HALF: usize = 5;

/// A true value.
#[derive(Clone, Copy, Debug)]
pub struct True {
    /// Figure.
    pub name: FigureName,
    /// 0 first line, 1 second; none for the pair.
    pub line: Option<usize>,
    /// Value in the figure's unit.
    pub value: f64,
}

/// Where a part stands.
#[derive(Clone, Copy, Debug)]
pub struct Rest {
    /// Angle of the part, degrees from the closed stop.
    pub deg: f64,
    /// Angle that each output stands for, degrees.
    pub seen: [f64; 2],
}

/// Both directions of one line on the grid, ratios of supply.
struct Line {
    up: Vec<f64>,
    down: Vec<f64>,
}

/// True figures of a part against a sheet's line `second = m first + k`, between where it rests on its closed and its open stop: stops yield
/// when pressed on. None = it never rested there, the stop itself.
pub fn figures(part: &Part, (m, k): (f64, f64), rests: [Option<Rest>; 2]) -> Vec<True> {
    let [closed, open] =
        [(rests[0], 0.0), (rests[1], part.drawn().open_stop_deg)].map(|(r, stop)| r.map_or(stop, |r| r.deg));
    let deg: Vec<f64> =
        (0..=((open - closed) / STEP_DEG) as usize).map(|i| closed + STEP_DEG * i as f64).collect();
    let lines = [0, 1].map(|line| {
        let half = 0.5 * part.hysteresis_deg(line);
        let (low, high) = (closed + half, open - half);
        Line {
            up: deg.iter().map(|d| part.transfer((d - half).max(low), line)).collect(),
            down: deg.iter().map(|d| part.transfer((d + half).min(high), line)).collect(),
        }
    });
    let mut all = Vec::new();
    for index in 0..2 {
        let mut add = |name, value| all.push(True { name, line: Some(index), value });
        let half = 0.5 * part.hysteresis_deg(index);
        let ends = [(rests[0], closed + half), (rests[1], open - half)]
            .map(|(rest, at)| 5.0 * part.transfer(rest.map_or(at, |r| r.seen[index]), index));
        add(FigureName::ClosedVolts, ends[0]);
        add(FigureName::OpenVolts, ends[1]);
        add(FigureName::Span, (ends[1] - ends[0]).abs());
        let from = (half / STEP_DEG).ceil() as usize;
        let between = &deg[from..deg.len() - from];
        let [independent, terminal, zero_based] = linearity(between, |at| part.transfer(at, index));
        add(FigureName::LinearityIndependent, independent);
        add(FigureName::LinearityTerminal, terminal);
        add(FigureName::LinearityZeroBased, zero_based);
        add(FigureName::Hysteresis, hysteresis(&deg, &lines[index], part.hysteresis_deg(index)));
    }
    let residual =
        |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| b - m * a - k).collect() };
    let (up, down) = (residual(&lines[0].up, &lines[1].up), residual(&lines[0].down, &lines[1].down));
    let worst = |y: &[f64]| smooth(y).iter().map(|v| v.abs()).fold(0.0, f64::max);
    let mean: Vec<f64> = up.iter().zip(&down).map(|(u, d)| 0.5 * (u + d)).collect();
    let mut add = |name, value: f64| all.push(True { name, line: None, value: 100.0 * value });
    add(FigureName::CorrelationWorst, worst(&up).max(worst(&down)));
    add(FigureName::CorrelationOffset, mean.iter().sum::<f64>() / mean.len() as f64);
    add(FigureName::CorrelationSlope, fit(&deg, &mean).1 * (open - closed));
    all
}

/// Largest difference of both directions over 2 deg, over the slope there, degrees; 1 deg or the play at each stop left out.
fn hysteresis(deg: &[f64], line: &Line, play: f64) -> f64 {
    let width = (2.0 / STEP_DEG) as usize;
    let edge = (play.max(1.0) / STEP_DEG).ceil() as usize;
    let middle = |i: usize| 0.5 * (line.up[i] + line.down[i]);
    let slope = (middle(deg.len() - 1 - edge) - middle(edge)) / (deg[deg.len() - 1 - edge] - deg[edge]);
    (edge..deg.len() - edge - width)
        .step_by((0.5 / STEP_DEG) as usize)
        .map(|from| {
            let to = from + width;
            let gap = (from..to).map(|i| line.down[i] - line.up[i]).sum::<f64>() / width as f64;
            // Where the line is flat, half of its whole slope at least.
            let local = (middle(to - 1) - middle(from)) / (deg[to - 1] - deg[from]);
            (gap / if local / slope >= 0.5 { local } else { slope }).abs()
        })
        .fold(0.0, f64::max)
}

/// Independent, terminal and zero-based linearity, % of the span between the outputs at rest, of the curve in the middle of the play:
/// the line itself with its grain, as no definition smooths it.
fn linearity(deg: &[f64], curve: impl Fn(f64) -> f64) -> [f64; 3] {
    let y: Vec<f64> = deg.iter().map(|at| curve(*at)).collect();
    let n = deg.len();
    let (closed, open) = (y[0], y[n - 1]);
    let terminal_slope = (open - closed) / (deg[n - 1] - deg[0]);
    let off = |slope: f64| {
        deg.iter().zip(&y).map(|(d, y)| (y - closed - slope * (d - deg[0])).abs()).fold(0.0, f64::max)
    };
    let points: Vec<(f64, f64)> = deg.iter().copied().zip(y.iter().copied()).collect();
    let percent = 100.0 / (open - closed).abs().max(1e-9);
    [minimax(&points), off(terminal_slope), least(off, terminal_slope)].map(|v| percent * v)
}

/// The least value of a convex function of the slope, within a fifth of `about`, by golden section.
fn least(f: impl Fn(f64) -> f64, about: f64) -> f64 {
    let (mut a, mut b) = (about - 0.2 * about.abs(), about + 0.2 * about.abs());
    let ratio = 0.5 * (5.0f64.sqrt() - 1.0);
    for _ in 0..60 {
        let (c, d) = (b - ratio * (b - a), a + ratio * (b - a));
        if f(c) < f(d) { b = d } else { a = c }
    }
    f(0.5 * (a + b))
}

/// Mean over 2 × [`HALF`] + 1 points, fewer at the ends.
fn smooth(y: &[f64]) -> Vec<f64> {
    (0..y.len())
        .map(|i| {
            let window = &y[i.saturating_sub(HALF)..(i + HALF + 1).min(y.len())];
            window.iter().sum::<f64>() / window.len() as f64
        })
        .collect()
}

/// Least squares: intercept at 0 and slope.
fn fit(x: &[f64], y: &[f64]) -> (f64, f64) {
    let n = x.len() as f64;
    let (mx, my) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let (sxy, sxx) =
        x.iter().zip(y).fold((0.0, 0.0), |s, (x, y)| (s.0 + (x - mx) * (y - my), s.1 + (x - mx).powi(2)));
    let slope = sxy / sxx;
    (my - slope * mx, slope)
}
