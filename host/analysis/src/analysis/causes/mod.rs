//! Faults of the part as a whole, by rules that can be explained: leads, leakage, gain, shared bends, dead or exchanged lines.
//! Located defects are found elsewhere; what to do next comes from `diagnosis`.
//!
//! Order: what makes everything after it doubtful comes first. Not moving; dead lines; exchanged lines; what the leads check
//! measured; then which one cause explains how the pair deviates from the sheet (see `hypotheses`); last a bend
//! that both lines share. Where two causes fit, both are named with their probabilities.

mod deviation;
mod hypotheses;
mod leak_current;
mod words;

use super::curve::Curves;
use super::leads::{AtPlace, Estimate, SupplyCurrent};
use super::prepared::{AngleSource, Prepared};
use super::{Detail, Finding, NotTestable, dropout, leads, statistics};
use crate::quantity::{Channel, FigureName, FindingKind, ProcedureKind};
use crate::sheet::PartSheet;
use hypotheses::Known;

/// Share of the nominal travel below which a part did not move.
const LEAST_TRAVEL: f64 = 0.2;
/// Travel at each stop that is left out of fits to the whole line, degrees.
const EDGE_DEG: f64 = 2.0;
/// A drive that takes less than this while it can't move the part does not push, amperes. Engineering assumption.
const PUSHING_AMPS: f64 = 0.5;
/// A part is not called still unless this share of the recording's time was received.
const LEAST_RECEIVED: f64 = 0.9;
/// Share of a line's nominal span below which it does not follow.
const LEAST_SPAN: f64 = 0.05;
/// Least drop in a lead that is a fault, volts: 4 Ω at 10 mA. Common practice, no source.
const LEAST_DROP_V: f64 = 0.04;
/// A signal lead shows when one line's resistance to the load exceeds the other's by this, Ω …
const LEAST_LEAD_OHM: f64 = 250.0;
/// … and by this share of the other's: sources of one part are alike only so far. Engineering assumption.
const SOURCE_SPREAD: f64 = 0.25;
/// Common bend that is a fault, % of span.
const LEAST_BEND: f64 = 1.1;
/// Share of its reading that a leak must take to stand out of the spread of healthy parts: from the score's threshold.
const LEAST_LEAK: f64 = 0.02;
/// A flat spot this deep, ratio of supply, may shift a line as a wrong offset would.
const LEAST_SPOT: f64 = 0.006;
/// Where the supply current is read along a sweep, shares of the first line's way.
const PLACES_OF_CURRENT: [f32; 3] = [0.1, 0.5, 0.9];
/// Within this of such a place, share of the way.
const NEAR_PLACE: f32 = 0.02;
/// A cause less probable than this is not named.
const LEAST_PROBABILITY: f64 = 0.1;

/// What the rules look at.
#[derive(Clone, Copy, Debug)]
pub struct CausesInput<'a> {
    /// The sweep.
    pub prepared: &'a Prepared<'a>,
    /// Its curves; none when the part did not move.
    pub curves: Option<&'a Curves>,
    /// The part sheet.
    pub sheet: &'a PartSheet,
    /// The leads check, if done.
    pub leads: Option<&'a leads::Report>,
    /// Dropouts of the sweep.
    pub dropouts: &'a dropout::Report,
    /// What was found at a place of the travel: it explains a part of how the lines deviate.
    pub located: &'a [Finding],
}

/// Causes, and what could not be looked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// What was found.
    pub findings: Vec<Finding>,
    /// Kinds that could not be looked for, and why.
    pub not_testable: Vec<NotTestable>,
    /// Why the recording says nothing of the part, as sentences.
    pub doubts: Vec<String>,
}

/// How far a pair lies from the sheet against the scatter of healthy parts, as a χ² of six numbers; none without both lines.
pub fn deviation_score(curves: &Curves, sheet: &PartSheet) -> Option<f64> {
    let known = Known { leads_told: false, source_ohm: [None; 2], track: None, by_place: [None; 3] };
    hypotheses::score(&deviation::of(curves, sheet)?, sheet, &known)
}

/// Applies the rules in their order.
pub fn find(input: &CausesInput<'_>) -> Report {
    let mut report = Report::default();
    if let Some(finding) = not_moving(input) {
        // Only a drive is known to have turned the part.
        if matches!(
            input.prepared.trace.provenance.procedure,
            ProcedureKind::HandSweep | ProcedureKind::Import
        ) && !turned(input)
        {
            report.doubts.push(words::not_turned(input));
        } else {
            report.findings.push(finding);
        }
        report.untold("causes from curves", "the part did not move");
        return report;
    }
    let dead: Vec<usize> = (0..2).filter(|line| is_dead(input, *line)).collect();
    report.findings.extend(dead.iter().map(|line| words::dead(input, *line)));
    if let Some(leads) = input.leads {
        report.leads(leads, &dead);
    } else {
        report.untold(
            "supply_lead, ground_lead, signal_lead",
            "no leads check was done: resistance in the leads shows only where it bends the curves; run the leads check",
        );
    }
    let whole = dead.is_empty() && input.prepared.ratio.iter().all(Option::is_some);
    match input.curves {
        Some(curves) if whole => report.pair(input, curves),
        _ => report.untold(
            "gain_offset, leakage, swapped_channels, common_nonlinearity",
            "it needs both lines, moving",
        ),
    }
    report
}

impl Report {
    fn untold(&mut self, what: &str, why: &str) {
        self.not_testable.push(NotTestable { what: what.into(), why: why.into() });
    }

    /// What the leads check measured.
    fn leads(&mut self, leads: &leads::Report, dead: &[usize]) {
        for (kind, drop, ohm) in [
            (FindingKind::GroundLead, leads.ground_drop_v, leads.ground_lead_ohm),
            (FindingKind::SupplyLead, leads.supply_drop_v, leads.supply_lead_ohm),
        ] {
            if let Some(drop) = drop.filter(|d| dead.is_empty() && is_beyond(d, LEAST_DROP_V)) {
                self.findings.push(words::drop(kind, drop, ohm));
            }
        }
        let [Some(first), Some(second)] = leads.source_ohm else { return };
        if !dead.is_empty() {
            return;
        }
        let of_tracks =
            leads.track_difference_ohm().unwrap_or(Estimate { value: 0.0, standard_uncertainty: 0.0 });
        for (line, own, other) in [(0, first, second), (1, second, first)] {
            let sign = if line == 0 { 1.0 } else { -1.0 };
            let excess = Estimate {
                value: own.value - other.value - sign * of_tracks.value,
                standard_uncertainty: own
                    .standard_uncertainty
                    .hypot(other.standard_uncertainty)
                    .hypot(of_tracks.standard_uncertainty),
            };
            if is_beyond(&excess, LEAST_LEAD_OHM.max(SOURCE_SPREAD * other.value)) {
                self.findings.push(words::signal_lead(line, own, excess));
            }
        }
    }

    /// Rules that need both lines and their curves.
    fn pair(&mut self, input: &CausesInput<'_>, curves: &Curves) {
        let referenced = input.prepared.angle_source == AngleSource::Reference;
        if !referenced {
            self.untold(
                "leakage, common_nonlinearity, and which line is off",
                "without a reference angle a line can only be compared with the other; sweep on the rig",
            );
            self.correlation_alone(curves, input.sheet);
            // What the supply current does along the travel needs no angle.
            let known = known(input.leads);
            self.leak_alone(&Known { by_place: current_along(input.prepared), ..known });
            return;
        }
        let Some(six) = deviation::of(curves, input.sheet) else {
            self.untold("gain_offset, leakage", "too little of the travel was seen");
            return;
        };
        match exchanged(curves, input.sheet) {
            Some(true) => {
                self.findings.push(words::swapped());
                return;
            }
            Some(false) => {}
            None => self.untold("swapped_channels", "the sheet's two lines are alike"),
        }
        let known = known(input.leads);
        if input.leads.is_some_and(|l| l.current == SupplyCurrent::Ratiometric) {
            self.untold(
                "supply_lead and ground_lead of a resistive track below about 2 % of its resistance",
                "the supply step is blind to them and smaller ones are within the spread of healthy parts; measure with four wires",
            );
        }
        self.least_leak(input);
        let told =
            self.findings.iter().any(|f| matches!(f.kind, FindingKind::SupplyLead | FindingKind::GroundLead));
        let six = if told { without_drops(six, input) } else { six };
        let six = without_dead_band(six, curves, input.sheet, &known);
        let chi_square = hypotheses::score(&six, input.sheet, &known).unwrap_or(0.0);
        let bend = shared_bend(curves, input.sheet).filter(|(b, _)| *b > LEAST_BEND);
        if chi_square > hypotheses::UNHEALTHY || beyond_correlation(curves, input.sheet) {
            let causes = hypotheses::explain(&six, input.sheet, &known);
            // An angle error that both lines share is reported by its own size where that is large enough.
            let said = |c: &hypotheses::Explained| {
                told || (c.kind == FindingKind::CommonNonlinearity && bend.is_some())
                    || explained_by_spot(input, c.line)
            };
            let named = causes.iter().filter(|c| c.probability > LEAST_PROBABILITY && !said(c));
            self.findings.extend(named.map(|c| words::explained(c, chi_square, &causes, &known)));
        }
        self.leak_alone(&known);
        if let Some((bend, at)) = bend {
            self.findings.push(words::bend(bend, at));
        }
    }

    /// A leak too small for the curves, by what it draws.
    fn leak_alone(&mut self, known: &Known) {
        let told = self.findings.iter().any(|f| f.kind == FindingKind::Leakage && f.confidence > 0.5);
        let Some(track) = known.track.filter(|_| !told) else { return };
        if let Some((amps, ohm)) = leak_current::alone(&known.by_place, track) {
            self.findings.push(words::leak_by_current(amps, ohm));
        }
    }

    /// Says from what resistance down a leak shows: below it lies within the spread of healthy gains.
    fn least_leak(&mut self, input: &CausesInput<'_>) {
        let Some(leads) = input.leads else { return };
        for (channel, source) in Channel::SENSORS.iter().zip(leads.source_ohm) {
            let Some(source) = source else { continue };
            let kilohm = source.value / LEAST_LEAK / 1000.0;
            self.untold(
                &format!("leakage of the {channel} line above about {kilohm:.0} kohm"),
                "behind a source of that line's resistance it shifts the line by less than healthy parts differ; insulation test \
                 unplugged, signal pin to case and to ground, more than 1 Mohm",
            );
        }
    }

    /// Without an angle: only whether the pair keeps its correlation line.
    fn correlation_alone(&mut self, curves: &Curves, sheet: &PartSheet) {
        let (x, y) = off_the_correlation_line(curves, sheet);
        let Some(fit) = statistics::fit_line(&x, &y) else { return };
        let (m, _) = sheet.correlation_line();
        // Scatter of healthy pairs: offset 0.3 %·√(1 + m²), gain 0.4 % and bend over 80 % of the supply.
        let scale = (1.0 + m * m).sqrt();
        let z = (fit.intercept / (0.30 * scale)).hypot(fit.slope / (0.5 * scale));
        if z > 5.0 || beyond_correlation(curves, sheet) {
            self.findings.push(words::correlation(fit.intercept, fit.slope, z));
        }
    }
}

/// Share of the travel from its middle, and how far the second line lies off the sheet's correlation line there, % of supply. Empty without
/// both lines.
fn off_the_correlation_line(curves: &Curves, sheet: &PartSheet) -> (Vec<f64>, Vec<f64>) {
    let [Some(first), Some(second)] = &curves.line else { return Default::default() };
    let (m, k) = sheet.correlation_line();
    curves
        .deg
        .iter()
        .zip(first.mean.iter().zip(&second.mean))
        .filter(|(_, (a, b))| a.is_finite() && b.is_finite())
        .map(|(d, (a, b))| (*d / sheet.travel_deg - 0.5, 100.0 * (b - m * a - k)))
        .unzip()
}

/// Whether the pair's mean lies beyond the sheet's limit for the offset of its correlation: then it is off, whatever healthy pairs scatter by.
fn beyond_correlation(curves: &Curves, sheet: &PartSheet) -> bool {
    let limit = sheet.limits.iter().find(|l| l.figure == FigureName::CorrelationOffset);
    let offset = statistics::mean(&off_the_correlation_line(curves, sheet).1);
    limit.zip(offset).is_some_and(|(limit, offset)| {
        limit.min.is_some_and(|min| offset < min) || limit.max.is_some_and(|max| offset > max)
    })
}

/// Supply current where the first line stands a tenth, half and nine tenths of its way, from the sweep itself, both ways alike: what a
/// motor draws while it moves a plate up it gives back on the way down. None where it was not recorded.
fn current_along(prepared: &Prepared<'_>) -> [Option<AtPlace>; 3] {
    let (Some(amps), [Some(first), Some(second)]) =
        (prepared.trace.channel(Channel::SupplyAmps), &prepared.ratio)
    else {
        return [None; 3];
    };
    let seen = || first.iter().copied().filter(|r| r.is_finite());
    let (low, high) = (seen().fold(f32::INFINITY, f32::min), seen().fold(f32::NEG_INFINITY, f32::max));
    PLACES_OF_CURRENT.map(|share| {
        let at = low + share * (high - low);
        let near = |k: &usize| (first[*k] - at).abs() < NEAR_PLACE * (high - low);
        let here: Vec<usize> = (0..first.len()).filter(near).collect();
        let of = |values: &[f32]| {
            let values: Vec<f64> =
                here.iter().map(|k| f64::from(values[*k])).filter(|v| v.is_finite()).collect();
            let sd = statistics::standard_deviation(&values)?;
            let n = values.len() as f64;
            (values.len() >= 50).then_some(())?;
            Some(Estimate { value: statistics::mean(&values)?, standard_uncertainty: sd / n.sqrt() })
        };
        let ratio = [of(first)?.value, of(second)?.value];
        Some(AtPlace { ratio, volts: prepared.supply_volts, amps: of(amps)? })
    })
}

/// Beyond a limit, and certainly not zero.
fn is_beyond(e: &Estimate, limit: f64) -> bool {
    e.value - 2.0 * e.standard_uncertainty > limit && e.value > 4.0 * e.standard_uncertainty
}

fn known(leads: Option<&leads::Report>) -> Known {
    let Some(leads) = leads else {
        return Known { leads_told: false, source_ohm: [None; 2], track: None, by_place: [None; 3] };
    };
    Known {
        leads_told: leads.current == SupplyCurrent::Constant && leads.ground_drop_v.is_some(),
        source_ohm: leads.source_ohm.map(|s| s.map(|s| s.value)),
        by_place: leads.by_place,
        track: match leads.current {
            SupplyCurrent::Constant => Some(false),
            SupplyCurrent::Ratiometric => Some(true),
            SupplyCurrent::Unknown => None,
        },
    }
}

/// Whether a flat spot of the line shifts it by as much as a fault of the whole line would.
fn explained_by_spot(input: &CausesInput<'_>, line: Option<usize>) -> bool {
    let Some(line) = line else { return false };
    let lost = |f: &Finding| f.details.iter().find(|d| d.name == "depth").map_or(0.0, |d| d.value / 5000.0);
    input.located.iter().any(|f| {
        f.kind == FindingKind::FlatSpot && f.channel == Some(Channel::SENSORS[line]) && lost(f) > LEAST_SPOT
    })
}

/// The six numbers with what the measured drops explain taken off.
fn without_drops(mut six: deviation::Six, input: &CausesInput<'_>) -> deviation::Six {
    let Some(leads) = input.leads else { return six };
    let volts = input.prepared.supply_volts.max(1.0);
    let drop = |e: Option<Estimate>| e.map_or(0.0, |e| 100.0 * e.value / volts);
    let (ground, supply) = (drop(leads.ground_drop_v), drop(leads.supply_drop_v));
    for (line, nominal) in [input.sheet.rising, input.sheet.falling].into_iter().enumerate() {
        let told = deviation::three_of(nominal, |f| ground * (1.0 - f) - supply * f);
        (0..3).for_each(|k| six[3 * line + k] -= told[k]);
    }
    six
}

/// Whether neither the reference nor the lines moved as a sweep should.
fn not_moving(input: &CausesInput<'_>) -> Option<Finding> {
    let prepared = input.prepared;
    let swept = match prepared.trace.provenance.procedure {
        ProcedureKind::Sweep | ProcedureKind::HandSweep | ProcedureKind::Import => true,
        // It goes onto both stops.
        ProcedureKind::SelfCheck => true,
        // A body's slow ramps, read against its own first line.
        ProcedureKind::Creep => true,
        _ => false,
    };
    // Cut short, it may not have been asked to move; with much of it missing, it may have moved unseen.
    let seen = !prepared.trace.was_interrupted() && received(prepared) >= LEAST_RECEIVED;
    if !swept || !seen || prepared.trace.is_empty() {
        return None;
    }
    let travel = prepared.travel_deg.map_or(0.0, |(a, b)| b - a);
    let lines: Vec<usize> = (0..2).filter(|l| prepared.ratio[*l].is_some()).collect();
    let spans: Vec<f64> = lines.iter().map(|l| relative_span(prepared, input.sheet, *l)).collect();
    let referenced = prepared.angle_source == AngleSource::Reference;
    let still = !lines.is_empty() && spans.iter().all(|s| *s < LEAST_SPAN);
    if referenced && travel < LEAST_TRAVEL * input.sheet.travel_deg {
        return Some(match most_drive_amps(prepared) {
            Some(amps) if amps < PUSHING_AMPS => words::not_driven(travel, amps, &spans),
            _ => words::not_moving(travel, "the reference shows", &spans),
        });
    }
    let railed = lines.iter().all(|l| rail_share(prepared, input.sheet, *l) > 0.5);
    if referenced && still && !railed && lines.len() == 2 {
        return Some(words::not_moving(
            travel,
            "the drive turned, neither line followed: the coupling slips, or the sensor is without supply; the reference shows",
            &spans,
        ));
    }
    (!referenced && still && !railed).then(|| words::not_moving(travel, "the lines show", &spans))
}

/// Whether a reference shows that the part was turned.
fn turned(input: &CausesInput<'_>) -> bool {
    let travel = input.prepared.travel_deg.map_or(0.0, |(a, b)| b - a);
    input.prepared.angle_source == AngleSource::Reference && travel >= LEAST_TRAVEL * input.sheet.travel_deg
}

/// Share of the recording's time in which scans came.
fn received(prepared: &Prepared<'_>) -> f64 {
    let whole = prepared.trace.time_us.last().zip(prepared.trace.time_us.first()).map_or(0, |(b, a)| b - a);
    let lost: u64 = prepared.trace.gaps.iter().map(|g| g.to_us.saturating_sub(g.from_us)).sum();
    if whole == 0 { 0.0 } else { prepared.observed_seconds() * 1e6 / (whole.max(lost) as f64) }
}

/// What the drive took at most, amperes; none where it was not recorded or nothing was driven.
fn most_drive_amps(prepared: &Prepared<'_>) -> Option<f64> {
    let driven =
        matches!(prepared.trace.provenance.procedure, ProcedureKind::Sweep | ProcedureKind::SelfCheck);
    let amps = prepared.trace.channel(Channel::DriveAmps).filter(|_| driven)?;
    let mut sizes: Vec<f64> = amps.iter().filter(|a| a.is_finite()).map(|a| f64::from(a.abs())).collect();
    statistics::quantile(&mut sizes, 0.99)
}

/// Span between the 2 % and 98 % quantiles over the nominal span.
fn relative_span(prepared: &Prepared<'_>, sheet: &PartSheet, line: usize) -> f64 {
    let Some(ratio) = &prepared.ratio[line] else { return 0.0 };
    let every = (ratio.len() / 5000).max(1);
    let mut values: Vec<f64> =
        ratio.iter().step_by(every).map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
    let nominal = sheet.line(line);
    match (statistics::quantile(&mut values, 0.98), statistics::quantile(&mut values, 0.02)) {
        (Some(high), Some(low)) => (high - low) / (nominal.open - nominal.closed).abs().max(1e-6),
        _ => 0.0,
    }
}

/// Share of the scans with a line outside the monitor's rails.
fn rail_share(prepared: &Prepared<'_>, sheet: &PartSheet, line: usize) -> f64 {
    let Some(ratio) = &prepared.ratio[line] else { return 0.0 };
    let (low, high) = (sheet.monitor.rails.0 as f32, sheet.monitor.rails.1 as f32);
    let (mut n, mut out) = (0u64, 0u64);
    for v in ratio.iter().filter(|v| v.is_finite()) {
        n += 1;
        out += u64::from(*v < low || *v > high);
    }
    if n == 0 { 0.0 } else { out as f64 / n as f64 }
}

/// A line at a rail for most of the time, or one that stands while the part moves.
fn is_dead(input: &CausesInput<'_>, line: usize) -> bool {
    let prepared = input.prepared;
    let Some(ratio) = &prepared.ratio[line] else { return false };
    if !ratio.iter().any(|v| v.is_finite()) {
        return !ratio.is_empty();
    }
    let moved = prepared.travel_deg.map_or(0.0, |(a, b)| b - a) > LEAST_TRAVEL * input.sheet.travel_deg
        || relative_span(prepared, input.sheet, 1 - line) > LEAST_TRAVEL;
    rail_share(prepared, input.sheet, line) > 0.5
        || (moved && relative_span(prepared, input.sheet, line) < LEAST_SPAN)
}

/// Whether each line lies on the other's nominal line; none when the nominal lines are alike.
fn exchanged(curves: &Curves, sheet: &PartSheet) -> Option<bool> {
    let nominal = [sheet.rising, sheet.falling];
    if (nominal[0].closed - nominal[1].closed).abs() < 0.02
        && (nominal[0].open - nominal[1].open).abs() < 0.02
    {
        return None;
    }
    let error = |line: usize, against: usize| -> f64 {
        let Some(curve) = &curves.line[line] else { return 0.0 };
        let n = nominal[against];
        let squares: Vec<f64> = curves
            .deg
            .iter()
            .zip(&curve.mean)
            .map(|(d, r)| r - n.closed - (n.open - n.closed) * d / sheet.travel_deg)
            .filter(|d| d.is_finite())
            .map(|d| d * d)
            .collect();
        squares.iter().sum::<f64>() / squares.len().max(1) as f64
    };
    let straight = error(0, 0) + error(1, 1);
    let crossed = error(0, 1) + error(1, 0);
    Some(crossed < 0.2 * straight && straight.sqrt() > 0.03)
}

/// Travel over which both lines follow.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Live {
    /// Without [`EDGE_DEG`] at each stop and without dead bands there, degrees.
    range: (f64, f64),
    /// Length of a dead band at the closed stop, mean of both lines, degrees; below 1° it is not distinguished from the play.
    dead_closed_deg: f64,
}

/// A dead band ends where a line's slope over 1° reaches half of its slope over the middle half of the travel.
fn live(curves: &Curves) -> Option<Live> {
    let n = curves.len();
    let width = curves.bins_in(1.0);
    let (start, end) = (*curves.deg.first()?, *curves.deg.last()?);
    let (mut low, mut high) = (start + EDGE_DEG, end - EDGE_DEG);
    let mut dead = Vec::new();
    for curve in curves.line.iter().flatten() {
        let rise = |from: usize, to: usize| {
            (curve.mean[to] - curve.mean[from]) / (curves.deg[to] - curves.deg[from])
        };
        let middle = rise(n / 4, n - 1 - n / 4);
        // Comparisons with NaN are false: where nothing was measured, a line does not follow.
        let follows = |k: &usize| rise(*k, *k + width) / middle >= 0.5;
        let all = 0..n.saturating_sub(width);
        let (Some(first), Some(last)) = (all.clone().find(follows), all.rev().find(follows)) else {
            continue;
        };
        low = low.max(curves.deg[first] + 0.5 * EDGE_DEG);
        high = high.min(curves.deg[last + width] - 0.5 * EDGE_DEG);
        dead.push(curves.deg[first] + 0.5 - start);
    }
    let dead_closed_deg = statistics::mean(&dead)?;
    (high - low > LEAST_TRAVEL * (end - start)).then_some(Live { range: (low, high), dead_closed_deg })
}

/// The six numbers, with the angle taken off by which a dead band at the closed stop delays both lines, where that explains them
/// better: behind a slack coupling the lines stay late, behind a sensor's own dead band they do not.
fn without_dead_band(
    six: deviation::Six,
    curves: &Curves,
    sheet: &PartSheet,
    known: &Known,
) -> deviation::Six {
    let Some(dead) = live(curves).map(|l| l.dead_closed_deg).filter(|d| *d > 1.0) else { return six };
    let mut early = six;
    for (line, nominal) in [sheet.rising, sheet.falling].into_iter().enumerate() {
        early[3 * line] += 100.0 * dead * (nominal.open - nominal.closed) / sheet.travel_deg;
    }
    let score = |six: &deviation::Six| hypotheses::score(six, sheet, known).unwrap_or(f64::INFINITY);
    if score(&early) < score(&six) { early } else { six }
}

/// Bend that both lines share, % of span, and where; none when they do not share it.
fn shared_bend(curves: &Curves, sheet: &PartSheet) -> Option<(f64, f64)> {
    let (low, high) = live(curves)?.range;
    let angle_error = |line: usize| -> Option<Vec<f64>> {
        let curve = curves.line[line].as_ref()?;
        let inside: Vec<f64> = curves
            .deg
            .iter()
            .zip(&curve.mean)
            .map(|(d, r)| if (low..=high).contains(d) { r / curve.slope } else { f64::NAN })
            .collect();
        let fit = statistics::fit_line(&curves.deg, &inside)?;
        Some(inside.iter().zip(&curves.deg).map(|(v, d)| v - fit.at(*d)).collect())
    };
    let (a, b) = (angle_error(0)?, angle_error(1)?);
    let largest = |values: &mut dyn Iterator<Item = (f64, f64)>| {
        values
            .filter(|(_, v)| v.is_finite())
            .fold((0.0f64, 0.0f64), |m, (d, v)| if v.abs() > m.1.abs() { (d, v) } else { m })
    };
    let (at, common) =
        largest(&mut curves.deg.iter().copied().zip(a.iter().zip(&b).map(|(x, y)| 0.5 * (x + y))));
    let (_, apart) =
        largest(&mut curves.deg.iter().copied().zip(a.iter().zip(&b).map(|(x, y)| 0.5 * (x - y))));
    (common.abs() > 2.0 * apart.abs()).then(|| (100.0 * common.abs() / sheet.travel_deg, at))
}

#[cfg(test)]
mod tests;
