//! Linearity of one line against the reference: independent, terminal and zero-based, and the deviation curves.
//!
//! Conventions (potentiometer standard as quoted in makers' handbooks): independent: the line that minimises the largest
//! deviation; terminal: the line through both ends of travel; zero-based: the line through the closed end that minimises it.
//! All on the average of both directions (43 CFR 3175.135) from stop to stop (`course`), in % of the output span between its ends; the play of the
//! coupling is hysteresis and taken out. Uncertainty: what the play would make of the figure if it were left in (rectangular up to that),
//! scatter of curve and ends (bootstrap), eccentricity left in the reference
//! (its bend over this travel), what the rig's input draws from a track, resolution. Gains and offsets of the converter cancel.

use super::budget::Source;
use super::course::{Average, Course};
use super::curve::Curves;
use super::line::Line;
use super::prepared::Prepared;
use super::smoothing::Smoother;
use super::uncertainty::{Calibration, bootstrap_about, eccentricity_gain};
use super::{Figure, PlotCurve};
use crate::quantity::{Channel, Condition, FigureName, Unit};

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
    let course = Course::of(prepared, curves, index, Average::WithoutPlay)?;
    let lines = course.lines(&course.ratio)?;
    let with_play = Course::of(prepared, curves, index, Average::AtOneAngle).and_then(|c| c.lines(&c.ratio));
    let percent = 100.0 / course.span();
    let seed = 0x11E4 + index as u64;
    let corrected =
        bootstrap_about(&course.ratio, &course.smoothed(&course.ratio), &course.error, seed, |y| {
            course.lines(y).map(|l| l.map(|l| l.deviation))
        })?;
    let travel = course.deg[course.deg.len() - 1] - course.deg[0];
    let bend = eccentricity_gain(travel);
    let loading = calibration.loading_bend(index);
    let step = calibration.smoothed_step(index, curve.slope, course.window as f64 * curves.step_deg);
    let channel = Some(Channel::SENSORS[index]);
    let names =
        [FigureName::LinearityIndependent, FigureName::LinearityTerminal, FigureName::LinearityZeroBased];
    let conventions = [
        "the line that makes it smallest (exact minimax)",
        "the line through both ends of travel",
        "the line through the closed end that makes it smallest",
    ];
    let figures = (0..3)
        .map(|i| {
            let play = with_play.map_or(0.0, |with| (with[i].deviation - lines[i].deviation).abs());
            let reference = calibration.reference.offset * bend[i] * curve.slope.abs();
            let budget = corrected[i]
                .budget()
                .with(Source::Loading, loading[i])
                .with(Source::Play, play / 3.0f64.sqrt())
                .with(Source::Steps, step)
                .with(Source::Angle, reference);
            Figure {
                name: names[i],
                channel,
                value: percent * corrected[i].value,
                budget: budget.scaled(percent),
                upper_bound: None,
                added: 0.0,
                at_deg: Some(lines[i].at),
                condition: Condition::NONE,
                definition: format!(
                    "largest deviation of the up/down average from {}, play taken out, from stop to stop, {}, of the line's span; \
                     scatter's share in the maximum taken off",
                    conventions[i],
                    over(cycles)
                ),
            }
        })
        .collect();
    let smooth = Smoother::new(curves, curve.slope);
    let (curves, deviations) = plots(curves, index, &smooth, &lines[0], percent, channel)?;
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

/// Deviations from the independent line, smoothed over half a degree for the eye.
fn plots(
    curves: &Curves,
    index: usize,
    smooth: &Smoother,
    independent: &Line,
    percent: f64,
    channel: Option<Channel>,
) -> Option<(Vec<PlotCurve>, Vec<f64>)> {
    let curve = curves.line[index].as_ref()?;
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
    Some((seen.map(|(direction, y)| plot(direction, y)).collect(), finite))
}

#[cfg(test)]
#[path = "linearity_tests.rs"]
mod tests;
