//! What a job came to, printed.

use super::say::{style, write_report};
use crate::cli::ending::Ending;
use crate::cli::surroundings::Surroundings;
use crate::job::matings::Filed;
use crate::job::{Concluded, Failure};
use crate::report::document::{self, Block, Fact};
use crate::report::terminal;
use std::io::Write;
use std::path::Path;

/// Prints the short result and where it is stored, and with `json` the document on stdout and everything else on stderr; the report also goes to
/// the file `report`. A reader that has gone away is no failure: everything is stored already.
///
/// # Errors
/// [`Failure::Other`] when the report can't be written to its file, or something could not be stored; all is printed first.
pub fn present(
    concluded: Concluded,
    json: bool,
    report: Option<&Path>,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    let reported = report.map_or(Ok(()), |file| write_report(&concluded.page(), file));
    print(&concluded, json, surroundings);
    let verdict = concluded.outcome().verdict;
    let Concluded { whole, not_stored, filed, .. } = concluded;
    let filed = filed.map(|filed| filed.iter().for_each(tell_filed));
    not_stored.map_or(Ok(()), Err).and(reported).and(filed)?;
    Ok(if whole { Ending::Judged(verdict) } else { Ending::RigFaultOrAborted })
}

fn print(concluded: &Concluded, json: bool, surroundings: &Surroundings<'_>) {
    let mut report = document::report(&concluded.input());
    if let Some(path) = &concluded.record {
        let kept = [("record", path.clone()), ("report", path.join("report.html"))];
        let kept = kept.map(|(name, path)| Fact::new(name, path.display().to_string()));
        report.blocks.push(Block::Kept(kept.to_vec()));
    }
    let people = terminal(&report, style(surroundings));
    let (mut out, mut err) = (std::io::stdout(), std::io::stderr());
    if json {
        let _ = out.write_all(concluded.outcome().to_json().as_bytes());
        let _ = err.write_all(people.as_bytes());
    } else {
        let _ = out.write_all(people.as_bytes());
    }
    for failure in &concluded.failures {
        let _ = writeln!(err, "trackpair: {failure}");
    }
}

fn tell_filed(filed: &Filed) {
    for warning in &filed.warnings {
        eprintln!("trackpair: {warning}");
    }
    eprintln!("case    {}, entry {}", filed.case, filed.number);
}
