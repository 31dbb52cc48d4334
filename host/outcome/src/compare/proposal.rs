//! Limits that good parts of one kind would give: normal tolerance bounds of each figure that the sheet has a limit for.
//! It proposes; who judges by them decides.
//!
//! A limit keeps its shape: one side, or both. Where it speaks of several quantities (both lines, several ranges) the outermost of their
//! bounds is taken, so that each is covered. Bounds are of values as measured: the scatter of the measurement is in the spread, what
//! all of them share (one rig's calibration) moves all bounds alike and is not seen.

use super::SCHEMA_VERSION;
use super::normality::{Shape, shape};
use super::standing::{LeftOut, distinct};
use super::subject::{Quantity, Side, Subject};
use super::tolerance::Claim;
use super::trend::smooth;
use crate::analysis::statistics::{mean, standard_deviation};
use crate::outcome::OutcomeFigure;
use crate::quantity::{Channel, Condition, FigureName, Unit, Written};
use crate::sheet::bounds::limit_range;
use crate::sheet::{Limit, PartSheet};
use crate::verdict::{Scope, Verdict};
use serde::Serialize;

/// Fewer good parts give no limit.
pub const LEAST_PARTS: usize = 10;

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Proposal {
    /// Shape version.
    pub schema: u32,
    /// `proposal`.
    pub document: &'static str,
    /// What each bound claims.
    pub claim: Claim,
    /// The sheet whose limits are looked at.
    pub sheet: String,
    /// Whether the parts were simulated.
    pub simulated: bool,
    /// The records that were used.
    pub parts: Vec<Side>,
    /// Records that were not used, and why.
    pub left_out: Vec<LeftOut>,
    /// One per limit of the sheet, in its order.
    pub limits: Vec<ProposedLimit>,
    /// How to read it.
    pub notes: Vec<String>,
}

/// One limit of the sheet, and what the parts would make of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct ProposedLimit {
    /// Figure.
    pub figure: Written<FigureName>,
    /// Line; null for every line, or the pair.
    pub channel: Option<Written<Channel>>,
    /// Under which condition.
    #[serde(skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Unit of every number.
    pub unit: Unit,
    /// The sheet's smallest.
    pub now_min: Option<f64>,
    /// The sheet's largest.
    pub now_max: Option<f64>,
    /// Proposed smallest; null where the limit has none, or stands as it is.
    pub min: Option<f64>,
    /// Proposed largest.
    pub max: Option<f64>,
    /// The quantities it speaks of.
    pub groups: Vec<Group>,
    /// Why it stands as it is; null when there is a proposal.
    pub stands: Option<String>,
}

impl ProposedLimit {
    /// Whether some of its values only doubtfully look normal.
    pub fn is_doubtful(&self) -> bool {
        self.groups.iter().any(|g| g.shape == Shape::Doubtful)
    }
}

/// One quantity over all parts.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Group {
    /// Line; null for the pair or the part.
    pub channel: Option<Written<Channel>>,
    /// Under which condition.
    #[serde(skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Parts that have it.
    pub parts: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_deviation: f64,
    /// Tolerance factor, for one side or both as the limit has.
    pub factor: f64,
    /// Mean expanded uncertainty of the single values.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
    /// Whether the values look normal.
    pub shape: Shape,
}

/// Why nothing can be proposed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoProposal {
    /// Too few parts.
    #[error(
        "{used} usable parts of the sheet's kind are left of {given} records; {LEAST_PARTS} at least are needed: record more"
    )]
    TooFew {
        /// Usable ones.
        used: usize,
        /// Given.
        given: usize,
    },
    /// Simulated and real ones.
    #[error(
        "{simulated} was simulated and {real} was not; limits come from parts of one kind: leave the one or the other out"
    )]
    Mixed {
        /// A simulated record.
        simulated: String,
        /// A real one.
        real: String,
    },
}

/// Proposes limits for a sheet from good parts of its kind.
///
/// # Errors
/// [`NoProposal`] when too few are left, or simulated and real parts are mixed.
pub fn propose(subjects: &[Subject<'_>], sheet: &PartSheet, claim: Claim) -> Result<Proposal, NoProposal> {
    let (parts, left_out) = usable(subjects, sheet, false)?;
    let limits: Vec<ProposedLimit> =
        sheet.limits.iter().map(|limit| proposed(limit, &parts, sheet, claim)).collect();
    Ok(Proposal {
        schema: SCHEMA_VERSION,
        document: "proposal",
        claim,
        sheet: sheet.name.clone(),
        simulated: parts.iter().any(|p| p.outcome.simulated),
        notes: notes(&parts, &limits, claim),
        parts: parts.iter().map(Subject::side).collect(),
        left_out,
        limits,
    })
}

/// Parts of the sheet's kind, each recording once; with those that are outside, or without.
///
/// # Errors
/// As [`propose`].
pub(super) fn usable<'a>(
    subjects: &[Subject<'a>],
    sheet: &PartSheet,
    outside_too: bool,
) -> Result<(Vec<Subject<'a>>, Vec<LeftOut>), NoProposal> {
    let (mut parts, mut left_out) = distinct(subjects, None);
    parts.retain(|s| {
        let o = s.outcome;
        let why = if o.part.kind != sheet.kind {
            Some(format!("it is a {}, and the sheet is for a {}", o.part.kind, sheet.kind.name()))
        } else if o.sheet.topology != sheet.topology {
            Some(format!("it was judged by {}, for {} pairs", o.sheet.name, o.sheet.topology))
        } else if o.verdict == Verdict::Outside && !outside_too {
            Some("its verdict is outside".to_owned())
        } else if o.scope != Scope::Part {
            Some(format!("only {} was judged, not the whole part", o.scope))
        } else if o.aborted {
            Some("its recording was cut short".to_owned())
        } else {
            None
        };
        left_out.extend(why.clone().map(|why| LeftOut { record: s.record.to_owned(), why }));
        why.is_none()
    });
    if parts.len() < LEAST_PARTS {
        return Err(NoProposal::TooFew { used: parts.len(), given: subjects.len() });
    }
    let first = |simulated| parts.iter().find(|p| p.outcome.simulated == simulated);
    if let (Some(simulated), Some(real)) = (first(true), first(false)) {
        let named = |s: &Subject<'_>| s.record.to_owned();
        return Err(NoProposal::Mixed { simulated: named(simulated), real: named(real) });
    }
    Ok((parts, left_out))
}

fn proposed(limit: &Limit, parts: &[Subject<'_>], sheet: &PartSheet, claim: Claim) -> ProposedLimit {
    let mut out = ProposedLimit {
        figure: limit.figure.into(),
        channel: limit.channel.map(Into::into),
        condition: limit.condition,
        unit: limit.unit,
        now_min: limit.min,
        now_max: limit.max,
        min: None,
        max: None,
        groups: Vec::new(),
        stands: None,
    };
    match groups(limit, parts, sheet, claim).and_then(|groups| Ok((bounds(limit, &groups)?, groups))) {
        Ok(((min, max), groups)) => (out.min, out.max, out.groups) = (min, max, groups),
        Err(why) => out.stands = Some(why),
    }
    out
}

/// The quantities that a limit decides, over all parts.
pub(super) fn groups(
    limit: &Limit,
    parts: &[Subject<'_>],
    sheet: &PartSheet,
    claim: Claim,
) -> Result<Vec<Group>, String> {
    if !smooth(&limit.figure.into()) && limit.unit != Unit::Microsecond {
        return Err("a count of events has no normal spread".to_owned());
    }
    let decided = |f: &&OutcomeFigure| {
        f.figure.known() == Some(limit.figure) && {
            let channel = f.channel.as_ref().and_then(Written::known);
            let its = sheet.limit_for(limit.figure, channel, &f.condition);
            its.is_some_and(|its| std::ptr::eq(its, limit))
        }
    };
    let mut quantities: Vec<Quantity> = Vec::new();
    for figure in parts.iter().flat_map(|p| &p.outcome.figures).filter(decided) {
        if !quantities.iter().any(|q| q.is(figure)) {
            quantities.push(Quantity::of(figure));
        }
    }
    if quantities.is_empty() {
        return Err("no part has the figure".to_owned());
    }
    quantities.iter().map(|quantity| group(quantity, limit, parts, claim)).collect()
}

fn group(quantity: &Quantity, limit: &Limit, parts: &[Subject<'_>], claim: Claim) -> Result<Group, String> {
    let found: Vec<_> = parts.iter().filter_map(|p| quantity.find(p.outcome)).collect();
    let whom =
        [quantity.channel.as_ref().map_or(String::new(), ToString::to_string), quantity.condition.words()];
    let whom = whom.into_iter().filter(|w| !w.is_empty()).collect::<Vec<_>>().join(", ");
    let of = |why: String| if whom.is_empty() { why } else { format!("{whom}: {why}") };
    let n = found.len();
    if n < LEAST_PARTS {
        return Err(of(format!("{n} parts have the figure; {LEAST_PARTS} at least are needed")));
    }
    let values: Vec<f64> = found.iter().map(|f| f.value).collect();
    let (centre, sd) = (mean(&values).unwrap_or(f64::NAN), standard_deviation(&values).unwrap_or(0.0));
    if sd.is_nan() || sd <= 1e-12 * centre.abs() {
        return Err(of("all parts have one and the same value".to_owned()));
    }
    let shape = shape(&values);
    if shape == Shape::Refuted {
        return Err(of(
            "the values are not normal (below 1 %, Anderson–Darling): a bound without that assumption takes 59 parts for 95 % with 95 %"
                .to_owned(),
        ));
    }
    let both = limit.min.is_some() && limit.max.is_some();
    let factor = if both { claim.two_sided(n) } else { claim.one_sided(n) }.map_err(|e| of(e.to_string()))?;
    let uncertainty = mean(&found.iter().map(|f| f.expanded_uncertainty).collect::<Vec<_>>()).unwrap_or(0.0);
    Ok(Group {
        channel: quantity.channel.clone(),
        condition: quantity.condition,
        parts: n,
        mean: centre,
        standard_deviation: sd,
        factor,
        expanded_uncertainty: uncertainty,
        shape,
    })
}

/// The outermost bounds of all quantities, rounded outward to a tenth of their spread.
fn bounds(limit: &Limit, groups: &[Group]) -> Result<(Option<f64>, Option<f64>), String> {
    let (least, most) = limit_range(limit.figure);
    let step = |g: &Group| 10.0_f64.powi(g.standard_deviation.log10().floor() as i32 - 1);
    let upper = groups.iter().map(|g| round(g.mean + g.factor * g.standard_deviation, step(g), f64::ceil));
    let lower = groups.iter().map(|g| round(g.mean - g.factor * g.standard_deviation, step(g), f64::floor));
    let max = limit.max.map(|_| upper.fold(f64::NEG_INFINITY, f64::max).min(most));
    let min = limit.min.map(|_| lower.fold(f64::INFINITY, f64::min).max(least));
    match (min, max) {
        (None, None) => Err("the sheet's limit has neither side".to_owned()),
        (Some(min), None) if min <= least => Err("the bound would allow every value".to_owned()),
        (Some(min), Some(max)) if min >= max => Err("the bounds would leave nothing between them".to_owned()),
        bounds => Ok(bounds),
    }
}

/// To a multiple of a power of ten, without the digits that binary fractions leave behind.
fn round(value: f64, step: f64, outward: fn(f64) -> f64) -> f64 {
    let decimals = (-step.log10().round()).max(0.0) as usize;
    let rounded = outward(value / step) * step;
    format!("{rounded:.decimals$}").parse().unwrap_or(rounded)
}

fn notes(parts: &[Subject<'_>], limits: &[ProposedLimit], claim: Claim) -> Vec<String> {
    let given = limits.iter().filter(|l| l.stands.is_none()).count();
    let beyond = (1e5 * (1.0 - claim.coverage)).round() / 1e3;
    let mut notes = vec![
        format!(
            "each bound covers at least {} % of such parts with a confidence of {} %, if they are normal: up to {beyond} % of good parts may \
             lie beyond any one of the {given} limits, and more beyond one or another",
            100.0 * claim.coverage,
            100.0 * claim.confidence
        ),
        "bounds are of values as measured, on these rigs; the guard band of a verdict comes on top, so a good part near a bound is undecided"
            .to_owned(),
        "they say what good parts are, not what a vehicle needs: the maker's service data come first".to_owned(),
    ];
    let undecided = parts.iter().filter(|p| p.outcome.verdict == Verdict::Undecided).count();
    if undecided > 0 {
        notes.push(format!(
            "{undecided} of the parts are undecided by their verdict; they were used on your word"
        ));
    }
    let blunt: Vec<&str> = limits
        .iter()
        .filter(|l| l.groups.iter().any(|g| g.expanded_uncertainty > g.standard_deviation))
        .map(|l| l.figure.as_str())
        .collect();
    if !blunt.is_empty() {
        notes.push(format!(
            "one measurement of {} is less certain than good parts differ: judged by such a limit many a good part would be undecided",
            blunt.join(", ")
        ));
    }
    let doubtful = limits.iter().filter(|l| l.is_doubtful()).count();
    if doubtful > 0 {
        notes.push(format!(
            "{doubtful} limits rest on values that only doubtfully look normal (1 to 5 %, Anderson–Darling)"
        ));
    }
    notes
}
