//! Analysis of variance of a gauge study, and the variance that each source contributes.
//!
//! Which model fits a mounting: a part that is taken off and clamped again meets a mounting that no other part meets. Mountings are then
//! **nested** in parts, and what differs between them is one variance. Where something that all parts share changes with the number of the
//! mounting (a person, an adapter, a day), mountings are **crossed** with parts, as appraisers are in the trade's studies, and part and
//! mounting may interact.
//!
//! Expected mean squares of balanced random models: G. E. P. Box, W. G. Hunter, J. S. Hunter, Statistics for Experimenters (from memory);
//! AIAG, Measurement Systems Analysis, 4th edition, appendix A (from memory) for the crossed one and for leaving an interaction out that is not
//! significant at 25 %.

use super::crossed::Crossed;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// A source whose F is less significant than this is counted as repeatability: AIAG, MSA, 4th edition (from memory).
pub const POOLING_LEVEL: f64 = 0.25;

/// What mountings of the same number have in common over the parts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Mountings {
    /// Nothing: each part is clamped anew by itself.
    #[default]
    Nested,
    /// A person, an adapter or a day: it is the same one for all parts.
    Crossed,
}

/// Where variance comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// The parts differ.
    Part,
    /// Mountings differ.
    Mounting,
    /// Parts differ by mounting.
    Interaction,
    /// Sweeps of one mounting differ.
    Repeatability,
    /// All of it.
    Total,
}

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Row {
    /// Where from.
    pub source: Source,
    /// Degrees of freedom, at least 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub df: usize,
    /// Sum of squares, the figure's unit squared.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub ss: f64,
    /// Mean square; null for the total.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub ms: Option<f64>,
    /// Mean square over that of the row that it is tested against; null where it is tested against none, or that is 0.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub f: Option<f64>,
    /// Probability of such an F without a contribution, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p: Option<f64>,
}

/// A table with its model.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Anova {
    /// How mountings stand to parts.
    pub mountings: Mountings,
    /// The source that was counted as repeatability; null in the full model.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = ["mounting", "interaction", null])))]
    pub pooled: Option<Source>,
    /// Rows, the total last.
    #[cfg_attr(feature = "schemas", schemars(length(min = 3)))]
    pub rows: Vec<Row>,
    /// Numbers of parts, mountings, repeats.
    #[serde(skip)]
    pub layout: [usize; 3],
}

/// Variances by source, the figure's unit squared; what would be below 0 is 0.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Components {
    /// Repeats of one mounting.
    pub repeatability: f64,
    /// Mountings.
    pub mounting: f64,
    /// Part and mounting together; 0 where the model has none.
    pub interaction: f64,
    /// Parts.
    pub part: f64,
}

impl Components {
    /// Of the rig: repeats, mountings, interaction.
    pub fn gauge(&self) -> f64 {
        self.repeatability + self.mounting + self.interaction
    }

    /// Of the whole study.
    pub fn total(&self) -> f64 {
        self.gauge() + self.part
    }
}

/// Mean squares of a table, or what they may be drawn as.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MeanSquares {
    /// Parts.
    pub part: f64,
    /// Mountings.
    pub mounting: f64,
    /// Interaction.
    pub interaction: f64,
    /// Repeats.
    pub repeat: f64,
}

impl Anova {
    /// The full model.
    pub fn full(data: &Crossed, mountings: Mountings) -> Self {
        let s = data.squares();
        let (a, b, r) = (data.parts(), data.mountings(), data.repeats());
        let repeat = (Source::Repeatability, a * b * (r - 1), s.repeat);
        let part = (Source::Part, a - 1, s.part);
        let sources = match mountings {
            Mountings::Nested => {
                vec![part, (Source::Mounting, a * (b - 1), s.mounting + s.interaction), repeat]
            }
            Mountings::Crossed => vec![
                part,
                (Source::Mounting, b - 1, s.mounting),
                (Source::Interaction, (a - 1) * (b - 1), s.interaction),
                repeat,
            ],
        };
        Self::of(mountings, None, &sources, s.total, [a, b, r])
    }

    /// The same with the last source before the repeats counted as repeatability, where its F is not significant at
    /// [`POOLING_LEVEL`]; none where it is, or where there is nothing to count so.
    pub fn pooled(&self) -> Option<Self> {
        let [.., last, repeat, total] = self.rows.as_slice() else { return None };
        let insignificant = last.source != Source::Part && last.p.is_some_and(|p| p > POOLING_LEVEL);
        insignificant.then(|| {
            let mut sources: Vec<_> =
                self.rows[..self.rows.len() - 3].iter().map(|r| (r.source, r.df, r.ss)).collect();
            sources.push((Source::Repeatability, last.df + repeat.df, last.ss + repeat.ss));
            Self::of(self.mountings, Some(last.source), &sources, total.ss, self.layout)
        })
    }

    fn of(
        mountings: Mountings,
        pooled: Option<Source>,
        sources: &[(Source, usize, f64)],
        total: f64,
        layout: [usize; 3],
    ) -> Self {
        let there: Vec<_> = sources.iter().copied().filter(|(_, df, _)| *df > 0).collect();
        let interacts = there.iter().any(|s| s.0 == Source::Interaction);
        let row = |(k, &(source, df, ss)): (usize, &(Source, usize, f64))| {
            // Crossed sources are tested against their interaction, everything else against the next row.
            let over = match source {
                Source::Repeatability => None,
                Source::Part | Source::Mounting if interacts => {
                    there.iter().find(|s| s.0 == Source::Interaction)
                }
                Source::Part if mountings == Mountings::Crossed => there.last(),
                _ => there.get(k + 1),
            };
            let ms = ss / df as f64;
            let tested = over.filter(|o| o.2 > 0.0).map(|o| (ms / (o.2 / o.1 as f64), o.1));
            let p =
                tested.and_then(|(f, below)| Some(FisherSnedecor::new(df as f64, below as f64).ok()?.sf(f)));
            Row { source, df, ss, ms: Some(ms), f: tested.map(|t| t.0), p }
        };
        let mut rows: Vec<Row> = there.iter().enumerate().map(row).collect();
        let df = layout.iter().product::<usize>() - 1;
        rows.push(Row { source: Source::Total, df, ss: total, ms: None, f: None, p: None });
        Self { mountings, pooled, rows, layout }
    }

    /// A source's row.
    pub fn row(&self, source: Source) -> Option<&Row> {
        self.rows.iter().find(|r| r.source == source)
    }

    /// The mean squares; 0 where the model has none.
    pub fn mean_squares(&self) -> MeanSquares {
        let of = |source| self.row(source).and_then(|r| r.ms).unwrap_or(0.0);
        MeanSquares {
            part: of(Source::Part),
            mounting: of(Source::Mounting),
            interaction: of(Source::Interaction),
            repeat: of(Source::Repeatability),
        }
    }

    /// What mean squares say of each source by this model. The table's own, or drawn ones.
    pub fn components(&self, ms: MeanSquares) -> Components {
        let [a, b, r] = self.layout.map(|n| n as f64);
        let has = |source| self.row(source).is_some();
        let above = |high: f64, low: f64, times: f64| ((high - low) / times).max(0.0);
        let (mounting, interaction, below_part) = match (self.mountings, has(Source::Mounting)) {
            (_, false) => (0.0, 0.0, ms.repeat),
            (Mountings::Nested, true) => (above(ms.mounting, ms.repeat, r), 0.0, ms.mounting),
            (Mountings::Crossed, true) if has(Source::Interaction) => (
                above(ms.mounting, ms.interaction, a * r),
                above(ms.interaction, ms.repeat, r),
                ms.interaction,
            ),
            (Mountings::Crossed, true) => (above(ms.mounting, ms.repeat, a * r), 0.0, ms.repeat),
        };
        Components {
            repeatability: ms.repeat,
            mounting,
            interaction,
            part: above(ms.part, below_part, b * r),
        }
    }

    /// The rig's variance as the sum of mean squares that it is, without cutting anything off at 0: every coefficient is positive.
    pub fn gauge(&self, ms: MeanSquares) -> f64 {
        let [a, _, r] = self.layout.map(|n| n as f64);
        let has = |source| self.row(source).is_some();
        match (self.mountings, has(Source::Mounting)) {
            (_, false) => ms.repeat,
            (Mountings::Nested, true) => (ms.mounting + (r - 1.0) * ms.repeat) / r,
            (Mountings::Crossed, true) if has(Source::Interaction) => {
                (ms.mounting + (a - 1.0) * ms.interaction + a * (r - 1.0) * ms.repeat) / (a * r)
            }
            (Mountings::Crossed, true) => (ms.mounting + (a * r - 1.0) * ms.repeat) / (a * r),
        }
    }
}

#[cfg(test)]
#[path = "anova_tests.rs"]
pub(in crate::gauge) mod tests;
