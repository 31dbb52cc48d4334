//! What a throttle body's sheet must say, and that each mistake is pointed at.

use super::*;
use crate::quantity::{Bridge, Condition, FigureName, Heading, PartKind, Region};
use crate::sheet::{PartSheet, SheetError, parse, shipped};

const BODY: &str = include_str!("sheets/body.toml");

/// The shipped sheet with one text replaced; the text must be there.
#[track_caller]
fn with(from: &str, to: &str) -> String {
    assert!(BODY.contains(from), "the sheet does not hold {from:?}");
    BODY.replacen(from, to, 1)
}

#[track_caller]
fn read(text: &str) -> PartSheet {
    parse(text, "mine.toml").unwrap_or_else(|e| panic!("{e}"))
}

/// The sheet must be refused with all these words, at the line that holds `at`.
#[track_caller]
fn refused(text: &str, at: &str, words: &[&str]) -> SheetError {
    let error = parse(text, "mine.toml").expect_err("the sheet must be refused");
    for word in words {
        assert!(error.rendered.contains(word), "{word:?} is not in:\n{error}");
    }
    let line = text.lines().nth(error.line - 1).unwrap_or_default();
    assert!(line.contains(at), "it points at line {} {line:?}:\n{error}", error.line);
    error
}

#[test]
fn the_numbers_of_the_body_sheet_arrive() {
    let sheet = shipped("body").unwrap();
    assert_eq!((sheet.kind, sheet.travel_deg), (PartKind::Body, 84.0));
    let body = sheet.body.unwrap();
    assert_eq!((body.low_range_deg, body.middle_deg, body.steps), (12.6, 55.0, 60));
    assert_eq!(body.release_deg, [80.0, 60.0, 40.0, 20.0, 10.0]);
    assert_eq!(body.position_loop, LoopGains { kp: 63.0, ki: 500.0, kd: 0.73, current_limit_amps: 8.0 });
    assert_eq!(body.motor, MotorNominal { winding_ohms: 1.15, back_emf: 0.383 });
    // The creep is what a throttle body has for a sweep.
    assert_eq!((sheet.sweep.cycles, sheet.sweep.speed_deg_s, sheet.sweep.rate_hz), (3, 20.0, 5000));
}

// Worked by hand: 45/11 × 90/18 = 20.4545…, 360/90 = 4.
#[test]
fn the_gears_tell_their_ratio_and_the_pitch_at_the_plate() {
    let gears = shipped("body").unwrap().body.unwrap().gears.unwrap();
    assert_eq!(gears.tooth_pitch_deg(), 4.0);
    assert!((gears.ratio().unwrap() - 20.454_545).abs() < 1e-6);
    let from = BODY.find("pinion = 11").unwrap();
    let to = BODY.find("source = \"engineering assumption\"\n").unwrap();
    let pitch = BODY.replacen(&BODY[from..to], "tooth_pitch_deg = 5.0\n", 1);
    let gears = read(&pitch).body.unwrap().gears.unwrap();
    assert_eq!((gears.tooth_pitch_deg(), gears.ratio()), (5.0, None));
}

#[test]
fn a_sheet_without_gears_is_complete() {
    let from = BODY.find("[body.gears]").unwrap();
    let to = BODY.find("# Limits.").unwrap();
    assert_eq!(read(&BODY.replacen(&BODY[from..to], "", 1)).body.unwrap().gears, None);
}

#[test]
fn a_number_out_of_range_is_shown_with_its_range_and_unit() {
    refused(&with("step_volts = 8.0", "step_volts = 48"), "step_volts", &["48", "1 to 14 V"]);
    refused(&with("steps = 60", "steps = 0"), "steps", &["1 to 5000"]);
    refused(&with("heat_limit = 0.7", "heat_limit = 7"), "heat_limit", &["0.05 to 1", "thermal"]);
    refused(&with("kp_volts_rad = 63.0", "kp_volts_rad = -1"), "kp_volts_rad", &["V/rad"]);
    refused(&with("sector = 90 ", "sector = 90.5 "), "sector", &["whole number"]);
    refused(&with("[80.0, 60.0", "[80.0, 600.0"), "release_deg", &["600", "degrees"]);
}

#[test]
fn ranges_and_openings_must_lie_in_the_travel() {
    refused(&with("middle_deg = 55.0", "middle_deg = 12.0"), "middle_deg", &["between 12.6 and 84"]);
    refused(&with("middle_deg = 55.0", "middle_deg = 90.0"), "middle_deg", &["does not lie in the travel"]);
    refused(&with("[80.0, 60.0", "[85.0, 60.0"), "release_deg", &["the travel is 84"]);
    refused(&with("[80.0, 60.0, 40.0, 20.0, 10.0]", "[]"), "release_deg", &["empty list"]);
    refused(
        &with("[80.0, 60.0, 40.0, 20.0, 10.0]", "80"),
        "release_deg",
        &["a list of numbers, not a number"],
    );
    refused(&with("[80.0, 60.0", "[80.0, \"60\""), "release_deg", &["must be a number, not a text"]);
}

#[test]
fn teeth_and_pitch_together_are_refused_and_so_are_half_the_teeth() {
    refused(&with("pinion = 11", "tooth_pitch_deg = 4.0\npinion = 11"), "tooth_pitch_deg", &["twice"]);
    refused(&with("pinion = 11\n", ""), "[body.gears]", &["lacks `pinion`"]);
}

#[test]
fn every_table_names_its_source() {
    let source =
        "source = \"engineering assumption: rise in 25 ms with 7 % overshoot on the simulated part\"\n";
    refused(&with(source, ""), "[body.position_loop]", &["lacks its `source`"]);
}

#[test]
fn each_kind_of_part_has_its_own_plan() {
    refused(&with("[body]\n", "[sweep]\ncycles = 5\n[body]\n"), "[sweep]", &["not for a body", "[body]"]);
    let grip = crate::sheet::shipped_text("grip-complementary").unwrap();
    let both = format!("{grip}\n[body]\nsteps = 3\n");
    refused(&both, "[body]", &["not for a grip"]);
    refused(&with("kind = \"body\" ", "kind = \"bodi\" "), "kind", &["did you mean `body`", "grip, body"]);
}

#[test]
fn a_grip_can_have_neither_the_limits_nor_the_findings_of_a_body() {
    let grip = crate::sheet::shipped_text("grip-complementary").unwrap();
    let limit = format!("{grip}\n[[limit]]\nfigure = \"lash\"\nmax = 1\nunit = \"deg\"\nsource = \"x\"\n");
    refused(&limit, "lash", &["not a figure of a grip"]);
    let rule = format!("{grip}\n[[finding]]\nkind = \"worn_tooth\"\ndecides = true\nsource = \"x\"\n");
    refused(&rule, "worn_tooth", &["a grip can't have"]);
}

#[test]
fn the_limit_that_names_most_of_a_condition_counts() {
    let text = format!(
        "{BODY}\n[[limit]]\nfigure = \"latency_p90\"\nregion = \"low\"\ndirection = \"opening\"\nmax = 2300\nunit = \"us\"\n\
         source = \"x\"\n"
    );
    let sheet = read(&text);
    let low = Condition { region: Some(Region::Low), ..Condition::NONE };
    let max = |condition: Condition| {
        sheet.limit_for(FigureName::LatencyP90, None, &condition).and_then(|l| l.max).unwrap()
    };
    assert_eq!(max(Condition { direction: Some(Heading::Opening), ..low }), 2300.0);
    assert_eq!(max(Condition { direction: Some(Heading::Closing), ..low }), 3200.0);
    let limit = sheet.limit_for(FigureName::LatencyP90, None, &low).unwrap();
    assert_eq!(limit.condition, low);
    let high = Condition { region: Some(Region::High), ..Condition::NONE };
    assert_eq!(sheet.limit_for(FigureName::LatencyP90, None, &high).unwrap().condition, Condition::NONE);
}

#[test]
fn a_return_time_is_limited_by_the_state_of_its_bridge_alone() {
    let sheet = shipped("body").unwrap();
    let of = |bridge| {
        let condition = Condition { from_deg: Some(80.0), bridge: Some(bridge), ..Condition::NONE };
        sheet.limit_for(FigureName::ReturnTime, None, &condition).unwrap()
    };
    assert_eq!((of(Bridge::Open).max, of(Bridge::Brake).max), (Some(1000.0), Some(1500.0)));
    assert!(of(Bridge::Open).source.starts_with("49 CFR 571.124"));
    assert!(sheet.limit_for(FigureName::ReturnTime, None, &Condition::NONE).is_none());
}

#[test]
fn a_condition_that_a_figure_does_not_have_is_refused() {
    let lash = "figure = \"lash\"\n";
    refused(&with(lash, "figure = \"lash\"\nbridge = \"open\"\n"), "bridge", &["not measured by bridge"]);
    refused(
        &with("figure = \"noise\"\n", "figure = \"noise\"\nregion = \"low\"\n"),
        "region",
        &["leave `region` out"],
    );
    refused(&with("region = \"low\"", "region = \"lower\""), "region", &["did you mean `low`"]);
    refused(&with("bridge = \"open\"", "bridge = \"off\""), "bridge", &["known: open, brake"]);
    let twice = format!(
        "{BODY}\n[[limit]]\nfigure = \"latency_p90\"\nregion = \"low\"\nmax = 1\nunit = \"us\"\nsource = \"x\"\n"
    );
    refused(&twice, "latency_p90", &["already has a limit for low range"]);
}
