//! `explain`: what a figure of a record is and what its uncertainty is made of. The record's traces are analysed again for it; nothing is kept.

use super::ending::Ending;
use super::options::archive::{Where, named};
use super::surroundings::Surroundings;
use super::terminal::say::{say, style};
use crate::job::Failure;
use crate::job::stored::must_read;
use crate::quantity::FigureName;
use crate::report::explain::{Explained, Explanation, explained};
use crate::report::terminal;
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// `explain`.
#[derive(Args, Debug)]
pub struct Explain {
    /// Name of the figure as outcomes and sheets write it (linearity_independent, noise …), or `all`
    pub figure: String,
    /// The record: its name, its folder, or its outcome.json
    pub record: PathBuf,
    /// Only of this line: rising or falling
    #[arg(long, value_name = "LINE", value_parser = ["rising", "falling"])]
    pub line: Option<String>,
    /// Part sheet to analyse by, by name or file; without it, that of the record
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Where records are looked up by name.
    #[command(flatten)]
    pub place: Where,
    /// Print it as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `explain`.
///
/// # Errors
/// [`Failure::Usage`] for an unknown figure or record, or a figure that this record does not have.
pub fn explain(args: &Explain, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let wanted = wanted(&args.figure)?;
    let archive = named(args.place.archive.as_deref(), surroundings)?;
    let stored = must_read(&args.record, archive.as_deref())?;
    let analysis = stored.again(args.sheet.as_deref()).map_err(|why| Failure::Usage(anyhow!(why)))?;
    let of_the_line = |f: &&crate::analysis::Figure| {
        args.line.as_deref().is_none_or(|line| f.channel.is_some_and(|c| c.name() == line))
    };
    let figures: Vec<Explained> = analysis
        .figures
        .iter()
        .filter(|f| wanted.is_none_or(|name| f.name == name))
        .filter(of_the_line)
        .map(|f| Explained::new(f, &stored.outcome))
        .collect();
    if figures.is_empty() {
        let why = analysis.not_testable.iter().find(|n| n.what.starts_with(args.figure.as_str()));
        let mut has: Vec<&str> = analysis.figures.iter().map(|f| f.name.name()).collect();
        has.dedup();
        return Err(Failure::Usage(anyhow!(
            "{} has no {}{}{}; it has: {}",
            stored.name,
            args.figure,
            args.line.as_deref().map_or(String::new(), |l| format!(" of the {l} line")),
            why.map_or(String::new(), |n| format!(": {}", n.why)),
            has.join(", ")
        )));
    }
    let explanation = Explanation {
        document: "explanation",
        schema: 1,
        record: stored.name.clone(),
        simulated: stored.outcome.simulated,
        figures,
    };
    let text = terminal(&explained(&explanation, &stored.outcome), style(surroundings));
    say(&text, &explanation, args.json);
    Ok(Ending::Done)
}

/// The figure that is meant; none for all.
fn wanted(figure: &str) -> Result<Option<FigureName>, Failure> {
    if figure == "all" {
        return Ok(None);
    }
    match FigureName::from_name(figure) {
        Some(name) => Ok(Some(name)),
        None => {
            let names: Vec<&str> = FigureName::ALL.iter().map(|f| f.name()).collect();
            Err(Failure::Usage(anyhow!(
                "there is no figure {figure:?}; give `all`, or one of: {}",
                names.join(", ")
            )))
        }
    }
}
