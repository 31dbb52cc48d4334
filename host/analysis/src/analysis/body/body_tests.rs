//! The whole analysis on synthetic bodies whose faults are known: what is reported, what is not, and that spoiled traces do no harm.

use super::population::{Origin, Population};
use super::synthetic::{Bench, Plan, Plant};
use super::tooth_map::{self, ToothMap};
use super::*;
use crate::analysis::statistics::Resampler;
use crate::quantity::{Bridge, Unit};
use crate::trace::{Gap, GapCause};

fn sheet() -> PartSheet {
    crate::sheet::shipped("body").expect("the body's sheet ships")
}

fn analysed(change: impl Fn(&mut Plant), seed: u64) -> PartAnalysis {
    let mut bench = Bench::healthy(seed);
    change(&mut bench.plant);
    bench.state = bench.plant.rest();
    analyse_among(Plan::record(&mut bench).traces(), &sheet(), &Population::assumed())
}

fn value(a: &PartAnalysis, name: FigureName) -> f64 {
    a.figures.iter().find(|f| f.name == name).unwrap_or_else(|| panic!("no {}", name.name())).value
}

fn sure(a: &PartAnalysis) -> Vec<FindingKind> {
    a.findings.iter().filter(|f| f.confidence >= 0.95).map(|f| f.kind).collect()
}

#[track_caller]
fn within(a: &PartAnalysis, name: FigureName, truth: f64) {
    let f = a.figures.iter().find(|f| f.name == name).unwrap_or_else(|| panic!("no {}", name.name()));
    assert!(
        (f.value - truth).abs() < 3.0 * f.standard_uncertainty(),
        "{} {} ± {} for {truth}",
        name.name(),
        f.value,
        f.standard_uncertainty()
    );
}

#[test]
fn a_healthy_body_has_no_sure_defect_and_its_figures_cover_the_truth() {
    for seed in [5, 6] {
        let mut bench = Bench::healthy(seed);
        let plant = bench.plant.clone();
        let a = analyse_among(Plan::record(&mut bench).traces(), &sheet(), &Population::assumed());
        assert_eq!(sure(&a), [], "seed {seed}: {:?}", a.findings);
        within(&a, FigureName::PreloadMain, plant.tph);
        within(&a, FigureName::PreloadDefault, plant.tpl);
        within(&a, FigureName::StiffnessMain, plant.ksh);
        within(&a, FigureName::BackEmfConstant, plant.emf());
        within(&a, FigureName::Lash, plant.lash_deg());
        within(&a, FigureName::RestPosition, plant.th0.to_degrees());
        // The plant's winding has the test rig's 24 °C.
        within(&a, FigureName::WindingResistance, plant.r / (1.0 + 0.00393 * 4.0));
    }
}

#[test]
fn a_braked_return_takes_longer_and_both_are_told_apart() {
    let a = analysed(|_| {}, 7);
    let time = |bridge| {
        a.figures
            .iter()
            .find(|f| {
                f.name == FigureName::ReturnTime
                    && f.condition.bridge == Some(bridge)
                    && f.condition.from_deg > Some(70.0)
            })
            .map(|f| f.value)
            .expect("released from 80 deg")
    };
    // The study's healthy spread from 80 degrees: 277 ± 17 ms open, 732 ± 140 ms braked.
    assert!((220.0..340.0).contains(&time(Bridge::Open)), "{}", time(Bridge::Open));
    assert!(time(Bridge::Brake) > 1.7 * time(Bridge::Open));
}

#[test]
fn latency_has_bounds_where_the_sample_allows_and_says_how_many_steps_a_p99_takes() {
    let a = analysed(|_| {}, 8);
    let p50: Vec<_> = a.figures.iter().filter(|f| f.name == FigureName::LatencyP50).collect();
    assert_eq!(p50.len(), 6, "three ranges, two directions");
    for f in p50.iter().filter(|f| f.condition.direction == Some(crate::quantity::Heading::Opening)) {
        // The study: 1.00 ± 0.14 ms to 0.004 degrees after +8 V.
        assert!((600.0..1500.0).contains(&f.value), "{f:?}");
    }
    assert!(!a.figures.iter().any(|f| f.name == FigureName::LatencyP99));
    assert!(a.not_testable.iter().any(|n| n.what.starts_with("latency_p99") && n.why.contains("299")));
    assert!(a.histograms.iter().filter(|h| h.name == "latency").all(|h| h.counts.iter().sum::<u64>() >= 8));
    assert!(a.histograms.iter().all(|h| h.name != "latency" || h.unit == Unit::Microsecond));
}

#[test]
fn each_fault_is_named() {
    type Fault = fn(&mut Plant);
    let named: [(FindingKind, Fault); 8] = [
        (FindingKind::WornTooth, |p| p.wear(&[(3, 0.36, 0.24)])),
        (FindingKind::Lash, |p| {
            p.l1 *= 3.5;
            p.l2 *= 3.5;
        }),
        (FindingKind::WeakSpring, |p| p.tph *= 0.6),
        (FindingKind::BrokenSpring, |p| (p.tph, p.ksh) = (0.0, 0.0)),
        (FindingKind::StickyPlate, |p| (p.deposit, p.deposit_width) = (0.35, 2f64.to_radians())),
        (FindingKind::DryBearing, |p| p.tcp *= 2.3),
        (FindingKind::Winding, |p| p.r += 0.8),
        (FindingKind::BrushDeadSpot, |p| (p.dead_width, p.dead_ohm) = (0.35, 25.0)),
    ];
    for (kind, fault) in named {
        let a = analysed(fault, 11);
        assert!(sure(&a).contains(&kind), "{} among {:?}", kind.name(), a.findings);
    }
}

#[test]
fn a_plate_that_hangs_is_not_testable_rather_than_healthy() {
    let a = analysed(|p| p.tph *= 0.5, 12);
    assert!(sure(&a).contains(&FindingKind::NotTestable), "{:?}", a.findings);
    for name in [FigureName::Lash, FigureName::LostMotion] {
        assert!(!a.figures.iter().any(|f| f.name == name));
        assert!(a.not_testable.iter().any(|n| n.what == name.name()));
    }
}

#[test]
fn spoiled_traces_give_no_figure_that_is_no_number() {
    let mut plan = Plan::record(&mut Bench::healthy(13));
    let mut random = Resampler::new(1);
    for (k, trace) in plan.all_mut().iter_mut().enumerate() {
        let middle = trace.len() / 2;
        trace.gaps.push(Gap {
            index: middle,
            from_us: trace.time_us[middle - 1],
            to_us: trace.time_us[middle],
            scans: 3,
            cause: GapCause::Line,
        });
        for column in &mut trace.columns {
            for v in column.values.iter_mut().filter(|_| random.uniform() < 1e-3) {
                *v = [f32::NAN, 1e9, -1e9, 0.0][k % 4];
            }
        }
    }
    check_sound(&analyse(plan.traces(), &sheet()));
    for trace in plan.all_mut() {
        trace.columns.retain(|c| c.channel != Channel::MotorAmps);
    }
    let a = analyse(plan.traces(), &sheet());
    check_sound(&a);
    assert!(a.not_testable.iter().any(|n| n.why.contains("motor amps")));
    for trace in plan.all_mut() {
        trace.columns.clear();
        trace.marks.clear();
    }
    check_sound(&analyse(plan.traces(), &sheet()));
}

#[track_caller]
fn check_sound(a: &PartAnalysis) {
    for f in &a.figures {
        assert!(
            f.value.is_finite() && f.standard_uncertainty() >= 0.0 && f.standard_uncertainty().is_finite(),
            "{f:?}"
        );
    }
    assert!(a.findings.iter().all(|f| (0.0..=1.0).contains(&f.confidence)));
}

#[test]
fn no_trace_at_all_gives_no_figure_and_says_what_is_missing() {
    let a = analyse(BodyTraces::default(), &sheet());
    assert!(a.figures.is_empty() && a.findings.is_empty(), "{a:?}");
    for what in ["latency", "lash", "lost_motion", "return_time", "feedback pair"] {
        assert!(a.not_testable.iter().any(|n| n.what == what), "{what}");
    }
}

/// The map of a synthetic body.
fn map(seed: u64, wear: &[(u32, f64, f64)]) -> ToothMap {
    let mut bench = Bench::healthy(seed);
    bench.plant.wear(wear);
    let creep = bench.run(&synthetic::programs::creep()).recording;
    let strokes = bench.run(&synthetic::programs::tooth_map()).recording;
    let rest = rest::find(&[&creep, &strokes]).map(|r| r.position.value);
    let motor = motor::measure(&[&creep], rest, motor::RigErrors::default(), None);
    tooth_map::measure(&[&strokes], &motor, rest).expect("a map")
}

#[test]
fn a_population_learned_and_read_back_finds_a_tooth_worn_by_three_tenths_of_a_degree() {
    let maps: Vec<ToothMap> = (0..30).map(|seed| map(seed, &[])).collect();
    let origin = Origin { simulated: true, kind: "body".into(), ..Origin::default() };
    let learned = Population::learn(&maps, 4.0, origin).expect("thirty maps");
    let bytes = learned.write();
    // The lower half of a covariance of some 380 places.
    assert!(bytes.len() < 800_000, "{}", bytes.len());
    let read = Population::parse(&bytes).expect("what was written");
    assert!(read.fits(&maps[0], "body") && !read.fits(&maps[0], "other"));
    let search = worn_teeth::Search::new(&read).expect("positive definite");
    let worn = search.find(&map(1000, &[(4, 0.3, 0.2)])).expect("a map of its layout");
    let bump = worn.bumps.first().expect("0.3 degrees stand out");
    // Tooth 4 stands at 12 to 16 degrees.
    assert!(
        (bump.at_deg - 14.0).abs() < 1.01 && (bump.depth.value - 0.3).abs() < 3.0 * bump.depth.uncertainty,
        "{bump:?}"
    );
    assert!(search.find(&map(1001, &[])).expect("a map").bumps.is_empty());
}

#[test]
fn the_population_that_ships_is_one_of_its_sheets_kind_and_says_that_it_was_simulated() {
    let shipped = Population::shipped(&sheet());
    assert!(
        shipped.bodies >= 300 && shipped.origin.simulated && shipped.origin.kind == "body",
        "{:?}",
        shipped.origin
    );
    // A healthy body in a thousand goes higher.
    assert!((3.0..8.0).contains(&shipped.null.at(1e-3)));
    let other = PartSheet { name: "another kind".into(), ..sheet() };
    assert_eq!(Population::shipped(&other).bodies, 0);
}

#[test]
fn a_file_that_is_no_population_is_refused() {
    for bytes in [&b"{}"[..], b"", b"not json"] {
        assert!(Population::parse(bytes).is_err());
    }
    let text = String::from_utf8(Population::assumed().write()).expect("JSON");
    let bins = |n: usize| format!("\"bins\":{n}");
    let whole = tooth_map::Layout::STANDARD.bins;
    assert!(Population::parse(text.replace(&bins(whole), &bins(whole - 1)).as_bytes()).is_err());
    assert!(Population::parse(text.replace("population-1", "population-9").as_bytes()).is_err());
    assert!(Population::learn(&[], 4.0, Origin::default()).is_err());
}

#[test]
fn lash_is_covered_from_a_tight_part_to_a_worn_one() {
    for target in [0.2, 0.8] {
        let mut bench = Bench::healthy(21);
        let factor = target / bench.plant.lash_deg();
        bench.plant.l1 *= factor;
        bench.plant.l2 *= factor;
        bench.state = bench.plant.rest();
        let a = analyse_among(Plan::record(&mut bench).traces(), &sheet(), &Population::assumed());
        within(&a, FigureName::Lash, target);
        assert!(value(&a, FigureName::Lash) > 0.0);
    }
}
