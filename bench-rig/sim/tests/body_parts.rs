//! Each named throttle body behaves as its name says, over seeds, next to a healthy one: springs, friction, lash, teeth, motor.

use trackpair_rig_sim::body::mechanics::STEP_S;
use trackpair_rig_sim::body::numbers::RATIO;
use trackpair_rig_sim::body::{Body, Bridge};
use trackpair_rig_sim::part::{Part, Works};
use trackpair_rig_sim::{Part as AnyPart, parts};

const SEEDS: std::ops::Range<u64> = 0..6;

fn named(name: &str, seed: u64) -> Part {
    parts::named(name, seed).unwrap()
}

/// The body of a part, apart from sensor and rig.
fn body(part: &AnyPart) -> Body {
    let Works::Body(works) = part.works() else { panic!("{} is not a body", part.name()) };
    Body::new(works.numbers.clone(), &works.teeth, 23.0)
}

fn run(body: &mut Body, bridge: Bridge, seconds: f64) {
    body.set_bridge(bridge);
    body.advance((seconds / STEP_S).round() as usize);
}

fn volts(volts: f64) -> Bridge {
    Bridge::Drive { volts }
}

/// Where the plate comes to rest, let go from an angle, degrees.
fn rest_from(part: &Part, deg: f64) -> f64 {
    let mut body = body(part).placed_at(deg, if deg > 6.5 { 1.0 } else { -1.0 });
    run(&mut body, Bridge::Open, 1.5);
    body.plate_deg()
}

/// What the rotor travels ahead of the plate between both flanks at rest, degrees of plate.
fn swing(part: &Part) -> f64 {
    let mut body = body(part);
    let relative = |body: &Body| (body.state().rotor / RATIO).to_degrees() - body.plate_deg();
    let mut ends = [0.0; 2];
    for (end, sign) in ends.iter_mut().zip([1.0, -1.0]) {
        // Enough for the rotor, not for the plate.
        run(&mut body, volts(sign * 1.2), 0.1);
        run(&mut body, volts(sign * 0.7), 0.05);
        *end = relative(&body);
    }
    ends[0] - ends[1]
}

/// Rotor ahead of the plate in a stroke of 5 V, degrees of plate, in bins of 1° from 0.
fn lost_motion(part: &Part) -> Vec<f64> {
    let mut body = body(part);
    run(&mut body, Bridge::Open, 0.3);
    let mut bins = vec![(0.0, 0); 84];
    body.set_bridge(volts(5.0));
    for _ in 0..12_500 {
        body.advance(1);
        let rotor = (body.state().rotor / RATIO).to_degrees();
        if let Some(bin) = bins.get_mut(rotor.max(0.0) as usize) {
            *bin = (bin.0 + rotor - body.plate_deg(), bin.1 + 1);
        }
    }
    bins.into_iter().map(|(sum, n)| sum / f64::from(n.max(1))).collect()
}

/// Resistance at the closed stop with −2 V, ohm, brush drop included.
fn standing_ohms(part: &Part) -> f64 {
    let mut body = body(part);
    run(&mut body, volts(-2.0), 0.5);
    2.0 / body.amps().abs()
}

/// Voltage per speed of the plate while it returns from 60°, V·s/rad.
fn constant(part: &Part) -> f64 {
    let mut body = body(part).placed_at(60.0, 1.0);
    run(&mut body, Bridge::Open, 0.02);
    let (mut integral, from) = (0.0, body.state().plate);
    while body.plate_deg() > 20.0 {
        body.advance(1);
        integral += STEP_S * body.terminal_volts();
    }
    integral / (body.state().plate - from)
}

#[test]
fn good_bodies_come_back_from_both_sides_and_faulty_springs_and_bearings_do_not() {
    for seed in SEEDS {
        let good = named("good-body", seed);
        let rest = good.truth().body.unwrap();
        for from in [2.0, 20.0, 70.0] {
            let at = rest_from(&good, from);
            let band = rest.rest_band_deg;
            assert!((band.0 - 0.05..band.1 + 0.05).contains(&at), "{seed}: {at} from {from}, truth {band:?}");
        }
        let broken = rest_from(&named("broken-spring-body", seed), 40.0);
        assert!(broken > 38.0, "{seed}: returned to {broken}");
        let weak = rest_from(&named("weak-default-spring-body", seed), 1.0);
        assert!(weak < rest.rest_deg - 1.0, "{seed}: opened to {weak}");
    }
    let hang = |name: &str| SEEDS.filter(|&seed| rest_from(&named(name, seed), 15.0) > 9.0).count();
    assert_eq!(hang("good-body"), 0);
    assert!(hang("weak-spring-body") >= 3 && hang("dry-body") >= 3);
}

#[test]
fn a_deposit_holds_the_plate_at_the_closed_stop_and_nowhere_else() {
    for seed in SEEDS {
        let part = named("sticky-body", seed);
        let truth = part.truth().body.unwrap();
        assert!(truth.closed_friction_nm > truth.friction_nm + 0.1);
        // From little above rest: with more speed the plate overshoots into the deposit and may stay there.
        let far = rest_from(&part, 9.0);
        assert!((truth.rest_deg - far).abs() < 0.6, "{seed}: {far}");
        let stuck = rest_from(&part, 0.1);
        let free = rest_from(&named("good-body", seed), 0.1);
        assert!(free > 5.0, "{seed}: a clean one opens to {free}");
        // A deposit lets go at once or holds; in no case does it push.
        assert!(stuck < free + 0.3, "{seed}: {stuck}");
    }
    let stuck = SEEDS.filter(|&seed| rest_from(&named("sticky-body", seed), 0.1) < 4.0).count();
    assert!(stuck >= 3, "{stuck}");
}

#[test]
fn the_rotor_swings_by_the_lash_that_is_true() {
    for seed in SEEDS {
        for name in ["good-body", "loose-body"] {
            let part = named(name, seed);
            let (got, want) = (swing(&part), part.truth().body.unwrap().lash_deg);
            // Wind-up of the gears with 0.3 N·m on either side of 720 N·m/rad, and the teeth's unevenness.
            assert!((got - want - 0.04).abs() < 0.05, "{name} {seed}: {got}, true {want}");
        }
        assert!(swing(&named("loose-body", seed)) > swing(&named("good-body", seed)) + 0.25);
    }
}

#[test]
fn worn_chipped_and_missing_teeth_cost_motion_where_they_are() {
    for seed in SEEDS {
        for name in ["worn-teeth-body", "chipped-tooth-body", "missing-tooth-body"] {
            let part = named(name, seed);
            let wear = part.truth().body.unwrap().wear[0];
            let bins = lost_motion(&part);
            let healthy = bins[34..46].iter().sum::<f64>() / 12.0;
            let place = wear.centre_deg as usize;
            // The rotor is ahead by what is gone, so it is there later by as much.
            let worst = bins[place - 1..place + 4].iter().copied().fold(f64::MIN, f64::max) - healthy;
            let want = wear.opening_deg;
            // Healthy teeth are uneven by up to 0.1°; a plate that falls into a gap does not reach its ground.
            assert!(worst > 0.6 * want - 0.1, "{name} {seed}: {worst} of {want} at {place}");
        }
        let bins = lost_motion(&named("good-body", seed));
        let healthy = bins[34..46].iter().sum::<f64>() / 12.0;
        let worst = bins[9..30].iter().map(|b| (b - healthy).abs()).fold(0.0, f64::max);
        assert!(worst < 0.17, "{seed}: {worst}");
    }
}

#[test]
fn wear_of_the_closing_flank_alone_costs_no_motion_under_drive() {
    let text = "kind = \"body\"\nsensor = \"hall\"\ntopology = \"complementary\"\nspread = false\n[[fault]]\n\
        kind = \"worn_teeth\"\ncentre_deg = 22\ndepth_deg = 0.6\nopening_share = 0.0\n";
    let spec = trackpair_rig_sim::part_file::parse(text, std::path::Path::new("closing.toml")).unwrap();
    let part = Part::draw("closing", spec, 1);
    let bins = lost_motion(&part);
    let (worn, beside) = (bins[22], bins[30]);
    assert!((worn - beside).abs() < 0.02, "{worn}, beside {beside}");
}

#[test]
fn motors_have_the_resistance_and_the_constant_of_their_faults() {
    for seed in SEEDS {
        let ohms = |name: &str| {
            let part = named(name, seed);
            let truth = part.truth().body.unwrap();
            let (got, warm) = (standing_ohms(&part), 1.0 + 0.00393 * 3.0);
            let amps = 2.0 / got;
            let want = truth.ohms * warm + truth.numbers.motor.brush_volts / amps;
            // Ripple of up to 4 %, and a kelvin of warming.
            assert!((got / want - 1.0).abs() < 0.05, "{name} {seed}: {got}, true {want}");
            got
        };
        assert!(ohms("hot-winding-body") > ohms("good-body") + 0.3);
        assert!(ohms("shorted-turns-body") < ohms("good-body"));
        for name in ["good-body", "shorted-turns-body"] {
            let part = named(name, seed);
            let (got, want) = (constant(&part), part.truth().body.unwrap().plate_constant);
            assert!((got / want - 1.0).abs() < 0.02, "{name} {seed}: {got}, true {want}");
        }
        let left = constant(&named("shorted-turns-body", seed)) / constant(&named("good-body", seed));
        assert!((0.6..0.95).contains(&left), "{seed}: {left}");
    }
}

#[test]
fn a_dead_spot_shows_as_resistance_once_a_rotor_turn() {
    for seed in SEEDS {
        let worst = |name: &str| {
            let mut body = body(&named(name, seed));
            let mut worst = 0.0_f64;
            body.set_bridge(volts(3.0));
            for _ in 0..10_000 {
                body.advance(1);
                worst = worst.max(body.ohms());
            }
            worst
        };
        let (good, dead) = (worst("good-body"), worst("dead-spot-body"));
        assert!(good < 1.6 && dead > good + 2.0, "{seed}: {good}, {dead}");
    }
}
