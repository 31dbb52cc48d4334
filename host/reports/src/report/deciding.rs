//! Which picture shows what decides the verdict: it stands beside the verdict, the others where they belong. It draws nothing and judges
//! nothing.

use super::plot::Plot;
use super::plots::Plots;
use crate::outcome::{Outcome, OutcomeFigure, margin_percent};
use crate::quantity::{Channel, FigureName, FindingKind, Written};
use crate::verdict::Verdict;

/// Takes the picture of what decides out of the others: of a finding that decides, of a soak, of a figure outside, of an undecided one, or of the
/// figure nearest to its limit. None where nothing of that was drawn.
pub fn take(drawn: &mut Plots, outcome: &Outcome) -> Option<Plot> {
    let of_findings = outcome
        .findings
        .iter()
        .enumerate()
        .filter(|(_, finding)| finding.decides)
        .flat_map(|(k, finding)| finding.kind.known().map_or(Vec::new(), |kind| of_finding(kind, k + 1)));
    let of_figures = by_weight(outcome).into_iter().flat_map(of_figure);
    let of_soak = outcome.soak.iter().map(|_| "soak".to_owned());
    of_findings.chain(of_soak).chain(of_figures).find_map(|what| drawn.take(&what))
}

/// How its chapter is headed.
pub const fn heading(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "Nearest to a limit, in one picture",
        Verdict::Outside | Verdict::Undecided => "What decides it, in one picture",
    }
}

/// Figures held against a limit: those outside, the undecided ones, then by how little is left to the limit.
fn by_weight(outcome: &Outcome) -> Vec<&OutcomeFigure> {
    let mut all: Vec<&OutcomeFigure> = outcome.figures.iter().filter(|f| f.verdict.is_some()).collect();
    let rank = |f: &OutcomeFigure| match f.verdict {
        Some(Verdict::Outside) => 0,
        Some(Verdict::Undecided) => 1,
        _ => 2,
    };
    let margin = |f: &OutcomeFigure| margin_percent(f).unwrap_or(f64::INFINITY);
    all.sort_by(|a, b| rank(a).cmp(&rank(b)).then(margin(a).total_cmp(&margin(b))));
    all
}

/// Pictures that show a finding, the best first; `number` is its own.
fn of_finding(kind: FindingKind, number: usize) -> Vec<String> {
    use FindingKind as F;
    let along_the_lines = ["travel", "feedback_shape", "feedback_deviation"];
    let pair = ["correlation", "feedback_deviation", "feedback_shape", "travel"];
    let names: &[&str] = match kind {
        F::FlatSpot => return [vec![format!("close_up {number}")], owned(&along_the_lines)].concat(),
        F::NoisyTrack => &["noise", "travel", "feedback_shape"],
        F::Dropout | F::DeadChannel | F::SwappedChannels | F::NotMoving | F::FeedbackIntermittent => {
            &along_the_lines
        }
        F::SupplyLead
        | F::GroundLead
        | F::SignalLead
        | F::Leakage
        | F::GainOffset
        | F::CommonNonlinearity
        | F::FeedbackOffset => &pair,
        F::WornTooth | F::MissingTooth | F::Lash => &["lost_motion", "lash_by_push", "lag"],
        F::BrushDeadSpot | F::Winding => &["lag", "step_response", "lost_motion"],
        F::WeakSpring | F::BrokenSpring | F::StickyPlate | F::DryBearing => &["creep", "release", "travel"],
        F::SlowReturn | F::NotTestable => &["release", "creep", "travel"],
    };
    owned(names)
}

/// Pictures that show a figure, the best first.
fn of_figure(figure: &OutcomeFigure) -> Vec<String> {
    use FigureName as N;
    let Some(name) = figure.figure.known() else { return Vec::new() };
    let line = figure.channel.as_ref().and_then(Written::known).map_or("", Channel::name);
    let names: &[&str] = match name {
        N::LinearityIndependent | N::LinearityTerminal | N::LinearityZeroBased => {
            return vec![format!("linearity {line}"), "feedback_shape".to_owned()];
        }
        N::CorrelationWorst | N::CorrelationOffset | N::CorrelationSlope | N::CorrelationMomentary => {
            &["correlation", "feedback_deviation", "feedback_shape"]
        }
        N::Noise => &["noise", "travel", "feedback_shape"],
        N::ClosedVolts
        | N::OpenVolts
        | N::Span
        | N::Hysteresis
        | N::Repeatability
        | N::DeadBandClosed
        | N::DeadBandOpen
        | N::Skew
        | N::DropoutRate
        | N::LimpTrips
        | N::ReturnRest
        | N::ReturnTorque => &["travel", "feedback_shape", "feedback_deviation"],
        N::RestPosition | N::RestRepeatability | N::ClosedStop | N::OpenStop | N::ReturnTime => &["release"],
        N::LatencyP50 | N::LatencyP90 | N::LatencyP99 | N::LatencyMax => &["lag", "step_response"],
        N::RiseTime | N::Overshoot | N::Settling | N::TrackingError => &["step_response"],
        N::Lash | N::LostMotion => &["lost_motion", "lash_by_push"],
        N::LashByPush => &["lash_by_push", "lost_motion"],
        N::PreloadMain
        | N::PreloadDefault
        | N::StiffnessMain
        | N::Friction
        | N::Sticking
        | N::ReturnMargin => &["creep"],
        N::WindingResistance | N::BackEmfConstant => &["step_response", "lag"],
        N::FollowLatencyP50 | N::FollowLatencyP95 | N::FollowLag => &["follow_step", "follow_ramp"],
        N::FollowDeviation | N::PlateTrips => &["follow_deviation", "follow_ramp"],
    };
    owned(names)
}

fn owned(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::people::People;
    use crate::report::plots::plots;
    use crate::report::{ReportInput, body_fixture, fixture};

    fn what(outcome: &Outcome) -> Option<String> {
        let body = outcome.part.kind == "body";
        let sheet = if body { body_fixture::sheet() } else { fixture::sheet() };
        let (curves, plotted) =
            if body { (Vec::new(), body_fixture::plots()) } else { (fixture::curves(), Vec::new()) };
        let input = ReportInput {
            outcome,
            curves: &curves,
            plots: &plotted,
            comparisons: &[],
            sheet: &sheet,
            channels: &[],
            stamp: None,
            shop: None,
        };
        let mut drawn = plots(&input, &People::of(outcome));
        let count = |drawn: &Plots| drawn.body.len() + drawn.curves.len();
        let before = count(&drawn);
        let taken = take(&mut drawn, outcome);
        assert_eq!(count(&drawn) + usize::from(taken.is_some()), before, "it is taken, not copied");
        taken.map(|plot| plot.what)
    }

    /// Of an outcome whose findings decide nothing but the first of a kind, and whose figures nothing but the first of a name.
    fn only(
        mut outcome: Outcome,
        finding: Option<FindingKind>,
        figure: Option<(FigureName, Verdict)>,
    ) -> Outcome {
        for found in &mut outcome.findings {
            found.decides = finding.is_some_and(|kind| found.kind == kind.name());
        }
        for own in &mut outcome.figures {
            let wanted = figure.filter(|(name, _)| own.figure == name.name());
            own.verdict = wanted.map(|(_, verdict)| verdict);
        }
        outcome
    }

    #[test]
    fn the_picture_of_a_finding_that_decides_goes_before_that_of_a_figure() {
        let noisy = Some((FigureName::Noise, Verdict::Outside));
        let worn = |finding, figure| what(&only(fixture::worn(), finding, figure));
        assert_eq!(worn(Some(FindingKind::FlatSpot), noisy).as_deref(), Some("close_up 2"));
        assert_eq!(worn(Some(FindingKind::Dropout), noisy).as_deref(), Some("travel"));
        assert_eq!(worn(None, noisy).as_deref(), Some("noise"));
        assert_eq!(worn(None, None), None);
        let body = |finding, figure| what(&only(body_fixture::worn(), finding, figure));
        let late = Some((FigureName::LatencyP99, Verdict::Within));
        assert_eq!(body(Some(FindingKind::WornTooth), late).as_deref(), Some("lost_motion"));
        assert_eq!(body(None, late).as_deref(), Some("lag"));
    }

    #[test]
    fn a_figure_outside_goes_before_one_that_is_nearer_to_its_limit() {
        let mut outcome = only(fixture::worn(), None, Some((FigureName::Noise, Verdict::Within)));
        let correlation = FigureName::CorrelationWorst.name();
        for figure in outcome.figures.iter_mut().filter(|f| f.figure == correlation) {
            figure.verdict = Some(Verdict::Outside);
        }
        assert_eq!(what(&outcome).as_deref(), Some("correlation"));
    }
}
