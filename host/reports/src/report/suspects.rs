//! Suspects in words, the same for every medium: how likely each is and how strongly each reason speaks are words of one scale; the
//! numbers stay in the stored outcome. It ranks nothing and lays nothing out.
//!
//! The scale goes by the likelihood ratio, as the verbal scale of the European Network of Forensic Science Institutes does (ENFSI
//! guideline for evaluative reporting in forensic science, 2015; from memory): below 2 no support, up to 10 weak, up to 100 moderate,
//! beyond that strong, with finer steps which the weights here are too rough for.

use super::document::Suspect;

use super::text::{LABEL, SENTENCE, plain, signs};
use crate::outcome::OutcomeSuspect;

/// Most sentences for or against that are shown; all of them stand in the stored outcome.
const MOST: usize = 6;

/// Likelihood ratio below which two causes are as likely as each other, and a reason says nothing.
const ALIKE: f64 = 2.0;
/// Likelihood ratio from which a reason speaks plainly, and the less likely of two causes is unlikely.
const PLAIN: f64 = 10.0;
/// Likelihood ratio from which a reason speaks strongly.
const STRONG: f64 = 100.0;

/// How suspects are to be read.
pub const READING: &str = "Causes that fit, in order. Most likely: no other is more than twice as likely. Possible: up to ten times less \
    likely than the first. Unlikely, but not excluded: less than that. A reason that speaks strongly makes its cause at least a hundred \
    times as likely as before, one that speaks for it ten times, one that speaks weakly twice.";

/// Rows in their order.
pub fn rows(suspects: &[OutcomeSuspect]) -> Vec<Suspect> {
    let several = suspects.iter().any(|s| s.problem > 1);
    suspects
        .iter()
        .map(|s| row(s, likelihood(s.probability, best_of(s.problem, suspects)), several))
        .collect()
}

/// For each problem, how likely it is that its cause is none of those that are named.
pub fn unnamed(suspects: &[OutcomeSuspect]) -> Vec<String> {
    let problems: std::collections::BTreeSet<u32> = suspects.iter().map(|s| s.problem).collect();
    let several = problems.len() > 1;
    let one = |problem: u32| {
        let named: f64 = suspects.iter().filter(|s| s.problem == problem).map(|s| s.probability).sum();
        let left = likelihood(1.0 - named, best_of(problem, suspects));
        let how = match left {
            Likelihood::Most => "as likely as any",
            other => other.word(),
        };
        let start = if several { format!("For problem {problem}, another") } else { "Another".to_owned() };
        format!("{start} cause, or no fault at all, is {how}.")
    };
    problems.into_iter().map(one).collect()
}

/// How likely a cause is beside the likeliest one of its problem.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Likelihood {
    Most,
    Possible,
    Unlikely,
}

impl Likelihood {
    const fn word(self) -> &'static str {
        match self {
            Self::Most => "most likely",
            Self::Possible => "possible",
            Self::Unlikely => "unlikely, but not excluded",
        }
    }
}

/// Of a probability beside that of the likeliest cause; what is not a number is at most unlikely.
fn likelihood(probability: f64, best: f64) -> Likelihood {
    if probability * ALIKE > best {
        Likelihood::Most
    } else if probability * PLAIN > best {
        Likelihood::Possible
    } else {
        Likelihood::Unlikely
    }
}

/// The probability of the likeliest cause of a problem. That it is none of those that are named counts as one, too.
fn best_of(problem: u32, suspects: &[OutcomeSuspect]) -> f64 {
    let named = || suspects.iter().filter(|s| s.problem == problem).map(|s| s.probability);
    named().fold(1.0 - named().sum::<f64>(), f64::max)
}

/// How a reason speaks, strongest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Speaks {
    Strongly,
    Plainly,
    Weakly,
    Hardly,
}

impl Speaks {
    const ALL: [Self; 4] = [Self::Strongly, Self::Plainly, Self::Weakly, Self::Hardly];

    /// By its weight, nats: the logarithm of a likelihood ratio.
    fn of(nats: f64) -> Self {
        let ratio = nats.abs().exp();
        if ratio >= STRONG {
            Self::Strongly
        } else if ratio >= PLAIN {
            Self::Plainly
        } else if ratio >= ALIKE {
            Self::Weakly
        } else {
            Self::Hardly
        }
    }

    const fn for_it(self) -> &'static str {
        match self {
            Self::Strongly => "Speaks strongly for it",
            Self::Plainly => "Speaks for it",
            Self::Weakly => "Speaks weakly for it",
            Self::Hardly => "Fits, but says little",
        }
    }

    const fn against_it(self) -> &'static str {
        match self {
            Self::Strongly => "Speaks strongly against it",
            Self::Plainly => "Speaks against it",
            Self::Weakly => "Speaks weakly against it",
            Self::Hardly => "Hardly speaks against it",
        }
    }
}

/// What a reason begins with that counts against a cause that leaves something unexplained.
const UNEXPLAINED: &str = "it does not explain: ";

/// A reason as it is stored: "+9.2: flat spot …", or a sentence without a weight.
fn weighed(stored: &str) -> (Option<f64>, &str) {
    let parts = stored.split_once(": ").filter(|_| stored.starts_with(['+', '-']));
    match parts.and_then(|(weight, says)| Some((weight.parse::<f64>().ok()?, says))) {
        Some((nats, says)) => (Some(nats), says),
        None => (None, stored.strip_prefix(UNEXPLAINED).unwrap_or(stored)),
    }
}

/// Reasons under what they come to, the strongest first; `unweighed` heads those that have no weight.
fn grouped(
    stored: &[String],
    heads: fn(Speaks) -> &'static str,
    unweighed: &'static str,
) -> Vec<(&'static str, String)> {
    let mut reasons: Vec<(Option<f64>, &str)> = stored.iter().map(|s| weighed(s)).collect();
    let strength = |nats: &Option<f64>| nats.map_or(-1.0, f64::abs);
    reasons.sort_by(|a, b| strength(&b.0).total_cmp(&strength(&a.0)));
    let shown = &reasons[..reasons.len().min(MOST)];
    let under = |speaks: Option<Speaks>| {
        let of = shown.iter().filter(move |(nats, _)| nats.map(Speaks::of) == speaks);
        of.map(|(_, says)| *says).collect::<Vec<_>>().join("; ")
    };
    let mut groups: Vec<(&'static str, String)> =
        Speaks::ALL.map(|speaks| (heads(speaks), under(Some(speaks)))).to_vec();
    groups.push((unweighed, under(None)));
    groups.retain(|(_, says)| !says.is_empty());
    if let Some((_, last)) = groups.last_mut().filter(|_| reasons.len() > MOST) {
        last.push_str(&format!("; {} more in outcome.json", reasons.len() - MOST));
    }
    groups
}

fn row(suspect: &OutcomeSuspect, likelihood: Likelihood, several: bool) -> Suspect {
    let tied = if suspect.tied_with.is_empty() { "" } else { ", tied with others" };
    let problem = if several { format!(" (problem {})", suspect.problem) } else { String::new() };
    let heading = plain(&format!("{}: {}{tied}{problem}", suspect.title, likelihood.word()), LABEL);
    let rivals: Vec<String> = suspect.rivals.iter().map(|r| format!("{} ({})", r.title, r.why)).collect();
    let codes: Vec<&str> = suspect.codes.iter().map(|c| c.code.as_str()).collect();
    let mut lines = grouped(&suspect.evidence, Speaks::for_it, "Also");
    lines.extend(grouped(&suspect.against, Speaks::against_it, "Does not explain"));
    lines.push((Suspect::RIVALS, rivals.join("; ")));
    lines.push(("Trouble codes that would fit", codes.join(", ")));
    Suspect {
        heading,
        lines: lines
            .into_iter()
            .filter(|(_, text)| !text.is_empty())
            .map(|(name, text)| (name, plain(&signs(&text), SENTENCE)))
            .collect(),
        next_check: plain(&signs(&suspect.next_check), SENTENCE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Cause, Written};

    fn suspect(problem: u32, probability: f64) -> OutcomeSuspect {
        OutcomeSuspect {
            cause: Written::from(Cause::Terminal),
            title: "a terminal".to_owned(),
            problem,
            probability,
            tied_with: Vec::new(),
            evidence: Vec::new(),
            against: Vec::new(),
            rivals: Vec::new(),
            next_check: "look at it".to_owned(),
            codes: Vec::new(),
        }
    }

    fn headings(probabilities: &[f64]) -> Vec<String> {
        let all: Vec<OutcomeSuspect> = probabilities.iter().map(|p| suspect(1, *p)).collect();
        rows(&all).into_iter().map(|s| s.heading.trim_start_matches("a terminal: ").to_owned()).collect()
    }

    #[test]
    fn a_cause_is_called_by_how_much_less_likely_than_the_first_it_is() {
        let words = ["most likely", "most likely", "possible", "unlikely, but not excluded"];
        assert_eq!(headings(&[0.5, 0.26, 0.2, 0.04]), words);
        // At the cut points themselves: half as likely is no longer alike, a tenth is unlikely.
        assert_eq!(headings(&[0.8, 0.08]), ["most likely", "unlikely, but not excluded"]);
        assert_eq!(headings(&[0.6, 0.3]), ["most likely", "possible"]);
        assert_eq!(headings(&[0.9, f64::NAN])[1], "unlikely, but not excluded");
    }

    #[test]
    fn what_no_named_cause_accounts_for_is_said_in_the_same_words() {
        let left = |probabilities: &[f64]| {
            unnamed(&probabilities.iter().map(|p| suspect(1, *p)).collect::<Vec<_>>()).concat()
        };
        assert_eq!(left(&[0.97]), "Another cause, or no fault at all, is unlikely, but not excluded.");
        assert_eq!(left(&[0.6, 0.2]), "Another cause, or no fault at all, is possible.");
        // Half of it is left unsaid by the numbers: then the first named one is at most possible.
        assert_eq!(left(&[0.2, 0.2, 0.1]), "Another cause, or no fault at all, is as likely as any.");
        assert_eq!(headings(&[0.2, 0.2, 0.1]), ["possible", "possible", "possible"]);
        let two = unnamed(&[suspect(1, 0.9), suspect(2, 0.3)]);
        assert!(
            two.len() == 2
                && two[1].starts_with("For problem 2, another cause")
                && two[1].ends_with("as likely as any."),
            "{two:?}"
        );
    }

    #[test]
    fn reasons_stand_strongest_first_under_words_and_without_their_weights() {
        let told = OutcomeSuspect {
            evidence: [
                "+0.3: a",
                "+2.4: b",
                "+9.2: c",
                "+4.7: d",
                "+0.8: e",
                "another problem: f",
                "+1.0: g",
            ]
            .map(str::to_owned)
            .to_vec(),
            against: vec!["it does not explain: h".to_owned(), "-3.0: i".to_owned()],
            ..suspect(1, 0.9)
        };
        let lines = rows(&[told]).remove(0).lines;
        let lines: Vec<String> = lines.iter().map(|(name, text)| format!("{name}: {text}")).collect();
        assert_eq!(
            lines,
            [
                "Speaks strongly for it: c; d",
                "Speaks for it: b",
                "Speaks weakly for it: g; e",
                "Fits, but says little: a; 1 more in outcome.json",
                "Speaks against it: i",
                "Does not explain: h",
            ]
        );
    }
}
