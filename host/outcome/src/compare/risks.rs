//! What the limits of a sheet risk under the rule that verdicts follow: how often a part that is beyond a limit is accepted (the consumer's
//! risk), and a part that keeps it is called outside or left undecided (the producer's). JCGM 106:2012, clauses 8 and 9; the integrals are
//! in `verdict/risk.rs`.
//!
//! A single part needs no assumption: what is accepted is beyond its limit with 5 % at most. All parts together need one, how they are
//! spread: from records of parts as they came in, else what is assumed here and said to be. How uncertain a measurement is a sheet does not
//! know; without records the risks are reported for ratios of tolerance to uncertainty.

use super::SCHEMA_VERSION;
use super::normality::Shape;
use super::proposal::{Group, NoProposal, groups, usable};
use super::standing::LeftOut;
use super::subject::Subject;
use super::tolerance::Claim;
use crate::analysis::statistics::normal_quantile;
use crate::quantity::{Channel, Condition, FigureName, Unit, Written};
use crate::sheet::{Limit, PartSheet};
use crate::verdict::{CONFORMANCE_PROBABILITY, Measured, Risks, guard_factor};
use serde::Serialize;

/// Ratios that risks are reported for: half the tolerance to the expanded uncertainty (k = 2). For one limit its distance from the middle of
/// the parts takes the place of half the tolerance.
// Between two limits it is the measurement capability index of JCGM 106:2012, 7.6: tolerance to 4 u.
pub const RATIOS: [f64; 4] = [10.0, 4.0, 2.0, 1.0];

/// Share of parts that keep a limit, where nothing is known of them.
const ASSUMED_WITHIN: f64 = 0.95;

/// What is assumed of parts where no records show.
const ASSUMED: &str = "parts are spread normally, around the middle between two limits, and 95 % of them keep a limit: common practice, no source";
/// What records show.
const FROM_RECORDS: &str = "parts are spread normally with mean and standard deviation of the records given; the scatter of their measurement is in the spread";

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SheetRisks {
    /// Shape version.
    pub schema: u32,
    /// `sheet_risks`.
    pub document: &'static str,
    /// Name of the sheet.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub sheet: String,
    /// The rule.
    pub rule: Rule,
    /// What a part exactly at a single limit, or at one of two far ones, is called.
    pub at_a_limit: Said,
    /// Probability that a part is truly beyond a limit, whose measured value lies at the edge of the guard band and is accepted.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub accepted_at_worst: f64,
    /// Risks over all parts for ratios of tolerance to uncertainty.
    pub assumed: Assumed,
    /// Where the spread of parts is taken from; null without records.
    pub records: Option<Records>,
    /// One per limit of the sheet, in its order.
    pub limits: Vec<LimitRisk>,
}

/// The rule.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Rule {
    /// Probability that `within` and `outside` need.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0.5, "exclusiveMaximum" = 1)))]
    pub conformance_probability: f64,
    /// Guard band of a single limit, standard uncertainties.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub guard_factor: f64,
    /// Where it comes from.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub source: &'static str,
}

/// What the limits do to parts: shares that add up to 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Said {
    /// `within`.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub within: f64,
    /// `outside`.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub outside: f64,
    /// `undecided`.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub undecided: f64,
}

/// Risks under an assumption about parts.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Assumed {
    /// The assumption.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub assumption: &'static str,
    /// Between two limits, one per ratio.
    pub two_limits: Vec<AtRatio>,
    /// With one limit, one per ratio.
    pub one_limit: Vec<AtRatio>,
}

/// Risks at a ratio.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct AtRatio {
    /// Half the tolerance to the expanded uncertainty.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub ratio: f64,
    /// The risks.
    #[serde(flatten)]
    pub risks: RiskShares,
}

/// Risks over all parts: shares of all parts but for the last.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RiskShares {
    /// Parts beyond a limit.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub beyond: f64,
    /// Beyond a limit, and called within: the consumer's risk.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub consumers_risk: f64,
    /// Within the limits, and called outside: the producer's risk.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub producers_risk: f64,
    /// Within the limits, and left undecided.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub good_undecided: f64,
    /// Of the parts that are called within, those that are beyond a limit.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub accepted_beyond: f64,
}

/// The records that the spread of parts is taken from.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Records {
    /// How many are used.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub used: usize,
    /// Whether they were simulated.
    pub simulated: bool,
    /// What is assumed all the same.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub assumption: &'static str,
    /// Records that were not used, and why.
    pub left_out: Vec<LeftOut>,
}

/// One limit of the sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct LimitRisk {
    /// Figure.
    pub figure: Written<FigureName>,
    /// Line; null for every line, or the pair.
    pub channel: Option<Written<Channel>>,
    /// Under which condition.
    #[serde(skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Unit of every number.
    pub unit: Unit,
    /// Smallest allowed.
    pub min: Option<f64>,
    /// Largest allowed.
    pub max: Option<f64>,
    /// Of events: the rate that a clean test excludes with 95 % probability: a part with as many passes it with 5 %. Null for other limits.
    pub bound: Option<f64>,
    /// Between two limits, largest standard uncertainty for each ratio; empty for one limit, whose distance from the parts is not known.
    pub uncertainty_for_ratio: Vec<UncertaintyFor>,
    /// From the records: one per quantity that the limit speaks of.
    pub measured: Vec<MeasuredRisk>,
    /// Why the records show nothing for it; null where they do, and without records.
    pub not_from_records: Option<String>,
}

/// The uncertainty that a ratio takes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct UncertaintyFor {
    /// Half the tolerance to the expanded uncertainty.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub ratio: f64,
    /// Standard uncertainty, in the limit's unit.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_uncertainty: f64,
}

/// Risks at a limit for parts and measurements as the records show them.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct MeasuredRisk {
    /// Line; null for the pair or the part.
    pub channel: Option<Written<Channel>>,
    /// Under which condition.
    #[serde(skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Parts that have it.
    #[cfg_attr(feature = "schemas", schemars(range(min = 2)))]
    pub parts: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub standard_deviation: f64,
    /// Mean standard uncertainty of one measurement.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_uncertainty: f64,
    /// Whether the values look normal; one that does not has no risks reported.
    pub shape: Shape,
    /// The risks.
    #[serde(flatten)]
    pub risks: RiskShares,
}

impl From<Risks> for RiskShares {
    fn from(risks: Risks) -> Self {
        // An integral may exceed a whole by its last digits.
        let share = |value: f64| value.clamp(0.0, 1.0);
        Self {
            beyond: share(risks.beyond),
            consumers_risk: share(risks.consumer),
            producers_risk: share(risks.producer),
            good_undecided: share(risks.held_back),
            accepted_beyond: share(risks.of_accepted()),
        }
    }
}

/// The risks of a sheet's limits; for parts and measurements as `records` show them where there are any.
///
/// # Errors
/// [`NoProposal`] when too few of the records are usable, or simulated and real parts are mixed.
pub fn risks(sheet: &PartSheet, records: &[Subject<'_>]) -> Result<SheetRisks, NoProposal> {
    let used = if records.is_empty() { None } else { Some(usable(records, sheet, true)?) };
    let parts = used.as_ref().map(|(parts, _)| parts.as_slice());
    let single = Measured { min: None, max: Some(0.0), u: 1.0 };
    let zones = single.zones(CONFORMANCE_PROBABILITY);
    let at = single.said(0.0, &zones);
    Ok(SheetRisks {
        schema: SCHEMA_VERSION,
        document: "sheet_risks",
        sheet: sheet.name.clone(),
        rule: Rule {
            conformance_probability: CONFORMANCE_PROBABILITY,
            guard_factor: guard_factor(CONFORMANCE_PROBABILITY),
            source: "ISO 14253-1:2017, default rule; risks by JCGM 106:2012, clauses 8 and 9",
        },
        at_a_limit: Said { within: at.accepted, outside: at.outside, undecided: at.undecided },
        accepted_at_worst: 1.0 - CONFORMANCE_PROBABILITY,
        assumed: Assumed {
            assumption: ASSUMED,
            two_limits: RATIOS.map(|ratio| at_ratio(ratio, Some(-1.0))).to_vec(),
            one_limit: RATIOS.map(|ratio| at_ratio(ratio, None)).to_vec(),
        },
        limits: sheet.limits.iter().map(|limit| of_limit(limit, parts, sheet)).collect(),
        records: used.map(|(parts, left_out)| Records {
            used: parts.len(),
            simulated: parts.iter().any(|p| p.outcome.simulated),
            assumption: FROM_RECORDS,
            left_out,
        }),
    })
}

/// At a largest value of 1, the middle of the parts at 0.
fn at_ratio(ratio: f64, min: Option<f64>) -> AtRatio {
    let measured = Measured { min, max: Some(1.0), u: 0.5 / ratio };
    let within = if min.is_some() { 0.5 * (1.0 + ASSUMED_WITHIN) } else { ASSUMED_WITHIN };
    let zones = measured.zones(CONFORMANCE_PROBABILITY);
    AtRatio { ratio, risks: measured.risks_of_normal(&zones, 0.0, 1.0 / normal_quantile(within)).into() }
}

fn of_limit(limit: &Limit, parts: Option<&[Subject<'_>]>, sheet: &PartSheet) -> LimitRisk {
    let mut out = LimitRisk {
        figure: limit.figure.into(),
        channel: limit.channel.map(Into::into),
        condition: limit.condition,
        unit: limit.unit,
        min: limit.min,
        max: limit.max,
        bound: limit.bound,
        uncertainty_for_ratio: Vec::new(),
        measured: Vec::new(),
        not_from_records: None,
    };
    if let (Some(min), Some(max)) = (limit.min, limit.max) {
        let half = 0.5 * (max - min);
        let of = |ratio| UncertaintyFor { ratio, standard_uncertainty: 0.5 * half / ratio };
        out.uncertainty_for_ratio = RATIOS.map(of).to_vec();
    }
    // The factor of a bound is not used, so any claim does.
    let claim = Claim { coverage: ASSUMED_WITHIN, confidence: ASSUMED_WITHIN };
    match parts.map(|parts| groups(limit, parts, sheet, claim)) {
        Some(Ok(groups)) => out.measured = groups.into_iter().map(|group| of_group(limit, group)).collect(),
        Some(Err(why)) => out.not_from_records = Some(why),
        None => {}
    }
    out
}

fn of_group(limit: &Limit, group: Group) -> MeasuredRisk {
    let u = 0.5 * group.expanded_uncertainty;
    let measured = Measured { min: limit.min, max: limit.max, u };
    let zones = measured.zones(CONFORMANCE_PROBABILITY);
    MeasuredRisk {
        channel: group.channel,
        condition: group.condition,
        parts: group.parts,
        mean: group.mean,
        standard_deviation: group.standard_deviation,
        standard_uncertainty: u,
        shape: group.shape,
        risks: measured.risks_of_normal(&zones, group.mean, group.standard_deviation).into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::{shipped, shipped_names};

    // JCGM 106:2012, 8.3: with a guard band of 1.645 u a part at its limit is accepted with 5 % (normal distribution).
    #[test]
    fn every_shipped_sheet_tells_its_risks_and_they_are_ordered_as_they_must_be() {
        for name in shipped_names() {
            let sheet = shipped(name).unwrap();
            let told = risks(&sheet, &[]).unwrap();
            assert!((told.at_a_limit.within - 0.05).abs() < 1e-9, "{:?}", told.at_a_limit);
            assert_eq!(told.limits.len(), sheet.limits.len());
            for table in [&told.assumed.two_limits, &told.assumed.one_limit] {
                for AtRatio { ratio, risks } in table {
                    assert!((risks.beyond - 0.05).abs() < 1e-9, "{name} {ratio}: {risks:?}");
                    // Nobody is accepted with more than 5 %, so of all parts fewer than 5 % of those beyond.
                    assert!(risks.consumers_risk < 0.05 * risks.beyond, "{name} {ratio}: {risks:?}");
                }
                let held: Vec<f64> = table.iter().map(|t| t.risks.good_undecided).collect();
                assert!(held.is_sorted(), "a blunter measurement leaves more undecided: {held:?}");
            }
        }
    }

    #[test]
    fn the_uncertainty_for_a_ratio_is_a_quarter_of_the_tolerance_over_it() {
        let told = risks(&shipped("grip-complementary").unwrap(), &[]).unwrap();
        let closed = &told.limits[0];
        assert_eq!(
            (closed.figure.as_str(), closed.min, closed.max),
            ("closed_volts", Some(0.35), Some(0.65))
        );
        // JCGM 106:2012, 7.6: Cm = T/(4 u): 0.3 V/(4 × 0.01875 V) = 4.
        let four = closed.uncertainty_for_ratio.iter().find(|u| u.ratio == 4.0).unwrap();
        assert!((four.standard_uncertainty - 0.018_75).abs() < 1e-12);
        assert!(told.limits.iter().filter(|l| l.min.is_none()).all(|l| l.uncertainty_for_ratio.is_empty()));
    }
}
