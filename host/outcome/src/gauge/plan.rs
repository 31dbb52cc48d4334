//! The plan of a gauge study: every part is mounted once a round, each round in another order, and whoever mounts it sees a code alone.
//!
//! Order and codes come from a seed: the same plan can be drawn again. Sweeps of one mounting follow each other; a part that is taken off between
//! them meets another mounting.

use super::anova::Mountings;
use super::crossed::{LEAST_PARTS, LEAST_REPEATS};
use crate::analysis::statistics::Resampler;
use serde::{Deserialize, Serialize};

/// Version of the stored plan.
pub const PLAN_SCHEMA: u32 = 1;
/// Most parts, mountings of each, sweeps of each.
pub const MOST: [usize; 3] = [50, 20, 20];
/// Letters and digits of codes; those that are read for others are left out.
const LETTERS: &[u8] = b"ACEFHJKLMNPRTUVWXY";
const DIGITS: &[u8] = b"23456789";

/// What a study is to be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Plan {
    /// Version of the shape.
    #[cfg_attr(feature = "schemas", schemars(extend("const" = PLAN_SCHEMA)))]
    pub schema: u32,
    /// When it was made, RFC 3339.
    pub made: String,
    /// Seed of order and codes.
    pub seed: u64,
    /// What mountings of a round have in common.
    pub mountings_are: Mountings,
    /// Mountings of each part, at least 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 2)))]
    pub mountings: usize,
    /// Sweeps of each mounting, at least 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 2)))]
    pub repeats: usize,
    /// Part sheet, by name or file; null where the lines show which.
    pub sheet: Option<String>,
    /// The parts, in the order in which they were named.
    #[cfg_attr(feature = "schemas", schemars(length(min = 2)))]
    pub parts: Vec<PlannedPart>,
    /// Mountings in the order in which they are to be made.
    pub order: Vec<Mounting>,
}

/// A part and the code on its label.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct PlannedPart {
    /// Its name in the user's words.
    pub name: String,
    /// What its label says.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^[A-Z][2-9]$")))]
    pub code: String,
}

/// One mounting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Mounting {
    /// Round, from 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub round: usize,
    /// Place of the part among the parts, from 0.
    pub part: usize,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlanError {
    /// Too few or too many of something.
    #[error(
        "{given} {what} is out of range: {least} to {most}; a study of 10 parts, 3 mountings and 3 repeats is common practice"
    )]
    Range {
        /// `parts`, `mountings`, `repeats`.
        what: &'static str,
        /// As given.
        given: usize,
        /// Fewest.
        least: usize,
        /// Most.
        most: usize,
    },
    /// Two parts of one name.
    #[error("the part {0:?} is named twice; give each part another name")]
    Twice(String),
    /// A part without a name.
    #[error("a part has no name; give each --part a word, as on its shelf")]
    Nameless,
}

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Asked {
    /// When, RFC 3339.
    pub made: String,
    /// Seed.
    pub seed: u64,
    /// What mountings of a round have in common.
    pub mountings_are: Mountings,
    /// Mountings of each part.
    pub mountings: usize,
    /// Sweeps of each mounting.
    pub repeats: usize,
    /// Part sheet.
    pub sheet: Option<String>,
    /// Names of the parts.
    pub parts: Vec<String>,
}

/// Draws a plan.
///
/// # Errors
/// [`PlanError`] says what is out of range.
pub fn plan(asked: Asked) -> Result<Plan, PlanError> {
    let given = [
        ("parts", asked.parts.len(), LEAST_PARTS),
        ("mountings", asked.mountings, 2),
        ("repeats", asked.repeats, LEAST_REPEATS),
    ];
    for ((what, given, least), most) in given.into_iter().zip(MOST) {
        if !(least..=most).contains(&given) {
            return Err(PlanError::Range { what, given, least, most });
        }
    }
    for (k, name) in asked.parts.iter().enumerate() {
        if name.trim().is_empty() {
            return Err(PlanError::Nameless);
        }
        if asked.parts[..k].contains(name) {
            return Err(PlanError::Twice(name.clone()));
        }
    }
    let mut random = Resampler::new(asked.seed);
    let codes = codes(asked.parts.len(), &mut random);
    let parts: Vec<PlannedPart> =
        asked.parts.into_iter().zip(codes).map(|(name, code)| PlannedPart { name, code }).collect();
    let mut order = Vec::new();
    for round in 1..=asked.mountings {
        let mut these: Vec<usize> = (0..parts.len()).collect();
        for k in (1..these.len()).rev() {
            these.swap(k, below(k + 1, &mut random));
        }
        order.extend(these.into_iter().map(|part| Mounting { round, part }));
    }
    Ok(Plan {
        schema: PLAN_SCHEMA,
        made: asked.made,
        seed: asked.seed,
        mountings_are: asked.mountings_are,
        mountings: asked.mountings,
        repeats: asked.repeats,
        sheet: asked.sheet,
        parts,
        order,
    })
}

/// Codes of a letter and a digit, each once: 18 × 8 of them, more than there are parts.
fn codes(count: usize, random: &mut Resampler) -> Vec<String> {
    let mut codes = Vec::with_capacity(count);
    while codes.len() < count {
        let of = |signs: &[u8], random: &mut Resampler| char::from(signs[below(signs.len(), random)]);
        let code = format!("{}{}", of(LETTERS, random), of(DIGITS, random));
        if !codes.contains(&code) {
            codes.push(code);
        }
    }
    codes
}

/// A whole number below `limit`.
fn below(limit: usize, random: &mut Resampler) -> usize {
    ((random.uniform() * limit as f64) as usize).min(limit - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(parts: usize, seed: u64) -> Asked {
        Asked {
            made: "2026-01-01T00:00:00+00:00".to_owned(),
            seed,
            mountings_are: Mountings::Nested,
            mountings: 3,
            repeats: 2,
            sheet: None,
            parts: (0..parts).map(|k| format!("part {k}")).collect(),
        }
    }

    #[test]
    fn every_part_is_mounted_once_a_round_and_rounds_differ() {
        let plan = plan(asked(10, 1)).unwrap();
        let round = |n: usize| plan.order.iter().filter(|m| m.round == n).map(|m| m.part).collect::<Vec<_>>();
        for n in 1..=3 {
            let mut parts = round(n);
            parts.sort_unstable();
            assert_eq!(parts, (0..10).collect::<Vec<_>>());
        }
        assert!(round(1) != round(2) && round(2) != round(3));
    }

    #[test]
    fn seeds_decide_and_codes_are_told_apart() {
        assert_eq!(plan(asked(50, 7)), plan(asked(50, 7)));
        assert_ne!(plan(asked(50, 7)), plan(asked(50, 8)));
        let mut codes: Vec<String> = plan(asked(50, 7)).unwrap().parts.into_iter().map(|p| p.code).collect();
        codes.sort();
        codes.dedup();
        assert_eq!(codes.len(), 50);
    }

    /// Every order of three parts is drawn as often as another: 6000 rounds, χ² with 5 degrees of freedom below its 99.9 % point, 20.515 (tables,
    /// from memory).
    #[test]
    fn no_order_is_favoured() {
        let mut counts = std::collections::BTreeMap::<Vec<usize>, f64>::new();
        for seed in 0..2000 {
            let plan = plan(asked(3, seed)).unwrap();
            for round in plan.order.chunks(3) {
                *counts.entry(round.iter().map(|m| m.part).collect()).or_default() += 1.0;
            }
        }
        let chi: f64 = counts.values().map(|n| (n - 1000.0_f64).powi(2) / 1000.0).sum();
        assert!(counts.len() == 6 && chi < 20.515, "{counts:?} {chi}");
    }

    #[test]
    fn what_makes_no_study_is_refused() {
        assert!(matches!(plan(asked(1, 1)), Err(PlanError::Range { what: "parts", given: 1, .. })));
        let twice = Asked { parts: vec!["a".into(), "b".into(), "a".into()], ..asked(3, 1) };
        assert_eq!(plan(twice), Err(PlanError::Twice("a".to_owned())));
        let once = Asked { repeats: 1, ..asked(3, 1) };
        assert!(plan(once).unwrap_err().to_string().starts_with("1 repeats is out of range: 2 to 20"));
    }
}
