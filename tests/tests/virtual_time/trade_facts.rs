//! Facts of the trade about a complementary pair, each marked as what it is: common practice, no source. They stand beside the
//! simulator and the sheets so that neither drifts from what a technician knows.

use tempfile::tempdir;
use trackpair::quantity::Channel;
use trackpair::record::trace_from_parquet;
use trackpair::sheet::shipped;
use trackpair::trace::Trace;
use trackpair_tests::cli::{Record, qualify};

/// A nominal grip: no spread, no faults; its noise stays.
const NOMINAL: &str = "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\nspread = false\n";

/// `qualify` on a part file, and the trace of its sweep.
fn qualify_file(text: &str) -> (Record, Trace) {
    let folder = tempdir().unwrap();
    let file = folder.path().join("part.toml");
    std::fs::write(&file, text).unwrap();
    let archive = tempdir().unwrap();
    let record = qualify(&format!("sim:{}", file.display()), archive.path(), &["--skip-leads"]).unwrap();
    let trace = trace_from_parquet(std::fs::read(record.trace("sweep").unwrap()).unwrap()).unwrap();
    (record, trace)
}

fn sweep(text: &str) -> Trace {
    qualify_file(text).1
}

/// The value of one of the pair's figures.
fn value(record: &Record, name: &str) -> f64 {
    record.figure(name, None).unwrap()["value"].as_f64().unwrap()
}

/// Scans as travel in degrees from the closed stop and both lines in volts at a 5 V supply.
fn scans(trace: &Trace) -> Vec<(f64, f64, f64)> {
    let column = |channel| trace.channel(channel).unwrap();
    let zero = trace.provenance.reference_zero_deg;
    let [deg, supply] = [Channel::Reference, Channel::Supply].map(column);
    let [rising, falling] = [Channel::Rising, Channel::Falling].map(column);
    let at = |k: usize| {
        let volts = |line: &[f32]| 5.0 * f64::from(line[k]) / f64::from(supply[k]);
        (f64::from(deg[k]) - zero, volts(rising), volts(falling))
    };
    (0..trace.len()).map(at).collect()
}

/// The mean of both lines over the scans between two angles.
fn mean_between(scans: &[(f64, f64, f64)], from: f64, to: f64) -> (f64, f64) {
    let inside: Vec<_> = scans.iter().filter(|s| (from..to).contains(&s.0)).collect();
    assert!(inside.len() > 20, "{} scans from {from} to {to} deg", inside.len());
    let mean =
        |of: fn(&(f64, f64, f64)) -> f64| inside.iter().map(|s| of(s)).sum::<f64>() / inside.len() as f64;
    (mean(|s| s.1), mean(|s| s.2))
}

// Common practice, no source: one channel rises from about 0.5 V to about 4.5 V while the other falls from 4.5 V to 0.5 V; a
// usable range inside the 0 to 5 V of the supply, so that a broken lead, which reads 0 or 5 V, can be distinguished from an end stop.
#[test]
fn one_line_rises_from_half_a_volt_to_four_and_a_half_while_the_other_falls() {
    let scans = scans(&sweep(NOMINAL));
    let (closed, open) = (mean_between(&scans, -0.2, 0.3), mean_between(&scans, 74.7, 75.3));
    for (volts, nominal) in [(closed.0, 0.5), (closed.1, 4.5), (open.0, 4.5), (open.1, 0.5)] {
        assert!((volts - nominal).abs() < 0.02, "{volts} V, nominal {nominal} V");
    }
    let sheet = shipped("grip-complementary").unwrap();
    let nominal = [sheet.rising.closed, sheet.rising.open, sheet.falling.closed, sheet.falling.open];
    assert_eq!(nominal, [0.1, 0.9, 0.9, 0.1]);
}

// Common practice, no source: at half travel both lines read half the supply, 2.5 V.
#[test]
fn at_half_travel_both_lines_read_two_and_a_half_volts() {
    let scans = scans(&sweep(NOMINAL));
    let (rising, falling) = mean_between(&scans, 37.3, 37.7);
    assert!((rising - 2.5).abs() < 0.02 && (falling - 2.5).abs() < 0.02, "{rising} {falling}");
}

// Common practice, no source: both lines always total the supply, 5 V.
#[test]
fn both_lines_total_five_volts_at_every_place() {
    let (record, trace) = qualify_file(NOMINAL);
    let worst = scans(&trace).iter().map(|(_, a, b)| (a + b - 5.0).abs()).fold(0.0, f64::max);
    // Noise of a single scan, not of a mean.
    assert!(worst < 0.02, "{worst} V");
    let worst = value(&record, "correlation_worst");
    assert!(worst < 0.1, "{worst} % of supply");
}

// Common practice, no source: when the total leaves its window for some tenths of a second, the controller takes it for a
// wiring fault and goes to limp-home. The shipped sheet's window is 5 % of supply, 20 samples of 5 ms.
#[test]
fn a_total_that_leaves_the_window_is_predicted_to_trip_the_controller() {
    let shifted = |percent: f64| {
        let fault = "[[fault]]\nkind = \"correlation_shift\"\noffset_percent = ";
        qualify_file(&format!("{NOMINAL}\n{fault}{percent:.1}\n")).0
    };
    let trips = |record| value(record, "limp_trips");
    let (inside, beyond) = (shifted(3.0), shifted(7.0));
    assert_eq!(trips(&inside), 0.0, "inside the window it does not trip, whatever its limit says");
    assert!(trips(&beyond) >= 1.0, "{}", trips(&beyond));
    beyond.said.expect(10, &["limp-home trips"]);
    // The sum deviation of 3 % is beyond the limit of 2.5 %, which is half of the window on purpose.
    inside.said.expect(10, &["correlation, worst"]);
}

// Common practice, no source: a dropout shorter than the controller's debounce does not trip it, and is why the fault will
// not repeat on demand.
#[test]
fn a_short_dropout_is_found_although_the_controller_would_not_trip() {
    let fault = "[[fault]]\nkind = \"dropout\"\nlead = \"rising\"\nat_deg = 31.5\nchance_per_pass = 1.0\nmin_us = 2000\nmax_us = 2000\n";
    let record = qualify_file(&format!("{NOMINAL}\n{fault}")).0;
    record.said.expect(10, &["DROPOUT", "rising line"]);
    let trips = value(&record, "limp_trips");
    assert!(trips.abs() < 1e-9, "{trips}");
}
