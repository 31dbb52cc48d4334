//! `[[grade]]` of a sheet, with errors that point at the offending place.

use super::GradeRule;
use super::fields::{Fields, Placed};
use super::grade::{PROCEDURES, SCOPES, VERDICTS};
use super::located::SheetError;
use std::collections::BTreeSet;

const KEYS: [&str; 11] = [
    "name",
    "title",
    "verdicts",
    "scopes",
    "smallest_margin_percent",
    "largest_confidence",
    "procedures",
    "undecided",
    "untested",
    "simulated",
    "source",
];

/// Most grades of a sheet.
const MOST_GRADES: usize = 12;
/// Longest name, characters: it stands on a label.
const LONGEST_NAME: usize = 12;
/// Longest title, characters: it stands on one line.
const LONGEST_TITLE: usize = 100;

/// Every grade, best first; no name twice. None when the sheet grades nothing.
pub(super) fn grades(sheet: &Fields<'_>) -> Result<Vec<GradeRule>, SheetError> {
    let mut rules: Vec<GradeRule> = Vec::new();
    for fields in sheet.tables("grade", "[[grade]]", &KEYS)? {
        if rules.len() == MOST_GRADES {
            return Err(fields.error(format!("more than {MOST_GRADES} grades"), "leave some [[grade]] out"));
        }
        let name = bounded_text(&fields, "name", LONGEST_NAME)?;
        if rules.iter().any(|r| r.name == name.value) {
            let message = format!("there is already a grade `{}`", name.value);
            return Err(fields.error_at(name.span, message, "keep one of the two, or give it another name"));
        }
        rules.push(grade(&fields, name.value)?);
    }
    Ok(rules)
}

fn grade(fields: &Fields<'_>, name: String) -> Result<GradeRule, SheetError> {
    let optional = |key: &'static str| -> Result<Option<f64>, SheetError> {
        if fields.holds(key) { Ok(Some(fields.bounded(key)?.value)) } else { Ok(None) }
    };
    let words =
        |key: &'static str, known: &[&'static str]| -> Result<Option<Vec<&'static str>>, SheetError> {
            if fields.holds(key) { Ok(Some(fields.words(key, known)?)) } else { Ok(None) }
        };
    let yes = |key: &str| if fields.holds(key) { fields.boolean(key) } else { Ok(false) };
    Ok(GradeRule {
        name,
        title: bounded_text(fields, "title", LONGEST_TITLE)?.value,
        verdicts: fields.words("verdicts", &VERDICTS)?,
        scopes: words("scopes", &SCOPES)?.unwrap_or_else(|| vec![SCOPES[0]]),
        smallest_margin_percent: optional("smallest_margin_percent")?,
        largest_confidence: optional("largest_confidence")?,
        procedures: words("procedures", &PROCEDURES)?.unwrap_or_default(),
        undecided: yes("undecided")?,
        untested: yes("untested")?,
        simulated: yes("simulated")?,
        source: fields.provenance()?,
    })
}

fn bounded_text(fields: &Fields<'_>, key: &str, most: usize) -> Result<Placed<String>, SheetError> {
    let text = fields.text(key)?;
    let length = text.value.chars().count();
    if length > most {
        let message = format!("`{key}` has {length} characters, more than {most}");
        return Err(fields.error_at(text.span, message, "write it shorter"));
    }
    Ok(Placed { value: text.value.to_owned(), span: text.span })
}

impl Fields<'_> {
    /// A list of one word or more of a set, none twice.
    fn words(&self, key: &'static str, known: &[&'static str]) -> Result<Vec<&'static str>, SheetError> {
        let find = |name: &str| known.iter().copied().find(|k| *k == name);
        let placed = self.list_of_words(key, find, known)?;
        let mut seen = BTreeSet::new();
        for word in &placed {
            if !seen.insert(word.value) {
                let message = format!("`{}` stands twice in `{key}`", word.value);
                return Err(self.error_at(word.span.clone(), message, "leave one of the two out"));
            }
        }
        Ok(placed.into_iter().map(|word| word.value).collect())
    }
}

#[cfg(test)]
#[path = "load_grades_tests.rs"]
mod tests;
