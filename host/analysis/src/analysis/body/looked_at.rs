//! What was searched for worn teeth, from where to where and how deep it sees, and what nothing that was done looked at. It finds nothing.
//!
//! A limit of depth holds for the part of the travel that the strokes of this recording covered, and for the flank that they load.

use super::super::budget::{Budget, Source};
use super::measured::Measured;
use super::population::Population;
use super::traces::BodyTraces;
use crate::analysis::{Detail, DetectionLimit, NotTestable, PartAnalysis};
use crate::quantity::{FigureName, FindingKind};

/// From where to where the map was searched, degrees of travel; none without a search.
fn covered(m: &Measured) -> Option<(f64, f64)> {
    let (Ok(map), Some(worn)) = (&m.map, &m.worn) else { return None };
    let (from, _) = map.covered_deg();
    Some((from, map.rest_deg + map.layout.end_deg(worn.off_deg.len())))
}

/// What a map without a worn tooth would have missed.
pub fn teeth_limit(m: &Measured, population: &Population) -> Option<DetectionLimit> {
    let worn = m.worn.as_ref()?;
    let (from, to) = covered(m)?;
    let mut depths: Vec<f64> = worn.limit.iter().map(|l| l.1).collect();
    let middle = crate::analysis::statistics::median(&mut depths)?;
    let next_to_rest = worn.limit.first()?.1;
    let (worst, worst_at) = worn.limit.iter().fold((0.0, 0.0), |w, l| if l.1 > w.0 { (l.1, l.0) } else { w });
    let among = if population.bodies > 0 {
        format!(
            "{} healthy bodies{}",
            population.bodies,
            if population.origin.simulated { ", simulated" } else { "" }
        )
    } else {
        "an assumed spread: no population of this kind of body is known".to_owned()
    };
    Some(DetectionLimit {
        kind: FindingKind::WornTooth,
        channel: None,
        text: format!(
            "between {from:.1} and {to:.1} deg, a tooth that has lost less than {middle:.2} deg on its opening flank would not have been seen \
             (at worst {worst:.2} deg, at {worst_at:.0} deg); against {among}"
        ),
        details: vec![
            Detail { name: "depth", value: middle, unit: "deg" },
            Detail { name: "depth_next_to_rest", value: next_to_rest, unit: "deg" },
            Detail { name: "depth_at_worst", value: worst, unit: "deg" },
            Detail { name: "from", value: from, unit: "deg" },
            Detail { name: "to", value: to, unit: "deg" },
        ],
    })
}

/// Lost motion is given by its largest: a finding deeper than the place that stands out most, or a fall of the plate, is the figure.
pub fn largest_of_findings(out: &mut PartAnalysis) {
    let of =
        |f: &crate::analysis::Finding, name: &str| f.details.iter().find(|d| d.name == name).map(|d| d.value);
    let mut largest: Option<(f64, f64, Option<f64>)> = None;
    let teeth = |k: FindingKind| matches!(k, FindingKind::WornTooth | FindingKind::MissingTooth);
    for finding in out.findings.iter().filter(|f| teeth(f.kind)) {
        let Some(depth) = of(finding, "depth").or_else(|| of(finding, "fall")) else { continue };
        let uncertainty = of(finding, "depth_uncertainty").unwrap_or(0.0);
        let middle = finding.from_deg.zip(finding.to_deg).map(|(a, b)| 0.5 * (a + b));
        if largest.is_none_or(|l| depth > l.0) {
            largest = Some((depth, uncertainty, middle));
        }
    }
    let Some((depth, uncertainty, at)) = largest else { return };
    if let Some(figure) = out.figures.iter_mut().find(|f| f.name == FigureName::LostMotion && f.value < depth)
    {
        figure.value = depth;
        if uncertainty > figure.standard_uncertainty() {
            figure.budget = Budget::of(Source::Combined, uncertainty);
        }
        figure.at_deg = at;
    }
}

/// What nothing that was done looks at.
pub fn missed(traces: &BodyTraces<'_>, m: &Measured, out: &PartAnalysis) -> Vec<NotTestable> {
    let mut missed = Vec::new();
    let mut add = |what: &str, why: String| {
        missed.push(NotTestable { what: what.to_owned(), why });
    };
    if let Some((from, to)) = covered(m) {
        let above = m.stops.open.map(|s| s.value).filter(|open| open - to > 0.5);
        let above = above.map_or(String::new(), |open| format!(", and from {to:.1} to {open:.1} deg"));
        let push = if m.pushed.0.is_empty() { "; a guided push tells more" } else { "" };
        let why = format!(
            "the tooth map saw the opening flank from {from:.1} to {to:.1} deg: not below{above} (the tooth in mesh at rest shows as lash), and \
             nowhere the closing flank{push}"
        );
        add("teeth outside the map", why);
    }
    leads(traces, out, &mut add);
    missed
}

/// Leads that were not stepped or loaded.
fn leads(traces: &BodyTraces<'_>, out: &PartAnalysis, add: &mut impl FnMut(&str, String)) {
    let whole_plan = traces.creep.is_some() && traces.rest.is_some();
    if traces.leads.is_none() && whole_plan {
        let why = "no leads check was done: supply, ground and signal leads of the feedback were not stepped nor loaded; check them by meter";
        add("leads", why.to_owned());
        return;
    }
    for n in out
        .not_testable
        .iter()
        .filter(|n| n.what.contains("by supply step") || n.what.contains("by load step"))
    {
        add(n.what.trim_start_matches("feedback: "), n.why.clone());
    }
}
