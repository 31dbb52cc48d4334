//! What a job came to, printed.

use super::say::{style, write_report};
use crate::cli::ending::Ending;
use crate::cli::surroundings::Surroundings;
use crate::job::matings::Filed;
use crate::job::{Concluded, Failure};
use crate::report::document::{self, Fact};
use crate::report::{in_brief, terminal};
use std::io::Write;
use std::path::Path;

/// What of a conclusion is printed.
#[derive(Clone, Copy, Debug, Default)]
pub struct Printed<'a> {
    /// The outcome on stdout, the rest on stderr.
    pub json: bool,
    /// Every figure before the summary.
    pub full: bool,
    /// The report into this file too.
    pub report: Option<&'a Path>,
}

/// Prints what a job came to. The summary stands last, with where everything is kept: it is on the screen when the command ends. A reader that
/// has gone away is not a failure: everything is stored already.
///
/// # Errors
/// [`Failure::Other`] when the report can't be written to its file, or something could not be stored; all is printed first.
pub fn present(
    concluded: Concluded,
    printed: Printed<'_>,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    let reported = printed.report.map_or(Ok(()), |file| write_report(&concluded.page(), file));
    print(&concluded, printed, surroundings);
    let verdict = concluded.outcome().verdict;
    let Concluded { whole, not_stored, filed, .. } = concluded;
    let filed = filed.map(|filed| filed.iter().for_each(tell_filed));
    not_stored.map_or(Ok(()), Err).and(reported).and(filed)?;
    Ok(if whole { Ending::Judged(verdict) } else { Ending::RigFaultOrAborted })
}

fn print(concluded: &Concluded, printed: Printed<'_>, surroundings: &Surroundings<'_>) {
    let (mut out, mut err) = (std::io::stdout(), std::io::stderr());
    for failure in &concluded.failures {
        let _ = writeln!(err, "trackpair: {failure}");
    }
    let (input, style) = (concluded.input(), style(surroundings));
    let mut people = String::new();
    if printed.full {
        people = terminal(&document::report(&input), style);
        people.push('\n');
    }
    people.push_str(&in_brief(&document::summary(&input), &kept(concluded, printed), style));
    if printed.json {
        let _ = out.write_all(concluded.outcome().to_json().as_bytes());
        let _ = err.write_all(people.as_bytes());
    } else {
        let _ = out.write_all(people.as_bytes());
    }
}

/// Where more is to be read.
fn kept(concluded: &Concluded, printed: Printed<'_>) -> Vec<Fact> {
    let more =
        (!printed.full).then(|| Fact::new("More", "Every figure: in the report, or here with --full."));
    let folder = concluded
        .record
        .iter()
        .flat_map(|folder| [("Record", folder.clone()), ("Report", folder.join("report.html"))]);
    more.into_iter().chain(folder.map(|(name, path)| Fact::new(name, path.display().to_string()))).collect()
}

fn tell_filed(filed: &Filed) {
    for warning in &filed.warnings {
        eprintln!("trackpair: {warning}");
    }
    eprintln!("Case        {}, entry {}", filed.case, filed.number);
}
