//! The motor's heat: the host waits before a procedure while the rig says that the motor is warm, reports it, and the rig never trips for it.

use tokio_util::sync::CancellationToken;
use trackpair::procedure::{Bench, Progress, Setup};
use trackpair::session::{Options, Session};
use trackpair::sheet::{PartSheet, shipped};
use trackpair_tests::bench::link;

/// Runs rest, strokes that end hard on the open stop, and lash by a sheet; what was printed on the way, and the rig's clock at the end, µs.
fn warm_up(sheet: &PartSheet) -> (Vec<Progress>, u64) {
    let session = Session::open(link("good-body?seed=5"), Options::default()).unwrap();
    let stop = CancellationToken::new();
    let mut said = Vec::new();
    let mut hear = |progress: Progress| said.push(progress);
    let setup = Setup {
        sheet,
        part: "invented part".to_owned(),
        started: "2026-01-01T00:00:00+00:00".to_owned(),
        stop: &stop,
        progress: &mut hear,
    };
    let mut bench = Bench::new(session, setup);
    assert!(bench.rest_and_stops().plate.is_some());
    let strokes = bench.tooth_map();
    let after = bench.lash();
    for recording in [&strokes, &after] {
        assert_eq!(recording.failure, None);
    }
    let end = after.trace.unwrap().time_us.last().copied().unwrap();
    bench.finish().unwrap();
    (said, end)
}

fn sheet(heat_limit: f64) -> PartSheet {
    let mut sheet = shipped("body").unwrap();
    let plan = sheet.body.as_mut().unwrap();
    plan.heat_limit = heat_limit;
    plan.map_volts = 12.0;
    sheet
}

#[test]
fn a_warm_motor_is_left_to_cool_and_the_wait_is_shown_as_progress() {
    let (patient, late) = warm_up(&sheet(0.05));
    let cooling: Vec<&Progress> = patient.iter().filter(|p| p.message.starts_with("cooling down")).collect();
    assert!(cooling.len() >= 3, "{} reports of cooling", cooling.len());
    // It goes on to its end, and says how warm the motor is.
    assert!(
        cooling
            .windows(2)
            .all(|w| w[0].procedure != w[1].procedure || w[0].done_fraction <= w[1].done_fraction)
    );
    assert!(cooling.iter().all(|p| p.message.contains("% of the motor's heat budget")));
    // The wait is real: by a sheet that allows the heat nothing waits, and the same work ends sooner.
    let (hasty, soon) = warm_up(&sheet(1.0));
    assert!(hasty.iter().all(|p| !p.message.starts_with("cooling down")));
    assert!(late > soon + 500_000, "{late} us against {soon} us");
}
