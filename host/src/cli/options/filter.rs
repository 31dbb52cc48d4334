//! Which records: the options that every command over many records shares.

use crate::job::Failure;
use crate::quantity::{FindingKind, PartKind};
use crate::record::Query;
use crate::sheet::SCOPES;
use anyhow::anyhow;
use clap::Args;

/// Which records. Everything that is given must hold.
#[derive(Args, Clone, Debug, Default)]
pub struct Filter {
    /// Kind of part: grip, body, or pair (both, one following the other)
    #[arg(long, value_name = "KIND", value_parser = kind)]
    pub kind: Option<PartKind>,
    /// Parts whose words contain this
    #[arg(long, value_name = "WORDS")]
    pub part: Option<String>,
    /// Recorded on this day or later; a month or a year will do: 2026-03-31, 2026-03, 2026
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub from: Option<String>,
    /// Recorded on this day or before; the whole month or year counts
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub to: Option<String>,
    /// Verdict of the last outcome: within, outside or undecided
    #[arg(long, value_name = "VERDICT", value_parser = ["within", "outside", "undecided"])]
    pub verdict: Option<String>,
    /// What the last outcome is about: part, dropouts, leads, readiness, or a procedure of a throttle body
    #[arg(long, value_name = "SCOPE", value_parser = scope)]
    pub scope: Option<String>,
    /// Kind of a finding of the last outcome, such as flat_spot
    #[arg(long, value_name = "KIND", value_parser = finding)]
    pub finding: Option<String>,
    /// Name of the sheet that it was last judged by
    #[arg(long, value_name = "NAME")]
    pub of_sheet: Option<String>,
    /// Whether rig and part were simulated: yes or no
    #[arg(long, value_name = "yes|no", value_parser = yes_or_no)]
    pub simulated: Option<bool>,
}

impl Filter {
    /// Whether nothing is asked for.
    pub fn is_empty(&self) -> bool {
        self.query(&[]) == Query::default()
    }

    /// The same as a question to the archive, among these records or among all.
    pub fn query(&self, records: &[String]) -> Query {
        Query {
            records: records.to_vec(),
            kind: self.kind,
            part: self.part.clone(),
            from: self.from.clone(),
            to: self.to.clone(),
            verdict: self.verdict.clone(),
            scope: self.scope.clone(),
            finding: self.finding.clone(),
            sheet: self.of_sheet.clone(),
            simulated: self.simulated,
        }
    }

    /// Refuses a time that ends before it begins.
    ///
    /// # Errors
    /// [`Failure::Usage`] when it does.
    pub fn check(&self) -> Result<(), Failure> {
        let (Some(from), Some(to)) = (&self.from, &self.to) else { return Ok(()) };
        // As far as both are given: all of 2026-03 lies in 2026.
        let told = from.len().min(to.len());
        if from[..told] > to[..told] {
            return Err(Failure::Usage(anyhow!("--from {from} is later than --to {to}: exchange them")));
        }
        Ok(())
    }
}

fn kind(name: &str) -> Result<PartKind, String> {
    let kinds = PartKind::ALL;
    kinds.into_iter().find(|k| k.name() == name).ok_or_else(|| "there are grip, body and pair".to_owned())
}

fn finding(name: &str) -> Result<String, String> {
    let known = || FindingKind::ALL.map(FindingKind::name);
    if known().contains(&name) {
        Ok(name.to_owned())
    } else {
        Err(format!("there are {}", known().join(", ")))
    }
}

fn scope(name: &str) -> Result<String, String> {
    // A self-check is graded by no rule, but it can be looked for.
    let known = || SCOPES.into_iter().chain(["readiness"]).collect::<Vec<_>>();
    if known().contains(&name) {
        Ok(name.to_owned())
    } else {
        Err(format!("there are {}", known().join(", ")))
    }
}

fn yes_or_no(word: &str) -> Result<bool, String> {
    match word {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err("give yes or no".to_owned()),
    }
}

/// A day, month or year of the calendar.
fn date(text: &str) -> Result<String, String> {
    let whole = match text.len() {
        4 => format!("{text}-01-01"),
        7 => format!("{text}-01"),
        _ => text.to_owned(),
    };
    match whole.parse::<jiff::civil::Date>() {
        Ok(date) if date.to_string() == whole => Ok(text.to_owned()),
        _ => Err("write it as 2026-03-31, 2026-03 or 2026".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_days_months_or_years_of_the_calendar() {
        for good in ["2026", "2026-03", "2026-03-31"] {
            assert_eq!(date(good).unwrap(), good);
        }
        for bad in [
            "",
            "26",
            "2026-3",
            "2026-02-30",
            "2026-13",
            "31.3.2026",
            "2026-03-31T00",
            "20260331",
            "yesterday",
        ] {
            assert!(date(bad).unwrap_err().contains("2026-03"), "{bad}");
        }
    }

    #[test]
    fn what_is_not_known_is_answered_with_what_is() {
        assert!(kind("wheel").unwrap_err().contains("grip, body and pair"));
        assert!(finding("flatspot").unwrap_err().contains("flat_spot"));
    }
}
