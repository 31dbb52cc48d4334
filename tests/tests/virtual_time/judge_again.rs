//! `judge`: what a bench recorded and what other loggers wrote, judged anew.

use anyhow::Result;
use serde_json::Value;
use std::path::{Path, PathBuf};
use tempfile::tempdir;
use trackpair::quantity::Channel;
use trackpair::record::trace_from_parquet;
use trackpair_tests::cli::{Record, files_under, qualify, record_folders, trackpair};
use trackpair_tests::programs;

/// `judge` and its outcome.
fn judged(path: &Path, more: &[&str]) -> (Option<i32>, Value) {
    let said = trackpair([&["judge", path.to_str().unwrap(), "--json"][..], more].concat()).unwrap();
    let outcome = serde_json::from_str(&said.out).unwrap_or_else(|e| panic!("{e}: {}{}", said.out, said.err));
    (said.code, outcome)
}

/// One figure's value and uncertainty.
fn figure(outcome: &Value, name: &str, channel: Option<&str>) -> (f64, f64) {
    let figures = outcome["figures"].as_array().unwrap();
    let is = |f: &&Value| f["figure"] == name && f["channel"].as_str() == channel;
    let found = figures.iter().find(is).unwrap_or_else(|| panic!("no {name} of {channel:?}"));
    (found["value"].as_f64().unwrap(), found["expanded_uncertainty"].as_f64().unwrap())
}

/// Name and channel, value and uncertainty of every figure.
fn values(outcome: &Value) -> Vec<(String, (f64, f64))> {
    let figures = outcome["figures"].as_array().unwrap().iter();
    let number = |v: &Value| v.as_f64().unwrap();
    figures
        .map(|f| {
            let name = format!("{} {}", f["figure"], f["channel"]);
            (name, (number(&f["value"]), number(&f["expanded_uncertainty"])))
        })
        .collect()
}

#[test]
fn a_stored_record_and_its_trace_give_the_same_figures_again() -> Result<()> {
    for (part, sheet) in
        [("worn-grip?seed=4", "grip-complementary"), ("offset-grip?seed=2", "grip-parallel-offset")]
    {
        let archive = tempdir()?;
        let record = qualify(&format!("sim:{part}"), archive.path(), &[])?;
        let (code, again) = judged(&record.folder, &[]);
        assert_eq!(code, record.said.code);
        assert_eq!(
            (&again["figures"], &again["findings"]),
            (&record.outcome["figures"], &record.outcome["findings"])
        );
        assert_eq!(again["simulated"], true);
        // The sweep alone: all but what the leads check and letting go show.
        let (code, alone) = judged(&record.trace("sweep")?, &["--sheet", sheet]);
        assert_eq!(code, record.said.code);
        let (told, mut whole) = (values(&alone), values(&record.outcome));
        whole.retain(|(name, _)| !name.contains("return_"));
        assert_eq!(told.len(), whole.len());
        for ((name, is), (_, was)) in told.iter().zip(&whole) {
            // Without the load steps the lines' sources are not known, so what the rig's inputs draw is known less well.
            assert_eq!(is.0, was.0, "{name}");
            assert!(is.1 >= was.1, "{name}: {is:?} {was:?}");
        }
        assert_eq!(alone["sheet"]["name"], sheet);
    }
    Ok(())
}

#[test]
fn a_judgement_never_changes_the_record_it_judges() -> Result<()> {
    let (archive, second) = (tempdir()?, tempdir()?);
    let record = qualify("sim:good-grip?seed=2", archive.path(), &["--skip-leads"])?;
    let before = contents(&record.archive)?;
    let report = second.path().join("mine.html");
    let places = ["--archive", second.path().to_str().unwrap(), "--report", report.to_str().unwrap()];
    let (code, _) = judged(&record.folder, &places);
    assert_eq!((code, contents(&record.archive)?), (Some(0), before));
    assert!(std::fs::read_to_string(report)?.contains("SIMULATED"));
    let kept = record_folders(second.path());
    assert!(kept.len() == 1 && kept[0].join("outcome.json").is_file(), "{kept:?}");
    Ok(())
}

fn contents(folder: &Path) -> Result<Vec<(PathBuf, Vec<u8>)>> {
    // What SQLite keeps beside its database while it is open is not content.
    let files = files_under(folder).into_iter().filter(|f| !f.to_string_lossy().contains("sqlite-"));
    files.map(|f| Ok((f.clone(), std::fs::read(f)?))).collect()
}

/// How a logger writes the same sweep.
struct Dialect {
    separator: char,
    decimal: char,
    header: Option<&'static str>,
    /// The factor of the second line's column: some loggers write millivolts.
    second_scale: f64,
    map: &'static str,
    more: &'static [&'static str],
}

const DIALECTS: [Dialect; 3] = [
    Dialect {
        separator: ',',
        decimal: '.',
        header: Some("t [s],grip [deg],APS1 [V],APS2 [V],Vref [V]"),
        second_scale: 1.0,
        map: "time=t,reference=grip,rising=APS1,falling=APS2,supply=Vref",
        more: &[],
    },
    Dialect {
        separator: ';',
        decimal: ',',
        header: Some("Zeit [s];Winkel [deg];Kanal 1 [V];Kanal 2 [mV];Versorgung [V]"),
        second_scale: 1000.0,
        map: "time=1,reference=2,rising=3,second=4,supply=5",
        more: &[],
    },
    Dialect {
        separator: '\t',
        decimal: '.',
        header: None,
        second_scale: 1.0,
        map: "reference=2,rising=3,falling=4,supply=5",
        more: &["--rate", "5000"],
    },
];

/// A record's sweep as a logger at the part's plug would have written it, where the rig's loom drops nothing.
fn export(record: &Record, dialect: &Dialect) -> String {
    let trace = trace_from_parquet(std::fs::read(record.trace("sweep").unwrap()).unwrap()).unwrap();
    let column = |channel| trace.channel(channel).unwrap();
    let columns = [Channel::Reference, Channel::Rising, Channel::Falling, Channel::Supply].map(column);
    // The sensed return, and a mated contact of 10 mΩ beyond it.
    let mean = |c: &[f32]| c.iter().map(|v| f64::from(*v)).sum::<f64>() / c.len() as f64;
    let drop = mean(column(Channel::Ground)) + 0.01 * mean(column(Channel::SupplyAmps));
    let zero = trace.provenance.reference_zero_deg;
    let mut text = dialect.header.map(|h| format!("{h}\n")).unwrap_or_default();
    for k in 0..trace.len() {
        let [deg, rising, falling, supply] = columns.map(|c| f64::from(c[k]));
        let cells = [
            (trace.time_us[k] - trace.time_us[0]) as f64 * 1e-6,
            deg - zero,
            rising - drop,
            (falling - drop) * dialect.second_scale,
            supply - 2.0 * drop,
        ];
        let line = cells.map(|v| format!("{v:.6}").replace('.', &dialect.decimal.to_string()));
        text += &line.join(&dialect.separator.to_string());
        text.push('\n');
    }
    text
}

#[test]
fn other_loggers_files_of_the_same_sweep_give_the_same_figures_in_every_dialect() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:worn-grip?seed=2", archive.path(), &["--skip-leads"])?;
    for (number, dialect) in DIALECTS.iter().enumerate() {
        let file = archive.path().join(format!("log-{number}.csv"));
        std::fs::write(&file, export(&record, dialect))?;
        let (code, outcome) = judged(&file, &[&["--map", dialect.map][..], dialect.more].concat());
        assert_eq!(code, Some(10), "{outcome:#}");
        assert_eq!((&outcome["simulated"], &outcome["rig"]), (&false.into(), &Value::Null));
        let spot = &outcome["findings"][0];
        assert_eq!((&spot["kind"], &spot["channel"]), (&"flat_spot".into(), &"rising".into()));
        for (name, channel) in [
            ("closed_volts", Some("rising")),
            ("open_volts", Some("falling")),
            ("span", Some("falling")),
            ("linearity_independent", Some("rising")),
            ("hysteresis", Some("rising")),
            ("correlation_worst", None),
        ] {
            let (was, is) = (figure(&record.outcome, name, channel), figure(&outcome, name, channel));
            // Strokes of two speeds show the lag of the rig's input filter, whether or not the log does.
            let apart = (was.0 - is.0).abs();
            assert!(apart <= was.1.hypot(is.1), "{number}: {name} of {channel:?}: {was:?} {is:?}");
        }
    }
    Ok(())
}

#[test]
fn one_line_alone_is_measured_and_what_it_lacks_is_named() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:good-grip?seed=3", archive.path(), &["--skip-leads"])?;
    let file = archive.path().join("log.csv");
    std::fs::write(&file, export(&record, &DIALECTS[0]))?;
    let (code, outcome) = judged(&file, &["--map", "time=t,reference=grip,rising=APS1", "--supply", "5.0"]);
    assert_eq!(code, Some(11), "{outcome:#}");
    let span = figure(&outcome, "span", Some("rising"));
    assert!((span.0 - figure(&record.outcome, "span", Some("rising")).0).abs() < 0.03, "{span:?}");
    let figures = outcome["figures"].as_array().unwrap();
    let pair = |f: &&Value| f["figure"].as_str().is_some_and(|n| n.starts_with("correlation"));
    assert!(!figures.iter().any(|f| f["channel"] == "falling" || pair(&f)), "nothing is guessed");
    let untested = outcome["not_testable"].to_string();
    assert!(untested.contains("falling") && untested.contains("correlation"), "{untested}");
    Ok(())
}

#[test]
fn the_invented_logger_files_of_the_repository_are_read() {
    let folder = programs::repository().join("tests/data/csv");
    for (file, more) in [
        (
            "comma-seconds.csv",
            &["--map", "time=time_s,reference=grip,rising=APS1,falling=APS2,supply=Vref"][..],
        ),
        ("semicolon-decimal-comma.csv", &["--map", "time=1,reference=2,rising=3,falling=4,supply=5"]),
        ("tab-no-header.txt", &["--map", "reference=1,rising=2,falling=3", "--supply", "5", "--rate", "100"]),
    ] {
        let (code, outcome) = judged(&folder.join(file), more);
        assert!([Some(0), Some(10), Some(11)].contains(&code), "{file}: {code:?}");
        assert_eq!(outcome["part"]["topology_found"], "complementary", "{file}");
    }
}
