//! A figure explained: what it is, by what source and algorithm, and its uncertainty budget. It computes none of it.

use super::document::Document;
use super::format;
use super::words::{self, Lines};
use crate::analysis::Figure;
use crate::outcome::{Outcome, OutcomeFigure};
use serde::Serialize;

/// One figure of a record, explained.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Explained {
    /// Machine name.
    pub figure: String,
    /// Line, or null for a figure of the pair.
    pub channel: Option<String>,
    /// Under which condition, in words; empty where there is one value alone.
    pub condition: String,
    /// Value as analysed now.
    pub value: f64,
    /// Unit.
    pub unit: crate::quantity::Unit,
    /// Standard uncertainty (k = 1).
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_uncertainty: f64,
    /// By how much the recording may have raised the figure at most.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub added: f64,
    /// Expanded uncertainty, k = 2, 95 %, as outcomes state it.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
    /// What was measured.
    pub definition: String,
    /// Where the definition comes from.
    pub source: &'static str,
    /// How it is worked out.
    pub algorithm: &'static str,
    /// The file that does it.
    pub written_in: &'static str,
    /// Contributions, the largest first.
    pub budget: Vec<Contribution>,
    /// What would make the uncertainty smaller.
    pub smaller_by: Option<&'static str>,
    /// The value that the record's last outcome states; null when it states none.
    pub stored_value: Option<f64>,
    /// Its expanded uncertainty.
    pub stored_expanded_uncertainty: Option<f64>,
}

/// A line of the budget.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Contribution {
    /// Machine name of its source.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = crate::analysis::budget::Source::ALL.map(crate::analysis::budget::Source::name))))]
    pub source: &'static str,
    /// For people.
    pub title: &'static str,
    /// Standard uncertainty (k = 1) in the figure's unit.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub standard_uncertainty: f64,
    /// Share of the variance, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub share: f64,
}

/// What `explain --json` prints.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Explanation {
    /// `explanation`.
    pub document: &'static str,
    /// 1.
    pub schema: u32,
    /// Which record.
    pub record: String,
    /// Whether it was simulated.
    pub simulated: bool,
    /// Every figure that was asked for.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub figures: Vec<Explained>,
}

impl Explained {
    /// A figure as analysed now, beside what the record states.
    pub fn new(figure: &Figure, outcome: &Outcome) -> Self {
        let method = figure.name.row().method;
        let stored = stored(figure, outcome);
        let shares = figure.budget.shares();
        Self {
            figure: figure.name.name().to_owned(),
            channel: figure.channel.map(|c| c.name().to_owned()),
            condition: figure.condition.words(),
            value: figure.value,
            unit: figure.name.unit(),
            standard_uncertainty: figure.standard_uncertainty(),
            added: figure.added,
            expanded_uncertainty: 2.0 * figure.stated_uncertainty(),
            definition: figure.definition.clone(),
            source: method.source,
            algorithm: method.algorithm,
            written_in: method.written_in,
            smaller_by: shares.first().map(|s| s.0.smaller_by()),
            budget: shares
                .into_iter()
                .map(|(source, standard_uncertainty, share)| Contribution {
                    source: source.name(),
                    title: source.title(),
                    standard_uncertainty,
                    share,
                })
                .collect(),
            stored_value: stored.map(|s| s.value),
            stored_expanded_uncertainty: stored.map(|s| s.expanded_uncertainty),
        }
    }

    /// Whether the record states another value or uncertainty than today's analysis, as printed.
    fn differs(&self) -> bool {
        let printed = |value, u| format::rounded(value, u);
        match (self.stored_value, self.stored_expanded_uncertainty) {
            (Some(value), Some(u)) => printed(value, u) != printed(self.value, self.expanded_uncertainty),
            _ => false,
        }
    }
}

fn stored<'o>(figure: &Figure, outcome: &'o Outcome) -> Option<&'o OutcomeFigure> {
    let channel = figure.channel.map(|c| c.name());
    outcome.figures.iter().find(|f| {
        f.figure == figure.name.name() && f.channel.as_deref() == channel && f.condition == figure.condition
    })
}

/// Explanations as a document of one table and one list per figure.
pub fn explained(explanation: &Explanation, outcome: &Outcome) -> Document {
    let lines = Lines::of(outcome);
    let lead = "Every uncertainty is the root of the sum of squares of what stands in its table (JCGM 100:2008, 5.1.2); the \
                stated interval is twice that, 95 %.";
    let title = format!("Figures of {} explained", explanation.record);
    let mut page = Document::comparison(title, lead, explanation.simulated);
    for e in &explanation.figures {
        let mut name = words::figure(&e.figure);
        if e.channel.is_some() {
            name = format!("{name}, {}", lines.stored(e.channel.as_deref(), ""));
        }
        if !e.condition.is_empty() {
            name = format!("{name} ({})", e.condition);
        }
        let number = |u: f64| format::with_unit(&format::significant(u, 2), e.unit);
        let measured = format::measured(e.value, e.expanded_uncertainty, e.unit);
        let mut rows: Vec<Vec<String>> = e
            .budget
            .iter()
            .map(|c| {
                vec![c.title.to_owned(), number(c.standard_uncertainty), format!("{:.1} %", 100.0 * c.share)]
            })
            .collect();
        rows.push(vec![
            "all of them, k = 1".to_owned(),
            number(e.standard_uncertainty),
            if e.budget.is_empty() { "–" } else { "100 %" }.to_owned(),
        ]);
        if e.added > 0.0 {
            rows.push(vec!["the recording may have raised it by".to_owned(), number(e.added), String::new()]);
        }
        let heads = ["contribution", "standard uncertainty", "share of the variance"];
        page.table(format!("{name}: {measured}"), heads, rows, true);
        let mut said = vec![
            format!("What it is: {}.", e.definition),
            format!("Source: {}.", e.source),
            format!("Algorithm: {} ({}).", e.algorithm, e.written_in),
        ];
        said.extend(e.smaller_by.map(|by| format!("What would make it smaller: {by}.")));
        if e.differs() {
            let stored = format::measured(
                e.stored_value.unwrap_or_default(),
                e.stored_expanded_uncertainty.unwrap_or_default(),
                e.unit,
            );
            said.push(format!(
                "The record states {stored}: it was judged by another version of the analysis; `trackpair rejudge` adds a new outcome."
            ));
        }
        page.list(&name, said);
    }
    page
}
