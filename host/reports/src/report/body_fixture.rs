//! An invented worn throttle body for tests and pictures of the report. Every number here is made up; nothing was measured.
//!
//! Compiled twice, as `fixture` is: it names the library through its parent, which calls it `host`.

use super::fixture;
use super::host::analysis::{Axis, Comparison, Plot, PlotBand, PlotMark, PlotSeries};
use super::host::outcome::{
    CAUTIONS, Outcome, OutcomeDetectionLimit, OutcomeFigure, OutcomeFinding, OutcomeHistogram, OutcomeLimit,
    OutcomeNotTestable, OutcomePart, OutcomeProcedure, OutcomeSheet,
};
use super::host::quantity::{Bridge, Channel, Condition, FigureName, Heading, Region, Unit, Written};
use super::host::sheet::{PartSheet, shipped};
use super::host::verdict::{FindingEffect, Verdict};
use std::f64::consts::TAU;

/// The shipped sheet.
pub fn sheet() -> PartSheet {
    shipped("body").expect("a sheet of that name is shipped")
}

/// The worn body's outcome.
pub fn worn() -> Outcome {
    let sheet = sheet();
    Outcome {
        verdict: Verdict::Outside,
        reasons: vec![
            "outside: worn tooth: invented: the plate lags the motor by 0.31° around 12.0° (confidence 99 %)".to_owned(),
            "outside: lost motion, worst: 0.312 ± 0.042° at 12.0°, limit: at most 0.15°".to_owned(),
            "undecided: lash at rest: 0.462 ± 0.064°, limit: at most 0.48°: the value is 0.018° from the limit, the guard band \
             is 0.053°: about 8.7 times as many coasts if it scatters between them; the maker's limit with its own allowance \
             decides it too"
                .to_owned(),
        ],
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
        part: OutcomePart {
            kind: Written::of("body"),
            label: "invented worn throttle body, seed 7".to_owned(),
            topology_found: Some(Written::of("complementary")),
        },
        sheet: OutcomeSheet {
            name: sheet.name.clone(),
            title: sheet.title.clone(),
            topology: sheet.topology.into(),
        },
        figures: figures(&sheet),
        findings: findings(),
        histograms: histograms(),
        gaps: Vec::new(),
        detection_limits: vec![OutcomeDetectionLimit {
            kind: Written::of("worn_tooth"),
            channel: None,
            text: "Wear of less than 0.15° on the opening flank, wear of the closing flank above rest, and teeth below 9.5° or \
                   above 46° would not have been seen; a guided push through the bore shows them (invented)."
                .to_owned(),
            details: Default::default(),
        }],
        not_testable: vec![OutcomeNotTestable {
            what: "linearity_independent, linearity_terminal, linearity_zero_based".to_owned(),
            why: "the plate bears no other angle sensor to hold the lines against".to_owned(),
        }],
        procedures: [
            ("self_check", 5_000_u64),
            ("rest", 61_000),
            ("step", 2_160_000),
            ("release", 60_000),
            ("creep", 126_000),
            ("lash", 30_000),
            ("tooth_map", 24_000),
            ("blip_before", 20_000),
            ("blip", 80_000),
            ("blip_after", 20_000),
        ]
        .map(|(name, scans)| OutcomeProcedure {
            procedure: Written::of(name),
            scans,
            end: Written::of("complete"),
            trace_file: Some(format!("{name}.parquet")),
            damaged_percent: None,
            loads_stepped: None,
        })
        .into(),
        warnings: Vec::new(),
        grade: None,
        matings: None,
        line: None,
        suspects: Vec::new(),
        soak: None,
        settling: None,
        contact: None,
        ..fixture::worn()
    }
}

fn motion() -> impl Iterator<Item = Condition> {
    Region::ALL.into_iter().flat_map(|region| {
        Heading::ALL.map(|direction| Condition {
            region: Some(region),
            direction: Some(direction),
            ..Condition::NONE
        })
    })
}

/// One judged figure; the limit is the sheet's, the verdict made by halves.
fn figure(
    sheet: &PartSheet,
    name: FigureName,
    channel: Option<Channel>,
    condition: Condition,
    (value, u): (f64, f64),
    at_deg: Option<f64>,
) -> OutcomeFigure {
    let limit = sheet.limit_for(name, channel, &condition);
    let verdict = limit.map(|l| {
        let inside =
            l.max.is_none_or(|m| value + 0.82 * u <= m) && l.min.is_none_or(|m| value - 0.82 * u >= m);
        let outside =
            l.max.is_some_and(|m| value - 0.82 * u > m) || l.min.is_some_and(|m| value + 0.82 * u < m);
        match (inside, outside) {
            (true, _) => Verdict::Within,
            (_, true) => Verdict::Outside,
            _ => Verdict::Undecided,
        }
    });
    OutcomeFigure {
        figure: name.into(),
        channel: channel.map(Into::into),
        condition,
        value,
        unit: name.unit(),
        expanded_uncertainty: u,
        upper_bound: (name == FigureName::DropoutRate).then_some(13.2),
        at_deg,
        limit: limit.map(|l| OutcomeLimit { min: l.min, max: l.max, bound: l.bound }),
        source: limit.map(|l| l.source.clone()),
        verdict,
        would_decide: (verdict == Some(Verdict::Undecided))
            .then(|| "about 8.7 times as many coasts if it scatters between them (invented)".to_owned()),
        definition: format!("{}, as the analysis defines it (invented).", name.title()),
    }
}

fn figures(sheet: &PartSheet) -> Vec<OutcomeFigure> {
    use FigureName as F;
    let mut all = Vec::new();
    let mut one = |name, channel, value, u, at| {
        all.push(figure(sheet, name, channel, Condition::NONE, (value, u), at));
    };
    let [first, second] = Channel::SENSORS.map(Some);
    for (name, channel, value, u) in [
        (F::ClosedVolts, first, 0.5012, 0.0031),
        (F::ClosedVolts, second, 4.4969, 0.0031),
        (F::OpenVolts, first, 4.5034, 0.0031),
        (F::OpenVolts, second, 0.4987, 0.0031),
        (F::Span, first, 4.0022, 0.0027),
        (F::Span, second, 3.9982, 0.0027),
        (F::CorrelationWorst, None, 0.412, 0.061),
        (F::CorrelationOffset, None, 0.021, 0.043),
        (F::CorrelationSlope, None, -0.118, 0.052),
        (F::Noise, first, 0.97, 0.04),
        (F::Noise, second, 1.02, 0.04),
        (F::Skew, None, 3.1, 12.4),
        (F::DropoutRate, None, 0.0, 4.4),
        (F::LimpTrips, None, 0.0, 0.0),
        (F::RestPosition, None, 6.52, 0.22),
        (F::RestRepeatability, None, 0.071, 0.018),
        (F::ClosedStop, None, 0.03, 0.06),
        (F::OpenStop, None, 84.07, 0.06),
    ] {
        one(name, channel, value, u, None);
    }
    for (k, condition) in motion().enumerate() {
        let slower = 40.0 * k as f64 + if k == 0 { 160.0 } else { 0.0 };
        for (name, value, u) in [
            (F::LatencyP50, 1010.0 + slower, 24.0),
            (F::LatencyP90, 1180.0 + slower, 41.0),
            (F::LatencyP99, 1360.0 + slower, 92.0),
            (F::LatencyMax, 1490.0 + slower, 0.0),
        ] {
            all.push(figure(sheet, name, None, condition, (value, u), None));
        }
    }
    for (k, condition) in motion().enumerate() {
        for (name, value, u) in [
            (F::RiseTime, 25.4 + 1.3 * k as f64, 0.4),
            (F::Overshoot, 6.7 - 0.4 * k as f64, 0.5),
            (F::Settling, 371.0 - 11.0 * k as f64, 9.0),
        ] {
            all.push(figure(sheet, name, None, condition, (value, u), None));
        }
    }
    for (from, open, brake) in [
        (80.0, 277.4, 732.0),
        (60.0, 246.1, 568.0),
        (40.0, 208.3, 383.0),
        (20.0, 127.2, 167.0),
        (10.0, 38.1, 47.2),
    ] {
        for (bridge, ms) in [(Bridge::Open, open), (Bridge::Brake, brake)] {
            let condition = Condition { from_deg: Some(from), bridge: Some(bridge), ..Condition::NONE };
            all.push(figure(sheet, F::ReturnTime, None, condition, (ms, 0.004 * ms), None));
        }
    }
    for (name, value, u, at) in [
        (F::Lash, 0.462, 0.064, None),
        (F::LostMotion, 0.312, 0.042, Some(12.0)),
        (F::PreloadMain, 0.394, 0.008, None),
        (F::PreloadDefault, 0.357, 0.015, None),
        (F::StiffnessMain, 0.0874, 0.0019, None),
        (F::Friction, 0.271, 0.006, None),
        (F::Sticking, 0.012, 0.004, Some(1.5)),
        (F::ReturnMargin, 31.2, 1.8, Some(1.9)),
        (F::WindingResistance, 1.162, 0.034, None),
        (F::BackEmfConstant, 0.3842, 0.0052, None),
        (F::TrackingError, 1.21, 0.08, Some(46.2)),
    ] {
        all.push(figure(sheet, name, None, Condition::NONE, (value, u), at));
    }
    all
}

fn findings() -> Vec<OutcomeFinding> {
    vec![
        OutcomeFinding {
            kind: Written::of("worn_tooth"),
            channel: None,
            from_deg: Some(10.4),
            to_deg: Some(13.6),
            confidence: 0.998,
            decides: true,
            effect: Some(FindingEffect::Outside),
            text: "The plate lags the motor by 0.31° around 12.0°, over the width of one tooth, in 8 of 8 strokes.".to_owned(),
            details: [("depth_deg", 0.312), ("z", 14.2), ("strokes", 8.0), ("tooth_at_deg", 12.0)]
                .map(|(name, value)| (name.to_owned(), value))
                .into(),
        },
        OutcomeFinding {
            kind: Written::of("lash"),
            channel: None,
            from_deg: Some(6.5),
            to_deg: None,
            confidence: 0.61,
            decides: false,
            effect: Some(FindingEffect::Explains),
            text: "The rotor turns 0.46° at the plate before the plate follows; healthy bodies have 0.18 to 0.41°.".to_owned(),
            details: [("lash_deg", 0.462)].map(|(name, value)| (name.to_owned(), value)).into(),
        },
    ]
}

fn histograms() -> Vec<OutcomeHistogram> {
    let bell = |middle: f64| {
        let count = |k: i32| {
            let z = (f64::from(k) * 50.0 + 25.0 - middle) / 140.0;
            (64.0 * (-0.5 * z * z).exp()).round() as u64
        };
        (0..60).map(count).collect::<Vec<u64>>()
    };
    let latency = motion().enumerate().map(|(k, condition)| OutcomeHistogram {
        name: "latency".to_owned(),
        channel: None,
        condition,
        unit: Unit::Microsecond,
        low: 0.0,
        width: 50.0,
        counts: bell(1010.0 + 40.0 * k as f64 + if k == 0 { 160.0 } else { 0.0 }),
        limits: vec![6000.0],
    });
    let correlation = OutcomeHistogram {
        name: "correlation_deviation".to_owned(),
        channel: None,
        condition: Condition::NONE,
        unit: Unit::PercentSupply,
        low: -1.5,
        width: 0.05,
        counts: bell(1450.0),
        limits: vec![-2.5, 2.5],
    };
    latency.chain([correlation]).collect()
}

/// Plots like the analysis would give.
pub fn plots() -> Vec<Plot> {
    vec![steps(), lost_motion(), lag(), release(), creep(), feedback()]
}

fn axis(label: &str, unit: &'static str) -> Axis {
    Axis { label: label.to_owned(), unit }
}

fn series(label: &str, count: u32, x: &dyn Fn(f64) -> f64, y: &dyn Fn(f64) -> f64) -> PlotSeries {
    let parts = || (0..=count).map(|k| f64::from(k) / f64::from(count));
    PlotSeries { label: label.to_owned(), x: parts().map(x).collect(), y: parts().map(y).collect() }
}

fn mark(x: f64, label: &str) -> PlotMark {
    PlotMark { x, label: label.to_owned() }
}

fn steps() -> Plot {
    let rise = |start: f64, pace: f64| {
        move |t: f64| {
            let ms = 60.0 * t - 2.0 - start;
            if ms > 0.0 { 20.0 * (1.0 - (-ms / pace).exp() * (ms / 11.0).cos()) } else { 0.0 }
        }
    };
    let x = |t: f64| 60.0 * t - 2.0;
    Plot {
        name: "step_response",
        title: "Step response, opening".to_owned(),
        reading: "The middle one of the steps of each range; the command falls at 0. Invented.".to_owned(),
        x: axis("time after the command", "ms"),
        y: axis("plate from where it stood", "deg"),
        series: vec![
            series("low range", 600, &x, &rise(1.2, 14.0)),
            series("middle range", 600, &x, &rise(1.1, 16.0)),
            series("high range", 600, &x, &rise(1.25, 18.0)),
        ],
        marks: vec![mark(0.0, "command"), mark(1.2, "first motion 1.2 ms")],
        bands: Vec::new(),
    }
}

/// The teeth of the sheet's sector, as bare ticks.
fn teeth() -> impl Iterator<Item = PlotMark> {
    (1..=21).map(|k| mark(4.0 * f64::from(k) - 2.0, ""))
}

fn lost_motion() -> Plot {
    let bump = |deg: f64| {
        let x = ((deg - 12.0) / 4.0).abs();
        if x < 0.2 {
            0.31
        } else if x < 0.5 {
            0.155 * (1.0 + ((x - 0.2) / 0.3 * TAU / 2.0).cos())
        } else {
            0.0
        }
    };
    let deg = |t: f64| 7.5 + 38.5 * t;
    let map = |t: f64| bump(deg(t)) + 0.02 * (deg(t) * TAU / 17.6).sin() + 0.008 * (deg(t) * TAU / 4.0).sin();
    Plot {
        name: "lost_motion",
        title: "Lost motion along the travel".to_owned(),
        reading: "How far the plate lags the rotor on slow strokes from rest; ticks are teeth of the sector."
            .to_owned(),
        x: axis("plate from the closed stop", "deg"),
        y: axis("lost motion", "deg"),
        series: vec![series("mean of 8 strokes", 385, &deg, &map)],
        marks: teeth().chain([mark(6.5, "rest")]).collect(),
        bands: vec![
            PlotBand { from: 0.0, to: 7.5, label: "not seen".to_owned(), defect: false },
            PlotBand { from: 10.4, to: 13.6, label: "worn tooth".to_owned(), defect: true },
            PlotBand { from: 46.0, to: 84.0, label: "not seen".to_owned(), defect: false },
        ],
    }
}

fn lag() -> Plot {
    let deg = |t: f64| 8.0 + 68.0 * t;
    Plot {
        name: "lag",
        title: "Latency along the travel".to_owned(),
        reading: "Median of the steps that began there.".to_owned(),
        x: axis("plate from the closed stop", "deg"),
        y: axis("latency", "ms"),
        series: vec![
            series("opening", 17, &deg, &|t| {
                1.05 + 0.1 * t + if (0.03..0.1).contains(&t) { 0.25 } else { 0.0 }
            }),
            series("closing", 17, &deg, &|t| 1.12 - 0.04 * t),
        ],
        marks: teeth().collect(),
        bands: vec![PlotBand { from: 10.4, to: 13.6, label: "worn tooth".to_owned(), defect: true }],
    }
}

fn release() -> Plot {
    let fall =
        |from: f64, ms: f64| move |t: f64| (6.5 + (from - 6.5) * (1.0 - (800.0 * t / ms).powi(2))).max(6.5);
    let x = |t: f64| 800.0 * t;
    let curve = |label: &str, from, ms| series(label, 400, &x, &fall(from, ms));
    Plot {
        name: "release",
        title: "Return to rest".to_owned(),
        reading: "Power is cut at 0. How the bridge is matters: a braked motor holds the plate back."
            .to_owned(),
        x: axis("time after power was cut", "ms"),
        y: axis("plate from the closed stop", "deg"),
        series: vec![
            curve("from 80°, bridge open", 80.0, 277.0),
            curve("from 80°, motor braked", 80.0, 732.0),
            curve("from 40°, bridge open", 40.0, 208.0),
            curve("from 40°, motor braked", 40.0, 383.0),
        ],
        marks: Vec::new(),
        bands: Vec::new(),
    }
}

fn creep() -> Plot {
    let spring = |deg: f64| if deg > 6.5 { 0.394 + 0.0874 * (deg - 6.5).to_radians() } else { -0.357 };
    Plot {
        name: "creep",
        title: "Torque of the motor on slow ramps".to_owned(),
        reading: "The mean of both ways is the springs, half their distance is friction; the step at rest is the preloads."
            .to_owned(),
        x: axis("plate from the closed stop", "deg"),
        y: axis("torque at the plate", "N m"),
        series: vec![
            series("opening", 400, &|t| 0.8 + 82.0 * t, &|t| spring(0.8 + 82.0 * t) + 0.271),
            series("closing", 400, &|t| 82.8 - 82.0 * t, &|t| spring(82.8 - 82.0 * t) - 0.271),
        ],
        marks: vec![mark(6.5, "rest 6.5°")],
        bands: Vec::new(),
    }
}

fn feedback() -> Plot {
    let deg = |t: f64| 84.0 * t;
    Plot {
        name: "feedback_deviation",
        title: "Sum deviation of the feedback lines".to_owned(),
        reading: "rising + falling − supply: 0 in a perfect pair.".to_owned(),
        x: axis("plate from the closed stop", "deg"),
        y: axis("sum deviation", "% supply"),
        series: vec![series("both ways", 420, &deg, &|t| 0.02 + 0.3 * (t * TAU).sin() - 0.118 * (t - 0.5))],
        marks: Vec::new(),
        bands: Vec::new(),
    }
}

/// What blips changed.
pub fn comparisons() -> Vec<Comparison> {
    let one = |name: &str, unit, before, u_before, after, u_after| Comparison {
        name: name.to_owned(),
        unit,
        before,
        u_before,
        after,
        u_after,
    };
    vec![
        one("lash at rest", Unit::Degree, 0.458, 0.032, 0.462, 0.032),
        one("rest position", Unit::Degree, 6.521, 0.004, 6.548, 0.004),
        one("winding resistance", Unit::Ohm, 1.148, 0.017, 1.241, 0.017),
        one("friction", Unit::NewtonMetre, 0.274, 0.003, 0.271, 0.003),
        one("dropouts", Unit::Count, 0.0, 0.0, 0.0, 0.0),
    ]
}
