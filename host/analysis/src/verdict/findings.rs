//! What each finding does to the verdict.
//!
//! - A flat spot shallower than the sheet's least depth explains; one whose depth may be on either side of it, its uncertainty
//!   counted, leaves the part `undecided` at most.
//! - One that the sheet lets decide and that is sure (95 %, as figures must be) makes the part `outside`.
//! - One with less than that, but more likely true than not, leaves it `undecided`: the part can't be called good while a
//!   defect is the likelier explanation, nor bad.
//! - One that is likelier false than true does nothing by itself: when every figure keeps its limit beyond the guard band, a
//!   guess at a cause is not a reason to withhold `within`. It is still reported.
//! - `not_testable` says that a part of the test says nothing: it leaves the part `undecided`, and never condemns.
//! - Causes that were put up for one and the same deviation of the lines are rivals: at most one of them is true. So their
//!   confidences add: together they say how likely it is that one of those that decide is there, and `undecided` follows
//!   from that sum. It is stated once, by the strongest. `outside` needs one that is sure by itself, for a technician is to be
//!   told what is broken.

use super::DecidedFinding;
use super::Verdict;
use super::conformity::conformity_at;
use crate::analysis::Finding;
use crate::analysis::flat_spot::{DEPTH_PERCENT, DEPTH_UNCERTAINTY, GRAIN_PERCENT};
use crate::analysis::noise_map::NOISE;
use crate::quantity::{Condition, FigureName, FindingKind};
use crate::sheet::{FindingRule, PartSheet};
use serde::{Deserialize, Serialize};

/// Confidence from which a finding makes a part `outside`. The same 95 % that figures must have.
pub const DECIDING_CONFIDENCE: f64 = 0.95;

/// Confidence from which a finding keeps a part from being `within`: likelier true than not.
pub const LEAST_CONFIDENCE: f64 = 0.5;

/// How well the mean of a noisy stretch's window is known, relative: about 120 differences.
const NOISE_KNOWN: f64 = 0.08;

/// The detail that causes carry which were found as explanations of one and the same deviation of the pair.
const RIVALS: &str = "deviation_score";

/// What a finding does to the verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum FindingEffect {
    /// It makes the part `outside`.
    Outside,
    /// It is not sure enough for that, and keeps the part from being `within`.
    Undecided,
    /// Another explanation of the same deviation is likelier and speaks for both.
    Rival,
    /// It is likelier false than true, so it does nothing.
    TooWeak,
    /// By the sheet it explains, and the figures decide.
    Explains,
}

impl FindingEffect {
    /// As people read it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Outside => "makes the part outside",
            Self::Undecided => "leaves the part undecided",
            Self::Rival => "does not count beside the likelier explanation of the same deviation",
            Self::TooWeak => "too unsure to count",
            Self::Explains => "explains; the figures decide",
        }
    }
}

/// The effect of every finding, in their order, where what makes a part `outside` must have the probability `sure`.
pub(super) fn decide(findings: Vec<&Finding>, sheet: &PartSheet, sure: f64) -> Vec<DecidedFinding> {
    let rule = |f: &Finding| sheet.findings.iter().find(|r| r.kind == f.kind);
    // A kind that the sheet does not know decides: better undecided or outside than passed over.
    let decides = |f: &Finding| rule(f).is_none_or(|r| r.decides);
    let rivals: Vec<&Finding> = findings.iter().copied().filter(|f| is_rival(f) && decides(f)).collect();
    let together: f64 = rivals.iter().map(|f| sureness(f)).sum();
    let strongest = rivals.into_iter().max_by(|a, b| sureness(a).total_cmp(&sureness(b)));
    let effect = |f: &Finding| {
        if f.kind == FindingKind::NotTestable {
            let likely = sureness(f) >= LEAST_CONFIDENCE;
            return if likely { FindingEffect::Undecided } else { FindingEffect::TooWeak };
        }
        let deep = milder(
            rule(f).map_or(Verdict::Outside, |rule| depth_against(f, rule, sure)),
            loudness_against(f, sheet, sure),
        );
        if !decides(f) || deep == Verdict::Within {
            return FindingEffect::Explains;
        }
        let speaks = strongest.is_some_and(|s| std::ptr::eq(s, f));
        let likely = if speaks { together } else { sureness(f) };
        match sureness(f) {
            own if own >= sure && deep == Verdict::Outside => FindingEffect::Outside,
            _ if is_rival(f) && !speaks => FindingEffect::Rival,
            _ if likely >= LEAST_CONFIDENCE => FindingEffect::Undecided,
            _ => FindingEffect::TooWeak,
        }
    };
    let source = |rule: &FindingRule| rule.source.clone();
    let decided = |f: &Finding| DecidedFinding {
        finding: with_depth_said(f, rule(f), sheet, sure),
        effect: effect(f),
        source: rule(f).map(source).unwrap_or_default(),
        sweep: None,
    };
    findings.iter().map(|f| decided(f)).collect()
}

/// The least depth that decides, % of span: the sheet's, or what the line's own grain reaches where that is deeper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastDepth {
    /// % of span.
    pub percent: f64,
    /// Whether it is the grain's.
    pub of_grain: bool,
}

impl LeastDepth {
    /// From the sheet's and the grain's reach, where that is known.
    pub fn of(sheet: f64, grain: Option<f64>) -> Self {
        let reach = grain.filter(|g| *g > sheet);
        Self { percent: reach.unwrap_or(sheet), of_grain: reach.is_some() }
    }

    fn of_finding(finding: &Finding, rule: &FindingRule) -> Option<Self> {
        Some(Self::of(rule.least_depth_percent_span?, detail(finding, GRAIN_PERCENT)))
    }
}

fn detail(finding: &Finding, name: &str) -> Option<f64> {
    finding.details.iter().find(|d| d.name == name).map(|d| d.value)
}

/// A finding's depth against the least that decides: `Within` = too shallow to matter, `Outside` = surely deep enough. What has
/// no depth, or no least one, is deep enough.
fn depth_against(finding: &Finding, rule: &FindingRule, sure: f64) -> Verdict {
    match (LeastDepth::of_finding(finding, rule), detail(finding, DEPTH_PERCENT)) {
        (Some(least), Some(depth)) => {
            let uncertainty = detail(finding, DEPTH_UNCERTAINTY).unwrap_or(0.0);
            conformity_at(sure, depth, uncertainty, None, Some(least.percent)).verdict
        }
        _ => Verdict::Outside,
    }
}

/// What is left of a finding that two measures hold against a limit each.
fn milder(one: Verdict, other: Verdict) -> Verdict {
    match (one, other) {
        (Verdict::Within, _) | (_, Verdict::Within) => Verdict::Within,
        (Verdict::Outside, Verdict::Outside) => Verdict::Outside,
        _ => Verdict::Undecided,
    }
}

/// Noise of a noisy stretch against the sheet's limit on noise: `Within` = as quiet as any stretch may be. `Outside` for every other finding,
/// and without a limit.
fn loudness_against(finding: &Finding, sheet: &PartSheet, sure: f64) -> Verdict {
    let noise = (finding.kind == FindingKind::NoisyTrack).then(|| detail(finding, NOISE)).flatten();
    let limit = sheet.limit_for(FigureName::Noise, finding.channel, &Condition::NONE).and_then(|l| l.max);
    match (noise, limit) {
        (Some(noise), Some(most)) => {
            conformity_at(sure, noise, NOISE_KNOWN * noise, None, Some(most)).verdict
        }
        _ => Verdict::Outside,
    }
}

/// The finding, with a sentence on its depth or its noise where that keeps it from deciding.
fn with_depth_said(finding: &Finding, rule: Option<&FindingRule>, sheet: &PartSheet, sure: f64) -> Finding {
    let mut out = finding.clone();
    out.text.push_str(match loudness_against(finding, sheet, sure) {
        Verdict::Outside => "",
        Verdict::Within => "; that is within the sheet's limit on noise, so it decides nothing",
        Verdict::Undecided => {
            "; whether that keeps the sheet's limit on noise is not sure: sweep more strokes"
        }
    });
    if let Some((rule, least)) = rule.and_then(|r| Some((r, LeastDepth::of_finding(finding, r)?))) {
        let percent = least.percent;
        out.text.push_str(&match (depth_against(finding, rule, sure), least.of_grain) {
            (Verdict::Outside, _) => String::new(),
            (Verdict::Within, false) => format!("; by the sheet a flat spot decides from {percent} % of span of depth on"),
            (Verdict::Within, true) => {
                format!("; grain of this track can reach {percent:.2} % of span, so this may be one: it decides nothing")
            }
            (Verdict::Undecided, false) => format!(
                "; whether it is deeper than {percent} % of span, from which the sheet lets it decide, is not sure: sweep more strokes"
            ),
            (Verdict::Undecided, true) => format!(
                "; whether it is deeper than the {percent:.2} % of span that grain of this track can reach is not sure: sweep more strokes"
            ),
        });
    }
    out
}

fn is_rival(finding: &Finding) -> bool {
    finding.details.iter().any(|d| d.name == RIVALS)
}

/// A confidence that can be compared; what is not a number can't be passed over, and decides nothing.
fn sureness(finding: &Finding) -> f64 {
    if finding.confidence.is_finite() { finding.confidence } else { LEAST_CONFIDENCE }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Detail;
    use crate::sheet::shipped;

    /// One of several explanations of the same deviation.
    fn rival(kind: FindingKind, confidence: f64) -> Finding {
        Finding { details: vec![Detail { name: RIVALS, value: 30.0, unit: "1" }], ..alone(kind, confidence) }
    }

    fn alone(kind: FindingKind, confidence: f64) -> Finding {
        Finding {
            kind,
            channel: None,
            from_deg: None,
            to_deg: None,
            confidence,
            text: "invented".to_owned(),
            details: vec![],
        }
    }

    #[track_caller]
    fn check(findings: &[Finding], expected: &[FindingEffect]) {
        let sheet = shipped("grip-complementary").unwrap();
        let effects: Vec<_> = decide(findings.iter().collect(), &sheet, DECIDING_CONFIDENCE)
            .into_iter()
            .map(|d| d.effect)
            .collect();
        assert_eq!(effects, expected);
    }

    #[test]
    fn a_flat_spot_decides_from_the_depth_that_the_tracks_own_grain_can_not_reach() {
        let spot = |depth: f64, uncertainty: f64, grain: f64| Finding {
            details: [(DEPTH_PERCENT, depth), (DEPTH_UNCERTAINTY, uncertainty), (GRAIN_PERCENT, grain)]
                .map(|(name, value)| Detail { name, value, unit: "% span" })
                .to_vec(),
            ..alone(FindingKind::FlatSpot, 0.99)
        };
        check(&[spot(0.4, 0.01, 0.05)], &[FindingEffect::Outside]);
        check(&[spot(0.4, 0.01, 0.5)], &[FindingEffect::Explains]);
        check(&[spot(0.5, 0.05, 0.48)], &[FindingEffect::Undecided]);
        // The sheet's least depth counts where grain is finer.
        check(&[spot(0.08, 0.005, 0.01)], &[FindingEffect::Explains]);
        let sheet = shipped("grip-complementary").unwrap();
        let said = decide(vec![&spot(0.4, 0.01, 0.5)], &sheet, DECIDING_CONFIDENCE);
        assert!(
            said[0].finding.text.contains("grain of this track can reach 0.50 % of span"),
            "{:?}",
            said[0]
        );
    }

    #[test]
    fn a_noisy_stretch_decides_from_the_sheets_limit_on_noise_on() {
        let noisy = |noise: f64| Finding {
            details: vec![Detail { name: NOISE, value: noise, unit: "mV at 5 V" }],
            ..alone(FindingKind::NoisyTrack, 0.99)
        };
        // 4 mV.
        check(&[noisy(1.8)], &[FindingEffect::Explains]);
        check(&[noisy(4.1)], &[FindingEffect::Undecided]);
        check(&[noisy(6.0)], &[FindingEffect::Outside]);
    }

    #[test]
    fn a_finding_alone_counts_by_its_own_confidence() {
        for (confidence, effect) in [
            (0.95, FindingEffect::Outside),
            (0.949, FindingEffect::Undecided),
            (0.5, FindingEffect::Undecided),
            (0.499, FindingEffect::TooWeak),
            (f64::NAN, FindingEffect::Undecided),
        ] {
            check(&[alone(FindingKind::FlatSpot, confidence)], &[effect]);
            check(&[alone(FindingKind::GainOffset, confidence)], &[FindingEffect::Explains]);
        }
        // Two weak findings of different things are not rivals: each is likelier false than true.
        let two = [alone(FindingKind::FlatSpot, 0.4), alone(FindingKind::Dropout, 0.4)];
        check(&two, &[FindingEffect::TooWeak; 2]);
    }

    #[test]
    fn a_flat_spot_decides_from_the_depth_that_the_sheet_names() {
        let spot = |depth: f64, uncertainty: f64| Finding {
            details: vec![
                Detail { name: DEPTH_PERCENT, value: depth, unit: "% span" },
                Detail { name: DEPTH_UNCERTAINTY, value: uncertainty, unit: "% span" },
            ],
            ..alone(FindingKind::FlatSpot, 0.99)
        };
        check(&[spot(0.05, 0.01)], &[FindingEffect::Explains]);
        check(&[spot(0.11, 0.02)], &[FindingEffect::Undecided]);
        check(&[spot(0.20, 0.02)], &[FindingEffect::Outside]);
        let sheet = shipped("grip-complementary").unwrap();
        let told = decide(vec![&spot(0.05, 0.01)], &sheet, DECIDING_CONFIDENCE);
        assert!(told[0].finding.text.contains("from 0.1 % of span"), "{}", told[0].finding.text);
        // Without a least depth every one decides.
        let mut any = sheet;
        any.findings.iter_mut().for_each(|r| r.least_depth_percent_span = None);
        assert_eq!(
            decide(vec![&spot(0.05, 0.01)], &any, DECIDING_CONFIDENCE)[0].effect,
            FindingEffect::Outside
        );
    }

    #[test]
    fn what_was_not_testable_leaves_the_part_undecided_however_sure_and_whatever_the_sheet_says() {
        let finding = [alone(FindingKind::NotTestable, 1.0)];
        let mut sheet = shipped("body").unwrap();
        for decides in [false, true] {
            sheet.findings.iter_mut().for_each(|r| r.decides = decides);
            let decided = decide(finding.iter().collect(), &sheet, DECIDING_CONFIDENCE);
            assert_eq!(decided[0].effect, FindingEffect::Undecided);
        }
    }

    #[test]
    fn rivals_add_up_to_doubt_and_the_strongest_speaks_for_them() {
        use FindingEffect::{Explains, Outside, Rival, TooWeak, Undecided};
        let (ground, leak, gain) = (FindingKind::GroundLead, FindingKind::Leakage, FindingKind::GainOffset);
        check(&[rival(leak, 0.3), rival(ground, 0.4)], &[Rival, Undecided]);
        check(&[rival(leak, 0.1), rival(ground, 0.3)], &[Rival, TooWeak]);
        // What decides nothing by the sheet adds nothing.
        check(&[rival(gain, 0.6), rival(leak, 0.3)], &[Explains, TooWeak]);
        check(&[rival(ground, 0.95), rival(leak, 0.05)], &[Outside, Rival]);
        // Together they may be sure, but none is: a cause must be sure by itself to condemn.
        check(&[rival(ground, 0.5), rival(leak, 0.45)], &[Undecided, Rival]);
    }
}
