//! What the limits of a sheet risk, in words.

use super::rows::named;
use crate::compare::normality::Shape;
use crate::compare::risks::{AtRatio, LimitRisk, MeasuredRisk, RiskShares, SheetRisks};
use crate::compare::subject::Quantity;
use crate::outcome::OutcomeLimit;
use crate::report::document::Document;
use crate::report::format::{self, significant, with_unit};
use crate::report::words::Lines;
use crate::sheet::Topology;

/// The ratio whose risks are listed limit by limit: what a bench is usually asked for.
const USUAL_RATIO: f64 = 4.0;

/// The risks. `topology` shows what the lines are called.
pub fn risks(document: &SheetRisks, topology: Topology) -> Document {
    let lines = Lines::of_sheet(topology);
    let mut page = Document::comparison(
        format!("What the limits of {} risk", document.sheet),
        format!(
            "Within and outside are said from {} % probability on: with a guard band of {} standard uncertainties on both sides of a limit.",
            significant(100.0 * document.rule.conformance_probability, 3),
            significant(document.rule.guard_factor, 4)
        ),
        document.records.as_ref().is_some_and(|r| r.simulated),
    );
    page.list("One part", one_part(document));
    if let Some(records) = &document.records {
        let rows = document.limits.iter().flat_map(|l| l.measured.iter().map(move |m| measured(l, m, lines)));
        page.table(
            format!("All parts, spread and measured as in {} records", records.used),
            [
                "limit",
                "allowed",
                "mean ± sd of parts",
                "u",
                "beyond",
                "consumer's risk",
                "producer's risk",
                "good, undecided",
            ],
            rows,
            true,
        );
    }
    for (title, ratios) in [
        ("All parts, two limits", &document.assumed.two_limits),
        ("All parts, one limit", &document.assumed.one_limit),
    ] {
        page.table(
            format!("{title} (assumed spread)"),
            ["ratio", "beyond", "consumer's risk", "of those accepted", "producer's risk", "good, undecided"],
            ratios.iter().map(at_ratio),
            false,
        );
    }
    let rows = document.limits.iter().filter_map(|l| uncertainty(l, lines));
    page.table(
        format!("Largest standard uncertainty for a ratio of {USUAL_RATIO}:1"),
        ["limit", "allowed", "u"],
        rows,
        false,
    );
    page.list("How to read it", reading(document));
    let silent = document
        .limits
        .iter()
        .filter_map(|l| Some(format!("{}: {}", limit_name(l, lines), l.not_from_records.as_ref()?)));
    page.list("Not from the records", silent);
    let left_out = document.records.iter().flat_map(|r| &r.left_out);
    page.list("Left out", left_out.map(|l| format!("{}: {}", l.record, l.why)));
    page
}

/// What needs no assumption about parts.
fn one_part(document: &SheetRisks) -> Vec<String> {
    let at = &document.at_a_limit;
    let mut said = vec![
        format!(
            "a part that is measured right at the edge of the guard band and accepted is truly beyond its limit with a chance of {}; further \
             inside the chance is smaller",
            percent(document.accepted_at_worst)
        ),
        format!(
            "of parts that lie exactly at a limit, {} are accepted, {} are called outside and {} are left undecided",
            percent(at.within),
            percent(at.outside),
            percent(at.undecided)
        ),
    ];
    for limit in &document.limits {
        let name = format::unit(limit.unit);
        if let Some(bound) = limit.bound {
            said.push(format!(
                "{}, none allowed: a part that has {} {name} all the same passes the shortest clean test with a chance of 5 %",
                crate::report::words::figure(&limit.figure),
                significant(bound, 3)
            ));
        }
    }
    said
}

/// How to read it.
fn reading(document: &SheetRisks) -> Vec<String> {
    let mut said = vec![
        "consumer's risk: of all parts, those that are beyond the limit and called within; producer's risk: those that keep it and are \
         called outside; good, undecided: those that keep it and are left undecided"
            .to_owned(),
        "ratio: half the tolerance to the expanded uncertainty U = 2 u; for one limit its distance from the middle of the parts to U. \
         Which u a measurement has is in its report"
            .to_owned(),
        format!("assumed: {}", document.assumed.assumption),
    ];
    said.extend(document.records.as_ref().map(|r| format!("from the records: {}", r.assumption)));
    said.push(
        "a part has many limits, and a test repeated until it passes is another test: the risks are those of one limit and one test"
            .to_owned(),
    );
    said.push(format!("source: {}", document.rule.source));
    said
}

fn at_ratio(at: &AtRatio) -> Vec<String> {
    let RiskShares { beyond, consumers_risk, producers_risk, good_undecided, accepted_beyond } = at.risks;
    let shares = [beyond, consumers_risk, accepted_beyond, producers_risk, good_undecided];
    std::iter::once(format!("{}:1", significant(at.ratio, 3))).chain(shares.map(percent)).collect()
}

fn measured(limit: &LimitRisk, of: &MeasuredRisk, lines: Lines) -> Vec<String> {
    let quantity = Quantity { channel: of.channel.clone(), condition: of.condition, ..quantity(limit) };
    let doubt = if of.shape == Shape::Doubtful { " (hardly normal)" } else { "" };
    let RiskShares { beyond, consumers_risk, producers_risk, good_undecided, .. } = of.risks;
    let spread = format!(
        "{} ± {}",
        format::rounded(of.mean, of.standard_deviation).0,
        significant(of.standard_deviation, 2)
    );
    let mut cells = vec![
        named(&quantity, lines),
        allowed(limit),
        format!("{}{doubt}", with_unit(&spread, limit.unit)),
        with_unit(&significant(of.standard_uncertainty, 2), limit.unit),
    ];
    cells.extend([beyond, consumers_risk, producers_risk, good_undecided].map(percent));
    cells
}

fn uncertainty(limit: &LimitRisk, lines: Lines) -> Option<Vec<String>> {
    let usual = limit.uncertainty_for_ratio.iter().find(|u| u.ratio == USUAL_RATIO)?;
    let u = with_unit(&significant(usual.standard_uncertainty, 2), limit.unit);
    Some(vec![limit_name(limit, lines), allowed(limit), u])
}

fn allowed(limit: &LimitRisk) -> String {
    format::limit(&OutcomeLimit { min: limit.min, max: limit.max, bound: limit.bound }, limit.unit)
}

fn limit_name(limit: &LimitRisk, lines: Lines) -> String {
    named(&quantity(limit), lines)
}

fn quantity(limit: &LimitRisk) -> Quantity {
    Quantity {
        figure: limit.figure.clone(),
        channel: limit.channel.clone(),
        condition: limit.condition,
        unit: limit.unit,
    }
}

/// A share in per cent; what is too small is written as "below".
fn percent(share: f64) -> String {
    match 100.0 * share {
        p if p < 1e-9 => "0 %".to_owned(),
        p if p < 0.001 => "< 0.001 %".to_owned(),
        p => format!("{} %", significant(p, 2)),
    }
}
