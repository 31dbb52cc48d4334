//! Correlation of the two lines: what the second reads less what the sheet's line asks for, `r₂ − (m·r₁ + k)`.
//!
//! Worst: the largest magnitude over both directions' curves, smoothed over 0.5°. Offset: the mean over the travel. Slope: the
//! straight-line part from end to end. All in % of supply. Uncertainty: scatter (bootstrap); gains and offsets of both
//! converter channels and the supply, independent; the supply acts on the part of the residual that is `k` supplies; what the
//! loom drops and the rig's inputs draw (see `uncertainty`).

use super::curve::Curves;
use super::linearity::{SMOOTHING_DEG, Smoother, over};
use super::prepared::Prepared;
use super::uncertainty::{Calibration, bootstrap};
use super::{Figure, PlotCurve};
use super::{ends, statistics};
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
    let bins = joined.iter().filter(|v| v.is_finite()).count() as f64;
    let scatter = statistics::mean(&error).unwrap_or(0.0);
    let swing = residual.swing();
    let m = residual.m;
    let figure = |name, value: f64, uncertainty: f64, at_deg, what: &str| Figure {
        name,
        channel: None,
        value: 100.0 * value,
        standard_uncertainty: 100.0 * uncertainty,
        upper_bound: None,
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
            corrected.scatter.hypot(at_rest(calibration, m, ratios)),
            Some(curves.deg[place]),
            &format!(
                "largest magnitude over both directions, smoothed over {SMOOTHING_DEG} deg, scatter's share taken off,"
            ),
        ),
        figure(
            FigureName::CorrelationOffset,
            offset,
            (scatter / bins.sqrt()).hypot(at_rest(calibration, m, mean_ratios)),
            None,
            "mean over the travel, both directions,",
        ),
        figure(
            FigureName::CorrelationSlope,
            fit.slope * travel,
            // Scatter alone; a bend of the residual is not scatter. σ of a slope from n even points: σ√12/(L√n).
            (scatter * (12.0 / bins).sqrt()).hypot(fit.slope * prepared.angle_noise_deg).hypot(of_change(
                calibration,
                m,
                swing,
            )),
            None,
            "straight-line part from end to end, least squares over equal steps of travel,",
        ),
    ];
    let deviations = joined.iter().filter(|v| v.is_finite()).map(|v| 100.0 * v).collect();
    Some(Report { figures, curves: plots(&residual, &smooth), deviations })
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
fn at_rest(c: &Calibration, m: f64, (r1, r2): (f64, f64)) -> f64 {
    let lines = [(0, m, r1), (1, 1.0, r2)].map(|(line, factor, ratio)| {
        let l = c.line[line];
        let step = l.resolution / 12.0f64.sqrt();
        factor * (ratio * l.gain).hypot(l.offset.hypot(step) / c.supply_volts)
    });
    lines[0]
        .hypot(lines[1])
        .hypot((r2 - m * r1) * c.supply)
        .hypot(wires(c, r2 - m * r1, 1.0 - r2 - m * (1.0 - r1)))
        .hypot(loading(c, m, (r1, r2)))
}

/// Uncertainty of a change of the residual over which the lines change by (Δr₁, Δr₂).
fn of_change(c: &Calibration, m: f64, (d1, d2): (f64, f64)) -> f64 {
    (m * d1 * c.line[0].gain)
        .hypot(d2 * c.line[1].gain)
        .hypot((d2 - m * d1) * c.supply)
        .hypot(wires(c, d2 - m * d1, d2 - m * d1))
        .hypot(loading(c, m, (d1, d2)))
}

/// What a drop in the supply wire, and one in the return, that are not known do to the residual.
fn wires(c: &Calibration, supply: f64, ground: f64) -> f64 {
    (supply * c.wire[0]).hypot(ground * c.wire[1]) / c.supply_volts
}

/// The rig's input draws both lines down: where m is negative both add up, else the larger tells.
fn loading(c: &Calibration, m: f64, (r1, r2): (f64, f64)) -> f64 {
    let (first, second) = (-m * c.most_loaded(0, r1), c.most_loaded(1, r2));
    let most = if m < 0.0 { first + second } else { first.abs().max(second) };
    most / 3.0f64.sqrt()
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
