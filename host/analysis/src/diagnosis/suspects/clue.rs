//! What the bench says for and against causes: each finding, and each figure outside that no finding explains, becomes a clue with the
//! causes that fit it. Where the bench can't distinguish two causes they fit alike, and stay tied. The rules are those of the physics
//! study, 3.9 and 3.10; fits are engineering assumptions. It ranks nothing.

use super::mechanics;
use crate::diagnosis::{Evidence, FigureEvidence, FindingEvidence};
use crate::quantity::{Cause, Channel, FigureName, FindingKind, PartKind};
use crate::verdict::Verdict;

/// The detail of findings that explain one and the same deviation of the pair.
const RIVALS: &str = "deviation_score";
/// Drops in other leads shift the lines too: how well a cause fits beside the best, nats.
pub(super) const BADLY: f64 = -3.0;
/// A cause that fits, though the bench speaks rather for another, nats.
pub(super) const RATHER_NOT: f64 = -1.5;

/// Something seen, and the causes that fit it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Clue {
    /// What was seen, with its number.
    pub says: String,
    /// How sure it is that it was seen, 0..1.
    pub sureness: f64,
    /// Its line.
    pub channel: Option<Channel>,
    /// Causes that fit, with their log-likelihood beside the best fitting one, ≤ 0.
    pub fits: Vec<(Cause, f64)>,
    /// Causes that also bring it about, though it would not lead to them.
    pub absorbed_by: Vec<Cause>,
}

impl Clue {
    /// Weight that it gives to a cause, nats; none when the cause does not fit.
    pub fn weight(&self, cause: Cause) -> Option<f64> {
        let fit = self.fits.iter().find(|(c, _)| *c == cause)?.1;
        Some(odds(self.sureness) + fit)
    }

    /// Whether a cause accounts for it.
    pub fn is_explained_by(&self, cause: Cause) -> bool {
        self.absorbed_by.contains(&cause) || self.fits.iter().any(|(c, _)| *c == cause)
    }
}

/// How much likelier the clue makes its causes, nats: log-odds of its sureness over those that one part in a hundred has before anything
/// is seen (engineering assumption). A weak finding says much where something must be wrong: 0.4 weighs 4.2, 0.99 weighs 9.2.
fn odds(sureness: f64) -> f64 {
    let p = if sureness.is_finite() { sureness.clamp(0.01, 0.99) } else { 0.5 };
    (p / (1.0 - p)).ln() + 99.0_f64.ln()
}

/// A number among a finding's details, by the beginning of its name: the end is its unit.
pub(super) fn detail(finding: &FindingEvidence, name: &str) -> Option<f64> {
    let fits = |key: &str| key == name || key.strip_prefix(name).is_some_and(|end| end.starts_with('_'));
    finding.details.iter().find(|(key, _)| fits(key)).map(|(_, v)| *v).filter(|v| v.is_finite())
}

/// Only in a complementary sensor does the second line fall.
const fn place_of(channel: Channel) -> &'static str {
    match channel {
        Channel::Rising => "first",
        _ => "second",
    }
}

/// A finding in words: kind, line, place, numbers, confidence.
pub(super) fn words(finding: &FindingEvidence) -> String {
    let mut out = finding.kind.title().to_owned();
    if let Some(channel) = finding.channel {
        out.push_str(&format!(" of the {} line", place_of(channel)));
    }
    match (finding.from_deg, finding.to_deg) {
        (Some(from), Some(to)) if to - from > 0.05 => out.push_str(&format!(" at {from:.1} to {to:.1} deg")),
        (Some(at), _) | (_, Some(at)) => out.push_str(&format!(" at {at:.1} deg")),
        _ => {}
    }
    out.push_str(&format!(", confidence {:.0} %", 100.0 * finding.confidence));
    if let Some(number) = mechanics::number(finding) {
        out.push_str(&format!(" ({number})"));
    }
    out
}

/// Every clue, the ones to begin with first.
pub(super) fn clues(evidence: &Evidence) -> Vec<Clue> {
    let mut out: Vec<Clue> = Vec::new();
    let rival = |f: &&FindingEvidence| f.details.contains_key(RIVALS);
    let mut rivals: Vec<&FindingEvidence> = evidence.findings.iter().filter(rival).collect();
    rivals.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    let dead: Vec<&FindingEvidence> =
        evidence.findings.iter().filter(|f| f.kind == FindingKind::DeadChannel).collect();
    for finding in &evidence.findings {
        if finding.details.contains_key(RIVALS) {
            if rivals.first().is_some_and(|first| std::ptr::eq(*first, finding)) {
                out.push(deviation(&rivals, evidence.kind));
            }
            continue;
        }
        if finding.kind == FindingKind::DeadChannel && dead.len() > 1 {
            if std::ptr::eq(dead[0], finding) {
                out.push(both_dead(finding));
            }
            continue;
        }
        let fits = match finding.kind {
            FindingKind::NotTestable => continue,
            kind if kind < FindingKind::WornTooth => sensor(finding, evidence),
            _ => mechanics::fits(finding, evidence),
        };
        out.push(Clue {
            says: words(finding),
            sureness: finding.confidence,
            channel: finding.channel,
            fits,
            absorbed_by: if evidence.kind == PartKind::Grip && finding.kind.is_of_a_return() {
                // Stick-slip holds the grip open too.
                vec![Cause::SensorPlay, Cause::Seized]
            } else {
                absorbers(finding.kind, finding.channel, &dead)
            },
        });
    }
    // What is likelier false than true comes after all that is likelier.
    out.sort_by_key(|c| c.sureness < 0.5);
    let at = out.iter().position(|c| c.sureness < 0.5).unwrap_or(out.len());
    let of_figures = figures(evidence, out.is_empty());
    out.splice(at..at, of_figures);
    out
}

/// Causes whose consequence a finding may be.
fn absorbers(kind: FindingKind, line: Option<Channel>, dead: &[&FindingEvidence]) -> Vec<Cause> {
    use Cause as C;
    let mut out = match kind {
        FindingKind::Dropout | FindingKind::FeedbackIntermittent => vec![C::Seized, C::SwappedLines],
        FindingKind::FlatSpot => vec![
            C::DeadBand,
            C::SensorPlay,
            C::LiftingWiper,
            C::NoisyTrack,
            C::SignalContact,
            C::SupplyContact,
        ],
        FindingKind::NoisyTrack => {
            vec![
                C::LiftingWiper,
                C::SignalContact,
                C::SupplyContact,
                C::ImpactContact,
                C::FlatSpot,
                C::SensorPlay,
            ]
        }
        FindingKind::CommonNonlinearity => vec![C::DeadBand, C::SwappedLines, C::FlatSpot],
        FindingKind::GainOffset | FindingKind::FeedbackOffset => {
            vec![C::SignalContact, C::SupplyContact, C::ImpactContact, C::DeadElement, C::BrokenSignalWire]
        }
        FindingKind::WornTooth | FindingKind::MissingTooth => {
            vec![C::BrushDeadSpot, C::BrokenMainSpring, C::BrokenDefaultSpring]
        }
        FindingKind::BrushDeadSpot => {
            vec![C::MissingTooth, C::WindingResistance, C::WornBrushes, C::MotorTerminal]
        }
        FindingKind::Lash => vec![C::MissingTooth, C::BrokenMainSpring, C::BrokenDefaultSpring],
        FindingKind::DryBearing | FindingKind::StickyPlate => {
            vec![
                C::MissingTooth,
                C::BrokenMainSpring,
                C::BrokenDefaultSpring,
                C::WeakMainSpring,
                C::WeakDefaultSpring,
            ]
        }
        FindingKind::WeakSpring => vec![C::BrokenMainSpring, C::BrokenDefaultSpring],
        // Gears that jam hold the plate.
        FindingKind::SlowReturn => vec![C::MissingTooth, C::WornTooth],
        FindingKind::Winding => vec![C::BrushDeadSpot, C::MissingTooth],
        _ => Vec::new(),
    };
    let dropped = matches!(kind, FindingKind::Dropout | FindingKind::FeedbackIntermittent);
    if dropped && dead.iter().any(|d| line.is_none() || d.channel == line) {
        out.extend([C::DeadElement, C::BrokenSignalWire]);
    }
    out
}

/// The explanations of one deviation of the pair, weighed as the analysis weighed them.
fn deviation(rivals: &[&FindingEvidence], kind: PartKind) -> Clue {
    let best = rivals[0];
    let mut fits: Vec<(Cause, f64)> = Vec::new();
    for finding in rivals {
        let fit = (finding.confidence.max(1e-3) / best.confidence.max(1e-3)).ln().min(0.0);
        let causes: &[Cause] = match finding.kind {
            FindingKind::GroundLead => &[Cause::GroundLead],
            FindingKind::SupplyLead => &[Cause::SupplyLead],
            FindingKind::Leakage => &[Cause::Leakage],
            FindingKind::CommonNonlinearity if kind == PartKind::Grip => {
                &[Cause::OffCentre, Cause::RigCoupling]
            }
            FindingKind::CommonNonlinearity => &[Cause::OffCentre],
            _ => &[Cause::GainOffset],
        };
        for cause in causes {
            // The same cause at either line is one cause: the likelier line speaks.
            if fits.iter().all(|(c, _)| c != cause) {
                fits.push((*cause, fit));
            }
        }
        if finding.kind == FindingKind::FeedbackOffset && !fits.iter().any(|(c, _)| *c == Cause::Leakage) {
            fits.push((Cause::Leakage, fit + leak_fit(finding)));
        }
    }
    let together: f64 = rivals.iter().map(|f| f.confidence).sum();
    let told = rivals.iter().map(|f| words(f)).collect::<Vec<_>>();
    let says = if told.len() == 1 {
        told.join("")
    } else {
        format!("the lines lie off the sheet; {}", told.join("; or "))
    };
    let channel = best.channel.filter(|c| rivals.iter().all(|r| r.channel == Some(*c)));
    let absorbed_by = vec![
        Cause::SwappedLines,
        Cause::DeadBand,
        Cause::SupplyContact,
        Cause::SignalContact,
        Cause::LiftingWiper,
        Cause::ImpactContact,
        Cause::FlatSpot,
    ];
    Clue { says, sureness: together.min(0.99), channel, fits, absorbed_by }
}

/// How a leak fits a pair that disagrees, with nothing to show which line is off: a leak shifts and tilts, an offset shifts alone.
fn leak_fit(finding: &FindingEvidence) -> f64 {
    match (detail(finding, "correlation_offset"), detail(finding, "correlation_slope")) {
        (Some(offset), Some(slope)) if slope.abs() < 0.6 * offset.abs() => 2.0 * RATHER_NOT,
        (Some(offset), Some(slope)) if offset.abs() < 0.2 * slope.abs() => 2.0 * RATHER_NOT,
        _ => 0.0,
    }
}

fn both_dead(first: &FindingEvidence) -> Clue {
    Clue {
        says: format!("both lines dead, confidence {:.0} %", 100.0 * first.confidence),
        sureness: first.confidence,
        channel: None,
        fits: vec![
            (Cause::SupplyContact, 0.0),
            (Cause::DeadElement, RATHER_NOT),
            (Cause::BrokenSignalWire, BADLY),
        ],
        absorbed_by: Vec::new(),
    }
}

/// Findings of a sensor, grip or feedback pair.
fn sensor(finding: &FindingEvidence, evidence: &Evidence) -> Vec<(Cause, f64)> {
    use Cause as C;
    match finding.kind {
        FindingKind::NotMoving => not_moving(finding, evidence.kind),
        FindingKind::SwappedChannels => vec![(C::SwappedLines, 0.0)],
        FindingKind::DeadChannel => vec![(C::DeadElement, 0.0), (C::BrokenSignalWire, 0.0)],
        FindingKind::Dropout => contact(finding),
        FindingKind::FlatSpot if detail(finding, "on_both_lines").is_some_and(|v| v > 0.5) => {
            vec![(C::FlatSpot, 0.0), (C::RigCoupling, 0.0)]
        }
        FindingKind::FlatSpot => vec![(C::FlatSpot, 0.0)],
        FindingKind::NoisyTrack => vec![(C::NoisyTrack, 0.0), (C::LiftingWiper, BADLY)],
        FindingKind::SupplyLead => vec![(C::SupplyLead, 0.0)],
        FindingKind::GroundLead => vec![(C::GroundLead, 0.0)],
        FindingKind::SignalLead => vec![(C::SignalLead, 0.0)],
        FindingKind::Leakage => vec![(C::Leakage, 0.0)],
        // A plate's feedback has no coupling of the rig's.
        FindingKind::CommonNonlinearity if evidence.kind == PartKind::Body => vec![(C::OffCentre, 0.0)],
        FindingKind::CommonNonlinearity => vec![(C::OffCentre, 0.0), (C::RigCoupling, 0.0)],
        _ => vec![(C::GainOffset, 0.0)],
    }
}

/// A contact that was lost: where it stays distinguishes track from wire.
fn contact(finding: &FindingEvidence) -> Vec<(Cause, f64)> {
    if finding.channel.is_none() {
        return vec![(Cause::SupplyContact, 0.0)];
    }
    let locked = detail(finding, "same_place").is_some();
    let often = detail(finding, "events").is_some_and(|n| n >= 3.0);
    match (locked, often) {
        (true, _) => vec![(Cause::LiftingWiper, 0.0), (Cause::SignalContact, BADLY)],
        (false, true) => vec![(Cause::SignalContact, 0.0), (Cause::LiftingWiper, BADLY)],
        (false, false) => vec![(Cause::SignalContact, 0.0), (Cause::LiftingWiper, 0.0)],
    }
}

fn not_moving(finding: &FindingEvidence, kind: PartKind) -> Vec<(Cause, f64)> {
    let turned = detail(finding, "travel").is_some_and(|deg| deg > 20.0);
    match kind {
        PartKind::Body => vec![
            (Cause::MotorTerminal, 0.0),
            (Cause::MissingTooth, 0.0),
            (Cause::SupplyContact, RATHER_NOT),
            (Cause::StickyPlate, RATHER_NOT),
        ],
        // Of a pair it is the grip that did not move: a plate that does not is found by rest and stops.
        PartKind::Grip | PartKind::Pair if turned => {
            vec![(Cause::RigCoupling, 0.0), (Cause::SupplyContact, 0.0)]
        }
        // A drive that did not push says nothing of the part.
        PartKind::Grip | PartKind::Pair if finding.confidence < 0.9 => {
            vec![(Cause::RigCoupling, 0.0), (Cause::Seized, 0.0)]
        }
        PartKind::Grip | PartKind::Pair => vec![(Cause::Seized, 0.0), (Cause::RigCoupling, RATHER_NOT)],
    }
}

/// Figures outside: play and dead bands always, the others where no finding leads anywhere.
fn figures(evidence: &Evidence, alone: bool) -> Vec<Clue> {
    let mut outside: Vec<&FigureEvidence> =
        evidence.figures.iter().filter(|f| f.verdict == Some(Verdict::Outside)).collect();
    // Play and dead bands shift the other figures too.
    let leads = |f: &FigureEvidence| {
        matches!(f.name, FigureName::Hysteresis | FigureName::DeadBandClosed | FigureName::DeadBandOpen)
    };
    outside.sort_by_key(|f| !leads(f));
    let alone = alone && !outside.iter().any(|f| leads(f));
    let mut out: Vec<Clue> = Vec::new();
    for figure in &outside {
        let same = outside.iter().filter(|f| f.name == figure.name).count();
        let Some(fits) = of_figure(figure, same, evidence.kind, alone) else { continue };
        if out.iter().any(|c: &Clue| c.fits == fits) {
            continue;
        }
        let line = figure.channel.map_or(String::new(), |c| format!(", {} line", place_of(c)));
        out.push(Clue {
            says: format!("{}{line}: {}, outside its limit", figure.name.title(), value(figure)),
            sureness: if alone { 0.9 } else { 0.95 },
            channel: figure.channel.filter(|_| same == 1),
            fits,
            absorbed_by: disturbances(figure.name),
        });
    }
    out
}

fn value(figure: &FigureEvidence) -> String {
    crate::quantity::rounding::measured(figure.value, 2.0 * figure.standard_uncertainty, figure.name.unit())
}

/// What disturbs a line so much that play and dead band can't be read off it.
fn disturbances(name: FigureName) -> Vec<Cause> {
    use Cause as C;
    let mut out = vec![
        C::FlatSpot,
        C::NoisyTrack,
        C::LiftingWiper,
        C::SignalContact,
        C::SupplyContact,
        C::ImpactContact,
        C::SwappedLines,
        C::Seized,
        C::DeadElement,
        C::BrokenSignalWire,
        C::MissingTooth,
    ];
    if name != FigureName::Hysteresis {
        out.extend([C::SensorPlay, C::OffCentre]);
    }
    out
}

fn of_figure(
    figure: &FigureEvidence,
    lines: usize,
    kind: PartKind,
    alone: bool,
) -> Option<Vec<(Cause, f64)>> {
    use Cause as C;
    use FigureName as F;
    let fits = match figure.name {
        F::Hysteresis if kind == PartKind::Body => vec![(C::SensorPlay, 0.0)],
        // The coupling moves both lines.
        F::Hysteresis if lines == 1 => vec![(C::SensorPlay, 0.0), (C::RigCoupling, BADLY)],
        F::Hysteresis => vec![(C::SensorPlay, 0.0), (C::RigCoupling, 0.0)],
        F::DeadBandClosed | F::DeadBandOpen => vec![(C::DeadBand, 0.0), (C::RigCoupling, RATHER_NOT)],
        _ if !alone => return None,
        F::ClosedVolts
        | F::OpenVolts
        | F::Span
        | F::CorrelationWorst
        | F::CorrelationOffset
        | F::CorrelationSlope
        | F::CorrelationMomentary => {
            vec![(C::GainOffset, 0.0), (C::Leakage, -0.5)]
        }
        F::LinearityIndependent | F::LinearityTerminal | F::LinearityZeroBased => {
            vec![(C::OffCentre, 0.0), (C::FlatSpot, -0.5)]
        }
        F::Noise => vec![(C::NoisyTrack, 0.0)],
        F::DropoutRate => vec![(C::SignalContact, 0.0), (C::SupplyContact, 0.0)],
        name => mechanics::of_figure(name)?,
    };
    Some(fits)
}
