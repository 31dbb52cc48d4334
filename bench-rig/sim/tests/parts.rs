//! Parts: spread over seeds against what is declared, topologies, faults in the transfer curve, names, part files and their document.

use std::path::Path;

use trackpair_rig_sim::fault::{Channel, Fault, Shape};
use trackpair_rig_sim::part::Part;
use trackpair_rig_sim::spec::{Sensor, Topology};
use trackpair_rig_sim::{PartSpec, part_address, part_file, parts};

/// Nominal travel of a grip, degrees.
const TRAVEL_DEG: f64 = 75.0;

fn exact(topology: Topology) -> PartSpec {
    PartSpec { spread: false, ..PartSpec::healthy(Sensor::Hall, topology) }
}

#[track_caller]
fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} ± {within}");
}

#[test]
fn the_nominal_lines_are_those_of_the_three_topologies() {
    for (topology, second) in [
        (Topology::Complementary, [0.90, 0.50, 0.10]),
        (Topology::HalfSlope, [0.05, 0.25, 0.45]),
        (Topology::ParallelOffset, [0.05, 0.45, 0.85]),
    ] {
        let part = Part::draw("nominal", exact(topology), 1);
        for (k, x) in [0.0, 0.5, 1.0].into_iter().enumerate() {
            near(part.transfer(x * TRAVEL_DEG, 0), 0.10 + 0.80 * x, 1e-12);
            near(part.transfer(x * TRAVEL_DEG, 1), second[k], 1e-12);
        }
    }
}

#[test]
fn spread_over_seeds_is_the_declared_one() {
    let spec = PartSpec::healthy(Sensor::Hall, Topology::Complementary);
    let n = 400;
    let drawn: Vec<_> = (0..n).map(|seed| Part::draw("spread", spec.clone(), seed).drawn().clone()).collect();
    let check = |values: Vec<f64>, mean: f64, sd: f64| {
        let m = values.iter().sum::<f64>() / values.len() as f64;
        let s = (values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / values.len() as f64).sqrt();
        // Clipping at 2.5 sd leaves 0.9758 of the sd (integral of the clipped normal); 4 standard errors of mean and sd.
        near(m, mean, 4.0 * sd / f64::from(n as u32).sqrt());
        near(s / sd, 0.9758, 4.0 / f64::from(2 * n as u32).sqrt());
        assert!(values.iter().all(|v| (v - mean).abs() <= 2.5 * sd + 1e-12));
    };
    check(drawn.iter().map(|d| d.gain[0]).collect(), 1.0, 0.004);
    check(drawn.iter().map(|d| d.offset[1]).collect(), 0.0, 0.003);
    check(drawn.iter().map(|d| d.angle_error[0].0).collect(), 0.0, 0.25);
    check(drawn.iter().map(|d| d.open_stop_deg).collect(), 75.0, 0.4);
    check(drawn.iter().map(|d| d.supply_amps).collect(), 0.010, 0.0006);
}

#[test]
fn the_same_name_and_seed_give_the_same_part() {
    let truth = |name, seed| parts::named(name, seed).unwrap().truth();
    assert_eq!(truth("worn-grip", 7), truth("worn-grip", 7));
    assert_ne!(truth("worn-grip", 7).spec, truth("worn-grip", 8).spec);
    assert_ne!(truth("good-grip", 7).drawn, truth("worn-grip", 7).drawn);
}

#[test]
fn every_named_part_stays_within_the_ranges_of_its_faults_and_on_the_scale() {
    for named in parts::ALL {
        for seed in 0..20 {
            let part = parts::named(named.name, seed).unwrap();
            part.spec().validate().unwrap();
            let truth = part.truth();
            for curve in truth.curves {
                assert!(curve.closed_ratio > 0.02 && curve.closed_ratio < 0.98, "{} {seed}", named.name);
            }
        }
    }
}

#[test]
fn good_parts_are_straighter_than_faulty_ones_by_their_own_truth() {
    for seed in 0..50 {
        let good = parts::named("good-grip", seed).unwrap().truth();
        let off = parts::named("off-centre-grip", seed).unwrap().truth();
        assert!(good.curves[0].linearity_independent_percent < 1.1, "{seed}: {:?}", good.curves);
        assert!(off.curves[0].linearity_independent_percent > 1.1, "{seed}: {:?}", off.curves);
        let shifted = parts::named("shifted-grip", seed).unwrap().truth();
        assert!(shifted.correlation_worst_percent.abs() > good.correlation_worst_percent.abs().min(1.0));
    }
}

#[test]
fn a_flat_spot_takes_slope_where_told_and_comes_back_as_told() {
    for (shape, behind, far) in
        [(Shape::Snap, 0.0, 0.0), (Shape::CatchUp, 0.8 - 0.08, 0.0), (Shape::Permanent, 0.8, 0.8)]
    {
        let (centre_deg, width_deg, slope_loss) = (7.5, 1.0, 0.8);
        let fault = Fault::FlatSpot { channel: Channel::Rising, centre_deg, width_deg, slope_loss, shape };
        let part = Part::draw("flat", exact(Topology::Complementary).with(fault), 1);
        let lost = |deg: f64| (0.10 + 0.80 * deg / TRAVEL_DEG - part.transfer(deg, 0)) * TRAVEL_DEG / 0.80;
        near(lost(6.98), 0.0, 1e-9);
        near(lost(7.5), 0.4, 1e-9);
        near(lost(8.1), behind, 1e-9);
        near(lost(12.0), far, 1e-9);
        near(part.transfer(7.5, 1), 0.90 - 0.80 * 7.5 / TRAVEL_DEG, 1e-12);
    }
}

#[test]
fn an_unknown_part_is_told_which_there_are() {
    let error = parts::named("gold-grip", 1).unwrap_err().to_string();
    assert!(
        error.contains("gold-grip") && error.contains("good-grip") && error.contains("worn-grip"),
        "{error}"
    );
}

#[test]
fn addresses_take_a_seed_and_an_operator_and_refuse_the_rest() {
    let address = part_address("worn-grip?seed=7&operator=hand").unwrap();
    assert_eq!((address.part.name(), address.seed), ("worn-grip", 7));
    for (bad, word) in [
        ("worn-grip?seed=x", "seed"),
        ("worn-grip?seeds=1", "seeds"),
        ("nothing", "known parts"),
        ("nowhere.toml", "nowhere.toml"),
        ("good-grip?operator=cat", "cat"),
    ] {
        let error = part_address(bad).unwrap_err().to_string();
        assert!(error.contains(word), "{bad}: {error}");
    }
}

#[test]
fn a_part_file_is_loaded_and_its_mistakes_are_named() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("mixed.toml");
    let good = "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"half-slope\"\nspread = false\n\
        [[fault]]\nkind = \"ground_lead\"\nohms = 12\n[[fault]]\nkind = \"swapped_channels\"\n";
    std::fs::write(&path, good).unwrap();
    let address = part_address(&format!("{}?seed=3", path.display())).unwrap();
    assert_eq!((address.part.name(), address.part.spec().faults.len()), ("mixed", 2));
    for (from, to, word) in [
        ("spread", "spred", "spred"),
        ("ohms = 12", "ohms = 12\nohm = 3", "ohm"),
        ("ohms = 12", "ohms = -1", "outside"),
        ("ohms = 12", "ohms = nan", "outside"),
        ("ground_lead", "grnd_lead", "grnd_lead"),
        ("\"hall\"", "\"hal\"", "hal"),
        ("ohms = 12", "ohms = \"12\"", "12"),
    ] {
        let text = good.replace(from, to);
        let error = part_file::parse(&text, Path::new("mixed.toml")).unwrap_err().to_string();
        assert!(error.contains(word) && error.contains("mixed.toml"), "{error}");
    }
}

#[test]
fn a_fault_in_the_wrong_kind_of_part_is_refused_by_name() {
    let file = |kind: &str, fault: &str| {
        format!("kind = \"{kind}\"\nsensor = \"hall\"\ntopology = \"complementary\"\n[[fault]]\n{fault}\n")
    };
    let parse = |text: &str| part_file::parse(text, Path::new("mixed.toml"));
    let (missing, seized) = ("kind = \"missing_tooth\"\ncentre_deg = 14", "kind = \"seized\"");
    assert!(parse(&file("body", missing)).is_ok() && parse(&file("grip", seized)).is_ok());
    for (kind, fault, word) in [("grip", missing, "missing_tooth"), ("body", seized, "seized")] {
        let error = parse(&file(kind, fault)).unwrap_err().to_string();
        assert!(error.contains(word) && error.contains(kind) && error.contains("PARTS.md"), "{error}");
    }
}

#[test]
fn spread_of_bodies_over_seeds_is_the_declared_one() {
    let n = 400;
    let truths: Vec<_> =
        (0..n).map(|seed| parts::named("good-body", seed).unwrap().truth().body.unwrap()).collect();
    let check = |pick: fn(&trackpair_rig_sim::body::BodyNumbers) -> f64, mean: f64, sd: f64| {
        let values: Vec<f64> = truths.iter().map(|truth| pick(&truth.drawn)).collect();
        let m = values.iter().sum::<f64>() / values.len() as f64;
        let s = (values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / values.len() as f64).sqrt();
        near(m, mean, 4.0 * sd / f64::from(n as u32).sqrt());
        near(s / sd, 0.9758, 4.0 / f64::from(2 * n as u32).sqrt());
    };
    check(|body| body.motor.ohms, 1.15, 0.05 * 1.15);
    check(|body| body.motor.constant, 0.383 / 20.4545, 0.03 * 0.383 / 20.4545);
    check(|body| body.springs.main.preload_nm, 0.396, 0.05 * 0.396);
    check(|body| body.springs.rest_deg, 6.5, 0.5);
    assert!(truths.iter().all(|truth| (0.17..0.42).contains(&truth.lash_deg) && truth.wear.is_empty()));
    let friction: Vec<f64> = truths.iter().map(|truth| truth.friction_nm).collect();
    assert!(friction.iter().all(|f| (0.13..0.34).contains(f)));
}

#[test]
fn every_example_in_the_document_of_part_files_is_one() {
    let text = include_str!("../PARTS.md");
    let examples: Vec<&str> =
        text.split("```toml\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
    let mut kinds = std::collections::BTreeSet::new();
    for example in &examples {
        let spec =
            part_file::parse(example, Path::new("PARTS.md")).unwrap_or_else(|e| panic!("{e}\n{example}"));
        kinds.extend(spec.faults.iter().map(Fault::kind));
    }
    // All kinds of fault there are, see `fault.rs`.
    assert_eq!(kinds.len(), 34, "documented by example: {kinds:?}");
    for kind in kinds {
        assert!(text.contains(&format!("| `{kind}` |")), "{kind} has no row in the table");
    }
    for named in parts::ALL {
        assert!(text.contains(&format!("`{}`", named.name)), "{} is not in the list", named.name);
    }
}
