//! Angle, strokes and supply of invented traces of every sort.

use super::super::synthetic::Synthetic;
use super::*;

fn directions(p: &Prepared<'_>) -> String {
    p.strokes.iter().map(|s| if s.direction == Direction::Up { 'u' } else { 'd' }).collect()
}

#[test]
fn a_driven_sweep_gives_its_strokes_without_the_rests() {
    let part = Synthetic::hall(1);
    let trace = part.trace();
    let prepared = Prepared::new(&trace, &part.sheet());
    assert_eq!(directions(&prepared), "ududud");
    assert_eq!(prepared.cycles(), 3);
    let (low, high) = prepared.travel_deg.unwrap();
    assert!(low.abs() < 0.06 && (high - 75.0).abs() < 0.06, "{low} {high}");
    for stroke in &prepared.strokes {
        // 75° at 60°/s and 5 kHz.
        assert!((6000..6500).contains(&stroke.range.len()), "{:?}", stroke.range);
    }
    assert!((prepared.speed_deg_s - 60.0).abs() < 2.5, "{}", prepared.speed_deg_s);
    assert_eq!(prepared.supply_source, SupplySource::Measured);
}

#[test]
fn a_hand_that_pauses_and_wiggles_makes_no_extra_strokes() {
    let part = Synthetic { reference_ecc_deg: 0.0, ..Synthetic::hall(2) };
    let mut motion = vec![0.0; 500];
    let mut deg = 0.0f64;
    for i in 0..40_000 {
        let t = f64::from(i) / 5000.0;
        // Slow, uneven, with a rest at 30° and a wiggle of 0.6° at 50°.
        let v = if (2.0..3.0).contains(&t) { 0.0 } else { 12.0 + 6.0 * (3.0 * t).sin() };
        deg = (deg + v / 5000.0).min(75.0);
        motion.push(deg - if (4.0..4.5).contains(&t) { 0.6 * (12.566 * (t - 4.0)).sin().abs() } else { 0.0 });
    }
    let back: Vec<f64> = motion.iter().rev().copied().collect();
    motion.extend(back);
    let trace = part.trace_of(&motion);
    assert_eq!(directions(&Prepared::new(&trace, &part.sheet())), "ud");
}

#[test]
fn no_stroke_reaches_over_a_gap() {
    let part = Synthetic { lost: vec![(3000, 700)], ..Synthetic::hall(3) };
    let trace = part.trace();
    let prepared = Prepared::new(&trace, &part.sheet());
    assert_eq!(directions(&prepared), "uududud");
    assert!(prepared.strokes.iter().all(|s| s.range.end <= 3000 || s.range.start >= 3000));
    assert_eq!(prepared.segments.len(), 2);
    assert_eq!(prepared.cycles(), 2);
}

#[test]
fn a_slow_logger_still_gives_strokes() {
    for rate_hz in [50.0, 200.0, 20_000.0] {
        let part = Synthetic { rate_hz, cycles: 2, foreign: true, ..Synthetic::pot(4) };
        let trace = part.trace();
        assert_eq!(directions(&Prepared::new(&trace, &part.sheet())), "udud", "{rate_hz} Hz");
    }
}

#[test]
fn an_imported_angle_that_falls_towards_open_is_turned_round() {
    let part = Synthetic { foreign: true, ..Synthetic::hall(5) };
    let mut trace = part.trace();
    for column in &mut trace.columns {
        if column.channel == Channel::Reference {
            column.values.iter_mut().for_each(|v| *v = 100.0 - *v);
        }
    }
    let prepared = Prepared::new(&trace, &part.sheet());
    assert_eq!(directions(&prepared), "ududud");
    let (low, high) = prepared.travel_deg.unwrap();
    assert!(low.abs() < 0.1 && (high - 75.0).abs() < 0.1);
    assert!(prepared.warnings.iter().any(|w| w.contains("wide open")), "{:?}", prepared.warnings);
}

#[test]
fn without_a_reference_the_first_line_gives_the_angle() {
    let part = Synthetic { without: vec![Channel::Reference], ..Synthetic::hall(6) };
    let trace = part.trace();
    let prepared = Prepared::new(&trace, &part.sheet());
    assert_eq!(prepared.angle_source, AngleSource::FirstLine);
    assert_eq!(directions(&prepared), "ududud");
}

#[test]
fn holes_and_a_missing_supply_are_survived_and_said() {
    let part = Synthetic { without: vec![Channel::Supply], foreign: true, ..Synthetic::hall(7) };
    let mut trace = part.trace();
    for column in &mut trace.columns {
        column.values.iter_mut().skip(13).step_by(17).for_each(|v| *v = f32::NAN);
    }
    let prepared = Prepared::new(&trace, &part.sheet());
    assert_eq!(directions(&prepared), "ududud");
    assert_eq!(prepared.supply_source, SupplySource::Nominal(5.0));
    assert!(prepared.warnings.iter().any(|w| w.contains("nominal")));
}

#[test]
fn an_empty_trace_and_one_of_a_single_scan_give_nothing() {
    let part = Synthetic::hall(8);
    for n in [0, 1, 2] {
        let mut trace = part.trace();
        trace.time_us.truncate(n);
        trace.columns.iter_mut().for_each(|c| c.values.truncate(n));
        let prepared = Prepared::new(&trace, &part.sheet());
        assert!(prepared.strokes.is_empty() && prepared.travel_deg.is_none());
    }
}

#[test]
fn what_the_loom_drops_is_taken_off_line_and_supply() {
    let part = Synthetic { rig_noise_v: 0.0, noise_v: [0.0; 2], ripple_v: 0.0, ..Synthetic::hall(6) };
    let trace = part.trace();
    let sheet = part.sheet();
    let plain = Prepared::new(&trace, &sheet);
    // Seen from the rig: 12 mV in the return lift every line, 12 mV in the supply wire are on top of the part's supply.
    let drop = 0.012f32;
    let mut lifted = trace.clone();
    for column in &mut lifted.columns {
        let by = match column.channel {
            Channel::Rising | Channel::Falling => drop,
            Channel::Supply => 2.0 * drop,
            _ => 0.0,
        };
        column.values.iter_mut().for_each(|v| *v += by);
    }
    let n = trace.len();
    lifted.columns.push(crate::trace::Column {
        channel: Channel::Ground,
        unit: crate::quantity::Unit::Volt,
        values: vec![drop; n],
    });
    let told = Prepared::new(&lifted, &sheet);
    assert!((told.loom_volts.unwrap() - 0.012).abs() < 1e-6);
    for line in 0..2 {
        let (a, b) = (plain.ratio[line].as_ref().unwrap(), told.ratio[line].as_ref().unwrap());
        let apart = a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0f32, f32::max);
        assert!(apart < 2e-6, "{apart}");
    }
    // A return that reads volts is no loom's drop: it is left out, and said.
    lifted.columns.last_mut().unwrap().values.fill(2.5);
    let odd = Prepared::new(&lifted, &sheet);
    assert!(odd.loom_volts.is_none() && odd.warnings.iter().any(|w| w.contains("too much for a loom")));
}
