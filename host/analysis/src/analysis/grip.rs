//! Everything a grip sensor's traces show, in one call.
//!
//! It only puts together what the other files compute, and names what can't be had and why.

use super::budget::Source;
use super::curve::Curves;
use super::ends::End;
use super::prepared::{AngleSource, Prepared, SupplySource};
use super::uncertainty::Calibration;
use super::usable::{Usable, nothing, unfit};
use super::{Figure, NotTestable, PartAnalysis, PlotCurve};
use super::{
    causes, contact, correlation, dead_band, dropout, ends, flat_spot, gaps, histogram, hysteresis, leads,
    limp, linearity, monotonicity, noise, noise_map, order, recording, repeatability, side_by_side, skew,
    topology,
};
use crate::quantity::{Channel, FigureName, PartKind, ProcedureKind, Unit};
use crate::sheet::{PartSheet, Topology};
use crate::trace::Trace;

/// A line whose output changes by less than this share of supply does not move.
const LEAST_SPAN: f64 = 0.02;

/// The traces of one part on one day.
#[derive(Clone, Copy, Debug)]
pub struct GripTraces<'a> {
    /// A driven sweep, a hand sweep, or an imported file.
    pub sweep: &'a Trace,
    /// The supply and load steps, if done.
    pub leads: Option<&'a Trace>,
    /// The flex capture, if done.
    pub flex: Option<&'a Trace>,
}

/// Analyses a grip sensor. Never fails: what can't be had is named in `not_testable`.
pub fn analyse<'a>(traces: GripTraces<'a>, sheet: &PartSheet) -> PartAnalysis {
    if let Some(why) = unfit(traces.sweep) {
        return nothing(PartKind::Grip, why);
    }
    let usable = Usable::of(traces.sweep, sheet);
    let unfit_ones: Vec<String> =
        [traces.leads, traces.flex].into_iter().flatten().filter_map(unfit).collect();
    let fit = |trace: Option<&'a Trace>| trace.filter(|t| unfit(t).is_none());
    let traces = GripTraces { leads: fit(traces.leads), flex: fit(traces.flex), ..traces };
    let [leads, flex] = [traces.leads, traces.flex].map(|t| t.map(|trace| Usable::of(trace, sheet)));
    let traces = GripTraces {
        sweep: &usable.trace,
        leads: leads.as_ref().map(|u| &*u.trace),
        flex: flex.as_ref().map(|u| &*u.trace),
    };
    let every = Prepared::new(traces.sweep, sheet);
    let prepared = every.with_whole_strokes();
    // What needs the travel needs one whole cycle at least where the recording was cut.
    let curves = Curves::new(&prepared, sheet).filter(|_| usable.cut.is_none() || prepared.cycles() > 0);
    let of_report = leads.as_ref().map(|u| leads::analyse(&u.trace, sheet));
    let calibration = Calibration::of(&every, of_report.as_ref());
    let cut = usable.cut.map(|cut| cut.words());
    let figures = || {
        let mut out = figures_of(&prepared, curves.as_ref(), cut.as_deref(), sheet, &calibration);
        match (&curves, &cut) {
            (Some(curves), _) => add_pair(&mut out, &prepared, curves, sheet, &calibration),
            // One line against the other needs no travel.
            (None, Some(_)) => {
                if let Some(curves) = Curves::new(&every, sheet) {
                    add_pair(&mut out, &every, &curves, sheet, &calibration);
                }
            }
            (None, None) => {}
        }
        out
    };
    // What takes longest does not need each other.
    let (limits, (dropouts, mut out)) = side_by_side::both(
        || recording::find(&prepared, curves.as_ref(), sheet),
        || side_by_side::both(|| dropout::find(&every, sheet), figures),
    );
    let report = of_report.as_ref();
    let seen = Seen { every: &every, whole: &prepared, curves: curves.as_ref(), dropouts };
    add_defects(&mut out, &traces, seen, report, sheet, &calibration);
    recording::apply(&limits, &mut out);
    out.figures.iter_mut().for_each(say_what_dominates);
    out.rig_faults.extend(unfit_ones);
    for usable in [Some(usable), leads, flex].into_iter().flatten() {
        out.rig_faults.extend(usable.faults);
        out.left_out.extend(usable.left_out);
    }
    let place = |f: &Figure| {
        let name = FigureName::ALL.iter().position(|n| *n == f.name);
        (name, f.channel.and_then(|c| Channel::SENSORS.iter().position(|s| *s == c)))
    };
    out.figures.sort_by_key(place);
    order::order(&mut out.findings);
    if sheet.topology != Topology::Complementary {
        name_lines_by_order(&mut out);
    }
    out
}

/// A figure that hangs on drift or timing more than on all else says so: more of the same recording would not help it.
fn say_what_dominates(figure: &mut Figure) {
    let words = match figure.budget.dominant() {
        Some(Source::Drift) => "most of its uncertainty is slow drift",
        Some(Source::Lag) => "most of its uncertainty is the time between line and angle",
        _ => return,
    };
    figure.definition.push_str("; ");
    figure.definition.push_str(words);
}

/// Where both lines rise, a "falling line" would mislead: sentences then speak of the first and the second.
fn name_lines_by_order(out: &mut PartAnalysis) {
    let sentences = out
        .findings
        .iter_mut()
        .map(|f| &mut f.text)
        .chain(out.detection_limits.iter_mut().map(|l| &mut l.text))
        .chain(out.not_testable.iter_mut().map(|n| &mut n.why))
        .chain(&mut out.warnings);
    for sentence in sentences {
        *sentence = sentence.replace("rising line", "first line").replace("falling line", "second line");
    }
}

/// What is not testable when nothing distinguishes the closed stop from wide open; without it no part is within.
pub const DIRECTION_OF_TRAVEL: &str = "direction of travel";

/// What a line without a reference angle can't have.
pub const OF_TRAVEL: &str = "linearity, hysteresis, repeatability, dead bands";

/// Scans in which a topology is looked for first: many strokes of a sweep.
const TOPOLOGY_SCANS: usize = 1 << 18;

/// The topology that a trace's lines show, without figures or findings; none when they do not move together. The beginning of a long trace
/// shows it as well as the whole, which is asked where the beginning shows nothing.
pub fn topology_shown(trace: &Trace, sheet: &PartSheet) -> Option<Topology> {
    let beginning = (trace.len() > 2 * TOPOLOGY_SCANS).then(|| trace.beginning(TOPOLOGY_SCANS));
    beginning.and_then(|trace| topology_of(&trace, sheet)).or_else(|| topology_of(trace, sheet))
}

fn topology_of(trace: &Trace, sheet: &PartSheet) -> Option<Topology> {
    let usable = Usable::of(trace, sheet);
    let curves = Curves::new(&Prepared::new(&usable.trace, sheet), sheet)?;
    topology::find(&curves)?.topology
}

/// Curves and their figures, without the search for defects.
fn figures_of(
    prepared: &Prepared<'_>,
    curves: Option<&Curves>,
    cut: Option<&str>,
    sheet: &PartSheet,
    calibration: &Calibration,
) -> PartAnalysis {
    let mut out = PartAnalysis {
        kind: PartKind::Grip,
        plots: Vec::new(),
        comparisons: Vec::new(),
        figures: Vec::new(),
        findings: Vec::new(),
        topology_found: None,
        detection_limits: Vec::new(),
        not_testable: Vec::new(),
        histograms: Vec::new(),
        curves: Vec::new(),
        gap_regions: gaps::regions(prepared),
        travel_deg: prepared.travel_deg,
        cycles: prepared.cycles(),
        population: None,
        rig_may_hold_it: false,
        not_looked_at: Vec::new(),
        contact: None,
        rig_faults: Vec::new(),
        doubts: Vec::new(),
        left_out: Vec::new(),
        recording: Vec::new(),
        warnings: prepared.warnings.clone(),
    };
    if prepared.angle_turned {
        let why = "the lines move against the angle column, as exchanged lines would: correct the map, or log the angle so \
                   that it grows from the closed stop";
        missing(&mut out, DIRECTION_OF_TRAVEL.into(), why.into());
    }
    warn_of_calibration(&mut out, prepared, calibration);
    for line in 0..2 {
        match (&prepared.ratio[line], curves) {
            (None, _) => {
                missing(&mut out, format!("all of {}", name(line)), "the line was not recorded".into())
            }
            (_, None) => {
                let why = match cut {
                    Some(cut) => format!("{cut}, before one whole cycle: repeat it"),
                    None => {
                        "no stroke was seen: there is no angle, or the grip was turned by less than a degree"
                            .to_owned()
                    }
                };
                missing(&mut out, format!("curves of {}", name(line)), why);
            }
            (Some(_), Some(curves)) => add_line(&mut out, prepared, curves, line, sheet, calibration),
        }
        match noise::analyse(prepared, line) {
            Some(figure) => out.figures.push(figure),
            None if prepared.ratio[line].is_some() => {
                let why = "too few scans while slow or at rest: record faster, or rest for a second".into();
                missing(&mut out, format!("noise {}", name(line)), why);
            }
            None => {}
        }
    }
    out
}

fn name(line: usize) -> Channel {
    Channel::SENSORS[line]
}

fn missing(out: &mut PartAnalysis, what: String, why: String) {
    out.not_testable.push(NotTestable { what, why });
}

fn warn_of_calibration(out: &mut PartAnalysis, prepared: &Prepared<'_>, calibration: &Calibration) {
    let unknown: Vec<&str> = Channel::SENSORS
        .iter()
        .zip(calibration.line)
        .filter(|(c, u)| prepared.trace.channel(**c).is_some() && !u.calibrated)
        .map(|(c, _)| c.name())
        .collect();
    if !unknown.is_empty() {
        out.warnings.push(format!(
            "no calibration is known for {}: uncertainties hold scatter and resolution only, not the logger's gain and offset",
            unknown.join(" and ")
        ));
    }
    if prepared.angle_source == AngleSource::Reference && !calibration.reference.calibrated {
        out.warnings.push(
            "no calibration is known for the angle: its own errors are not in the linearity's uncertainty"
                .into(),
        );
    }
    if let SupplySource::Nominal(volts) = prepared.supply_source {
        out.warnings.push(format!(
            "volts at 5 V and correlation are uncertain by 2.9 % because the supply of {volts} V is assumed"
        ));
    }
}

/// Figures of one line.
fn add_line(
    out: &mut PartAnalysis,
    prepared: &Prepared<'_>,
    curves: &Curves,
    line: usize,
    sheet: &PartSheet,
    calibration: &Calibration,
) {
    let (figures, not_testable) = ends::analyse(prepared, curves, line, sheet.travel_deg, calibration);
    out.figures.extend(figures);
    out.not_testable.extend(not_testable);
    if curves.line[line].as_ref().is_none_or(|c| c.span < LEAST_SPAN) {
        let why = "the line does not move with the grip".into();
        missing(out, format!("{OF_TRAVEL} {}", name(line)), why);
        return;
    }
    plot_ratios(out, curves, line);
    if prepared.angle_source != AngleSource::Reference {
        let why =
            "no reference angle was recorded: sweep it on a rig, or record an angle beside the lines".into();
        missing(out, format!("{OF_TRAVEL} {}", name(line)), why);
        return;
    }
    if let Some(report) = linearity::analyse(prepared, curves, line, calibration, out.cycles) {
        out.figures.extend(report.figures);
        out.curves.extend(report.curves);
        out.histograms.extend(histogram::of(
            "linearity_deviation",
            Some(name(line)),
            Unit::PercentSpan,
            &report.deviations,
        ));
        say_of_part_travel(out, prepared, line, sheet);
    }
    add_repeats(out, curves, line, calibration);
    add_dead_bands(out, prepared, curves, line, sheet, calibration);
    warn_of_shape(out, curves, line);
}

/// What needs more than one stroke: hysteresis and repeatability.
fn add_repeats(out: &mut PartAnalysis, curves: &Curves, line: usize, calibration: &Calibration) {
    match hysteresis::analyse(curves, line, calibration, out.cycles) {
        Some(figure) => out.figures.push(figure),
        None => missing(
            out,
            format!("hysteresis {}", name(line)),
            "it needs a stroke up and one down over the same travel".into(),
        ),
    }
    match repeatability::analyse(curves, line, calibration) {
        Some(figure) => out.figures.push(figure),
        None => {
            let why = "it needs two strokes of one direction over the travel: record at least two, better three cycles".into();
            missing(out, format!("repeatability {}", name(line)), why);
        }
    }
}

/// Dead bands at both stops.
fn add_dead_bands(
    out: &mut PartAnalysis,
    prepared: &Prepared<'_>,
    curves: &Curves,
    line: usize,
    sheet: &PartSheet,
    calibration: &Calibration,
) {
    for end in [End::Closed, End::Open] {
        let what = if end == End::Closed { FigureName::DeadBandClosed } else { FigureName::DeadBandOpen };
        let reached = ends::reached(prepared, sheet.travel_deg, end);
        match reached
            .then(|| dead_band::analyse(prepared, curves, line, end, calibration, sheet.travel_deg))
            .flatten()
        {
            Some(figure) => out.figures.push(figure),
            None => {
                let why = "it needs a stroke that arrives at the stop and a rest there: turn to the stop and wait 0.1 s".into();
                missing(out, format!("{} {}", what.name(), name(line)), why);
            }
        }
    }
}

/// Says of a line that runs backwards, or leads.
fn warn_of_shape(out: &mut PartAnalysis, curves: &Curves, line: usize) {
    if let Some((from, to, percent)) = monotonicity::worst_reversal(curves, line) {
        out.warnings.push(format!(
            "the {} line runs backwards by {percent:.2} % of its span between {from:.1} and {to:.1} deg",
            name(line)
        ));
    }
    let lag = curves.line[line].as_ref().and_then(|c| c.hysteresis_deg);
    if lag.is_some_and(|h| h < -0.02) {
        out.warnings.push(format!(
            "the {} line leads the angle instead of lagging it: the angle column is late, hysteresis is not the part's alone",
            name(line)
        ));
    }
}

fn say_of_part_travel(out: &mut PartAnalysis, prepared: &Prepared<'_>, line: usize, sheet: &PartSheet) {
    let whole = [End::Closed, End::Open].iter().all(|end| ends::reached(prepared, sheet.travel_deg, *end));
    if let (false, Some((low, high))) = (whole, prepared.travel_deg) {
        missing(
            out,
            format!("linearity {} over the whole travel", name(line)),
            format!(
                "only {low:.1} to {high:.1} deg were seen; the figures hold for that part: sweep from stop to stop"
            ),
        );
    }
}

fn plot_ratios(out: &mut PartAnalysis, curves: &Curves, line: usize) {
    let Some(curve) = curves.line[line].as_ref() else { return };
    for (direction, y) in [("up", &curve.up), ("down", &curve.down), ("mean", &curve.mean)] {
        if y.iter().any(|v| v.is_finite()) {
            out.curves.push(PlotCurve {
                name: "ratio",
                channel: Some(name(line)),
                direction,
                unit: Unit::PercentSupply,
                deg: curves.deg.clone(),
                y: y.iter().map(|v| 100.0 * v).collect(),
            });
        }
    }
}

/// Figures of the pair.
fn add_pair(
    out: &mut PartAnalysis,
    prepared: &Prepared<'_>,
    curves: &Curves,
    sheet: &PartSheet,
    calibration: &Calibration,
) {
    match correlation::analyse(prepared, curves, sheet, calibration, out.cycles) {
        Some(report) => {
            out.figures.extend(report.figures);
            out.curves.extend(report.curves);
            out.histograms.extend(histogram::of(
                "correlation_deviation",
                None,
                Unit::PercentSupply,
                &report.deviations,
            ));
        }
        None => missing(
            out,
            "correlation".into(),
            "it needs both lines over the same travel: connect both".into(),
        ),
    }
    let skew = if prepared.trace.provenance.time_known {
        skew::analyse(prepared, curves, sheet)
    } else {
        Err("the file tells no times".to_owned())
    };
    match skew {
        Ok(figure) => out.figures.push(figure),
        Err(why) => missing(out, "skew".into(), why),
    }
    let Some(found) = topology::find(curves) else { return };
    out.topology_found = found.topology;
    if found.topology != Some(sheet.topology) {
        let shows = found.topology.map_or("none that is known", Topology::name);
        out.warnings.push(format!(
            "the data show second = {:.3} x first + {:.3}, topology: {shows}; the sheet says {}: check that the sheet is the \
             part's own",
            found.m,
            found.k,
            sheet.topology.name()
        ));
    } else if found.exchanged {
        out.warnings.push("the second line is the steeper one: the lines look exchanged".into());
    }
}

/// What a search for defects starts from.
struct Seen<'a, 't> {
    every: &'a Prepared<'t>,
    /// With whole strokes alone.
    whole: &'a Prepared<'t>,
    curves: Option<&'a Curves>,
    dropouts: dropout::Report,
}

/// Defects, dropouts, predicted trips and causes. Every scan is looked at for lost contact; what belongs to a stroke in whole ones.
fn add_defects(
    out: &mut PartAnalysis,
    traces: &GripTraces<'_>,
    Seen { every: prepared, whole, curves, dropouts }: Seen<'_, '_>,
    leads: Option<&leads::Report>,
    sheet: &PartSheet,
    calibration: &Calibration,
) {
    out.figures.extend(correlation::momentary(prepared, sheet, calibration, &dropouts));
    let lines = (0..2).filter(|l| prepared.ratio[*l].is_some()).collect();
    let located = side_by_side::each(lines, |line| {
        let noisy = noise_map::find(prepared, line, &dropouts, sheet);
        let flat = curves
            .map(|curves| flat_spot::find(whole, curves, line, noisy.with_jumps.as_ref(), &dropouts, sheet));
        (noisy, flat)
    });
    for (noisy, flat) in located {
        if let Some(flat) = flat {
            out.findings.extend(flat.findings);
            out.detection_limits.push(flat.limit);
        }
        out.findings.extend(noisy.findings);
        out.detection_limits.push(noisy.limit);
        out.curves.extend(noisy.curve);
    }
    let dropouts = dropouts.without_explained(prepared, &out.findings);
    let flexed = traces.flex.map(|trace| Prepared::new(trace, sheet));
    let flex = flexed.as_ref().map(|p| dropout::find(p, sheet));
    let watched: Vec<&dropout::Report> = std::iter::once(&dropouts).chain(flex.as_ref()).collect();
    match dropout::rate(&watched).filter(|_| prepared.trace.provenance.time_known) {
        Some(figure) => out.figures.push(figure),
        None => missing(out, "dropout_rate".into(), "it needs times and at least one line".into()),
    }
    for report in watched {
        out.findings.extend(report.findings.iter().cloned());
    }
    out.detection_limits.extend(dropouts.limits.iter().cloned());
    let of_a_flex = |p: &&Prepared<'_>| p.trace.provenance.procedure == ProcedureKind::Flex;
    let told = match (Some(prepared).filter(of_a_flex), flexed.as_ref().zip(flex.as_ref())) {
        (Some(prepared), _) => Some(contact::tell(prepared, &dropouts)),
        (None, flexed) => flexed.map(|(prepared, report)| contact::tell(prepared, report)),
    };
    if let Some(told) = told {
        contact::say(&told, out);
        out.contact = Some(told);
    }

    let mut trips: Option<Figure> = None;
    for report in std::iter::once(prepared).chain(flexed.as_ref()).map(|p| limp::predict(p, sheet)) {
        out.not_testable.extend(report.not_testable);
        trips = match (trips, report.figure) {
            (Some(mut a), Some(b)) => {
                a.value += b.value;
                a.budget = a.budget.and(&b.budget);
                Some(a)
            }
            (a, b) => a.or(b),
        };
    }
    out.figures.extend(trips);

    if let Some(report) = leads {
        out.not_testable.extend(report.not_testable.iter().cloned());
    }
    let report = causes::find(&causes::CausesInput {
        prepared,
        curves,
        sheet,
        leads,
        dropouts: &dropouts,
        located: &out.findings,
    });
    out.findings.extend(report.findings);
    out.not_testable.extend(report.not_testable);
    out.doubts.extend(report.doubts);
}

#[cfg(test)]
#[path = "grip_tests.rs"]
mod tests;
