//! The end of a job: what was kept is judged, stored, sealed, and filed in its case.

use super::failure::Failure;
use super::judged::Judged;
use super::matings::Filed;
use super::outside::Outside;
use super::question::Question;
use super::recorded::Recorded;
use super::sealing::to_seal_with;
use crate::outcome::Outcome;
use crate::record::{Document, RecordFolder, Sealing};
use crate::report::{self, CertificateInput, Paper, ReportInput, Shop, html, pdf};
use crate::sheet::PartSheet;
use crate::verdict::Scope;
use anyhow::anyhow;
use std::path::PathBuf;

/// What a job came to.
pub struct Concluded {
    /// What was judged, with its outcome.
    pub judged: Judged,
    /// The sheet that it was judged by.
    pub sheet: PartSheet,
    /// Whose reports they are.
    pub shop: Option<Shop>,
    /// The record's folder; none where nothing was to be recorded, or the outcome could not be stored.
    pub record: Option<PathBuf>,
    /// The report in it.
    pub report: Option<PathBuf>,
    /// Why the plan was cut short, and which traces could not be written.
    pub failures: Vec<String>,
    /// Whether plan, rig and line were as they should be. Otherwise that is the result, whatever the verdict says.
    pub whole: bool,
    /// Why the outcome could not be stored.
    pub not_stored: Option<Failure>,
    /// The entry of the case that it is filed by, or why it could not be filed; none where it belongs to none.
    pub filed: Result<Option<Filed>, Failure>,
}

impl Concluded {
    /// The outcome.
    pub fn outcome(&self) -> &Outcome {
        &self.judged.outcome
    }

    /// What reports of it are made of.
    pub fn input(&self) -> ReportInput<'_> {
        ReportInput { shop: self.shop.as_ref(), ..self.judged.report(&self.sheet) }
    }

    /// The report for the screen, as it is stored, where it is.
    pub fn page(&self) -> Vec<u8> {
        let stored = self.report.as_ref().and_then(|page| std::fs::read(page).ok());
        stored.unwrap_or_else(|| html(&report::document::report(&self.input())).into_bytes())
    }
}

/// Judges what was kept and stores it.
///
/// # Errors
/// [`Failure::Rig`] when nothing was recorded. What could not be stored stands in the result.
pub fn conclude(
    mut recorded: Recorded,
    question: &Question,
    sheet: &PartSheet,
    outside: &Outside<'_>,
) -> Result<Concluded, Failure> {
    let Some(mut judged) = Judged::of(&recorded, question, sheet, &outside.now()) else {
        let why = recorded.failures.first().map_or("the rig sent no samples", String::as_str);
        return Err(Failure::Rig(anyhow!("nothing was recorded, so nothing can be judged: {why}")));
    };
    let shop = outside.letterhead();
    if let (Some(plugged), Some(folder)) = (&recorded.plugged, &recorded.folder) {
        plugged.count(&mut judged.outcome, sheet, folder);
    }
    let stored = store(&mut recorded, &ReportInput { shop, ..judged.report(sheet) }, outside);
    let in_record = matches!(stored, Ok(Some(_)));
    let filed = match (in_record, &recorded.plugged, &recorded.folder) {
        (true, Some(plugged), Some(folder)) => plugged.file(&judged.outcome, folder, outside),
        _ => Ok(None),
    };
    // In a session with a rig its faults are the result; of a stored recording its verdict is.
    let faulty = recorded.plugged.is_some() && !judged.analysis.rig_faults.is_empty();
    let (report, not_stored) = match stored {
        Ok(report) => (report, None),
        Err(failure) => (None, Some(failure)),
    };
    Ok(Concluded {
        judged,
        sheet: sheet.clone(),
        shop: shop.cloned(),
        record: recorded.folder.as_ref().filter(|_| in_record).map(RecordFolder::path),
        report,
        whole: recorded.failures.is_empty() && !faulty,
        failures: recorded.failures,
        not_stored,
        filed,
    })
}

/// Outcome and documents into the record, sealed with the shop's key, if there is one; the report's file.
fn store(
    recorded: &mut Recorded,
    input: &ReportInput<'_>,
    outside: &Outside<'_>,
) -> Result<Option<PathBuf>, Failure> {
    let Some(folder) = recorded.folder.as_mut() else { return Ok(None) };
    folder.tell_of_sessions(&recorded.stories);
    into_record(folder, input, outside)
}

/// Outcome and documents into a record's folder, sealed with the shop's key, if there is one; the report's file.
///
/// # Errors
/// They can't be written.
pub fn into_record(
    folder: &mut RecordFolder,
    input: &ReportInput<'_>,
    outside: &Outside<'_>,
) -> Result<Option<PathBuf>, Failure> {
    let key = to_seal_with(&outside.workshop.key_file, &mut |warning| outside.warn(warning));
    let sealing = Sealing { key: key.as_ref(), date: &outside.now() };
    let done = folder
        .conclude(input.outcome, sealing, |stamp| {
            let (documents, missing) = documents(&ReportInput { stamp, ..*input }, outside.workshop.paper);
            missing.into_iter().for_each(|warning| outside.warn(warning));
            documents
        })
        .map_err(|e| Failure::Other(e.into()))?;
    for warning in &done.warnings {
        outside.warn(warning.to_string());
    }
    Ok(done.documents.into_iter().next())
}

/// What goes into a record beside its outcome: the report for the screen and on paper, and for a part its certificate; and why one could
/// not be made.
pub fn documents(input: &ReportInput<'_>, paper: Paper) -> (Vec<Document>, Vec<String>) {
    let report = report::document::report(input);
    let mut all = vec![Document { stem: "report", ending: "html", bytes: html(&report).into_bytes() }];
    let mut missing = Vec::new();
    let mut add = |stem, said: &report::document::Document| match pdf(said, paper) {
        Ok(bytes) => all.push(Document { stem, ending: "pdf", bytes }),
        Err(error) => missing.push(format!("no {stem}.pdf: {error}")),
    };
    add("report", &report);
    if input.outcome.scope == Scope::Part {
        let ReportInput { outcome, stamp, shop, .. } = *input;
        if let Ok(certificate) = report::document::certificate(&CertificateInput { outcome, stamp, shop }) {
            add("certificate", &certificate);
        }
    }
    (all, missing)
}
