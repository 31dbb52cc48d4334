//! Outcomes against each other and against the population of their kind: what changed, what is unusual, which limits good parts would
//! give. Pure: outcomes in, one document out; no files, no clock, nothing printed.
//!
//! - [`tolerance`]: exact factors of normal tolerance bounds.
//! - [`normality`]: whether values look normal.
//! - [`family`]: many questions that share one level.
//! - [`events`], [`quantiles`]: rates and counts, quantiles and longest values.
//! - [`subject`]: an outcome as something to compare, and what keeps two of them apart.
//! - [`figures`], [`findings`]: one outcome against another, figure by figure, finding by finding.
//! - [`changes`]: several outcomes against the first, as one document.
//! - [`trend`]: the same quantity over time.
//! - [`drift`]: whether a long series drifts; [`soak`]: what the rounds of a soak say together.
//! - [`standing`]: a part among the population of its kind.
//! - [`rejudged`]: what judging again made of records.
//! - [`proposal`]: limits from good parts.
//! - [`risks`]: what a sheet's limits risk.

pub mod changes;
pub mod drift;
pub mod events;
pub mod family;
pub mod figures;
pub mod findings;
pub mod normality;
pub mod proposal;
pub mod quantiles;
pub mod rejudged;
pub mod risks;
pub mod soak;
pub mod standing;
pub mod subject;
pub mod tolerance;
pub mod trend;

/// Version of the documents that comparisons are written as.
pub const SCHEMA_VERSION: u32 = 1;
