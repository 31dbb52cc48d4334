//! What was measured, as figures with their definitions, and what could not be had and why. It computes nothing new.

use super::super::budget::{Budget, Source};
use super::estimate::Estimate;
use super::lash::NoLash;
use super::latency::{self, Latencies};
use super::measured::Measured;
use super::order_statistics::values_for_upper_bound;
use super::tooth_map::NoMap;
use crate::analysis::{Figure, NotTestable};
use crate::quantity::{Condition, FigureName, Heading, Region};

/// Figures, and what is missing.
#[derive(Clone, Debug, Default)]
pub struct FiguresFound {
    /// Figures, unordered.
    pub figures: Vec<Figure>,
    /// What can't be had.
    pub not_testable: Vec<NotTestable>,
}

impl FiguresFound {
    fn figure(
        &mut self,
        name: FigureName,
        e: Option<Estimate>,
        condition: Condition,
        definition: String,
    ) -> bool {
        let Some(e) = e else { return false };
        self.figures.push(Figure {
            name,
            channel: None,
            value: e.value,
            budget: Budget::of(Source::Combined, e.uncertainty),
            upper_bound: None,
            added: 0.0,
            at_deg: None,
            condition,
            definition,
        });
        true
    }

    fn plain(&mut self, name: FigureName, e: Option<Estimate>, definition: &str, why_not: &str) {
        if !self.figure(name, e, Condition::NONE, definition.to_owned()) {
            self.missing(name.name(), why_not);
        }
    }

    fn missing(&mut self, what: &str, why: &str) {
        self.not_testable.push(NotTestable { what: what.to_owned(), why: why.to_owned() });
    }

    fn at(&mut self, deg: Option<f64>) {
        if let Some(last) = self.figures.last_mut() {
            last.at_deg = deg.filter(|d| d.is_finite());
        }
    }
}

fn scaled(e: Option<Estimate>, by: f64) -> Option<Estimate> {
    e.and_then(|e| Estimate::new(e.value * by, e.uncertainty * by))
}

/// All figures of a body but those of its feedback pair.
pub fn of(m: &Measured) -> FiguresFound {
    let mut out = FiguresFound::default();
    rest(m, &mut out);
    latencies(m, &mut out);
    responses(m, &mut out);
    returns(m, &mut out);
    lost_returns(m, &mut out);
    gears(m, &mut out);
    springs(m, &mut out);
    motor(m, &mut out);
    out
}

fn rest(m: &Measured, out: &mut FiguresFound) {
    let bend = m.rig.bend_deg;
    let position = m.rest.as_ref().map(|r| r.position.widened(bend));
    let hangs = "the plate did not come to rest in most releases: see friction and springs, then repeat";
    out.plain(
        FigureName::RestPosition,
        position,
        "median of where the plate stood after being let go, degrees from the closed stop by the first feedback line",
        hangs,
    );
    let returns = m.rest.as_ref().map_or(0, |r| r.all.len());
    let sides = m.rest.as_ref().and_then(|r| Some((r.from_above?, r.from_below?)));
    let sides = sides.map_or(String::new(), |(a, b)| {
        format!("; from above it stands {:+.3} deg off from below", a.value - b.value)
    });
    out.plain(
        FigureName::RestRepeatability,
        m.rest.as_ref().and_then(|r| r.repeatability),
        &format!("standard deviation of {returns} returns, from above and from below{sides}"),
        if m.rest.is_some() { "it needs at least three returns" } else { hangs },
    );
}

fn latencies(m: &Measured, out: &mut FiguresFound) {
    if m.steps.latencies.is_empty() {
        out.missing("latency", "no step from a plate at rest was recorded: run steps");
    }
    if let Some(all) = Latencies::pooled(&m.steps.latencies) {
        quantile(&all, FigureName::LatencyP99, 0.99, Condition::NONE, out);
    }
    for (region, heading) in Region::ALL.iter().flat_map(|r| Heading::ALL.map(|h| (*r, h))) {
        let known = m.steps.latencies.iter().any(|l| (l.region, l.heading) == (region, heading));
        if !known && !m.steps.latencies.is_empty() {
            let condition = Condition { region: Some(region), direction: Some(heading), ..Condition::NONE };
            out.missing(
                &format!("latency, {}", condition.words()),
                "no step began there: the plate stood elsewhere",
            );
        }
    }
    for l in &m.steps.latencies {
        let condition = Condition { region: Some(l.region), direction: Some(l.heading), ..Condition::NONE };
        quantiles(l, condition, out);
        let name = format!("latency, {}", condition.words());
        if l.without_motion > 0 {
            out.missing(&name, &format!("{} steps moved nothing: see friction and motor", l.without_motion));
        }
        if l.not_at_rest > 0 {
            out.missing(
                &name,
                &format!("{} steps began before the plate stood: they were left out", l.not_at_rest),
            );
        }
    }
}

fn quantiles(l: &Latencies, condition: Condition, out: &mut FiguresFound) {
    quantile(l, FigureName::LatencyP50, 0.5, condition, out);
    quantile(l, FigureName::LatencyP90, 0.9, condition, out);
    // The sheet's number of steps may be enough for all ranges together only: the pooled figure says so when it is not.
    if l.quantile(0.99).high_us.is_some() {
        quantile(l, FigureName::LatencyP99, 0.99, condition, out);
    }
    let definition = format!(
        "longest of {} steps; at least 99 % are below it with 95 % probability from {} steps on",
        l.histogram.len(),
        values_for_upper_bound(0.99, 0.95)
    );
    out.figure(FigureName::LatencyMax, l.longest(), condition, definition);
}

fn quantile(l: &Latencies, name: FigureName, p: f64, condition: Condition, out: &mut FiguresFound) {
    let (n, q) = (l.histogram.len(), l.quantile(p));
    let bound = |us: Option<u64>| us.map_or("no bound".to_owned(), |us| format!("{us} us"));
    let definition = format!(
        "{:.0}th percentile of {n} steps, command to first motion of {} deg on the rig's clock, 1 us to 1 s with {} digits; {:.0} % \
         bounds by order statistics {} to {}",
        100.0 * p,
        super::onset::FIRST_MOTION_DEG,
        latency::DIGITS,
        100.0 * latency::CONFIDENCE,
        bound(q.low_us),
        bound(q.high_us)
    );
    if n < q.needs || !out.figure(name, q.value, condition, definition) {
        let why = format!(
            "{n} steps are too few: a 95 % upper bound takes {}; raise `steps` in the sheet",
            q.needs
        );
        out.missing(format!("{}, {}", name.name(), condition.words()).trim_end_matches(", "), &why);
        return;
    }
    if let (Some(high), Some(last)) = (q.high_us, out.figures.last_mut()) {
        last.upper_bound = Some(high as f64);
    }
}

fn responses(m: &Measured, out: &mut FiguresFound) {
    let medians = latency::medians(&m.steps.responses);
    if medians.is_empty() {
        out.missing(
            "rise_time, overshoot, settling",
            "no closed-loop step of 5 deg or more was recorded: run steps",
        );
    }
    for r in medians {
        let heading = if r.to_deg > r.from_deg { Heading::Opening } else { Heading::Closing };
        let condition = Condition {
            region: Some(m.ranges.region(0.5 * (r.from_deg + r.to_deg))),
            direction: Some(heading),
            from_deg: Some(r.from_deg.round()),
            ..Condition::NONE
        };
        let step = format!("closed-loop step to {:.0} deg, median of {}", r.to_deg, r.steps);
        out.figure(
            FigureName::RiseTime,
            scaled(Some(r.rise_s), 1e3),
            condition,
            format!("10 to 90 % of a {step}"),
        );
        let over = scaled(Some(r.overshoot), 100.0);
        out.figure(
            FigureName::Overshoot,
            over,
            condition,
            format!("largest excess over a {step}, % of the step"),
        );
        let definition = format!("until within 2 % of the step, at least 0.35 deg, to stay, {step}");
        if !out.figure(FigureName::Settling, scaled(r.settling_s, 1e3), condition, definition) {
            let what = format!("settling, {}", condition.words());
            out.missing(&what, "a step did not settle before the next: loop or friction");
        }
    }
}

fn returns(m: &Measured, out: &mut FiguresFound) {
    if m.grouped.is_empty() {
        out.missing("return_time", "no release from a held opening was recorded: run release");
    }
    for g in &m.grouped {
        let condition = Condition { from_deg: Some(g.from_deg), bridge: Some(g.bridge), ..Condition::NONE };
        let definition = format!(
            "from letting go to within {} deg of rest, to stay; median of {}; it swung {:.2} deg past rest",
            super::release::NEAR_DEG,
            g.count.0,
            g.overshoot_deg
        );
        if !out.figure(FigureName::ReturnTime, scaled(g.seconds, 1e3), condition, definition) {
            let what = format!("return_time, {}", condition.words());
            let why =
                format!("{} of {} releases did not end at rest within the time given", g.count.1, g.count.0);
            out.missing(&what, &why);
        }
    }
}

/// Openings whose returns were lost on the line.
fn lost_returns(m: &Measured, out: &mut FiguresFound) {
    for (from_deg, bridge) in &m.lost_returns {
        let condition = Condition { from_deg: Some(*from_deg), bridge: Some(*bridge), ..Condition::NONE };
        out.missing(&format!("return_time, {}", condition.words()), "scans of it were lost: repeat release");
    }
}

fn gears(m: &Measured, out: &mut FiguresFound) {
    match &m.lash {
        Ok(l) => {
            let of = |e: Option<Estimate>| e.map_or("none".to_owned(), |e| format!("{:.3} deg", e.value));
            let definition = format!(
                "free travel of the gears at the rest position, at the plate: by swing {} ({} cycles), by arrest {} ({} coasts), \
                 weighted by their uncertainties",
                of(l.swing),
                l.swings,
                of(l.arrest),
                l.arrests
            );
            out.figure(FigureName::Lash, Some(l.fused), Condition::NONE, definition);
            out.at(m.rest_deg);
        }
        Err(why) => out.missing("lash", no_lash(*why)),
    }
    for p in &m.pushed.0 {
        // The place that was asked for: the hand comes near it.
        let condition = Condition { from_deg: Some((p.at_deg / 5.0).round() * 5.0), ..Condition::NONE };
        let definition = format!(
            "free travel of the gears at the plate, both flanks: way of a probe through the bore less that of the rotor by its EMF, bridge open, \
             median of {} strokes",
            p.strokes
        );
        out.figure(FigureName::LashByPush, Some(p.lash), condition, definition);
        out.at(Some(p.at_deg));
    }
    if m.pushed.0.is_empty() {
        let why = if m.pushed.1 > 0 {
            "all strokes of the probe were faster than 25 deg/s: push more slowly"
        } else {
            "the plate was not pushed through the bore: run guided-push"
        };
        out.missing(FigureName::LashByPush.name(), why);
    }
    match (&m.map, &m.worn) {
        (Ok(map), Some(worn)) => {
            let definition = format!(
                "largest bump of a tooth's shape in the lost motion of {} strokes from rest, opening flank; healthy bodies go up to z = {:.1}, \
                 here z = {:.1}",
                map.strokes, worn.threshold, worn.highest.z
            );
            out.figure(FigureName::LostMotion, Some(worn.highest.depth), Condition::NONE, definition);
            out.at(Some(worn.highest.at_deg));
        }
        (Ok(_), None) => out.missing("lost_motion", "the population's covariance can't be used"),
        (Err(why), _) => out.missing("lost_motion", no_map(*why)),
    }
    out.missing(
        "wear of the closing flank, and below rest",
        "above rest the motor presses on the opening flank alone; a guided push through the bore shows the other",
    );
    out.missing(
        "wear of the tooth in mesh at rest on the map",
        "strokes begin there; it shows as lash at rest, and a guided push elsewhere tells it from general lash",
    );
}

/// Why lash is missing, for people.
fn no_lash(why: NoLash) -> &'static str {
    match why {
        NoLash::NoRest => {
            "the plate does not return to rest, where alone the motor crosses the play: mend that first"
        }
        NoLash::NoEmf => "the motor's constant is not known: run creep or release, with the bridge open",
        NoLash::NoData => "no swing and no coast onto rest could be read: run lash",
    }
}

/// Why a map is missing, for people.
pub fn no_map(why: NoMap) -> &'static str {
    match why {
        NoMap::NoMotor => {
            "rest position, motor constant or winding are not known: run rest, creep and release first"
        }
        NoMap::NoStroke => {
            "no stroke from rest far enough: run tooth-map; a plate that hangs can't be mapped"
        }
        NoMap::Holes => "the strokes leave parts of the travel empty: repeat the tooth map",
    }
}

fn springs(m: &Measured, out: &mut FiguresFound) {
    let Some(c) = &m.creep else {
        out.missing(
            "preload_main, preload_default, stiffness_main, friction, sticking",
            "no slow ramp both ways was recorded: run creep",
        );
        return;
    };
    let how = format!("slow ramps at {:.0} deg/s, {} up and {} down", c.speed_deg_s, c.ramps.0, c.ramps.1);
    let assumed = if m.motor.emf.is_some() { "" } else { "; K' is the sheet's, it could not be measured" };
    let amps = |e: Option<Estimate>| e.map_or(String::new(), |e| format!(", {:.3} A", e.value));
    let friction = format!(
        "median of half the difference of both currents above rest{}",
        m.torque(c.constant_amps).map_or(String::new(), |f| format!(
            ", of which {:.3} N m (standard uncertainty {:.3}) do not grow with the springs' torque",
            f.value, f.uncertainty
        ))
    );
    let no_rest = "the springs' torque crosses zero nowhere in the travel seen: a spring is off, or the ramp was too short";
    let no_line = "the current along the ramps does not lie on a spring's line there: gears that jump, a plate that sticks, or a ramp too short";
    let rows = [
        (
            FigureName::PreloadMain,
            c.main_amps,
            "line through half the sum of both currents above rest, read at rest",
        ),
        (FigureName::PreloadDefault, c.default_amps, "the same below rest"),
        (FigureName::StiffnessMain, c.main_amps_per_rad, "slope of that line above rest"),
        (FigureName::Friction, c.friction_amps, &friction),
        (FigureName::Sticking, c.sticking_amps, "highest friction near the closed stop less that above rest"),
    ];
    for (name, current, what) in rows {
        let definition = format!("{what}, by K'; {how}{}{assumed}", amps(current));
        let why =
            if c.rest_deg.is_some() && matches!(name, FigureName::PreloadMain | FigureName::PreloadDefault) {
                no_line
            } else {
                no_rest
            };
        out.plain(name, m.torque(current), &definition, why);
        if name == FigureName::Sticking && current.is_some() {
            out.at(c.sticking_deg);
        }
    }
    let definition = format!(
        "what the springs pull towards rest with beyond friction, % of friction, the least mean over 1.5 deg of travel more than 1 deg off rest, \
         both sides of it; {how}: a plate is led, so that friction is that of sliding"
    );
    out.plain(FigureName::ReturnMargin, scaled(c.return_margin, 100.0), &definition, no_rest);
    if c.return_margin.is_some() {
        out.at(c.return_margin_deg);
    }
}

fn motor(m: &Measured, out: &mut FiguresFound) {
    let referred = m.motor.ohm_at_20;
    let measured = m.motor.ohm.map_or(String::new(), |r| format!("; {:.3} ohm as measured", r.value));
    let brush = m.motor.brush_volts.map_or(String::new(), |b| format!(", brushes {:.2} V", b.value));
    let how = if referred.is_some() {
        "referred to 20 degC by the rig's temperature (winding within 4 K of it), copper 0.39 %/K"
    } else {
        "at the temperature it had: the rig's was not recorded"
    };
    out.plain(
        FigureName::WindingResistance,
        referred.or(m.motor.ohm),
        &format!("winding, brushes and leads, least squares over slow ramps{measured}{brush}; {how}"),
        "it needs slow ramps and a coast that tells the motor's constant: run creep",
    );
    out.plain(
        FigureName::BackEmfConstant,
        m.motor.emf,
        &format!(
            "integral of open-circuit volts over the plate's way, {} coasts; the same number in N m/A",
            m.motor.coasts
        ),
        "no coast over 10 deg or more with the bridge open: run creep or release",
    );
    match m.tracking {
        Some(t) => {
            let definition = format!(
                "largest deviation from the set point over {} ramps of up to {:.0} deg/s, 5 scans mean; root mean square {:.2} deg",
                t.ramps, t.speed_deg_s, t.rms_deg
            );
            out.figure(FigureName::TrackingError, Some(t.worst), Condition::NONE, definition);
            out.at(Some(t.at_deg));
        }
        None => out.missing(
            FigureName::TrackingError.name(),
            "no ramp after a known set point was recorded: run creep",
        ),
    }
}

/// Stops on the nominal scale of the first feedback line, from their ratios.
pub fn stops(m: &Measured, nominal_deg: impl Fn(f64) -> f64, slope_error: f64, out: &mut FiguresFound) {
    let rows =
        [(FigureName::ClosedStop, m.stops.closed, "closed"), (FigureName::OpenStop, m.stops.open, "open")];
    for (name, stop, word) in rows {
        let e = stop.and_then(|s| Estimate::new(nominal_deg(s.value), s.uncertainty.hypot(slope_error)));
        let definition =
            format!("where the drive pressed the plate on its {word} stop, by the sheet's nominal line");
        out.plain(name, e, &definition, "the plate was not pressed on it: run rest");
    }
}
