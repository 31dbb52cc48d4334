//! `[[grade]]` of a sheet, with errors that point at the offending place.

use super::GradeRule;
use super::grade::{PROCEDURES, SCOPES, VERDICTS};
use super::located::{SheetError, Source};
use super::reader::{Words, word};
use serde::Deserialize;
use serde_spanned::Spanned;

/// Most grades of a sheet.
const MOST_GRADES: usize = 12;
/// Longest name, characters: it stands on a label.
const LONGEST_NAME: usize = 12;
/// Longest title, characters: it stands on one line.
const LONGEST_TITLE: usize = 100;

/// `[[grade]]`.
#[derive(Deserialize)]
pub(super) struct RawGrade {
    name: Spanned<String>,
    title: Spanned<String>,
    verdicts: Spanned<Words>,
    scopes: Option<Spanned<Words>>,
    smallest_margin_percent: Option<f64>,
    largest_confidence: Option<f64>,
    procedures: Option<Spanned<Words>>,
    undecided: Option<bool>,
    untested: Option<bool>,
    simulated: Option<bool>,
    source: String,
}

/// Every grade, best first; no name twice. None when the sheet grades nothing.
pub(super) fn grades(source: Source<'_>, raw: Vec<Spanned<RawGrade>>) -> Result<Vec<GradeRule>, SheetError> {
    let mut rules: Vec<GradeRule> = Vec::new();
    for one in raw {
        if rules.len() == MOST_GRADES {
            let message = format!("more than {MOST_GRADES} grades");
            return Err(source.error(one.span(), message, "leave some [[grade]] out"));
        }
        let place = one.get_ref().name.span();
        let rule = grade(source, one.into_inner())?;
        if rules.iter().any(|r| r.name == rule.name) {
            let message = format!("there is already a grade `{}`", rule.name);
            return Err(source.error(place, message, "keep one of the two, or give it another name"));
        }
        rules.push(rule);
    }
    Ok(rules)
}

fn grade(source: Source<'_>, raw: RawGrade) -> Result<GradeRule, SheetError> {
    let some = |key, given: Option<Spanned<Words>>, known: &[&'static str], otherwise: &[&'static str]| {
        match given {
            Some(given) => words(source, key, &given, known),
            None => Ok(otherwise.to_vec()),
        }
    };
    Ok(GradeRule {
        name: bounded_text(source, "name", raw.name, LONGEST_NAME)?,
        title: bounded_text(source, "title", raw.title, LONGEST_TITLE)?,
        verdicts: words(source, "verdicts", &raw.verdicts, &VERDICTS)?,
        scopes: some("scopes", raw.scopes, &SCOPES, &SCOPES[..1])?,
        smallest_margin_percent: raw.smallest_margin_percent,
        largest_confidence: raw.largest_confidence,
        procedures: some("procedures", raw.procedures, &PROCEDURES, &[])?,
        undecided: raw.undecided.unwrap_or_default(),
        untested: raw.untested.unwrap_or_default(),
        simulated: raw.simulated.unwrap_or_default(),
        source: raw.source,
    })
}

fn bounded_text(
    source: Source<'_>,
    key: &str,
    text: Spanned<String>,
    most: usize,
) -> Result<String, SheetError> {
    let length = text.get_ref().chars().count();
    if length > most {
        let message = format!("`{key}` has {length} characters, more than {most}");
        return Err(source.error(text.span(), message, "write it shorter"));
    }
    Ok(text.into_inner())
}

/// One word or more of a set, none twice.
fn words(
    source: Source<'_>,
    key: &str,
    list: &Spanned<Words>,
    known: &[&'static str],
) -> Result<Vec<&'static str>, SheetError> {
    let given = &list.get_ref().0;
    if given.is_empty() {
        let help = format!("write one at least: {}", known.join(", "));
        return Err(source.error(list.span(), format!("`{key}` is an empty list"), help));
    }
    let mut words = Vec::new();
    for one in given {
        let word = word(source, key, one, |name| known.iter().copied().find(|k| *k == name), known)?;
        if words.contains(&word) {
            let message = format!("`{word}` stands twice in `{key}`");
            return Err(source.error(one.span(), message, "leave one of the two out"));
        }
        words.push(word);
    }
    Ok(words)
}

#[cfg(test)]
#[path = "load_grades_tests.rs"]
mod tests;
