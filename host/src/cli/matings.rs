//! Matings of connectors: `session` counts them where a part is plugged into a rig, this file is the command that lists them.

use super::ending::Ending;
use super::options::archive::{Where, open};
use super::surroundings::Surroundings;
use super::terminal::say::say;
use crate::job::Failure;
use crate::job::matings::standing;
use crate::record::{LeadMatings, PartMatings};
use crate::report::text::sentence;
use crate::sheet::{ConnectorRating, shipped};
use clap::Args;
use serde::Serialize;

/// Sheet whose ratings hold when none is named.
const USUAL_SHEET: &str = "grip-complementary";

/// `matings`.
#[derive(Args, Debug)]
pub struct Matings {
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Part sheet whose ratings hold, by name or file [else: TRACKPAIR_SHEET, configuration, grip-complementary]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Line {
    /// Kind of part; null for a lead.
    kind: Option<String>,
    /// The part's label, or the rig's serial number.
    of: String,
    /// Matings so far.
    count: u32,
    /// How many it is taken to bear.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    rated: u32,
    /// How the count stands to the rating.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = ["fresh", "near", "beyond"])))]
    standing: &'static str,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct MatingsDocument {
    document: &'static str,
    schema: u32,
    /// Source of the ratings.
    source: String,
    /// The day since which the lead is counted.
    lead_fitted: Option<String>,
    /// Connectors of parts.
    parts: Vec<Line>,
    /// Leads of rigs.
    leads: Vec<Line>,
}

/// Carries out `matings`.
///
/// # Errors
/// There is no archive, or no such sheet.
pub fn matings(args: &Matings, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let config = surroundings.config()?;
    let rating = rating(args.sheet.as_deref().or(config.sheet.value.as_deref()))?;
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let index = archive.index().map_err(|e| Failure::Other(e.into()))?;
    let since = config.lead_fitted.clone();
    let parts = index.all_part_matings().map_err(|e| Failure::Other(e.into()))?;
    let leads = index.all_lead_matings(since.as_deref()).map_err(|e| Failure::Other(e.into()))?;
    let part = |PartMatings { kind, label, count }: PartMatings| {
        let rated = rating.part_matings;
        Line { kind: Some(kind), of: label, count, rated, standing: standing(count, rated) }
    };
    let lead = |LeadMatings { lead, count }: LeadMatings| {
        let rated = rating.lead_matings;
        Line { kind: None, of: lead, count, rated, standing: standing(count, rated) }
    };
    let document = MatingsDocument {
        document: "matings",
        schema: 1,
        source: rating.source.clone(),
        lead_fitted: since,
        parts: parts.into_iter().map(part).collect(),
        leads: leads.into_iter().map(lead).collect(),
    };
    say(&told(&document), &document, args.json);
    Ok(Ending::Done)
}

fn rating(sheet: Option<&str>) -> Result<ConnectorRating, Failure> {
    match sheet {
        Some(named) => crate::record::sheet_file::load(named)
            .map(|sheet| sheet.connector)
            .map_err(|e| Failure::Usage(e.into())),
        None => Ok(shipped(USUAL_SHEET).map(|sheet| sheet.connector).unwrap_or_default()),
    }
}

fn told(document: &MatingsDocument) -> String {
    let mut text = String::new();
    for (head, lines) in [("PARTS", &document.parts), ("RIG LEADS", &document.leads)] {
        text += &format!("{head}\n");
        if lines.is_empty() {
            text += "  none was plugged in yet\n";
        }
        for line in lines {
            let warning = match line.standing {
                "beyond" => "  BEYOND its rating: look at the terminals",
                "near" => "  near its rating: plug it in as seldom as possible",
                _ => "",
            };
            // "grip 4711" says its kind already.
            let kind = line.kind.as_deref().filter(|k| !line.of.starts_with(k));
            let kind = kind.map(|k| format!("{k} ")).unwrap_or_default();
            text +=
                &format!("  {:>3} of {:<3} {kind}{}{warning}\n", line.count, line.rated, sentence(&line.of));
        }
    }
    let since = document.lead_fitted.as_deref().map(|d| format!("; leads since {d}")).unwrap_or_default();
    text + &format!("ratings: {}{since}\n", sentence(&document.source))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_connector_is_warned_of_before_it_reaches_its_rating_and_told_once_it_is_beyond() {
        let told = [7, 8, 10, 11].map(|count| standing(count, 10));
        assert_eq!(told, ["fresh", "near", "near", "beyond"]);
    }
}
