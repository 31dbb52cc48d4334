//! Which pictures a grip sensor gets, and what is drawn in each. How shapes are written is [`super::svg`]'s business.

use super::ReportInput;
use super::body_plots::body_plots;
use super::document::Finding;
use super::format;
use super::histograms::{
    LATENCY, histogram_caption, histogram_quantity, histogram_title, latencies_seen, quantile_lines,
};
use super::people::{People, of_the_drive};
use super::plot::{Plot, TRAVEL_LABEL, Tally};
use super::soak_plots;
use super::svg::bars::{Bars, beyond};
use super::svg::chart::{Axis, Chart, HALF, LimitLine, Side, Span, WIDTH};
use super::svg::picture::{Colour, Hatch, Mark, Stroke};
use super::svg::series::Series;
use super::svg::{FAINT, FIRST, INK, SECOND};
use super::text::{LABEL, capital, plain, signs};
use crate::analysis::PlotCurve;
use crate::outcome::{OutcomeFigure, OutcomeHistogram, OutcomeLimit};
use crate::quantity::{Channel, FigureName, FindingKind, Unit, Written};
use crate::sheet::NominalLine;
use std::borrow::Cow;

const MARKED: &str =
    "Measured lines over their nominal ones (thin, dotted). Numbered, hatched stretches are the findings.";
const MARKED_WITH_EVENTS: &str = "Measured lines over their nominal ones (thin, dotted). Numbered, hatched stretches are the \
    findings; triangles at the lower edge are dropout events.";

/// Every picture whose data are there.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plots {
    /// Pictures of a throttle body.
    pub body: Vec<Plot>,
    /// Curves, in the order of the report.
    pub curves: Vec<Plot>,
    /// A soak over time.
    pub soak: Vec<Plot>,
    /// Histograms, small.
    pub histograms: Vec<Plot>,
}

impl Plots {
    /// Takes a picture out by the machine name of what it shows; histograms stay where they are compared.
    pub fn take(&mut self, what: &str) -> Option<Plot> {
        [&mut self.body, &mut self.curves, &mut self.soak].into_iter().find_map(|all| {
            let place = all.iter().position(|plot| plot.what == what)?;
            Some(all.remove(place))
        })
    }
}

/// Draws what there is to draw.
pub fn plots(input: &ReportInput<'_>, people: &People) -> Plots {
    let draft = Draft { input, people };
    let curves = [draft.travel()]
        .into_iter()
        .chain(draft.close_ups())
        .chain([draft.correlation()])
        .chain(Channel::SENSORS.map(|line| draft.linearity(line)))
        .chain([draft.noise()])
        .flatten()
        .collect();
    let histograms =
        input.outcome.histograms.iter().enumerate().map(|(k, h)| draft.histogram(k, h)).collect();
    Plots { body: body_plots(input, people), curves, soak: soak_plots::pictures(input.outcome), histograms }
}

/// What every picture draws from.
struct Draft<'a> {
    input: &'a ReportInput<'a>,
    people: &'a People,
}

impl<'a> Draft<'a> {
    /// Volts of both lines over the travel, with the findings.
    fn travel(&self) -> Option<Plot> {
        if self.curves("ratio", None).is_empty() {
            return None;
        }
        let mut series = self.nominal();
        for line in Channel::SENSORS {
            for curve in mean_or_both(&self.curves("ratio", Some(line))) {
                let direction =
                    if curve.direction == "mean" { String::new() } else { format!(", {}", curve.direction) };
                series.push(Series {
                    name: format!("{} line{direction}", self.people.lines.name(line)),
                    x: Cow::Borrowed(&curve.deg),
                    y: volts_at_five(curve),
                    stroke: line_stroke(line, 1.9),
                    mark: Some(line_mark(line)),
                });
            }
        }
        let top = series.iter().flat_map(|s| &s.y).copied().filter(|v| v.is_finite()).fold(5.0, f64::max);
        let bottom = series.iter().flat_map(|s| &s.y).copied().filter(|v| v.is_finite()).fold(0.0, f64::min);
        let chart = Chart {
            id: "travel",
            title: "Both lines along the travel".to_owned(),
            description: self.findings_in_words(None),
            height: 250.0,
            x: self.travel_axis(),
            y: Axis { label: "line voltage at 5 V supply, V".to_owned(), low: bottom, high: top },
            series,
            limits: Vec::new(),
            spans: self.spans(None),
            events: self.events(),
            places: Vec::new(),
        };
        Some(Plot::of_chart(
            "travel",
            &chart,
            "Both lines along the travel",
            if chart.events.is_empty() { MARKED } else { MARKED_WITH_EVENTS },
        ))
    }

    /// The line of a flat spot from close by: at the scale of the whole travel it is hard to see.
    fn close_ups(&self) -> Vec<Option<Plot>> {
        const MOST: usize = 2;
        let flat = self.input.outcome.findings.iter().zip(&self.people.findings);
        let flat = flat.filter(|(f, _)| f.kind == FindingKind::FlatSpot);
        flat.filter_map(|(finding, row)| {
            let line = finding.channel.as_ref().and_then(Written::known)?;
            Some(self.close_up(line, ends(finding.from_deg, finding.to_deg)?, row))
        })
        .take(MOST)
        .collect()
    }

    fn close_up(&self, line: Channel, (from, to): (f64, f64), row: &Finding) -> Option<Plot> {
        let around = (2.0 * (to - from)).clamp(2.0, 10.0);
        let (low, high) = (from - around, to + around);
        let near = |d: &f64| (low..=high).contains(d);
        let curves = mean_or_both(&self.curves("ratio", Some(line)));
        let mut series = Vec::new();
        for curve in curves {
            let volts = volts_at_five(curve);
            let (x, y): (Vec<f64>, Vec<f64>) =
                curve.deg.iter().copied().zip(volts).filter(|(d, v)| near(d) && v.is_finite()).unzip();
            series.push(Series {
                name: format!("{} line", self.people.lines.name(line)),
                x: Cow::Owned(x),
                y,
                stroke: line_stroke(line, 1.9),
                mark: Some(line_mark(line)),
            });
        }
        let values = || series.iter().flat_map(|s| &s.y).copied();
        let (bottom, top) =
            (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
        if top <= bottom || !(top - bottom).is_finite() {
            return None;
        }
        let margin = (top - bottom) * 0.08;
        let seen = |s: &Series<'_>, end: fn(f64, f64) -> f64, start| s.x.iter().copied().fold(start, end);
        let low = series.iter().map(|s| seen(s, f64::min, high)).fold(high, f64::min);
        let high = series.iter().map(|s| seen(s, f64::max, low)).fold(low, f64::max);
        let mut spans = self.spans_of(Some(line), &FindingKind::ALL);
        spans.retain(|s| {
            s.to >= low && s.from <= high && (s.tag.is_empty() || s.tag == row.number.to_string())
        });
        let title = format!("Finding {} from close by", row.number);
        let chart = Chart {
            id: &format!("close-up-{}", row.number),
            title: title.clone(),
            description: self.findings_in_words(Some(line)),
            height: 150.0,
            x: Axis { label: TRAVEL_LABEL.to_owned(), low, high },
            y: Axis {
                label: "voltage at 5 V supply, V".to_owned(),
                low: bottom - margin,
                high: top + margin,
            },
            series,
            limits: Vec::new(),
            spans,
            events: Vec::new(),
            places: Vec::new(),
        };
        Some(Plot::of_chart(
            format!("close_up {}", row.number),
            &chart,
            &title,
            "A flat spot is where the line stops following the travel and then catches up.",
        ))
    }

    /// Correlation residual against its limits.
    fn correlation(&self) -> Option<Plot> {
        let curves = self.curves("correlation_residual", None);
        let series = directions(&curves, INK);
        if series.is_empty() {
            return None;
        }
        let limits = self.limit_lines(FigureName::CorrelationWorst, None);
        let residual = self.people.lines.residual();
        let chart = Chart {
            id: "correlation",
            title: format!("{} along the travel", capital(residual)),
            description: self.findings_in_words(None),
            height: 190.0,
            x: self.travel_axis(),
            y: self.axis(&format!("{residual}, % of supply"), &series, &limits),
            series,
            limits,
            spans: self.spans(None),
            events: Vec::new(),
            places: Vec::new(),
        };
        let caption =
            format!("{}. Beyond the limits is hatched.", capital(self.people.lines.residual_meaning()));
        let title = format!("{} against its limits", capital(residual));
        Some(Plot::of_chart("correlation", &chart, &title, &caption))
    }

    /// Linearity deviation of one line, up, down and mean.
    fn linearity(&self, line: Channel) -> Option<Plot> {
        let curves = self.curves("linearity_deviation", Some(line));
        let colour = if line == Channel::Rising { FIRST } else { SECOND };
        let series = directions(&curves, colour);
        if series.is_empty() {
            return None;
        }
        let limits = self.limit_lines(FigureName::LinearityIndependent, Some(line));
        let name = self.people.lines.name(line);
        let chart = Chart {
            id: if line == Channel::Rising { "linearity-first" } else { "linearity-second" },
            title: format!("Linearity deviation of the {name} line"),
            description: self.findings_in_words(Some(line)),
            height: 165.0,
            x: self.travel_axis(),
            y: self.axis("deviation, % of span", &series, &limits),
            series,
            limits,
            spans: self.spans(Some(line)),
            events: Vec::new(),
            places: Vec::new(),
        };
        Some(Plot::of_chart(
            format!("linearity {}", line.name()),
            &chart,
            &format!("Linearity deviation, {name} line"),
            "Distance from the straight line that makes the largest distance smallest. The limit is for the mean of up \
             and down, each moved by half of the hysteresis between them, so that play is no deviation.",
        ))
    }

    /// Noise of both lines along the travel.
    fn noise(&self) -> Option<Plot> {
        let mut series = Vec::new();
        for line in Channel::SENSORS {
            for curve in mean_or_both(&self.curves("noise", Some(line))).into_iter().take(1) {
                series.push(Series {
                    name: format!("{} line", self.people.lines.name(line)),
                    x: Cow::Borrowed(&curve.deg),
                    y: curve.y.clone(),
                    stroke: line_stroke(line, 1.5),
                    mark: Some(line_mark(line)),
                });
            }
        }
        if series.is_empty() {
            return None;
        }
        let unit = self.curves("noise", None).first().map_or(Unit::MillivoltAtFive, |c| c.unit);
        let mut limits = self.limit_lines(FigureName::Noise, None);
        limits.retain(|l| l.at > 0.0);
        let mut y = self.axis(&format!("noise, {}", format::unit(unit)), &series, &limits);
        y.low = 0.0;
        let chart = Chart {
            id: "noise",
            title: "Noise along the travel".to_owned(),
            description: self.findings_in_words(None),
            height: 140.0,
            x: self.travel_axis(),
            y,
            series,
            limits,
            spans: self.spans_of(None, &[FindingKind::NoisyTrack]),
            events: Vec::new(),
            places: Vec::new(),
        };
        Some(Plot::of_chart(
            "noise",
            &chart,
            "Noise along the travel",
            "One standard deviation of the random noise. A stretch that is noisier than the rest is wear of the track.",
        ))
    }

    /// One histogram.
    fn histogram(&self, index: usize, histogram: &OutcomeHistogram) -> Plot {
        let people = self.people;
        // The last one, when it would stand alone in its row.
        let wide = index.is_multiple_of(2) && index + 1 == self.input.outcome.histograms.len();
        let title = histogram_title(histogram, people);
        let (outside, all) = beyond(histogram.low, histogram.width, &histogram.counts, &histogram.limits);
        let caption = histogram_caption(outside, all, !histogram.limits.is_empty());
        let mut bars = Bars {
            id: &format!("histogram-{index}"),
            title: title.clone(),
            description: caption.clone(),
            size: (if wide { WIDTH } else { HALF }, if histogram.name == LATENCY { 204.0 } else { 190.0 }),
            label: format!("{}, {}", histogram_quantity(histogram, people), format::unit(histogram.unit)),
            low: histogram.low,
            width: histogram.width,
            counts: &histogram.counts,
            limits: &histogram.limits,
            lines: quantile_lines(histogram, self.input.outcome),
            at_least: (histogram.name == LATENCY).then(|| latencies_seen(self.input.outcome)),
        };
        let picture = bars.draw();
        let id = format!("histogram-{index}-narrow");
        (bars.id, bars.size.0) = (&id, HALF);
        let narrow = wide.then(|| bars.draw());
        let what = histogram.name.clone();
        Plot { what, title, caption, picture, narrow, low: None, wide, tally: Some(tally(histogram)) }
    }

    /// Curves of a name that have something to show; of any line when `line` is none.
    fn curves(&self, name: &str, line: Option<Channel>) -> Vec<&'a PlotCurve> {
        self.input
            .curves
            .iter()
            .filter(|c| c.name == name && (line.is_none() || c.channel == line))
            .filter(|c| c.y.iter().any(|y| y.is_finite()))
            .collect()
    }

    /// Nominal lines of the sheet.
    fn nominal(&self) -> Vec<Series<'a>> {
        let sheet = self.input.sheet;
        if !sheet.travel_deg.is_finite() || sheet.travel_deg <= 0.0 {
            return Vec::new();
        }
        let make = |name: &str, line: &NominalLine| Series {
            name: name.to_owned(),
            x: Cow::Owned(vec![0.0, sheet.travel_deg]),
            y: vec![line.closed * 5.0, line.open * 5.0],
            stroke: Stroke::dashed(FAINT, 1.0, &[1.5, 3.0]),
            mark: None,
        };
        vec![make("nominal", &sheet.rising), make("", &sheet.falling)]
    }

    fn travel_axis(&self) -> Axis {
        let seen = || self.input.curves.iter().flat_map(|c| &c.deg).copied().filter(|d| d.is_finite());
        let low = seen().fold(0.0, f64::min);
        let high = seen().fold(self.input.sheet.travel_deg, f64::max);
        let high = if high > low { high } else { low + 1.0 };
        Axis { label: TRAVEL_LABEL.to_owned(), low, high }
    }

    /// An axis that shows every value and every limit, with room beyond.
    fn axis(&self, label: &str, series: &[Series<'_>], limits: &[LimitLine]) -> Axis {
        let values = || {
            let curves = series.iter().flat_map(|s| &s.y).copied();
            curves.chain(limits.iter().map(|l| l.at)).chain([0.0]).filter(|v| v.is_finite())
        };
        let low = values().fold(f64::INFINITY, f64::min);
        let high = values().fold(f64::NEG_INFINITY, f64::max);
        let margin = ((high - low) * 0.14).max(1e-6);
        Axis { label: label.to_owned(), low: low - margin, high: high + margin }
    }

    /// The applied limits of a figure as lines; a limit on a magnitude forbids both sides.
    fn limit_lines(&self, figure: FigureName, line: Option<Channel>) -> Vec<LimitLine> {
        let applied = self.input.outcome.figures.iter().filter(|f| f.figure == figure.name());
        let of_line = |f: &&OutcomeFigure| match (line, f.channel.as_deref()) {
            (Some(line), Some(channel)) => channel == line.name(),
            _ => true,
        };
        let Some(found) = applied.filter(of_line).find_map(|f| f.limit.as_ref().map(|l| (l, f.unit))) else {
            return Vec::new();
        };
        let (limit, unit) = found;
        let make = |at: f64, side| LimitLine {
            at,
            label: format!("limit {}", format::with_unit(&format::as_written(at), unit)),
            side,
        };
        let OutcomeLimit { min, max, .. } = limit;
        let below = min.or(max.map(|m| -m)).map(|m| make(m, Side::Below));
        let above = max.or(min.map(|m| -m)).map(|m| make(m, Side::Above));
        [above, below].into_iter().flatten().collect()
    }

    /// Findings of a line (of any line when none), and gaps, as spans. What is wrong with a plate's drive is not in its lines.
    fn spans(&self, line: Option<Channel>) -> Vec<Span> {
        self.spans_of(line, &FindingKind::ALL)
    }

    fn spans_of(&self, line: Option<Channel>, kinds: &[FindingKind]) -> Vec<Span> {
        let findings = self.input.outcome.findings.iter().zip(&self.people.findings);
        let findings = findings.filter(|(f, _)| !of_the_drive(&f.kind));
        let wanted =
            findings.filter(|(f, _)| f.kind.known().is_some_and(|k| kinds.contains(&k))).filter(|(f, _)| {
                line.is_none_or(|line| f.channel.as_deref().is_none_or(|channel| channel == line.name()))
            });
        let found = wanted.filter_map(|(finding, row)| {
            let (from, to) = ends(finding.from_deg, finding.to_deg)?;
            Some(Span {
                from,
                to,
                tag: row.number.to_string(),
                label: plain(&format!("{} {}", row.kind, row.place.as_deref().unwrap_or("")), LABEL),
                hatch: Hatch::Finding,
            })
        });
        let gaps = self.input.outcome.gaps.iter().filter_map(|gap| {
            let (from, to) = ends(gap.from_deg, gap.to_deg)?;
            Some(Span { from, to, tag: String::new(), label: "gap".to_owned(), hatch: Hatch::Gap })
        });
        found.chain(gaps).collect()
    }

    /// Places of dropout events that findings name in their details (`event_1_deg` …), degrees.
    fn events(&self) -> Vec<f64> {
        let findings = self.input.outcome.findings.iter().filter(|f| f.kind == FindingKind::Dropout);
        let details = findings.flat_map(|f| &f.details);
        details
            .filter(|(name, _)| name.starts_with("event") && name.ends_with("_deg"))
            .map(|(_, v)| *v)
            .collect()
    }

    fn findings_in_words(&self, line: Option<Channel>) -> String {
        let all: Vec<String> =
            self.spans(line).into_iter().filter(|s| s.hatch == Hatch::Finding).map(|s| s.label).collect();
        if all.is_empty() {
            "No finding is marked.".to_owned()
        } else {
            format!("Marked: {}.", all.join("; "))
        }
    }
}

fn ends(from: Option<f64>, to: Option<f64>) -> Option<(f64, f64)> {
    let from = from.filter(|d| d.is_finite());
    let to = to.filter(|d| d.is_finite());
    let (a, b) = (from.or(to)?, to.or(from)?);
    Some((a.min(b), a.max(b)))
}

/// The counts of a histogram; latencies are compared by range and direction.
fn tally(histogram: &OutcomeHistogram) -> Tally {
    let condition = &histogram.condition;
    Tally {
        name: if condition.is_none() { "all".to_owned() } else { plain(&signs(&condition.words()), LABEL) },
        family: (histogram.name == LATENCY).then_some("Latency, how often: one line per range and direction"),
        low: histogram.low,
        width: histogram.width,
        counts: histogram.counts.clone(),
        limits: histogram.limits.clone(),
        unit: histogram.unit,
    }
}

/// The mean when there is one, or else both directions.
fn mean_or_both<'a>(curves: &[&'a PlotCurve]) -> Vec<&'a PlotCurve> {
    match curves.iter().find(|c| c.direction == "mean") {
        Some(mean) => vec![*mean],
        None => curves.to_vec(),
    }
}

/// Up and down thin, the mean heavy and on top.
fn directions<'a>(curves: &[&'a PlotCurve], colour: Colour) -> Vec<Series<'a>> {
    let thin = if curves.iter().any(|c| c.direction == "mean") { 0.9 } else { 1.5 };
    let styles = [
        ("up", Stroke::solid(colour, thin), Some(Mark::Up)),
        ("down", Stroke::dashed(colour, thin, &[4.0, 2.0]), Some(Mark::Down)),
        ("mean", Stroke::solid(colour, 2.1), None),
    ];
    styles
        .into_iter()
        .flat_map(|(direction, stroke, mark)| {
            curves.iter().filter(move |c| c.direction == direction).map(move |curve| Series {
                name: direction.to_owned(),
                x: Cow::Borrowed(&curve.deg),
                y: curve.y.clone(),
                stroke,
                mark,
            })
        })
        .collect()
}

fn line_stroke(line: Channel, width: f64) -> Stroke {
    match line {
        Channel::Rising => Stroke::solid(FIRST, width),
        Channel::Falling => Stroke::dashed(SECOND, width, &[8.0, 3.0]),
        _ => Stroke::dashed(FAINT, width, &[2.0, 2.0]),
    }
}

const fn line_mark(line: Channel) -> Mark {
    match line {
        Channel::Rising => Mark::Disc,
        _ => Mark::Square,
    }
}

/// A line's curve in volts at a supply of 5 V, whatever unit it came in.
fn volts_at_five(curve: &PlotCurve) -> Vec<f64> {
    let ratio_to_volts = |y: &f64| match curve.unit {
        Unit::VoltAtFive | Unit::Volt => *y,
        Unit::MillivoltAtFive => y / 1000.0,
        Unit::PercentSupply => y / 20.0,
        // A plain ratio of supply.
        _ => y * 5.0,
    };
    curve.y.iter().map(ratio_to_volts).collect()
}
