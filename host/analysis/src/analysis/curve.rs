//! Both lines on a grid of angles: every stroke by itself, then up, down and averaged, with standard errors.
//! It computes no figure.
//!
//! - A bin's value is the mean of its samples, moved to the bin's centre along the stroke's mean slope, and from there by what the
//!   line's own slope and bend at that place differ from it. Samples further than
//!   6 robust sd from the bin's median are left out. Bins that jump away and jump back within a stroke (a dropout) are left
//!   out too; a change that stays is kept.
//! - Within a stroke only samples at the furthest angle so far count: after a wiggle of the hand the play has to be taken up
//!   again before the line belongs to the direction. A stroke that begins inside the travel follows a reversal: its first
//!   degrees, as far as the play of this recording reaches, show the play being taken up and belong to no direction.
//! - The average of both directions is taken after each is moved by half of the hysteresis against the other, so that a
//!   defect is not smeared; without one direction it is the other alone. The angle by which the line lags the reference is
//!   taken out of every stroke first: shown by strokes of different speeds, one for both lines unless the pair shows that one lags
//!   the other, else only what the rig's input filter delays (provenance). A short one by the speed at each place; one that is long
//!   against a hand's hesitations (1 ms) by reading each line's angle that much earlier.
//! - Standard errors come from the scatter between strokes of one direction, pooled over 5°; with one stroke from the
//!   scatter of its neighbouring bins.

use super::binning::{Grid, StrokeCurve, grid_step};
use super::lag::{self, Lag};
use super::prepared::{Direction, Prepared};
use super::side_by_side;
use super::statistics;
use crate::quantity::Channel;
use crate::sheet::PartSheet;
use std::ops::Range;

/// A lag longer than this is taken out scan by scan, seconds: with a speed averaged over a degree it would leave a trace of every
/// hesitation. Engineering assumption.
const LONG_LAG_S: f64 = 1e-3;
/// Bins on either side that show a line's own slope and bend at a place.
const SHAPE_HALF: usize = 3;
/// A stroke that begins within this of the end of travel begins at the stop, degrees.
const AT_STOP_DEG: f64 = 0.25;
/// Travel after a reversal that is left out, as a multiple of the play measured: a stroke's own play may exceed the median.
const PLAY_TAKEN_UP: f64 = 1.5;

/// One line over all strokes, on the grid. NaN where nothing was measured.
#[derive(Clone, Debug)]
pub struct LineCurve {
    /// Mean of the upward strokes, ratio of supply.
    pub up: Vec<f64>,
    /// Mean of the downward strokes.
    pub down: Vec<f64>,
    /// Standard error of `up` (k = 1).
    pub up_error: Vec<f64>,
    /// Standard error of `down`.
    pub down_error: Vec<f64>,
    /// Both, each moved by half the hysteresis.
    pub mean: Vec<f64>,
    /// Standard error of `mean`.
    pub mean_error: Vec<f64>,
    /// Median of down minus up over the slope, degrees; none without both directions.
    pub hysteresis_deg: Option<f64>,
    /// Lag of the line behind the reference that was taken out; none when all strokes have one speed.
    pub lag: Option<Lag>,
    /// Mean speed of the strokes, degrees per second.
    pub speed_deg_s: f64,
    /// Slope of `mean` over the whole travel, ratio per degree.
    pub slope: f64,
    /// Output at the ends of `mean`: open minus closed magnitude, ratio; > 0.
    pub span: f64,
}

impl LineCurve {
    /// Both directions at one angle, bin `k`, as 43 CFR 3175.135 averages them, and its standard error: near a stop the play that is not yet
    /// taken up is in it. `mean` where one direction alone was seen.
    pub fn at_one_angle(&self, k: usize) -> (f64, f64) {
        match 0.5 * (self.up[k] + self.down[k]) {
            both if both.is_finite() => (both, 0.5 * self.up_error[k].hypot(self.down_error[k])),
            _ => (self.mean[k], self.mean_error[k]),
        }
    }
}

/// Curves of both lines.
#[derive(Clone, Debug)]
pub struct Curves {
    /// Centres of the bins, degrees, rising.
    pub deg: Vec<f64>,
    /// Grid step, degrees: [`GRID_DEG`](super::binning::GRID_DEG) or as coarse as the samples ask for.
    pub step_deg: f64,
    /// Every stroke, without what the lines lag by.
    pub strokes: Vec<StrokeCurve>,
    /// Every stroke as recorded.
    pub recorded: Vec<StrokeCurve>,
    /// First and second line.
    pub line: [Option<LineCurve>; 2],
}

impl Curves {
    /// Puts a prepared trace on the grid. None without an angle or without a stroke.
    pub fn new(prepared: &Prepared<'_>, sheet: &PartSheet) -> Option<Self> {
        let _ = sheet;
        let (low, high) = prepared.travel_deg?;
        let step_deg = grid_step(prepared);
        let first = (low / step_deg - 1e-6).ceil() as i64;
        let last = (high / step_deg + 1e-6).floor() as i64;
        if last - first < 9 {
            return None;
        }
        let deg: Vec<f64> = (first..=last).map(|k| k as f64 * step_deg).collect();
        let grid = Grid { first, step: step_deg, len: deg.len() };
        let strokes = (0..prepared.strokes.len()).collect();
        let recorded: Vec<StrokeCurve> = side_by_side::each(strokes, |k| grid.bin(prepared, k));
        let mut curves = Self { deg, step_deg, strokes: recorded.clone(), recorded, line: [None, None] };
        curves.drop_after_reversals(prepared);
        let slopes = [0, 1].map(|line| curves.recorded_slope(line));
        let lags = lag::of_both(&curves.deg, &curves.recorded, curves.step_deg, slopes);
        for line in 0..2 {
            let seconds = lags[line].map_or_else(|| filter_lag_s(prepared, line), |lag| lag.seconds);
            curves.take_lag_out(prepared, &grid, line, seconds);
        }
        curves.line = [0, 1].map(|line| curves.combine(prepared, line, lags[line]));
        Some(curves)
    }

    /// Leaves out what strokes that begin inside the travel show before the play is taken up, in `recorded` and `strokes`.
    fn drop_after_reversals(&mut self, prepared: &Prepared<'_>) {
        let Some((low, high)) = prepared.travel_deg else { return };
        let play = [0, 1].map(|line| {
            let [up, down] = [Direction::Up, Direction::Down].map(|d| self.average(d, line).0);
            self.hysteresis(&up, &down, overall_slope(&self.deg, &up, &down)).map_or(0.0, f64::abs)
        });
        let near = AT_STOP_DEG.max(2.0 * prepared.angle_noise_deg);
        for (stroke, again) in self.recorded.iter_mut().zip(&mut self.strokes) {
            let of = &prepared.strokes[stroke.stroke];
            let (stop, sign) = if of.direction == Direction::Up { (low, 1.0) } else { (high, -1.0) };
            if (of.from_deg - stop).abs() <= near {
                continue;
            }
            for line in 0..2 {
                let until = PLAY_TAKEN_UP * play[line] + self.step_deg + prepared.angle_noise_deg;
                for (k, deg) in self.deg.iter().enumerate() {
                    if sign * (deg - of.from_deg) < until && !stroke.ratio[line].is_empty() {
                        stroke.ratio[line][k] = f64::NAN;
                        again.ratio[line][k] = f64::NAN;
                    }
                }
            }
        }
    }

    /// Slope of a line over the whole travel as recorded, ratio per degree.
    fn recorded_slope(&self, line: usize) -> f64 {
        let [up, down] = [Direction::Up, Direction::Down].map(|d| self.average(d, line).0);
        overall_slope(&self.deg, &up, &down)
    }

    /// Takes a lag out of the strokes of a line.
    fn take_lag_out(&mut self, prepared: &Prepared<'_>, grid: &Grid, line: usize, seconds: f64) {
        if seconds.abs() > LONG_LAG_S {
            for (stroke, recorded) in self.strokes.iter_mut().zip(&self.recorded) {
                if !stroke.ratio[line].is_empty() {
                    let (mut earlier, places) = grid.bin_lagging(prepared, stroke.stroke, line, seconds);
                    stroke.place[line] = places;
                    // What follows a reversal stays left out.
                    let left_out = recorded.ratio[line].iter().zip(&recorded.counts);
                    earlier.iter_mut().zip(left_out).for_each(|(v, (r, n))| {
                        *v = if r.is_nan() && *n > 0 { f64::NAN } else { *v };
                    });
                    stroke.ratio[line] = earlier;
                }
            }
            return;
        }
        for stroke in self.strokes.iter_mut().filter(|s| !s.ratio[line].is_empty()) {
            let by: Vec<f64> = lag::speeds(&self.deg, stroke, self.step_deg)
                .iter()
                .map(|v| if v.is_finite() { seconds * v / self.step_deg } else { 0.0 })
                .collect();
            stroke.ratio[line] = moved(&stroke.ratio[line], |k| by[k]);
        }
    }

    /// Number of bins.
    pub fn len(&self) -> usize {
        self.deg.len()
    }

    /// Whether the grid is empty (it never is).
    pub fn is_empty(&self) -> bool {
        self.deg.is_empty()
    }

    /// Bins in `degrees`, at least 1.
    pub fn bins_in(&self, degrees: f64) -> usize {
        ((degrees / self.step_deg).round() as usize).max(1)
    }

    /// Strokes of one direction.
    pub fn of(&self, direction: Direction) -> impl Iterator<Item = &StrokeCurve> {
        self.strokes.iter().filter(move |s| s.direction == direction)
    }

    /// Mean speed of the strokes of one direction, degrees per second; that of all where there are none.
    fn mean_speed(&self, prepared: &Prepared<'_>, direction: Direction) -> f64 {
        let speeds: Vec<f64> =
            self.of(direction).filter_map(|s| prepared.stroke_speed(&prepared.strokes[s.stroke])).collect();
        statistics::mean(&speeds).unwrap_or(prepared.speed_deg_s)
    }

    fn combine(&self, prepared: &Prepared<'_>, line: usize, lag: Option<Lag>) -> Option<LineCurve> {
        let (up, up_error) = self.average(Direction::Up, line);
        let (down, down_error) = self.average(Direction::Down, line);
        if up.iter().chain(&down).all(|v| v.is_nan()) {
            return None;
        }
        let speeds = [Direction::Up, Direction::Down].map(|d| self.mean_speed(prepared, d));
        let slope = overall_slope(&self.deg, &up, &down);
        let hysteresis_deg = self.hysteresis(&up, &down, slope);
        let half = 0.5 * hysteresis_deg.unwrap_or(0.0) / self.step_deg;
        let (mut a, mut b) = (shifted(&up, half), shifted(&down, -half));
        self.drop_starts(&mut a, &mut b, half.abs());
        let (mut mean, mut mean_error) = (vec![f64::NAN; self.len()], vec![f64::NAN; self.len()]);
        for k in 0..self.len() {
            (mean[k], mean_error[k]) = match (a[k].is_finite(), b[k].is_finite()) {
                (true, true) => (0.5 * (a[k] + b[k]), 0.5 * up_error[k].hypot(down_error[k])),
                (true, false) => (a[k], up_error[k]),
                (false, true) => (b[k], down_error[k]),
                (false, false) => (f64::NAN, f64::NAN),
            };
        }
        let span = end_to_end(&self.deg, &mean, self.bins_in(1.0))?;
        let speed_deg_s = 0.5 * (speeds[0] + speeds[1]);
        Some(LineCurve {
            up,
            down,
            up_error,
            down_error,
            mean,
            mean_error,
            hysteresis_deg,
            lag,
            speed_deg_s,
            slope,
            span,
        })
    }

    /// Mean of the strokes of one direction at the centres of the bins, and its standard error.
    fn average(&self, direction: Direction, line: usize) -> (Vec<f64>, Vec<f64>) {
        let strokes: Vec<&StrokeCurve> = self.of(direction).filter(|s| !s.ratio[line].is_empty()).collect();
        let near = |k: usize| means(&strokes, |s| s.ratio[line][k]).0;
        let shape = Shape::of(&(0..self.len()).map(near).collect::<Vec<_>>(), self.step_deg);
        let (mut value, mut variance) = (vec![f64::NAN; self.len()], vec![f64::NAN; self.len()]);
        let mut n = vec![0u32; self.len()];
        for k in 0..self.len() {
            (value[k], variance[k], n[k]) = means(&strokes, |s| s.ratio[line][k] - shape.moved(s, line, k));
        }
        if n.iter().all(|n| *n < 2) {
            variance = vec![statistics::sd_beside_bend(value.iter().copied()).powi(2); self.len()];
        }
        let pooled = window_mean(&variance, self.bins_in(5.0) / 2);
        let error = (0..self.len())
            .map(|k| if n[k] > 0 { (pooled[k] / f64::from(n[k])).sqrt() } else { f64::NAN })
            .collect();
        (value, error)
    }

    /// Median of down minus up over the slope, away from the turns; degrees.
    fn hysteresis(&self, up: &[f64], down: &[f64], slope: f64) -> Option<f64> {
        let edge = self.bins_in(1.0);
        let inner = edge..self.len().saturating_sub(edge);
        let mut gaps: Vec<f64> =
            inner.map(|k| down[k] - up[k]).filter(|d| d.is_finite()).map(|d| d / slope).collect();
        (slope != 0.0 && gaps.len() >= 10).then(|| statistics::median(&mut gaps)).flatten()
    }

    /// Takes out what each direction shows before its play is taken up. `half` is half of the play, bins: by so much each curve
    /// has been moved, so its own first `half` bins are play alone, and as much again where the other direction has it.
    fn drop_starts(&self, up: &mut [f64], down: &mut [f64], half: f64) {
        let n = self.len();
        let start = (2.0 * half).ceil() as usize;
        if start == 0 || 4 * start > n {
            return;
        }
        let alone = half.ceil() as usize;
        for k in 0..start {
            if k < alone || down[k].is_finite() {
                up[k] = f64::NAN;
            }
            if k < alone || up[n - 1 - k].is_finite() {
                down[n - 1 - k] = f64::NAN;
            }
        }
    }
}

/// Time by which a line lags the reference because of their input filters, seconds.
fn filter_lag_s(prepared: &Prepared<'_>, line: usize) -> f64 {
    let provenance = &prepared.trace.provenance;
    (provenance.filter_us(Channel::SENSORS[line]) - provenance.filter_us(Channel::Reference)) * 1e-6
}

/// `y` at k + `by` bins, linear between bins; NaN where a neighbour is missing.
pub fn shifted(y: &[f64], by: f64) -> Vec<f64> {
    moved(y, |_| by)
}

/// `y` at k + `by(k)` bins, linear between bins; NaN where a neighbour is missing.
fn moved(y: &[f64], by: impl Fn(usize) -> f64) -> Vec<f64> {
    let get = |k: i64| usize::try_from(k).ok().and_then(|k| y.get(k)).copied().unwrap_or(f64::NAN);
    (0..y.len())
        .map(|k| {
            let (whole, part) = (by(k).floor(), by(k) - by(k).floor());
            let from = k as i64 + whole as i64;
            let (a, b) = (get(from), get(from + 1));
            if part < 1e-9 { a } else { a + part * (b - a) }
        })
        .collect()
}

/// Mean, variance and number of the finite values of some strokes; NaN without any, no variance with one.
fn means(strokes: &[&StrokeCurve], value: impl Fn(&StrokeCurve) -> f64) -> (f64, f64, u32) {
    let (mut sum, mut squares, mut n, mut pivot) = (0.0, 0.0, 0u32, f64::NAN);
    for y in strokes.iter().map(|s| value(s)).filter(|y| y.is_finite()) {
        if n == 0 {
            pivot = y;
        }
        n += 1;
        sum += y - pivot;
        squares += (y - pivot) * (y - pivot);
    }
    let count = f64::from(n);
    let variance = if n > 1 { ((squares - sum * sum / count) / (count - 1.0)).max(0.0) } else { f64::NAN };
    (if n > 0 { pivot + sum / count } else { f64::NAN }, variance, n)
}

/// Slope and bend of a curve at each bin, from a parabola through the bins around it.
struct Shape {
    /// Ratio per degree; NaN where too few bins are near.
    slope: Vec<f64>,
    /// Ratio per square degree.
    bend: Vec<f64>,
}

impl Shape {
    fn of(y: &[f64], step: f64) -> Self {
        let (mut slope, mut bend) = (vec![f64::NAN; y.len()], vec![f64::NAN; y.len()]);
        for k in 0..y.len() {
            let near = k.saturating_sub(SHAPE_HALF)..(k + SHAPE_HALF + 1).min(y.len());
            if y[k].is_nan() {
                continue;
            }
            let points: Vec<(f64, f64)> =
                near.filter(|i| y[*i].is_finite()).map(|i| (i as f64 - k as f64, y[i] - y[k])).collect();
            // A parabola through three points would follow their noise.
            if let Some(fit) =
                (points.len() > SHAPE_HALF).then(|| statistics::fit_parabola(&points)).flatten()
            {
                (slope[k], bend[k]) = (fit.slope / step, 2.0 * fit.bend / (step * step));
            }
        }
        Self { slope, bend }
    }

    /// What is left to be taken off a bin of a stroke for its samples not lying at its centre.
    fn moved(&self, stroke: &StrokeCurve, line: usize, k: usize) -> f64 {
        let place = stroke.place[line][k];
        let by = (self.slope[k] - stroke.slope[line]) * place.from_centre + 0.5 * self.bend[k] * place.square;
        if by.is_finite() { by } else { 0.0 }
    }
}

/// Centred mean of the finite values over 2·half + 1 bins; NaN where `y` itself is NaN only if nothing is near.
pub fn window_mean(y: &[f64], half: usize) -> Vec<f64> {
    let (mut sum, mut n) = (0.0, 0u32);
    let (mut head, mut tail) = (0usize, 0usize);
    let pivot = y.iter().copied().find(|v| v.is_finite()).unwrap_or(0.0);
    (0..y.len())
        .map(|k| {
            while head < y.len() && head <= k + half {
                if y[head].is_finite() {
                    sum += y[head] - pivot;
                    n += 1;
                }
                head += 1;
            }
            while tail + half < k {
                if y[tail].is_finite() {
                    sum -= y[tail] - pivot;
                    n -= 1;
                }
                tail += 1;
            }
            if n > 0 { pivot + sum / f64::from(n) } else { f64::NAN }
        })
        .collect()
}

/// Slope over the whole travel, both directions, ratio per degree.
fn overall_slope(deg: &[f64], up: &[f64], down: &[f64]) -> f64 {
    let fits: Vec<f64> =
        [up, down].iter().filter_map(|y| statistics::fit_line(deg, y)).map(|f| f.slope).collect();
    statistics::mean(&fits).unwrap_or(0.0)
}

/// Magnitude of the difference of the values that straight lines through the first and the last `bins` give at the ends.
fn end_to_end(deg: &[f64], y: &[f64], bins: usize) -> Option<f64> {
    let known: Vec<usize> = (0..y.len()).filter(|k| y[*k].is_finite()).collect();
    let (first, last) = (*known.first()?, *known.last()?);
    let near = |k: usize, range: Range<usize>| {
        let (x, v): (Vec<f64>, Vec<f64>) =
            range.filter(|i| y[*i].is_finite()).map(|i| (deg[i] - deg[k], y[i])).unzip();
        statistics::fit_line(&x, &v).map_or(y[k], |f| f.intercept)
    };
    let bins = bins.max(3);
    let a = near(first, first..(first + bins + 1).min(y.len()));
    let b = near(last, last.saturating_sub(bins)..last + 1);
    let span = (b - a).abs();
    (span > 0.0).then_some(span)
}
