//! An invented worn grip for tests and pictures of the report. Every number here is made up; nothing was measured.
//!
//! Compiled twice: into the library's tests, and into `examples/report_fixture.rs`. So it names the library through
//! its parent, which calls it `host`.

use super::host::analysis::PlotCurve;
use super::host::outcome::{
    Outcome, OutcomeDetectionLimit, OutcomeFigure, OutcomeFinding, OutcomeGap, OutcomeGrade,
    OutcomeHistogram, OutcomeLimit, OutcomeNotTestable, OutcomePart, OutcomeProcedure, OutcomeSheet,
    SCHEMA_VERSION,
};
use super::host::quantity::{Channel, Condition, FigureName, PartKind, Unit, Written};
use super::host::sheet::{ConnectorRating, Monitor, NominalLine, PartSheet, SweepPlan, Topology};
use super::host::trace::{ChannelProvenance, Gap, GapCause, RigProvenance};
use super::host::verdict::Verdict;
use std::collections::BTreeMap;
use std::f64::consts::TAU;

const TRAVEL: f64 = 80.0;
const NO_SOURCE: &str = "common practice, no source; use the maker's service data";

/// A sheet like the shipped one.
pub fn sheet() -> PartSheet {
    PartSheet {
        name: "grip-complementary".to_owned(),
        title: "twist-grip sensor, two lines that add up to the supply".to_owned(),
        kind: PartKind::Grip,
        topology: Topology::Complementary,
        supply_volts: 5.0,
        travel_deg: TRAVEL,
        rising: NominalLine { closed: 0.15, open: 0.85 },
        falling: NominalLine { closed: 0.85, open: 0.15 },
        monitor: Monitor { threshold_percent: 6.0, rails: (0.04, 0.96), period_ms: 10.0, debounce: 12 },
        sweep: SweepPlan { cycles: 5, speed_deg_s: 60.0, rate_hz: 5000 },
        body: None,
        limits: Vec::new(),
        findings: Vec::new(),
        grades: Vec::new(),
        connector: ConnectorRating::default(),
        self_closing_required: false,
        follow: None,
    }
}

/// The worn grip's outcome.
pub fn worn() -> Outcome {
    Outcome {
        schema: SCHEMA_VERSION,
        verdict: Verdict::Outside,
        scope: Written::of("part"),
        not_done: Vec::new(),
        reasons: vec![
            "flat spot on the falling line at 7.2–8.1°: a part with it is outside".to_owned(),
            "correlation, worst: 1.34 ± 0.21 % of supply, limit 1 % of supply".to_owned(),
        ],
        cautions: Vec::new(),
        simulated: true,
        aborted: false,
        part: OutcomePart {
            kind: Written::of("grip"),
            label: "invented worn grip, seed 7".to_owned(),
            topology_found: Some(Written::of("complementary")),
        },
        sheet: OutcomeSheet {
            name: "grip-complementary".to_owned(),
            title: "twist-grip sensor, two lines that add up to the supply".to_owned(),
            topology: Written::of("complementary"),
        },
        rig: Some(RigProvenance {
            address: "sim:worn-grip?seed=7".to_owned(),
            model: "simulated bench rig".to_owned(),
            serial: "SIM-0007".to_owned(),
            firmware: "0.1.0".to_owned(),
            protocol: 1,
            boot: 1,
            lets_go: false,
        }),
        versions: [("program", "0.1.0"), ("analysis", "1"), ("protocol", "1")]
            .map(|(name, version)| (name.to_owned(), version.to_owned()))
            .into(),
        recorded: "2026-11-03T14:22:05+01:00".to_owned(),
        judged: "2026-11-03T14:22:31+01:00".to_owned(),
        figures: figures(),
        findings: findings(),
        histograms: histograms(),
        readings: Vec::new(),
        gaps: vec![OutcomeGap {
            procedure: Written::of("sweep"),
            gap: Gap { index: 40_112, from_us: 8_022_400, to_us: 8_035_200, scans: 63, cause: GapCause::Line },
            from_deg: Some(61.3),
            to_deg: Some(62.1),
        }],
        detection_limits: detection_limits(),
        not_testable: vec![OutcomeNotTestable {
            what: "dropout".to_owned(),
            why: "no flex capture was made: run the flex procedure to look for dropouts that only movement of the pigtail \
                  brings out"
                .to_owned(),
        }],
        procedures: [("self_check", 5_000_u64), ("sweep", 69_937), ("leads_check", 12_000)]
            .map(|(name, scans)| OutcomeProcedure {
                procedure: Written::of(name),
                scans,
                end: Written::of("complete"),
                trace_file: Some(format!("{name}.parquet")),
                damaged_percent: None,
                loads_stepped: None,
            })
            .into(),
        warnings: vec!["63 scans were lost between rig and host; nothing is within over the stretch they touch".to_owned()],
        grade: Some(OutcomeGrade {
            name: None,
            title: None,
            source: None,
            why: vec!["not C: the verdict is outside; it asks for within".to_owned()],
        }),
        matings: None,
        line: None,
        suspects: Vec::new(),
        soak: None,
        settling: None,
        contact: None,
    }
}

/// An outcome with nothing in it: an import that showed nothing.
pub fn empty() -> Outcome {
    Outcome {
        verdict: Verdict::Undecided,
        reasons: vec!["no figure could be had; record a sweep with at least one line".to_owned()],
        simulated: false,
        rig: None,
        part: OutcomePart { kind: Written::of("grip"), label: String::new(), topology_found: None },
        figures: Vec::new(),
        findings: Vec::new(),
        histograms: Vec::new(),
        gaps: Vec::new(),
        detection_limits: Vec::new(),
        not_testable: FigureName::ALL
            .map(|f| OutcomeNotTestable {
                what: f.name().to_owned(),
                why: "no sensor line was recorded".to_owned(),
            })
            .into(),
        procedures: Vec::new(),
        warnings: Vec::new(),
        grade: None,
        matings: None,
        line: None,
        suspects: Vec::new(),
        soak: None,
        settling: None,
        contact: None,
        ..worn()
    }
}

/// Calibration notes of the recorded channels.
pub fn channels() -> Vec<ChannelProvenance> {
    let make = |channel, day, certificate: &str| ChannelProvenance {
        channel,
        scale: 1.0,
        offset: 0.0,
        resolution: 8e-5,
        filter_us: 100,
        gain_uncertainty: 0.0002,
        offset_uncertainty: 0.0005,
        calibrated_day: day,
        certificate: certificate.to_owned(),
    };
    vec![
        make(Channel::Rising, 20_700, "invented certificate 12"),
        make(Channel::Falling, 20_700, "invented certificate 12"),
        make(Channel::Supply, 0, ""),
    ]
}

/// Curves like the analysis would give.
pub fn curves() -> Vec<PlotCurve> {
    let deg: Vec<f64> = (0..=1600).map(|k| f64::from(k) * TRAVEL / 1600.0).collect();
    let make = |name, channel, direction, unit, y: &dyn Fn(f64, usize) -> f64| PlotCurve {
        name,
        channel,
        direction,
        unit,
        y: deg
            .iter()
            .enumerate()
            .map(|(k, d)| if (61.3..62.1).contains(d) { f64::NAN } else { y(*d, k) })
            .collect(),
        deg: deg.clone(),
    };
    let first = |d: f64| 15.0 + 70.0 * d / TRAVEL + 0.35 * (d * TAU / 95.0).sin();
    let second = |d: f64| 85.0 - 70.0 * d / TRAVEL + 0.3 * (d * TAU / 60.0).sin() + flat(d);
    let mut all = vec![
        make("ratio", Some(Channel::Rising), "mean", Unit::PercentSupply, &|d, _| first(d)),
        make("ratio", Some(Channel::Falling), "mean", Unit::PercentSupply, &|d, _| second(d)),
    ];
    for (direction, shift) in [("up", 0.12), ("down", -0.12), ("mean", 0.0)] {
        let dither = if direction == "mean" { 0.012 } else { 0.05 };
        all.push(make("correlation_residual", None, direction, Unit::PercentSupply, &|d, k| {
            first(d) + second(d) - 100.0 + shift * 0.3 + dither * noise(k)
        }));
        all.push(make(
            "linearity_deviation",
            Some(Channel::Rising),
            direction,
            Unit::PercentSpan,
            &|d, k| (0.35 * (d * TAU / 95.0).sin() + shift) / 0.7 + dither * noise(k + 7),
        ));
        all.push(make(
            "linearity_deviation",
            Some(Channel::Falling),
            direction,
            Unit::PercentSpan,
            &|d, k| (0.3 * (d * TAU / 60.0).sin() + flat(d) + shift) / 0.7 + dither * noise(k + 13),
        ));
    }
    for (channel, level) in Channel::SENSORS.into_iter().zip([1.1, 1.2]) {
        all.push(make("noise", Some(channel), "mean", Unit::MillivoltAtFive, &|d, k| {
            level + 0.15 * noise(k / 20) + if (30.0..36.0).contains(&d) && level > 1.15 { 1.9 } else { 0.0 }
        }));
    }
    all
}

/// A flat spot with its catch-up, % of supply.
fn flat(deg: f64) -> f64 {
    match deg {
        d if (7.2..8.1).contains(&d) => 0.79 * (d - 7.2) / 0.9,
        d if (8.1..8.4).contains(&d) => 0.79 * (8.4 - d) / 0.3,
        _ => 0.0,
    }
}

/// Something that looks random, −1..1, the same every time.
fn noise(k: usize) -> f64 {
    let mixed =
        (k as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(29).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    (mixed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

/// Name, lines, values, expanded uncertainty, limits (smallest, largest), verdicts, place.
type Row = (
    FigureName,
    [Option<&'static str>; 2],
    [f64; 2],
    f64,
    Option<(Option<f64>, Option<f64>)>,
    [Verdict; 2],
    Option<f64>,
);

fn figures() -> Vec<OutcomeFigure> {
    use FigureName as F;
    use Verdict::{Outside, Undecided, Within};
    let both = [Some("rising"), Some("falling")];
    let rows: [Row; 16] = [
        (
            F::ClosedVolts,
            both,
            [0.7534, 4.2487],
            0.0061,
            Some((Some(0.6), Some(0.9))),
            [Within, Within],
            Some(0.0),
        ),
        (F::OpenVolts, both, [4.2531, 0.7466], 0.0061, None, [Within, Within], Some(80.0)),
        (F::Span, both, [3.4997, 3.5021], 0.0052, Some((Some(3.2), None)), [Within, Within], None),
        (
            F::LinearityIndependent,
            both,
            [0.512, 1.53],
            0.11,
            Some((None, Some(1.0))),
            [Within, Outside],
            Some(8.1),
        ),
        (F::LinearityTerminal, both, [0.61, 1.61], 0.12, None, [Within, Within], Some(8.1)),
        (F::LinearityZeroBased, both, [0.55, 1.57], 0.12, None, [Within, Within], Some(8.1)),
        (
            F::CorrelationWorst,
            [None, None],
            [1.342, 0.0],
            0.212,
            Some((None, Some(1.0))),
            [Outside, Within],
            Some(8.1),
        ),
        (
            F::CorrelationOffset,
            [None, None],
            [0.118, 0.0],
            0.087,
            Some((None, Some(1.0))),
            [Within, Within],
            None,
        ),
        (
            F::CorrelationSlope,
            [None, None],
            [-0.264, 0.0],
            0.098,
            Some((None, Some(1.0))),
            [Within, Within],
            None,
        ),
        (
            F::Hysteresis,
            both,
            [0.274, 0.281],
            0.034,
            Some((None, Some(0.3))),
            [Undecided, Undecided],
            Some(44.0),
        ),
        (
            F::Repeatability,
            both,
            [0.094, 0.101],
            0.022,
            Some((None, Some(0.5))),
            [Within, Within],
            Some(70.2),
        ),
        (F::DeadBandClosed, both, [0.42, 0.38], 0.15, Some((None, Some(2.0))), [Within, Within], Some(0.0)),
        (F::DeadBandOpen, both, [0.31, 0.35], 0.15, Some((None, Some(2.0))), [Within, Within], Some(80.0)),
        (F::Noise, both, [1.12, 3.05], 0.16, Some((None, Some(5.0))), [Within, Within], Some(33.0)),
        (F::Skew, [None, None], [2.4, 0.0], 11.8, Some((Some(-200.0), Some(200.0))), [Within, Within], None),
        (F::LimpTrips, [None, None], [0.0, 0.0], 0.0, Some((None, Some(0.0))), [Within, Within], None),
    ];
    let mut all = Vec::new();
    for (name, channels, values, uncertainty, limit, verdicts, at_deg) in rows {
        let lines = if channels[0].is_some() { 2 } else { 1 };
        for k in 0..lines {
            all.push(OutcomeFigure {
                figure: name.into(),
                channel: channels[k].map(Written::of),
                condition: Condition::NONE,
                value: values[k],
                unit: name.unit(),
                expanded_uncertainty: uncertainty,
                upper_bound: None,
                at_deg,
                limit: limit.map(|(min, max)| OutcomeLimit { min, max, bound: None }),
                source: limit.map(|_| NO_SOURCE.to_owned()),
                verdict: limit.map(|_| verdicts[k]),
                would_decide: (limit.is_some() && verdicts[k] == Undecided).then(|| {
                    "20 cycles instead of 5 would halve the uncertainty; the limit lies inside it now"
                        .to_owned()
                }),
                definition: format!(
                    "{}, as the analysis defines it; 5 cycles, both directions (invented).",
                    name.name()
                ),
            });
        }
    }
    let at = all.len() - 1;
    all.insert(at, dropout_rate());
    all
}

fn dropout_rate() -> OutcomeFigure {
    OutcomeFigure {
        figure: FigureName::DropoutRate.into(),
        channel: None,
        condition: Condition::NONE,
        value: 0.0,
        unit: Unit::PerMinute,
        expanded_uncertainty: 4.3,
        upper_bound: Some(13.01),
        at_deg: None,
        limit: Some(OutcomeLimit { min: None, max: Some(0.0), bound: Some(1.0) }),
        source: Some("invented source of a rate, clause 4.2".to_owned()),
        verdict: Some(Verdict::Undecided),
        would_decide: Some("180 s without an event; 14 s were watched".to_owned()),
        definition: "events per minute of observation, exact Poisson bound (invented).".to_owned(),
    }
}

fn findings() -> Vec<OutcomeFinding> {
    let make = |kind: &str,
                channel: Option<&str>,
                from: f64,
                to: f64,
                decides,
                confidence,
                text: &str,
                details: &[(&str, f64)]| {
        OutcomeFinding {
            kind: Written::of(kind),
            channel: channel.map(Written::of),
            from_deg: Some(from),
            to_deg: Some(to),
            confidence,
            decides,
            effect: None,
            text: text.to_owned(),
            details: details
                .iter()
                .map(|(name, value)| ((*name).to_owned(), *value))
                .collect::<BTreeMap<_, _>>(),
        }
    };
    vec![
        make(
            "dropout",
            Some("rising"),
            52.4,
            52.4,
            false,
            0.93,
            "The rising line was lost 3 times, for 0.4 to 1.1 ms, near 52.4°.",
            &[
                ("event_1_deg", 52.1),
                ("event_2_deg", 52.4),
                ("event_3_deg", 52.9),
                ("longest_us", 1_100.0),
                ("events", 3.0),
            ],
        ),
        make(
            "flat_spot",
            Some("falling"),
            7.21,
            8.06,
            true,
            0.9992,
            "The falling line stops following between 7.2° and 8.1°, then catches up within 0.3°; seen in 5 of 5 cycles.",
            &[("depth_percent_supply", 0.79), ("width_deg", 0.85), ("cycles_seen", 5.0), ("z", 41.2)],
        ),
        make(
            "noisy_track",
            Some("falling"),
            30.2,
            35.9,
            false,
            0.97,
            "The falling line is 2.6 times as noisy between 30.2° and 35.9° as elsewhere.",
            &[("ratio", 2.61), ("noise_mv", 3.05)],
        ),
    ]
}

fn histograms() -> Vec<OutcomeHistogram> {
    let curves = curves();
    let make = |name: &str, curve_name: &str, channel: Option<Channel>, width: f64, unit, limit: f64| {
        let mut counts = vec![0_u64; 120];
        let low = -60.0 * width;
        for curve in
            curves.iter().filter(|c| c.name == curve_name && c.channel == channel && c.direction != "mean")
        {
            for y in curve.y.iter().filter(|y| y.is_finite()) {
                counts[(((y - low) / width) as usize).min(119)] += 5;
            }
        }
        OutcomeHistogram {
            name: name.to_owned(),
            channel: channel.map(Into::into),
            condition: Condition::NONE,
            unit,
            low,
            width,
            counts,
            limits: vec![-limit, limit],
        }
    };
    vec![
        make(
            "linearity_deviation",
            "linearity_deviation",
            Some(Channel::Rising),
            0.05,
            Unit::PercentSpan,
            1.0,
        ),
        make(
            "linearity_deviation",
            "linearity_deviation",
            Some(Channel::Falling),
            0.05,
            Unit::PercentSpan,
            1.0,
        ),
        make("correlation_deviation", "correlation_residual", None, 0.05, Unit::PercentSupply, 1.0),
    ]
}

fn detection_limits() -> Vec<OutcomeDetectionLimit> {
    let make = |kind: &str, channel: Option<&str>, text: &str| OutcomeDetectionLimit {
        kind: Written::of(kind),
        channel: channel.map(Written::of),
        text: text.to_owned(),
        details: BTreeMap::new(),
    };
    vec![
        make(
            "flat_spot",
            Some("rising"),
            "a flat spot narrower than 0.4° at full loss of slope would not have been seen",
        ),
        make(
            "dropout",
            None,
            "a dropout shorter than 0.2 ms, or one that comes less often than 14 times a minute",
        ),
        make("leakage", None, "leakage above 180 kΩ from a signal lead"),
    ]
}
