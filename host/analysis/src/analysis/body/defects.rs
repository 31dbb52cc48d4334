//! What the measured quantities say is wrong with a body. It sees no limit; a sheet's rules say what each finding means.
//!
//! Each rule compares one quantity, or two that hang together, with healthy bodies ([`HEALTHY`]) and says how sure it is
//! (`evidence`). What a more basic defect explains is not reported again: a weak spring makes friction look large beside it, a plate that
//! hangs makes everything that starts from rest say nothing.

use super::dead_spots::DeadSpot;
use super::estimate::Estimate;
use super::evidence::{Healthy, PRIOR, PRIOR_TEETH, confidence};
use super::jam::Jam;
use super::measured::Measured;
use crate::analysis::statistics::normal_tail;
use crate::analysis::{Detail, Finding};
use crate::quantity::{Bridge, FindingKind};
use crate::sheet::PartSheet;

/// What healthy bodies of the shipped sheet's kind measure (simulation: the physics study, part B, and the spread of this analysis
/// on 120 such bodies). Engineering assumptions.
pub struct HealthyBody {
    /// Main spring at rest, N m.
    pub preload_main: Healthy,
    /// Default spring at rest, N m.
    pub preload_default: Healthy,
    /// Friction, N m.
    pub friction: Healthy,
    /// What the springs leave over friction at the weakest place, share of friction: the lower side, with springs that lose a tenth by
    /// themselves among the healthy.
    pub return_margin: Healthy,
    /// Friction near the closed stop less that elsewhere, N m.
    pub sticking: Healthy,
    /// Lash at rest, degrees.
    pub lash: Healthy,
    /// Winding over the sheet's.
    pub ohm: Healthy,
    /// K' over the sheet's.
    pub emf: Healthy,
    /// Bend that both feedback lines share, % of the travel.
    pub bend: Healthy,
}

/// See [`HealthyBody`].
pub const HEALTHY: HealthyBody = HealthyBody {
    preload_main: Healthy { mean: 0.395, sd: 0.020 },
    preload_default: Healthy { mean: 0.360, sd: 0.020 },
    friction: Healthy { mean: 0.274, sd: 0.024 },
    return_margin: Healthy { mean: 0.22, sd: 0.06 },
    sticking: Healthy { mean: 0.014, sd: 0.007 },
    lash: Healthy { mean: 0.295, sd: 0.055 },
    ohm: Healthy { mean: 1.0, sd: 0.05 },
    emf: Healthy { mean: 1.0, sd: 0.03 },
    bend: Healthy { mean: 0.25, sd: 0.20 },
};

/// A spring with less than this share of a healthy one's torque is broken, not weak.
const BROKEN_SHARE: f64 = 0.3;
/// A plate falls back by less than this on healthy bodies, degrees; one standard deviation.
const FALL_SD_DEG: f64 = 0.06;
/// Next to rest in this sense, degrees above it.
const NEXT_TO_REST_DEG: f64 = 4.0;
/// A bump of lost motion deeper than this is a tooth that is gone, degrees.
const GONE_DEG: f64 = 0.9;
/// With contact lost, a tooth is gone rather than chipped from this share of the pitch on: where at most 1.8 teeth are in contact on average, the next
/// one takes over after 0.2 of a pitch at the least. Spur gears have 1.2 to 1.8 (common practice, no source).
const LEAST_GONE: f64 = 0.2;
/// Bumps nearer than this share of the pitch are of one tooth.
const SAME_TOOTH: f64 = 0.75;
/// Healthy springs and friction together take less than this anywhere, N m (0.525 + 0.27 at wide open, a third over).
const JAM_NM: f64 = 1.1;
/// A dead spot's z over this many spreads is sure.
const DEAD_Z: f64 = 2.0;
/// Ramps that the plate does not go with at more than this share of its places show no missing spring.
const UNSTEADY: f64 = 0.3;
/// Places of a guided push from which one of them can stand out.
const LEAST_PLACES: usize = 3;
/// How far lash differs from place to place on healthy bodies, degrees, one standard deviation: gear errors. Engineering assumption.
const PLACE_SD_DEG: f64 = 0.05;
/// A push at a place sees the teeth within this of it, degrees.
const PUSH_DEG: f64 = 3.0;
/// Findings less sure than this are not reported.
const LEAST: f64 = 0.3;

/// Every defect that shows, unordered.
pub fn find(m: &Measured, sheet: &PartSheet) -> Vec<Finding> {
    let mut out = Vec::new();
    if m.led_astray {
        let text = "the feedback lines contradict each other again and again, and the drive follows them: what springs, gears and motor \
                    show is no test of them";
        return vec![finding(FindingKind::NotTestable, None, 1.0, text.to_owned(), Vec::new())];
    }
    jams(m, sheet, &mut out);
    springs(m, &mut out);
    friction(m, &mut out);
    returns(m, &mut out);
    motor(m, sheet, &mut out);
    let explained = out.iter().any(|f: &Finding| {
        f.confidence > 0.8 && matches!(f.kind, FindingKind::BrokenSpring | FindingKind::DryBearing)
    });
    teeth(m, explained, &mut out);
    // A lifting brush jerks the rotor, which looks like one that ran free; a hole in the map is reported once.
    let brushes = out.iter().any(|f| f.kind == FindingKind::BrushDeadSpot && f.confidence > 0.9);
    let gone = out.iter().any(|f| f.kind == FindingKind::MissingTooth && f.confidence > 0.9);
    if !brushes && !gone {
        out.extend(ran_free(m, sheet));
    }
    lash(m, &mut out);
    pushed(m, &mut out);
    shared_bend(m, sheet, &mut out);
    out.retain(|f| f.confidence >= LEAST);
    out
}

fn finding(
    kind: FindingKind,
    at: Option<(f64, f64)>,
    confidence: f64,
    text: String,
    details: Vec<Detail>,
) -> Finding {
    Finding {
        kind,
        channel: None,
        from_deg: at.map(|a| a.0),
        to_deg: at.map(|a| a.1),
        confidence,
        text,
        details,
    }
}

fn detail(name: &'static str, value: f64, unit: &'static str) -> Detail {
    Detail { name, value, unit }
}

/// Places where the drive pulled hard and the plate stayed where it is: the gears jam there. Where volts were given and the current
/// is missing, it is the brushes.
fn gear_jams<'m>(m: &'m Measured, sheet: &PartSheet) -> Vec<&'m Jam> {
    let Some(nominal) = sheet.body.as_ref().map(|b| b.motor) else { return Vec::new() };
    let ohm = m.motor.ohm.map_or(nominal.winding_ohms, |r| r.value);
    let jams = m.jams.iter().filter(|j| {
        let away = j.at_deg > 1.0 && j.at_deg < sheet.travel_deg - 2.0;
        let pulls = j.amps.abs() * nominal.back_emf > JAM_NM;
        away && pulls && j.volts.abs() - ohm * j.amps.abs() < 0.25 * j.volts.abs() + 0.5
    });
    jams.collect()
}

/// A jam of the gears, as over a missing tooth.
fn jams(m: &Measured, sheet: &PartSheet, out: &mut Vec<Finding>) {
    let Some(nominal) = sheet.body.as_ref().map(|b| b.motor) else { return };
    let Some(jam) = gear_jams(m, sheet).into_iter().max_by_key(|j| j.times) else { return };
    let torque = jam.amps.abs() * nominal.back_emf;
    let way = if jam.opening { "open" } else { "close" };
    let text = format!(
        "the gears jam at {:.1} deg: the motor pulls to {way} with {torque:.1} N m and the plate does not go on ({} times); a tooth is missing \
         or broken there, or something lies between",
        jam.at_deg, jam.times
    );
    let half = 0.5 * super::measured::UNKNOWN_PITCH_DEG;
    let details = vec![detail("torque", torque, "N m"), detail("times", jam.times as f64, "1")];
    let slipped = m.motor.ran_free.iter().filter(|s| (s.at_deg - jam.at_deg).abs() < 6.0);
    let looks = jam.times + slipped.map(|s| s.passes).sum::<usize>();
    let sure = 1.0 - 0.3f64.powi(looks.min(5) as i32);
    out.push(finding(
        FindingKind::MissingTooth,
        Some((jam.at_deg - half, jam.at_deg + half)),
        sure,
        text,
        details,
    ));
}

/// The rotor ran ahead of the plate at one place again and again.
fn ran_free(m: &Measured, sheet: &PartSheet) -> Option<Finding> {
    // What comes back with every turn of the rotor is the commutator's.
    if comes_with_turns(m.motor.ran_free.iter().chain(&m.motor.dead_spots), sheet) {
        return None;
    }
    let slip = m.motor.ran_free.iter().max_by_key(|s| s.passes).filter(|s| s.passes >= 2)?;
    let text = format!(
        "the motor runs free of the plate at {:.1} deg, {} times: a tooth is missing or broken there",
        slip.at_deg, slip.passes
    );
    let half = 0.5 * super::measured::UNKNOWN_PITCH_DEG;
    let sure = 1.0 - 0.3f64.powi(slip.passes.min(5) as i32);
    let details = vec![detail("times", slip.passes as f64, "1")];
    Some(finding(
        FindingKind::MissingTooth,
        Some((slip.at_deg - half, slip.at_deg + half)),
        sure,
        text,
        details,
    ))
}

fn springs(m: &Measured, out: &mut Vec<Finding>) {
    let Some(creep) = &m.creep else { return };
    let main = m.torque(creep.main_amps);
    let default = m.torque(creep.default_amps);
    for (name, torque, healthy) in
        [("main", main, HEALTHY.preload_main), ("default", default, HEALTHY.preload_default)]
    {
        let Some(torque) = torque else { continue };
        let tail = healthy.below(torque);
        let share = torque.value / healthy.mean;
        let (kind, word) = if share < BROKEN_SHARE {
            (FindingKind::BrokenSpring, "has next to no torque: it is broken or off its seat")
        } else {
            (FindingKind::WeakSpring, "is weak")
        };
        let text = format!(
            "the {name} spring {word}: {:.3} N m at rest, healthy bodies have {:.2}",
            torque.value, healthy.mean
        );
        let details = vec![
            detail("preload", torque.value, "N m"),
            detail("healthy", healthy.mean, "N m"),
            detail("default_spring", f64::from(u8::from(name == "default")), "1"),
        ];
        out.push(finding(kind, None, confidence(PRIOR, tail), text, details));
    }
    if creep.rest_deg.is_none() {
        out.extend(no_zero(m));
    }
}

/// The spring's torque never crosses zero: one spring does not pull at all.
fn no_zero(m: &Measured) -> Option<Finding> {
    let creep = m.creep.as_ref()?;
    // Where the plate jumps and stands, the current is not the springs'.
    if creep.unsteady > UNSTEADY {
        return None;
    }
    let (first, last) = (creep.places.first()?, creep.places.last()?);
    // A ramp that did not come near the closed stop, or only there, passed no rest position.
    if first.deg > 0.5 * m.ranges.low_deg || last.deg < m.ranges.low_deg {
        return None;
    }
    let mut upper: Vec<f64> =
        creep.places.iter().filter(|p| p.deg > m.ranges.low_deg).map(|p| p.spring()).collect();
    let middle = crate::analysis::statistics::median(&mut upper)?;
    let torque = m.torque(Estimate::new(middle, 0.02 * middle.abs()))?;
    let which = if torque.value < 0.5 * HEALTHY.preload_main.mean { "main" } else { "default" };
    let text = format!(
        "the {which} spring does not pull: the springs' torque crosses zero nowhere between {:.1} and {:.1} deg",
        first.deg, last.deg
    );
    let details = vec![
        detail("torque", torque.value, "N m"),
        detail("default_spring", f64::from(u8::from(which == "default")), "1"),
    ];
    Some(finding(FindingKind::BrokenSpring, None, 0.98, text, details))
}

fn friction(m: &Measured, out: &mut Vec<Finding>) {
    let Some(creep) = &m.creep else { return };
    let Some(friction) = m.torque(creep.friction_amps) else { return };
    let weak = out
        .iter()
        .any(|f| f.confidence > 0.5 && matches!(f.kind, FindingKind::WeakSpring | FindingKind::BrokenSpring));
    // What grows with the springs' torque is the springs' and the gears' own, as far as it can be distinguished.
    let constant = m.torque(creep.constant_amps).unwrap_or(friction);
    let margin = creep.return_margin;
    let by_margin = margin.filter(|_| !weak).map_or(1.0, |s| HEALTHY.return_margin.below(s));
    // Two looks at one defect: twice the rarer one (Bonferroni).
    let tail = (2.0 * by_margin.min(HEALTHY.friction.above(constant))).min(1.0);
    let mut text = format!(
        "friction of the drive is high: {:.3} N m, healthy bodies have {:.2}",
        friction.value, HEALTHY.friction.mean
    );
    let mut details = vec![detail("friction", friction.value, "N m")];
    if let Some(share) = creep.load_share {
        text.push_str(&format!(
            "; {:.0} to {:.0} % of the springs' torque may be lost in springs and gears themselves",
            100.0 * (share.value - share.uncertainty).max(0.0),
            100.0 * (share.value + share.uncertainty)
        ));
        details.push(detail("constant_friction", constant.value, "N m"));
    }
    if let (Some(margin), Some(at)) = (margin, creep.return_margin_deg) {
        let word = if margin.value < 0.0 { "falls short of it by" } else { "leaves over it" };
        text.push_str(&format!(
            "; what pulls the plate to rest {word} {:.0} % of it at {at:.1} deg",
            100.0 * margin.value.abs()
        ));
        details.push(detail("return_margin", margin.value, "1"));
    }
    text.push_str(". Motor, gears and shaft can't be told apart by it");
    out.push(finding(FindingKind::DryBearing, None, confidence(PRIOR, tail), text, details));
    if let Some(sticking) = m.torque(creep.sticking_amps) {
        let tail = HEALTHY.sticking.above(sticking);
        let at = creep.sticking_deg.map(|d| (0.0, d));
        let text =
            format!("the plate sticks near its closed stop: {:.3} N m more than elsewhere", sticking.value);
        let details = vec![detail("sticking", sticking.value, "N m")];
        out.push(finding(FindingKind::StickyPlate, at, confidence(PRIOR, tail), text, details));
    }
}

fn returns(m: &Measured, out: &mut Vec<Finding>) {
    let open: Vec<_> = m.grouped.iter().filter(|g| g.bridge == Bridge::Open).collect();
    let all: usize = open.iter().map(|g| g.count.0).sum();
    let hung: usize = open.iter().map(|g| g.count.1).sum();
    if hung > 0 {
        let from: Vec<String> =
            open.iter().filter(|g| g.count.1 > 0).map(|g| format!("{:.0}", g.from_deg)).collect();
        let text = format!(
            "the plate did not return to rest within the time given from {} deg ({hung} of {all} releases, bridge open)",
            from.join(", ")
        );
        let sure = if hung == 1 { 0.9 } else { 0.99 };
        let details = vec![detail("hung", hung as f64, "1"), detail("releases", all as f64, "1")];
        out.push(finding(FindingKind::SlowReturn, None, sure, text, details));
    }
    if !m.returns_to_rest && (all > 0 || m.creep.is_some()) {
        let text = "the plate does not come to rest by itself: lash and lost motion start from rest, so they say nothing of this \
                    body";
        out.push(finding(FindingKind::NotTestable, None, 1.0, text.to_owned(), Vec::new()));
    }
}

fn motor(m: &Measured, sheet: &PartSheet, out: &mut Vec<Finding>) {
    dead_spots(m, sheet, out);
    let Some(nominal) = sheet.body.as_ref().map(|b| b.motor) else { return };
    let relative =
        |e: Option<Estimate>, of: f64| e.and_then(|e| Estimate::new(e.value / of, e.uncertainty / of));
    let ohm = relative(m.motor.ohm_at_20.or(m.motor.ohm), nominal.winding_ohms);
    let emf = relative(m.motor.emf, nominal.back_emf);
    let rows = [
        ("resistance of winding, brushes and leads", ohm, HEALTHY.ohm, nominal.winding_ohms, "ohm"),
        ("back-EMF constant", emf, HEALTHY.emf, nominal.back_emf, "V s/rad"),
    ];
    for (name, relative, healthy, nominal, unit) in rows {
        let Some(relative) = relative else { continue };
        let text = format!(
            "the {name} is {:.3} {unit}, {:+.0} % off the sheet's {nominal:.3}",
            relative.value * nominal,
            100.0 * (relative.value - 1.0)
        );
        let details = vec![detail("value", relative.value * nominal, unit), detail("nominal", nominal, unit)];
        out.push(finding(
            FindingKind::Winding,
            None,
            confidence(PRIOR, healthy.off(relative)),
            text,
            details,
        ));
    }
}

/// Whether two of the places lie a whole number of rotor turns apart: they are one place of the commutator.
fn comes_with_turns<'s>(spots: impl Iterator<Item = &'s DeadSpot>, sheet: &PartSheet) -> bool {
    let Some(ratio) = sheet.body.as_ref().and_then(|b| b.gears?.ratio()) else { return false };
    let spots: Vec<f64> = spots.map(|s| s.at_deg).collect();
    let apart = |a: &f64, b: &f64| {
        let turns = (b - a).abs() * ratio / 360.0;
        turns > 0.5 && (turns - turns.round()).abs() < 0.1
    };
    spots.iter().enumerate().any(|(k, a)| spots[k + 1..].iter().any(|b| apart(a, b)))
}

/// One finding for all places: the same turn of the rotor comes by several times along the travel.
fn dead_spots(m: &Measured, sheet: &PartSheet, out: &mut Vec<Finding>) {
    // Where the rotor runs free of the plate, or the gears jam, volts and amps are the gears' doing.
    let passes_of = |at: f64| {
        let near = m.motor.dead_spots.iter().filter(|d| (d.at_deg - at).abs() < 6.0);
        near.map(|d| d.passes).sum::<usize>()
    };
    let turning = comes_with_turns(m.motor.ran_free.iter().chain(&m.motor.dead_spots), sheet);
    let free =
        m.motor.ran_free.iter().filter(|s| !turning && s.passes >= 2 && s.passes >= passes_of(s.at_deg));
    let jams = gear_jams(m, sheet);
    let gears: Vec<f64> = free.map(|s| s.at_deg).chain(jams.iter().map(|j| j.at_deg)).collect();
    let spots: Vec<_> = m
        .motor
        .dead_spots
        .iter()
        .chain(m.motor.ran_free.iter().filter(|_| turning))
        .filter(|s| !gears.iter().any(|g| (s.at_deg - g).abs() < 6.0))
        .collect();
    let Some(worst) = spots.iter().max_by(|a, b| a.z.total_cmp(&b.z)) else { return };
    let places: Vec<String> = spots.iter().take(6).map(|s| format!("{:.1}", s.at_deg)).collect();
    let same = comes_with_turns(spots.iter().copied(), sheet);
    let passes: usize = spots.iter().map(|s| s.passes).sum();
    let tail = normal_tail(worst.z / DEAD_Z) * if same { 0.1 } else { 1.0 } / passes.max(1) as f64;
    let again = if same { ", one turn of the rotor apart" } else { "" };
    let text = format!(
        "the brushes lose contact at {} deg of plate{again}, in {passes} passes: up to {:.0} ohm more than elsewhere",
        places.join(", "),
        worst.ohm
    );
    let details = vec![
        detail("resistance", worst.ohm, "ohm"),
        detail("z", worst.z, "1"),
        detail("passes", passes as f64, "1"),
    ];
    let at = Some((worst.at_deg - 0.5 * worst.width_deg, worst.at_deg + 0.5 * worst.width_deg));
    out.push(finding(FindingKind::BrushDeadSpot, at, confidence(PRIOR, tail), text, details));
}

fn teeth(m: &Measured, explained: bool, out: &mut Vec<Finding>) {
    let Ok(map) = &m.map else { return };
    let pitch = 0.5 * super::measured::UNKNOWN_PITCH_DEG;
    let fell = map.snap_back.map_or(1.0, |e| normal_tail(e.value / FALL_SD_DEG.hypot(e.uncertainty)));
    let gone = !explained && confidence(PRIOR, fell) > 0.9;
    let mut told = false;
    let mut bumps: Vec<_> = m.worn.iter().flat_map(|w| &w.bumps).collect();
    bumps.sort_by(|a, b| b.depth.value.total_cmp(&a.depth.value));
    let hole = bumps.first().filter(|d| d.depth.value > GONE_DEG).map(|d| d.at_deg);
    // With a weak default spring the strokes do not begin from one place, which bends the map next to rest.
    let loose_start = out.iter().any(|f| {
        f.confidence > 0.5
            && matches!(f.kind, FindingKind::WeakSpring | FindingKind::BrokenSpring | FindingKind::SlowReturn)
    });
    let mut places: Vec<f64> = Vec::new();
    for bump in &bumps {
        if loose_start && bump.at_deg < map.rest_deg + NEXT_TO_REST_DEG {
            continue;
        }
        // What is left beside a hole, which has no worn tooth's shape, is its edge.
        if hole.is_some_and(|h| h != bump.at_deg && (h - bump.at_deg).abs() < 4.0 * pitch) {
            continue;
        }
        // Nearer than a tooth to a deeper one: what that tooth's shape left over.
        if places.iter().any(|p| (p - bump.at_deg).abs() < SAME_TOOTH * 2.0 * pitch) {
            continue;
        }
        places.push(bump.at_deg);
        let at = Some((bump.at_deg - pitch, bump.at_deg + pitch));
        let sure = confidence(PRIOR_TEETH, bump.false_alarm);
        let missing =
            (gone && !told && bump.depth.value > LEAST_GONE * 2.0 * pitch) || bump.depth.value > GONE_DEG;
        told |= missing;
        let (kind, what) = if missing {
            (FindingKind::MissingTooth, "a tooth is missing")
        } else {
            (FindingKind::WornTooth, "a tooth is worn on its opening flank")
        };
        let text =
            format!("{what} at {:.1} deg: {:.2} deg of motion are lost there", bump.at_deg, bump.depth.value);
        let details = vec![
            detail("depth", bump.depth.value, "deg"),
            detail("depth_uncertainty", bump.depth.uncertainty, "deg"),
            detail("z", bump.z, "1"),
        ];
        out.push(finding(kind, at, sure, text, details));
    }
    let unexplained = gone && places.is_empty();
    if let (true, Some(fall), Some(at)) = (unexplained, map.snap_back, map.snap_back_deg) {
        let text = format!(
            "the plate falls back by {:.2} deg at {at:.1} deg: contact of the gears is lost there",
            fall.value
        );
        let details = vec![detail("fall", fall.value, "deg")];
        out.push(finding(
            FindingKind::MissingTooth,
            Some((at - pitch, at + pitch)),
            confidence(PRIOR, fell),
            text,
            details,
        ));
    }
}

/// A place of the guided push whose lash stands out, and too much of it everywhere where rest shows none.
fn pushed(m: &Measured, out: &mut Vec<Finding>) {
    let places = &m.pushed.0;
    for (k, place) in places.iter().enumerate().filter(|_| places.len() >= LEAST_PLACES) {
        let mut others: Vec<f64> =
            places.iter().enumerate().filter(|(i, _)| *i != k).map(|(_, p)| p.lash.value).collect();
        let Some(elsewhere) = crate::analysis::statistics::median(&mut others) else { continue };
        let more = place.lash.value - elsewhere;
        let z = more / place.lash.uncertainty.hypot(PLACE_SD_DEG);
        // The worst of so many places (Bonferroni).
        let tail = (normal_tail(z) * places.len() as f64).min(1.0);
        let text = format!(
            "lash at {:.0} deg is {:.2} deg, {elsewhere:.2} deg elsewhere: a tooth is worn there, on either flank",
            place.at_deg, place.lash.value
        );
        let details = vec![
            detail("more_lash", more, "deg"),
            detail("more_lash_uncertainty", place.lash.uncertainty, "deg"),
            detail("z", z, "1"),
        ];
        let at = Some((place.at_deg - PUSH_DEG, place.at_deg + PUSH_DEG));
        out.push(finding(FindingKind::WornTooth, at, confidence(PRIOR_TEETH, tail), text, details));
    }
    let all: Vec<Estimate> = places.iter().map(|p| p.lash).collect();
    if let (Err(_), Some(lash)) = (&m.lash, Estimate::fused(&all, 0.02)) {
        let text = format!(
            "lash is {:.2} deg over {} places, healthy bodies have {:.2}",
            lash.value,
            all.len(),
            HEALTHY.lash.mean
        );
        let details = vec![detail("lash", lash.value, "deg")];
        out.push(finding(
            FindingKind::Lash,
            None,
            confidence(PRIOR, HEALTHY.lash.above(lash)),
            text,
            details,
        ));
    }
}

/// A bend that both feedback lines share, against the rotor.
fn shared_bend(m: &Measured, sheet: &PartSheet, out: &mut Vec<Finding>) {
    let Some((bend, at)) = m.rotor.as_ref().and_then(|r| r.shared) else { return };
    let percent = 100.0 / sheet.travel_deg;
    let beyond = Estimate { value: percent * bend.value, uncertainty: percent * bend.uncertainty };
    let text = format!(
        "both feedback lines bend together: {:.2} deg of plate at {at:.0} deg, {:.1} % of the travel, against the rotor's angle: magnet or track is \
         off centre",
        bend.value, beyond.value
    );
    let details = vec![
        detail("bend", beyond.value, "% span"),
        detail("bend_uncertainty", beyond.uncertainty, "% span"),
    ];
    let sure = confidence(PRIOR, HEALTHY.bend.above(beyond));
    out.push(finding(FindingKind::CommonNonlinearity, Some((at, at)), sure, text, details));
}

fn lash(m: &Measured, out: &mut Vec<Finding>) {
    let Ok(lash) = &m.lash else { return };
    let rest = m.ranges.rest_deg;
    let elsewhere: Vec<Estimate> =
        m.pushed.0.iter().filter(|p| (p.at_deg - rest).abs() > 4.0).map(|p| p.lash).collect();
    if let Some(other) = Estimate::fused(&elsewhere, 0.02) {
        let more = lash.fused.value - other.value;
        let z = more / lash.fused.uncertainty.hypot(other.uncertainty);
        let text = format!(
            "the tooth in mesh at rest is worn: {:.2} deg of lash there, {:.2} deg elsewhere in the travel",
            lash.fused.value, other.value
        );
        let at = Some((rest - 2.0, rest + 2.0));
        let details = vec![detail("more_lash", more, "deg"), detail("z", z, "1")];
        out.push(finding(FindingKind::WornTooth, at, confidence(PRIOR_TEETH, normal_tail(z)), text, details));
    }
    let tail = HEALTHY.lash.above(lash.fused);
    let words = if elsewhere.is_empty() {
        "; whether all teeth or the one in mesh at rest, a guided push tells"
    } else {
        ""
    };
    let text = format!(
        "lash at rest is {:.2} deg, healthy bodies have {:.2}{words}",
        lash.fused.value, HEALTHY.lash.mean
    );
    let details = vec![
        detail("lash", lash.fused.value, "deg"),
        detail("plate_moved", lash.plate_moved_deg.unwrap_or(0.0), "deg"),
    ];
    out.push(finding(FindingKind::Lash, Some((rest, rest)), confidence(PRIOR, tail), text, details));
}
