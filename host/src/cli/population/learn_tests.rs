//! Populations in closed form: what is refused, and what is stored of where they came from.

use super::*;
use crate::analysis::body::tooth_map::Layout;
use crate::analysis::body::worn_teeth::FALSE_ALARM;
use crate::job::population::{check_fits, given};

fn map(k: usize) -> ToothMap {
    let layout = Layout::STANDARD;
    // Healthy gears without a memory: each bin of each body by a multiplicative hash.
    let noise = |bin: usize| ((k * 1000 + bin).wrapping_mul(2_654_435_761) >> 8) as u32 % 1000;
    ToothMap {
        layout,
        rest_deg: 7.0,
        lost_deg: (0..layout.bins).map(|bin| f64::from(noise(bin)) * 2e-5).collect(),
        repeat_deg: 0.01,
        strokes: 8,
        snap_back: None,
        snap_back_deg: None,
    }
}

fn body(k: usize, simulated: bool) -> Body {
    Body {
        folder: PathBuf::from(format!("record-{k}")),
        map: map(k),
        simulated,
        part: format!("serial {k}"),
        rig: "bench 1".into(),
        recorded_by: "trackpair test".into(),
    }
}

fn sheet() -> PartSheet {
    shipped_of(PartKind::Body).next().expect("a sheet for bodies ships")
}

fn sorted(bodies: impl IntoIterator<Item = Body>) -> Sorted {
    let mut sorted = Sorted::default();
    bodies.into_iter().for_each(|b| sorted.take(b));
    sorted
}

#[track_caller]
fn refused(result: Result<Population, Failure>, words: &[&str]) {
    let failure = result.expect_err("refused");
    assert!(matches!(failure, Failure::Usage(_)));
    let said = failure.error().to_string();
    words.iter().for_each(|w| assert!(said.contains(w), "{w:?} missing in {said}"));
}

#[test]
fn a_population_says_where_it_came_from_and_is_read_back() {
    let learned = learned(&sorted((0..24).map(|k| body(k, false))), &sheet()).expect("24 bodies");
    assert_eq!((learned.bodies, learned.origin.simulated), (24, false));
    assert!(learned.origin.seeds.contains("serial 23"), "{}", learned.origin.seeds);
    assert_eq!(learned.origin.rig, "bench 1");
    assert!(learned.words().starts_with("24 real bodies of the kind body"), "{}", learned.words());
    let file = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(file.path(), learned.write()).expect("written");
    let read = given(Some(file.path())).expect("read").expect("given");
    assert_eq!(read.origin, learned.origin);
    assert!(check_fits(Some(&read), &sheet()).is_ok());
}

#[test]
fn simulated_bodies_and_real_ones_are_not_mixed() {
    let mixed = sorted((0..24).map(|k| body(k, k == 7)));
    refused(learned(&mixed, &sheet()), &["record-7", "record-0", "leave the one or the other out"]);
    let all_simulated = learned(&sorted((0..24).map(|k| body(k, true))), &sheet()).expect("alike");
    assert!(all_simulated.origin.simulated && all_simulated.words().contains("SIMULATED"));
}

#[test]
fn copies_of_a_record_count_once_and_too_few_bodies_are_refused() {
    let copies = sorted((0..30).map(|k| body(k % 12, true)));
    assert_eq!((copies.bodies.len(), copies.left_out.len()), (12, 18));
    assert!(copies.left_out[0].1.contains("the same recording as record-0"));
    refused(learned(&copies, &sheet()), &["12 bodies", "at least 20", "record more"]);
}

#[test]
fn a_population_of_another_kind_of_body_and_a_part_that_is_none_are_refused() {
    let mut other = Population::assumed();
    other.origin.kind = "other-body".into();
    let grip = shipped_of(PartKind::Grip).next().expect("a sheet for grips ships");
    for (sheet, words) in [(sheet(), "--sheet body"), (grip, "leave it out")] {
        let failure = check_fits(Some(&other), &sheet).expect_err("refused");
        assert!(matches!(failure, Failure::Usage(_)));
        assert!(failure.error().to_string().contains(words), "{}", failure.error());
        assert!(check_fits(None, &sheet).is_ok());
    }
}

#[test]
fn the_threshold_of_few_bodies_is_less_sure_than_that_of_many_by_the_root_of_their_number() {
    let null = crate::analysis::body::population::Null { location: 2.3, scale: 0.4 };
    let of = |bodies| null.uncertainty_at(FALSE_ALARM, bodies).expect("bodies");
    assert!((of(25) / of(100) - 2.0).abs() < 1e-9);
    // K = 4.9355 at 1 in 1000, so 5.78 standard deviations of 0.4·π/√6 over the root of the number.
    assert!((of(25) - 5.78 * 0.513 / 5.0).abs() < 0.003, "{}", of(25));
    assert_eq!(null.uncertainty_at(FALSE_ALARM, 0), None);
}
