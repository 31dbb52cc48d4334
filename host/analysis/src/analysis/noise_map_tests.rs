//! Noisy stretches found; healthy tracks left alone.

use super::*;
use crate::analysis::hand_turned::{Hand, moving_supply, stepped};
use crate::analysis::synthetic::{FlatSpot, NoisyTrack, Synthetic};

fn run(part: &Synthetic, line: usize) -> Report {
    let sheet = part.sheet();
    let trace = part.trace();
    let prepared = Prepared::new(&trace, &sheet);
    let dropouts = dropout::find(&prepared, &sheet);
    find(&prepared, line, &dropouts, &sheet)
}

#[test]
fn a_noisy_stretch_is_found_where_it_is() {
    for (seed, volts) in [(1, 0.010), (2, 0.03), (3, 0.08)] {
        let mut part = if seed == 2 { Synthetic::hall(seed) } else { Synthetic::pot(seed) };
        part.noisy = vec![NoisyTrack { line: 0, at_deg: 40.0, width_deg: 3.0, volts }];
        let report = run(&part, 0);
        assert_eq!(report.findings.len(), 1, "{:?}", report.findings);
        let f = &report.findings[0];
        assert!(
            (f.from_deg.unwrap() - 38.5).abs() < 1.1 && (f.to_deg.unwrap() - 41.5).abs() < 1.1,
            "{}",
            f.text
        );
        assert!(run(&part, 1).findings.is_empty());
    }
}

#[test]
fn healthy_tracks_and_flat_spots_are_not_noisy() {
    for seed in 0..40 {
        let mut part = if seed % 2 == 0 { Synthetic::hall(seed) } else { Synthetic::pot(seed) };
        part.cycles = 1 + seed as u32 % 3;
        if seed % 4 == 0 {
            part.flat = vec![FlatSpot { line: 0, from_deg: 30.0, width_deg: 1.0, loss: 1.0, snap: true }];
        }
        for line in 0..2 {
            let report = run(&part, line);
            assert!(report.findings.is_empty(), "{seed} {:?}", report.findings);
            assert!(report.strongest.unwrap() < 1.9, "{seed} {:?}", report.strongest);
        }
    }
}

#[test]
fn a_place_between_two_codes_of_a_coarse_logger_is_not_noisy() {
    // A hand that pauses where a quiet line lies between two codes, with a supply that moves.
    for seed in 1..=20 {
        let part =
            Synthetic { noise_v: [3e-4; 2], rig_noise_v: 5e-4, rate_hz: 8000.0, ..Synthetic::pot(seed) };
        let hand = Hand { hesitations: 3.0, ..Hand::default() };
        let trace = stepped(moving_supply(hand.log(&part, seed), Some(0.001)), 5.0 / 1024.0);
        let sheet = part.sheet();
        let prepared = Prepared::new(&trace, &sheet);
        let dropouts = dropout::find(&prepared, &sheet);
        for line in 0..2 {
            let report = find(&prepared, line, &dropouts, &sheet);
            assert!(report.findings.is_empty(), "{seed} {:?}", report.findings);
        }
    }
}

#[test]
fn too_few_scans_are_said_not_guessed() {
    let part = Synthetic { rate_hz: 50.0, cycles: 1, ..Synthetic::pot(1) };
    let report = run(&part, 0);
    assert!(report.findings.is_empty() && report.curve.is_none());
    assert!(report.limit.text.contains("not looked for"));
}
