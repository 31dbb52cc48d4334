//! A soak in pictures: the figure that reaches its limit first stands large between its limits; the others are small and share one scale,
//! the room to their limits that they use, so that they can be compared. Its words are [`super::soak`]'s business.

use super::format;
use super::plot::Plot;
use super::soak::{name, outlook, row};
use super::svg::chart::{Axis, Chart, LimitLine, Side, Span};
use super::svg::picture::{Hatch, Stroke};
use super::svg::series::Series;
use super::svg::{FAINT, FIRST, INK, SECOND};
use super::text::{LABEL, SENTENCE, capital, plain};
use super::words::{self, Lines};
use crate::outcome::{Outcome, OutcomeSoak, SoakDrift, SoakHole};
use crate::quantity::rounding::{rounded, significant};
use std::borrow::Cow;

/// Figures without a limit that do not drift are not drawn: their rows say it.
const MOST_PICTURES: usize = 14;
/// How far the common scale goes at least, % of the room: a little beyond the limit.
const LEAST_SCALE: f64 = 120.0;
/// How far it goes at most: what is farther out is drawn at its edge.
const MOST_SCALE: f64 = 300.0;
/// Height of the plot of a small picture, px.
const SMALL_HEIGHT: f64 = 84.0;

/// How the small pictures are to be read.
pub const SCALE: &str = "The small pictures share one scale: how much of the room to its limit a figure uses. 100 % is at the limit; 0 % is half-way \
    between two limits, or as far as can be from a single one.";

/// The figure that reaches its limit first, large; then small ones of the figures that drift or have a limit; temperature last.
pub fn pictures(outcome: &Outcome) -> Vec<Plot> {
    let Some(soak) = &outcome.soak else { return Vec::new() };
    let lines = Lines::of(outcome);
    let ordered = by_urgency(soak);
    let scale = scale(&ordered);
    let mut pictures: Vec<Plot> =
        ordered.first().map(|drift| large(drift, soak, lines)).into_iter().collect();
    let others = ordered.iter().skip(1).take(MOST_PICTURES).enumerate();
    pictures.extend(others.map(|(k, drift)| small(k, drift, soak, lines, scale)));
    pictures.extend(temperature(soak));
    pictures
}

/// Figures that drift or have a limit: those that passed or reach their limit first, then others that drift, then by the room that they
/// use.
fn by_urgency(soak: &OutcomeSoak) -> Vec<&SoakDrift> {
    let mut all: Vec<&SoakDrift> =
        soak.drifts.iter().filter(|d| d.drifts || d.min.is_some() || d.max.is_some()).collect();
    let room = |d: &SoakDrift| used(d.last, d).unwrap_or(0.0);
    let hours = |d: &SoakDrift| match (d.drifts, d.reaches_from_h) {
        (false, _) => f64::INFINITY,
        (true, _) if room(d) >= 100.0 => 0.0,
        (true, Some(hours)) => hours,
        (true, None) => f64::MAX,
    };
    all.sort_by(|a, b| hours(a).total_cmp(&hours(b)).then(room(b).total_cmp(&room(a))));
    all
}

/// How much of the room to its limit a value uses, %: from the middle between two limits, from 0 to a single upper one, or how large a single
/// lower limit is beside the value. None without a limit that gives such a room.
fn used(value: f64, drift: &SoakDrift) -> Option<f64> {
    let share = match (drift.min, drift.max) {
        (Some(min), Some(max)) if max > min => (value - f64::midpoint(min, max)).abs() / ((max - min) / 2.0),
        (None, Some(max)) if max > 0.0 => value.max(0.0) / max,
        (Some(min), None) if min > 0.0 && value > 0.0 => min / value,
        _ => return None,
    };
    Some(100.0 * share).filter(|share| share.is_finite())
}

/// Where the common scale ends.
fn scale(drifts: &[&SoakDrift]) -> f64 {
    let values = drifts.iter().flat_map(|d| d.lowest.iter().chain(&d.highest).filter_map(|v| used(*v, d)));
    values.map(|share| 1.05 * share).fold(LEAST_SCALE, f64::max).min(MOST_SCALE)
}

fn large(drift: &SoakDrift, soak: &OutcomeSoak, lines: Lines) -> Plot {
    let title = capital(&name(drift, lines));
    let limits = limits(drift);
    let chart = Chart {
        id: "soak-first",
        title: title.clone(),
        description: plain(&format!("{}: {}", title, outlook(drift, soak)), SENTENCE),
        height: 150.0,
        x: along(soak),
        y: upward(drift, &limits),
        series: curves(drift, |value| value, true),
        limits,
        spans: holes(soak, true),
        events: soak.events.at_h.clone(),
        places: Vec::new(),
    };
    let row = row(drift, soak, lines);
    let caption = format!(
        "{}; {}. Uncertainty of one value ± {}.",
        row.per_hour,
        row.word,
        format::with_unit(&rounded(drift.u, drift.u).0, drift.unit)
    );
    Plot::of_chart("soak", &chart, &title, &plain(&caption, SENTENCE))
}

/// On the common scale; a figure without a limit has its own.
fn small(index: usize, drift: &SoakDrift, soak: &OutcomeSoak, lines: Lines, scale: f64) -> Plot {
    let title = capital(&name(drift, lines));
    let to_share = used(drift.last, drift).is_some();
    let (y, limits) = if to_share {
        let limit = LimitLine { at: 100.0, label: String::new(), side: Side::Above };
        (Axis { label: "room used, %".to_owned(), low: 0.0, high: scale }, vec![limit])
    } else {
        (upward(drift, &[]), Vec::new())
    };
    let share = |value: f64| if to_share { used(value, drift).unwrap_or(f64::NAN) } else { value };
    let chart = Chart {
        id: &format!("soak-{index}"),
        title: title.clone(),
        description: plain(&format!("{}: {}", title, outlook(drift, soak)), SENTENCE),
        height: SMALL_HEIGHT,
        x: along(soak),
        y,
        series: curves(drift, share, false),
        limits,
        spans: holes(soak, false),
        events: Vec::new(),
        places: Vec::new(),
    };
    let level = |value: f64| format::with_unit(&significant(value, 4), drift.unit);
    let caption = format!("{} to {}; {}", level(drift.first), level(drift.last), outlook(drift, soak));
    Plot::of_small_chart("soak_small", &chart, &title, &plain(&caption, SENTENCE))
}

/// Rounds, what they spread over, and the line of a drift, each value as `shown` says; with names for a legend.
fn curves<'a>(drift: &'a SoakDrift, shown: impl Fn(f64) -> f64, named: bool) -> Vec<Series<'a>> {
    let label = |label: &str| if named { label.to_owned() } else { String::new() };
    let series = |label: String, y: &[f64], stroke| Series {
        name: label,
        x: Cow::Borrowed(drift.hours.as_slice()),
        y: y.iter().copied().map(&shown).collect(),
        stroke,
        mark: None,
    };
    let averaged = drift.lowest != drift.highest;
    let mut all = Vec::new();
    if averaged {
        all.push(series(label("lowest and highest"), &drift.lowest, Stroke::solid(FAINT, 0.8)));
        all.push(series(String::new(), &drift.highest, Stroke::solid(FAINT, 0.8)));
    }
    let rounds = if averaged { "mean of rounds" } else { "each round" };
    all.push(series(label(rounds), &drift.values, Stroke::solid(FIRST, 1.5)));
    if let (true, Some(from), Some(to)) = (drift.drifts, drift.hours.first(), drift.hours.last()) {
        all.push(Series {
            name: label("drift"),
            x: Cow::Owned(vec![*from, *to]),
            y: vec![shown(drift.first), shown(drift.last)],
            stroke: Stroke::dashed(SECOND, 1.8, &[8.0, 3.0]),
            mark: None,
        });
    }
    all
}

fn along(soak: &OutcomeSoak) -> Axis {
    Axis { label: "hours since the soak began".to_owned(), low: 0.0, high: soak.hours.max(1e-3) }
}

fn limits(drift: &SoakDrift) -> Vec<LimitLine> {
    let line = |at: f64, side| LimitLine {
        at,
        label: format!("limit {}", format::with_unit(&format::as_written(at), drift.unit)),
        side,
    };
    let below = drift.min.map(|m| line(m, Side::Below));
    let above = drift.max.map(|m| line(m, Side::Above));
    below.into_iter().chain(above).collect()
}

/// Every value and every limit, with room beyond.
fn upward(drift: &SoakDrift, limits: &[LimitLine]) -> Axis {
    let values = || drift.lowest.iter().chain(&drift.highest).copied().chain(limits.iter().map(|l| l.at));
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    let margin = (0.15 * (high - low)).max(1e-9 * high.abs()).max(1e-9);
    let label = plain(&format!("{}, {}", words::figure(&drift.figure), format::unit(drift.unit)), LABEL);
    Axis { label, low: low - margin, high: high + margin }
}

fn holes(soak: &OutcomeSoak, named: bool) -> Vec<Span> {
    let span = |hole: &SoakHole| Span {
        from: hole.from_h,
        to: hole.to_h,
        tag: String::new(),
        label: if named {
            plain(&format!("{} rounds missed", hole.rounds_missed), LABEL)
        } else {
            String::new()
        },
        hatch: Hatch::Gap,
    };
    soak.holes.iter().map(span).collect()
}

fn temperature(soak: &OutcomeSoak) -> Option<Plot> {
    let t = soak.temperature.as_ref()?;
    let title = "Temperature of the rig".to_owned();
    let margin = (0.1 * (t.highest - t.lowest)).max(0.5);
    let chart = Chart {
        id: "soak-temperature",
        title: title.clone(),
        description: "Temperature over time.".to_owned(),
        height: SMALL_HEIGHT,
        x: along(soak),
        y: Axis { label: "°C".to_owned(), low: t.lowest - margin, high: t.highest + margin },
        series: vec![Series {
            name: String::new(),
            x: Cow::Borrowed(t.hours.as_slice()),
            y: t.values.clone(),
            stroke: Stroke::solid(INK, 1.3),
            mark: None,
        }],
        limits: Vec::new(),
        spans: holes(soak, false),
        events: Vec::new(),
        places: Vec::new(),
    };
    let caption = "A figure that drifts as this does may follow the room and not wear.";
    Some(Plot::of_small_chart("temperature", &chart, &title, caption))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{SoakEvents, SoakLogFile, SoakWatched};
    use crate::quantity::{Condition, FigureName, Unit, Written};
    use crate::report::fixture;
    use crate::report::svg::chart::HALF;

    fn drift(
        figure: FigureName,
        values: [f64; 2],
        limits: (Option<f64>, Option<f64>),
        reaches: Option<f64>,
    ) -> SoakDrift {
        SoakDrift {
            figure: Written::from(figure),
            channel: None,
            condition: Condition::NONE,
            unit: Unit::PercentSpan,
            rounds: 2,
            first: values[0],
            last: values[1],
            per_hour: values[1] - values[0],
            lower: 0.0,
            upper: 0.0,
            resemblance: 0.0,
            p: 0.5,
            p_family: 0.5,
            drifts: reaches.is_some(),
            reaches_from_h: reaches,
            reaches_to_h: reaches,
            reaches_limit: None,
            min: limits.0,
            max: limits.1,
            rounds_outside: 0,
            u: 0.01,
            hours: vec![0.0, 1.0],
            values: values.to_vec(),
            lowest: values.to_vec(),
            highest: values.to_vec(),
        }
    }

    fn soaked(drifts: Vec<SoakDrift>) -> Outcome {
        let watched = SoakWatched { events: 0, minutes: 1.0 };
        let soak = OutcomeSoak {
            log: SoakLogFile { file: String::new(), sha256: String::new(), bytes: 0 },
            rounds: 2,
            rounds_planned: 2,
            cycles: 2,
            hours: 1.0,
            soaked_hours: 1.0,
            ended: None,
            holes: Vec::new(),
            rounds_with_traces: 2,
            rounds_without_room: 0,
            events: SoakEvents {
                all: watched,
                unsure: 0,
                rate: 0.0,
                lower: 0.0,
                upper: 1.0,
                first_half: watched,
                second_half: watched,
                p: 1.0,
                changed: false,
                at_h: Vec::new(),
            },
            temperature: None,
            findings: Vec::new(),
            drifts,
        };
        Outcome { soak: Some(soak), ..fixture::worn() }
    }

    #[test]
    fn the_figure_that_reaches_its_limit_first_is_large_and_the_others_share_one_scale() {
        use FigureName as F;
        let outcome = soaked(vec![
            drift(F::Noise, [3.0, 3.0], (None, Some(4.0)), None),
            drift(F::Hysteresis, [0.1, 0.2], (None, Some(0.5)), Some(40.0)),
            drift(F::CorrelationOffset, [0.0, 1.0], (Some(-2.0), Some(2.0)), Some(4.0)),
            drift(F::Span, [9.0, 9.0], (None, None), None),
        ]);
        let all = pictures(&outcome);
        let titles: Vec<String> = all.iter().map(|plot| plot.title.to_lowercase()).collect();
        assert_eq!(titles, ["correlation, offset", "hysteresis", "noise"]);
        assert_eq!((all[0].what.as_str(), all[0].wide), ("soak", true));
        let small: Vec<String> = all[1..].iter().map(|plot| plot.picture.svg()).collect();
        assert!(all[1..].iter().all(|plot| !plot.wide && plot.picture.size.0 == HALF));
        // The common axis, ticks and all, is drawn alike in each; the limit lies across at 100 %.
        let ticks = |svg: &str| -> Vec<String> {
            let document = roxmltree::Document::parse(svg).unwrap();
            let end = |n: &roxmltree::Node<'_, '_>| n.attribute("text-anchor") == Some("end");
            document
                .descendants()
                .filter(end)
                .map(|n| format!("{:?} {:?}", n.attribute("y"), n.text()))
                .collect()
        };
        assert_eq!(ticks(&small[0]), ticks(&small[1]));
        assert!(small.iter().all(|svg| svg.contains("-forbidden)") && svg.contains("room used")));
    }

    #[test]
    fn the_room_used_is_full_at_a_limit_and_needs_one() {
        let of = |value, limits| used(value, &drift(FigureName::Noise, [0.0, 0.0], limits, None));
        assert_eq!(of(0.65, (Some(0.35), Some(0.65))), Some(100.0));
        assert_eq!(of(0.5, (Some(0.35), Some(0.65))), Some(0.0));
        assert_eq!(of(-1.0, (Some(-2.0), Some(2.0))), Some(50.0));
        assert_eq!(of(1.0, (None, Some(4.0))), Some(25.0));
        assert_eq!(of(500.0, (Some(100.0), None)), Some(20.0));
        for limits in [(None, None), (None, Some(0.0)), (Some(1.0), Some(1.0))] {
            assert_eq!(of(1.0, limits), None, "{limits:?}");
        }
    }

    #[test]
    fn one_value_far_beyond_its_limit_does_not_flatten_the_others() {
        let far = drift(FigureName::Noise, [1.0, 400.0], (None, Some(1.0)), None);
        let near = drift(FigureName::Hysteresis, [0.1, 0.1], (None, Some(1.0)), None);
        assert_eq!(scale(&[&near]), LEAST_SCALE);
        assert_eq!(scale(&[&near, &far]), MOST_SCALE);
    }
}
