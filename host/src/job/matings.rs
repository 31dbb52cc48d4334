//! A part that is plugged into a rig: one mating more of its connector and of the rig's lead, unless it had been left plugged in; warned
//! of before it is done, written into the outcome, and the record filed in its case.

use super::failure::Failure;
use super::mounted::Mounted;
use super::outside::Outside;
use super::sealing::to_seal_with;
use crate::case::{Content, RecordEntry};
use crate::outcome::{Outcome, OutcomeMating, OutcomeMatings};
use crate::quantity::PartKind;
use crate::record::{Archive, Index, RecordFolder, Sealing};
use crate::report::text::sentence;
use crate::sheet::PartSheet;

/// From this share of its rating on a connector is worth a warning.
const WARN_FROM: f64 = 0.8;

/// What is known of the session's plugs.
#[derive(Clone, Debug, Default)]
pub struct Plugged {
    case: Option<String>,
    still: bool,
    lead_since: Option<String>,
}

impl Plugged {
    /// As it is mounted; a connector at the end of its life is reported now, while it can still be left as it is.
    pub fn of(mounted: Mounted<'_>, sheet: &PartSheet, outside: &Outside<'_>) -> Self {
        let Mounted { part, case, still_plugged, archive, .. } = mounted;
        let lead_since = outside.workshop.lead_fitted.clone();
        let plugged = Self { case: case.map(str::to_owned), still: still_plugged, lead_since };
        if !plugged.still && !part.is_empty() {
            let dir = archive.map(|dir| Ok(dir.to_path_buf())).unwrap_or_else(Archive::default_dir);
            let index = dir.ok().and_then(|dir| Index::open_to_read(&dir).ok());
            let counts = index
                .iter()
                .flat_map(|index| PartKind::ALL.map(|k| index.part_matings(k, part, "").unwrap_or(0)));
            let before = counts.max().unwrap_or(0);
            if let Some(warning) = warning(part, before + 1, sheet.connector.part_matings) {
                outside.warn(warning);
            }
        }
        plugged
    }

    /// Says whether the part had been left plugged in when what is kept was begun.
    pub fn leave(&mut self, still: bool) {
        self.still = still;
    }

    /// Counts into an outcome what is being kept in a folder.
    pub fn count(&self, outcome: &mut Outcome, sheet: &PartSheet, folder: &RecordFolder) {
        let Ok(index) = Index::open_to_read(folder.archive_dir()) else { return };
        let Some(rig) = &outcome.rig else { return };
        let more = u32::from(!self.still);
        let kind = outcome.part.kind.known().unwrap_or_default();
        let rating = &sheet.connector;
        let label = &outcome.part.label;
        let part = (!label.is_empty()).then(|| OutcomeMating {
            of: label.clone(),
            count: index.part_matings(kind, label, folder.record()).unwrap_or(0) + more,
            rated: rating.part_matings,
            source: rating.source.clone(),
        });
        let lead = OutcomeMating {
            of: rig.serial.clone(),
            count: index.lead_matings(&rig.serial, self.lead_since.as_deref()).unwrap_or(0) + more,
            rated: rating.lead_matings,
            source: rating.source.clone(),
        };
        let told = [(part.as_ref(), false), (Some(&lead), true)];
        for (mating, is_lead) in told {
            let Some(mating) = mating else { continue };
            let of = if is_lead { format!("the rig's lead ({})", mating.of) } else { mating.of.clone() };
            outcome.warnings.extend(warning(&of, mating.count, mating.rated));
        }
        outcome.matings = Some(OutcomeMatings { counted: !self.still, part, lead: Some(lead) });
    }

    /// Files the kept record in its case, if it belongs to one.
    ///
    /// # Errors
    /// It can't be written there. The record itself is kept.
    pub fn file(
        &self,
        outcome: &Outcome,
        folder: &RecordFolder,
        outside: &Outside<'_>,
    ) -> Result<Option<Filed>, Failure> {
        let Some(case) = &self.case else { return Ok(None) };
        let failed = |e: &dyn std::error::Error| {
            Failure::Other(anyhow::anyhow!(
                "the record is kept, but not filed in {case}: {e}; file it: trackpair case note {case} --record {}",
                folder.record()
            ))
        };
        let archive = Archive::open_to_read(folder.archive_dir()).map_err(|e| failed(&e))?;
        let content = record_entry(&archive, folder.record(), outcome).map_err(|e| failed(&e))?;
        let mut warnings = Vec::new();
        let key = to_seal_with(&outside.workshop.key_file, &mut |warning| warnings.push(warning));
        let sealing = Sealing { key: key.as_ref(), date: &outside.now() };
        let kept = archive.add_to_case(case, content, sealing, |_| Vec::new()).map_err(|e| failed(&e))?;
        warnings.extend(kept.warnings.iter().map(ToString::to_string));
        Ok(Some(Filed { case: case.clone(), number: kept.number, warnings }))
    }
}

/// An entry of a case that the record is filed by.
#[derive(Clone, Debug)]
pub struct Filed {
    /// The case.
    pub case: String,
    /// The entry.
    pub number: u32,
    /// What is not as it should be with it.
    pub warnings: Vec<String>,
}

/// A record as an entry of a case.
///
/// # Errors
/// The archive has no such record.
pub fn record_entry(
    archive: &Archive,
    record: &str,
    outcome: &Outcome,
) -> Result<Content, crate::record::ArchiveError> {
    let stored = archive.record(record)?;
    let number = stored.outcomes.last().map_or(1, |o| o.number);
    let seal = stored.seals.iter().find(|s| s.number == number);
    Ok(Content::Record(RecordEntry {
        record: record.to_owned(),
        number,
        fingerprint: seal.map(|s| s.seal.fingerprint.clone()),
        kind: outcome.part.kind.known().unwrap_or_default(),
        label: outcome.part.label.clone(),
        scope: outcome.scope.clone(),
        verdict: outcome.verdict,
        simulated: outcome.simulated,
    }))
}

/// What to say of a connector; nothing while it is fresh.
fn warning(of: &str, count: u32, rated: u32) -> Option<String> {
    let of = sentence(of);
    match standing(count, rated) {
        "beyond" => Some(format!(
            "the connector of {of} has had {count} matings, and {rated} are what it is taken to bear: contact that is lost now may be its wear. Look at \
             the terminals, and leave it plugged in between procedures (--still-plugged)"
        )),
        "near" => Some(format!(
            "the connector of {of} has had {count} matings of the {rated} that it is taken to bear: plug it in as seldom as possible, and leave it plugged \
             in between procedures (--still-plugged)"
        )),
        _ => None,
    }
}

/// How a count stands to its rating.
pub fn standing(count: u32, rated: u32) -> &'static str {
    if count > rated {
        "beyond"
    } else if f64::from(count) >= WARN_FROM * f64::from(rated) {
        "near"
    } else {
        "fresh"
    }
}
