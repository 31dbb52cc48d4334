//! The simulated throttle body's fixed step against an independent integration of the same equations by scipy (`body_reference.py`).

use std::process::Command;

use anyhow::{Context, Result, ensure};
use serde_json::json;
use trackpair_rig_sim::body::mechanics::STEP_S;
use trackpair_rig_sim::body::numbers::RATIO;
use trackpair_rig_sim::body::teeth::Wear;
use trackpair_rig_sim::body::{Body, BodyNumbers, Bridge, Teeth};
use trackpair_rig_sim::random::Random;
use trackpair_tests::programs;

const PERIOD_S: f64 = 200e-6;

/// Terminal voltage (`None`: bridge open) for so many seconds.
type Segment = (Option<f64>, f64);

/// Angles of rotor (at the plate) and plate, degrees, and current, A, at one time.
type Row = [f64; 3];

struct Case {
    numbers: BodyNumbers,
    teeth: Teeth,
    plate_deg: f64,
    in_lash: f64,
    segments: Vec<Segment>,
}

impl Case {
    fn body(&self, h: f64) -> Body {
        let body = Body::with_step(self.numbers.clone(), &self.teeth, 20.0, h);
        let mut body = body.placed_at(self.plate_deg, self.in_lash);
        // The reference knows no warmth.
        body.winding_mut().set_frozen(true);
        body
    }

    fn simulated(&self, h: f64) -> Vec<Row> {
        let mut body = self.body(h);
        let mut rows = Vec::new();
        for &(volts, seconds) in &self.segments {
            body.set_bridge(volts.map_or(Bridge::Open, |volts| Bridge::Drive { volts }));
            for _ in 0..(seconds / PERIOD_S).round() as usize {
                let s = body.state();
                rows.push([(s.rotor / RATIO).to_degrees(), body.plate_deg(), s.amps]);
                body.advance((PERIOD_S / h).round() as usize);
            }
        }
        rows
    }

    fn reference(&self) -> Result<Vec<Row>> {
        let s = *self.body(STEP_S).state();
        let case = json!({
            "numbers": self.numbers, "teeth": self.teeth, "segments": self.segments, "period_s": PERIOD_S,
            "start": { "amps": s.amps, "rotor": s.rotor, "rotor_speed": s.rotor_speed, "idler": s.idler,
                "idler_speed": s.idler_speed, "plate": s.plate, "plate_speed": s.plate_speed },
        });
        let dir = tempfile::tempdir()?;
        let file = dir.path().join("case.json");
        std::fs::write(&file, case.to_string())?;
        let script = programs::repository().join("tests/python/body_reference.py");
        let output = Command::new(programs::python()?).arg(script).arg(file).output()?;
        ensure!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let text = String::from_utf8(output.stdout)?;
        let row = |line: &str| -> Result<Row> {
            let cells: Vec<f64> = line.split(',').map(str::parse).collect::<Result<_, _>>()?;
            let [_, amps, rotor, _, plate] = cells[..] else { anyhow::bail!("{line}") };
            Ok([(rotor / RATIO).to_degrees(), plate.to_degrees(), amps])
        };
        text.lines().skip(1).map(|line| row(line).with_context(|| line.to_owned())).collect()
    }
}

/// Largest differences of rotor, plate (degrees) and current (A) over a case.
fn worst(case: &Case, reference: &[Row], h: f64) -> Row {
    let rows = case.simulated(h);
    assert!(reference.len() >= rows.len(), "{} of {} rows", reference.len(), rows.len());
    let mut worst = [0.0_f64; 3];
    for (got, want) in rows.iter().zip(reference) {
        for k in 0..3 {
            worst[k] = worst[k].max((got[k] - want[k]).abs());
        }
    }
    worst
}

/// The error at the step that is used, and a tenth of it at a tenth of the step: it is the step's own, not that of the tables.
#[track_caller]
fn check(case: &Case, angle_deg: f64, amps: f64) {
    let reference = case.reference().unwrap();
    let (coarse, fine) = (worst(case, &reference, STEP_S), worst(case, &reference, 0.1 * STEP_S));
    eprintln!("20 us: {coarse:?}; 2 us: {fine:?}");
    for (error, share) in [(coarse, 1.0), (fine, 0.2)] {
        assert!(error[0] < share * angle_deg && error[1] < share * angle_deg, "angles: {error:?}");
        assert!(error[2] < share * amps, "current: {error:?}");
    }
}

#[test]
fn a_lash_crossing_with_uneven_and_worn_teeth_agrees_with_lsoda() {
    let mut teeth = Teeth::draw(&mut Random::new("reference", 5));
    teeth.wear.push(Wear::tooth(6.0, 0.12, 0.08));
    let numbers = BodyNumbers::draw(&mut Random::new("reference", 5));
    let plate_deg = numbers.springs.rest_deg;
    let case = Case { numbers, teeth, plate_deg, in_lash: -0.999, segments: vec![(Some(1.0), 0.04)] };
    // A shift in time of one step at the crossing's 40°/s is 0.0008°; the teeth's table is within 0.0004°.
    check(&case, 0.0025, 0.01);
}

#[test]
fn a_snap_opening_its_braking_and_the_open_bridge_agree_with_lsoda() {
    let segments = vec![(Some(13.0), 0.015), (Some(-6.0), 0.015), (None, 0.06), (Some(0.0), 0.06)];
    let case = Case {
        numbers: BodyNumbers::nominal(),
        teeth: Teeth::default(),
        plate_deg: 6.5,
        in_lash: -0.999,
        segments,
    };
    // A shift in time of one step at 945°/s is 0.019°. The current follows its exponential: only the speed's error reaches it.
    check(&case, 0.025, 0.01);
}

#[test]
fn teeth_with_wear_and_errors_under_load_agree_with_lsoda() {
    let mut teeth = Teeth::draw(&mut Random::new("reference", 6));
    teeth.wear.push(Wear::tooth(14.0, 0.3, 0.2));
    let numbers = BodyNumbers::draw(&mut Random::new("reference", 6));
    let plate_deg = numbers.springs.rest_deg;
    let segments = vec![(Some(5.0), 0.05), (Some(-5.0), 0.04)];
    let case = Case { numbers, teeth, plate_deg, in_lash: 0.5, segments };
    // The rotor turns at up to 750°/s (5 V over 0.383 V·s/rad); off the edge of the worn tooth the plate is faster: 1000°/s.
    check(&case, 0.025, 0.01);
}
