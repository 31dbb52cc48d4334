//! Plots of a body: step responses, returns, the creep's loop, lost motion. It computes no figure.

use super::latency::Lag;
use super::measured::{Measured, Recordings, UNKNOWN_PITCH_DEG};
use super::worn_teeth::Worn;
use crate::analysis::statistics;
use crate::analysis::{Axis, Histogram, Plot, PlotBand, PlotMark, PlotSeries};
use crate::quantity::{Bridge, Channel, Condition, Heading, Unit};
use crate::sheet::{PartSheet, Topology};

/// At most so many points per line.
const POINTS: usize = 600;
/// At most so many lines per plot.
const LINES: usize = 8;
/// Steps that begin closer to each other than this are drawn as one place, degrees.
const ONE_PLACE_DEG: f64 = 1.2;
/// A plate nearer to where it ends than this stands, for the plot, degrees.
const STILL_DEG: f64 = 0.5;

/// Every plot that there is something to draw of.
pub fn of(m: &Measured, recordings: &Recordings, sheet: &PartSheet) -> Vec<Plot> {
    [
        steps(m),
        lag_along(m),
        returns(m, recordings),
        creep(m),
        lost_motion(m, sheet),
        pushed(m),
        against_rotor(m, sheet),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn axis(label: &str, unit: &'static str) -> Axis {
    Axis { label: label.to_owned(), unit }
}

fn thinned(x: &[f64], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let every = x.len().div_ceil(POINTS).max(1);
    (x.iter().copied().step_by(every).collect(), y.iter().copied().step_by(every).collect())
}

fn steps(m: &Measured) -> Option<Plot> {
    let shown = &m.steps.shown;
    let series = shown.iter().take(LINES).map(|s| PlotSeries {
        label: format!("{}, {}", s.region.name(), s.heading.name()),
        x: s.ms.clone(),
        y: s.deg.clone(),
    });
    let marks = shown.iter().take(LINES).map(|s| PlotMark { x: s.onset_ms, label: String::new() });
    (!shown.is_empty()).then(|| Plot {
        name: "step_response",
        title: "Steps of voltage".to_owned(),
        reading: "One step of each range and direction; ticks mark the first motion after the command at 0."
            .to_owned(),
        x: axis("time after the command", "ms"),
        y: axis("plate, from where it stood", "deg"),
        series: series.collect(),
        marks: marks.collect(),
        bands: Vec::new(),
    })
}

/// Median and longest latency by place: the steps of a range begin at a few places.
fn lag_along(m: &Measured) -> Option<Plot> {
    let mut series = Vec::new();
    for heading in [Heading::Opening, Heading::Closing] {
        let places = by_place(&m.steps.along, heading);
        let x: Vec<f64> = places.iter().map(|p| p.0).collect();
        for (k, what) in ["median", "longest"].into_iter().enumerate() {
            let y = places.iter().map(|p| [p.1, p.2][k]).collect();
            series.push(PlotSeries { label: format!("{}, {what}", heading.name()), x: x.clone(), y });
        }
    }
    series.retain(|s| !s.x.is_empty());
    (!series.is_empty()).then(|| Plot {
        name: "lag",
        title: "Latency along the travel".to_owned(),
        reading: "Command to first motion against where the plate stood: a place where it lags is a place to look at.".to_owned(),
        x: axis("plate, before the step", "deg"),
        y: axis("latency", "ms"),
        series,
        marks: m.rest_deg.map(|x| PlotMark { x, label: "rest".to_owned() }).into_iter().collect(),
        bands: Vec::new(),
    })
}

/// Mean place, median and longest of the latencies that lie close together.
fn by_place(along: &[Lag], heading: Heading) -> Vec<(f64, f64, f64)> {
    let mut lags: Vec<&Lag> = along.iter().filter(|l| l.heading == heading).collect();
    lags.sort_by(|a, b| a.deg.total_cmp(&b.deg));
    let close = |a: &&Lag, b: &&Lag| b.deg - a.deg < ONE_PLACE_DEG;
    lags.chunk_by(close)
        .filter_map(|group| {
            let mut ms: Vec<f64> = group.iter().map(|l| l.ms).collect();
            let place = group.iter().map(|l| l.deg).sum::<f64>() / group.len() as f64;
            let longest = ms.iter().copied().fold(0.0, f64::max);
            Some((place, statistics::median(&mut ms)?, longest))
        })
        .collect()
}

fn returns(m: &Measured, recordings: &Recordings) -> Option<Plot> {
    let r = recordings.release.as_ref()?;
    let mut series = Vec::new();
    for bridge in Bridge::ALL {
        for one in m.returns.iter().filter(|o| o.bridge == bridge) {
            let start = r.signals.time_us.get(one.range.start).copied().unwrap_or(0);
            let times = r.signals.time_us.get(one.range.clone()).unwrap_or(&[]);
            let ms: Vec<f64> = times.iter().map(|t| (t - start) as f64 * 1e-3).collect();
            let (x, y) = thinned(&ms, r.deg(one.range.clone()));
            let bridge = if bridge == Bridge::Open { "bridge open" } else { "motor braked" };
            series.push(PlotSeries { label: format!("from {:.0} deg, {bridge}", one.from_deg), x, y });
        }
    }
    series.truncate(LINES + 2);
    until_still(&mut series);
    (!series.is_empty()).then(|| Plot {
        name: "release",
        title: "Return to rest".to_owned(),
        reading: "The plate after the drive lets go at 0; with the motor braked it takes longer, which is not a defect.".to_owned(),
        x: axis("time after letting go", "ms"),
        y: axis("plate", "deg"),
        series,
        marks: Vec::new(),
        bands: Vec::new(),
    })
}

/// Cuts off what comes long after the last plate stands.
fn until_still(series: &mut [PlotSeries]) {
    let still = |s: &PlotSeries| {
        let end = s.y.last().copied()?;
        s.x.iter().zip(&s.y).rfind(|(_, y)| (**y - end).abs() > STILL_DEG).map(|(x, _)| *x)
    };
    let Some(last) = series.iter().filter_map(still).reduce(f64::max) else { return };
    for s in series {
        let kept = s.x.partition_point(|x| *x <= 1.15 * last);
        s.x.truncate(kept);
        s.y.truncate(kept);
    }
}

fn creep(m: &Measured) -> Option<Plot> {
    let c = m.creep.as_ref()?;
    let k = m.emf?.value;
    let deg: Vec<f64> = c.places.iter().map(|p| p.deg).collect();
    let line = |label: &str, of: fn(&super::creep::Place) -> f64| {
        let y: Vec<f64> = c.places.iter().map(|p| k * of(p)).collect();
        let (x, y) = thinned(&deg, &y);
        PlotSeries { label: label.to_owned(), x, y }
    };
    Some(Plot {
        name: "creep",
        title: "Springs and friction".to_owned(),
        reading: "Torque of the drive while the plate moves slowly up and down: the middle is the springs, half the gap the friction."
            .to_owned(),
        x: axis("plate", "deg"),
        y: axis("torque at the plate", "N m"),
        series: vec![
            line("opening", |p| p.up),
            line("closing", |p| p.down),
            line("springs", super::creep::Place::spring),
            line("friction", super::creep::Place::friction),
        ],
        marks: m.rest_deg.map(|x| PlotMark { x, label: "rest".to_owned() }).into_iter().collect(),
        bands: m
            .motor
            .dead_spots
            .iter()
            .map(|s| PlotBand {
                from: s.at_deg - 0.5 * s.width_deg,
                to: s.at_deg + 0.5 * s.width_deg,
                label: "brushes lose contact".to_owned(),
                defect: true,
            })
            .collect(),
    })
}

fn lost_motion(m: &Measured, sheet: &PartSheet) -> Option<Plot> {
    let map = m.map.as_ref().ok()?;
    let worn = m.worn.as_ref()?;
    let gears = sheet.body.as_ref().and_then(|b| b.gears);
    let pitch = gears.map_or(UNKNOWN_PITCH_DEG, |g| g.tooth_pitch_deg());
    let deg: Vec<f64> = (0..worn.off_deg.len()).map(|k| map.rest_deg + map.layout.deg(k)).collect();
    let off = levelled(&deg, worn, pitch);
    let (limit_deg, limit): (Vec<f64>, Vec<f64>) = worn.limit.iter().copied().unzip();
    let last = deg.last().copied().unwrap_or(0.0);
    let teeth = (0..).map(|k| pitch * (f64::from(k) + 0.5)).take_while(|x| *x < last);
    let marks = teeth.enumerate().filter(|(_, x)| gears.is_some() && *x > map.rest_deg);
    let mut bands: Vec<PlotBand> = worn
        .bumps
        .iter()
        .map(|b| PlotBand {
            from: b.at_deg - 0.5 * pitch,
            to: b.at_deg + 0.5 * pitch,
            label: format!("{:.2} deg lost", b.depth.value),
            defect: true,
        })
        .collect();
    bands.push(PlotBand {
        from: 0.0,
        to: deg.first().copied().unwrap_or(0.0),
        label: "not seen by strokes from rest".to_owned(),
        defect: false,
    });
    Some(Plot {
        name: "lost_motion",
        title: "Lost motion along the teeth".to_owned(),
        reading: "What the motor turned and the plate did not follow, opening flank, beyond what healthy bodies do; a worn tooth makes a bump \
             about one pitch wide. The straight slope that a slight error of the motor's constant makes is taken off."
            .to_owned(),
        x: axis("plate", "deg"),
        y: axis("lost motion", "deg"),
        series: vec![
            PlotSeries { label: "lost motion".to_owned(), x: deg, y: off },
            PlotSeries { label: "depth that would be found".to_owned(), x: limit_deg, y: limit },
        ],
        marks: named_once(marks.collect()),
        bands,
    })
}

/// Lash by place, as a probe through the bore found it.
fn pushed(m: &Measured) -> Option<Plot> {
    let places = &m.pushed.0;
    let at = |of: fn(f64, f64) -> f64| places.iter().map(|p| of(p.lash.value, p.lash.uncertainty)).collect();
    let x: Vec<f64> = places.iter().map(|p| p.at_deg).collect();
    let series = |label: &str, y: Vec<f64>| PlotSeries { label: label.to_owned(), x: x.clone(), y };
    (places.len() > 1).then(|| Plot {
        name: "lash_by_push",
        title: "Lash by guided push".to_owned(),
        reading: "Free travel of the gears, both flanks, where a probe through the bore moved the plate; a place that stands out is a worn tooth."
            .to_owned(),
        x: axis("plate", "deg"),
        y: axis("lash", "deg"),
        series: vec![
            series("lash", at(|v, _| v)),
            series("at least (95 %)", at(|v, u| v - 2.0 * u)),
            series("at most (95 %)", at(|v, u| v + 2.0 * u)),
        ],
        marks: Vec::new(),
        bands: Vec::new(),
    })
}

/// What each feedback line deviates by from a straight one, against the rotor.
fn against_rotor(m: &Measured, sheet: &PartSheet) -> Option<Plot> {
    let rotor = m.rotor.as_ref()?;
    let lines = Channel::SENSORS.iter().zip(&rotor.off_deg);
    let series: Vec<PlotSeries> = lines
        .filter_map(|(channel, off)| {
            let label = if sheet.topology == Topology::Complementary {
                format!("{channel} line")
            } else {
                format!("{} line", if *channel == Channel::Rising { "first" } else { "second" })
            };
            Some(PlotSeries { label, x: rotor.deg.clone(), y: off.clone()? })
        })
        .collect();
    (!series.is_empty()).then(|| Plot {
        name: "feedback_shape",
        title: "Feedback lines against the rotor".to_owned(),
        reading: "What each line deviates by from its own straight line while the plate coasts home and the motor's EMF tells the rotor's angle: \
             where both go together, a bend is shared, of magnet or track."
            .to_owned(),
        x: axis("plate", "deg"),
        y: axis("deviation", "deg"),
        series,
        marks: Vec::new(),
        bands: Vec::new(),
    })
}

/// The map less the mean of healthy bodies and less the straight line through what stands out nowhere (least squares): an error of
/// the motor's constant makes such a line, and the search is blind to it.
fn levelled(deg: &[f64], worn: &Worn, pitch: f64) -> Vec<f64> {
    let bumped = |x: f64| worn.bumps.iter().any(|b| (x - b.at_deg).abs() < 0.6 * pitch);
    let rest: Vec<(f64, f64)> =
        deg.iter().copied().zip(worn.off_deg.iter().copied()).filter(|(x, _)| !bumped(*x)).collect();
    let n = rest.len().max(1) as f64;
    let (mean_x, mean_y) = rest.iter().fold((0.0, 0.0), |(a, b), (x, y)| (a + x / n, b + y / n));
    let (xy, xx) = rest.iter().fold((0.0, 0.0), |(xy, xx), (x, y)| {
        (xy + (x - mean_x) * (y - mean_y), xx + (x - mean_x) * (x - mean_x))
    });
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    deg.iter().zip(&worn.off_deg).map(|(x, y)| y - mean_y - slope * (x - mean_x)).collect()
}

/// Teeth by their numbers; the first one says what they are.
fn named_once(teeth: Vec<(usize, f64)>) -> Vec<PlotMark> {
    let label = |k: usize, first: bool| if first { format!("tooth {}", k + 1) } else { (k + 1).to_string() };
    teeth.into_iter().enumerate().map(|(i, (k, x))| PlotMark { x, label: label(k, i == 0) }).collect()
}

/// Latency histograms by range and direction.
pub fn histograms(m: &Measured) -> Vec<Histogram> {
    let all = m.steps.latencies.iter().filter_map(|l| {
        let (low, width, counts) = super::latency::bins(l)?;
        Some(Histogram {
            name: "latency",
            condition: Condition { region: Some(l.region), direction: Some(l.heading), ..Condition::NONE },
            channel: None,
            unit: Unit::Microsecond,
            low,
            width,
            counts,
        })
    });
    all.collect()
}

#[cfg(test)]
mod tests {
    use super::super::estimate::Estimate;
    use super::super::worn_teeth::{Bump, tooth_shape};
    use super::*;

    #[test]
    fn latencies_of_one_place_are_told_as_their_median_and_longest() {
        let lag = |deg, heading, ms| Lag { deg, heading, ms };
        let along = [
            lag(30.4, Heading::Opening, 2.0),
            lag(8.0, Heading::Opening, 1.0),
            lag(30.0, Heading::Opening, 5.0),
            lag(30.2, Heading::Opening, 3.0),
            lag(30.1, Heading::Closing, 9.0),
        ];
        let places = by_place(&along, Heading::Opening);
        assert_eq!(places.len(), 2);
        assert!((places[1].0 - 30.2).abs() < 1e-9);
        assert_eq!((places[0].1, places[1].1, places[1].2), (1.0, 3.0, 5.0));
    }

    #[test]
    fn returns_are_drawn_until_the_last_plate_stands() {
        let x: Vec<f64> = (0..1500).map(f64::from).collect();
        let fall = |until: f64| PlotSeries {
            label: String::new(),
            x: x.clone(),
            y: x.iter().map(|t| if *t < until { 80.0 } else { 6.5 }).collect(),
        };
        let mut series = [fall(100.0), fall(400.0)];
        until_still(&mut series);
        for s in &series {
            assert_eq!(s.x.len(), s.y.len());
            assert!((400.0..=460.0).contains(s.x.last().expect("it falls")), "{:?}", s.x.last());
        }
    }

    #[test]
    fn a_slope_is_taken_off_the_map_and_a_worn_tooth_stays_as_deep_as_it_is() {
        let deg: Vec<f64> = (0..185).map(|k| 7.5 + 0.2 * f64::from(k)).collect();
        let off_deg = deg.iter().map(|x| 0.03 * (x - 31.0) + 0.3 * tooth_shape(x - 14.0, 4.0)).collect();
        let depth = Estimate::new(0.3, 0.02).expect("a number");
        let bump = Bump { at_deg: 14.0, depth, z: 12.0, false_alarm: 0.0 };
        let worn =
            Worn { highest: bump, bumps: vec![bump], threshold: 5.0, limit: vec![], off_deg, scale: 1.0 };
        let shown = levelled(&deg, &worn, 4.0);
        for (x, y) in deg.iter().zip(&shown) {
            assert!((y - 0.3 * tooth_shape(x - 14.0, 4.0)).abs() < 1e-9, "{y} at {x}");
        }
    }
}
