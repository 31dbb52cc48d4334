//! `certificate`: a stored record's certificate made anew: for other paper, or with the shop as it is configured now.

use super::ending::Ending;
use super::options::archive::{Where, open};
use super::options::new_file::write_new_bytes;
use super::options::paper::paper;
use super::sealing::to_seal_with;
use super::surroundings::Surroundings;
use crate::cli::terminal::letterhead::letterhead;
use crate::job::Failure;
use crate::outcome::Stamp;
use crate::record::seal::{PrintedCode, from_hex, seal_document};
use crate::record::{StoredRecord, StoredSeal};
use crate::report::document::certificate;
use crate::report::{CertificateInput, Paper, pdf};
use anyhow::{Context, anyhow};
use clap::Args;
use std::path::PathBuf;

/// `certificate`.
#[derive(Args, Debug)]
pub struct Certificate {
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// The record, by its name or a part of it that no other has
    pub record: String,
    /// Number of the outcome, instead of the last
    #[arg(long, value_name = "N")]
    pub outcome: Option<u32>,
    /// Paper: a4 or letter [else: configuration, a4]
    #[arg(long, value_name = "PAPER", value_parser = paper)]
    pub paper: Option<Paper>,
    /// The PDF file to write, which is not there yet
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
}

/// Carries out `certificate`.
///
/// # Errors
/// [`Failure::Usage`] for an unknown record or a file that is there; [`Failure::Other`] when the record is not sealed, is not as it
/// was kept, or the key can't be used.
pub fn certificate_again(args: &Certificate, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let record = archive.record(&args.record).map_err(|e| Failure::Usage(e.into()))?;
    let outcome = archive.outcome(&record, args.outcome).map_err(|e| Failure::Usage(e.into()))?;
    let seal = seal_of(&record, args.outcome)?;
    let stamp = Stamp {
        record: record.summary.record.clone(),
        fingerprint: seal.seal.fingerprint.clone(),
        key: seal.seal.key.clone(),
        code: PrintedCode::text(&record.summary.record, &seal.seal),
    };
    let shop = letterhead(surroundings);
    let input = CertificateInput { outcome: &outcome, stamp: Some(&stamp), shop: shop.as_ref() };
    let paper = args.paper.unwrap_or_else(|| surroundings.paper());
    let page = certificate(&input).map_err(|e| Failure::Other(e.into()))?;
    let page = pdf(&page, paper).map_err(|e| Failure::Other(e.into()))?;
    let page = sealed(page, &stamp, surroundings)?;
    write_new_bytes(&args.out, &page)?;
    println!("{}: {} bytes; `trackpair verify` checks it", args.out.display(), page.len());
    Ok(Ending::Done)
}

/// The seal of an outcome, if it still covers it.
fn seal_of(record: &StoredRecord, number: Option<u32>) -> Result<&StoredSeal, Failure> {
    let number = number.unwrap_or(record.outcomes.len() as u32);
    let name = &record.summary.record;
    let seal = record.seals.iter().find(|s| s.number == number).ok_or_else(|| {
        Failure::Other(anyhow!(
            "outcome {number} of {name} is not sealed, so a certificate of it would prove nothing; `trackpair rejudge {name}` makes a sealed one"
        ))
    })?;
    seal.seal.open().map_err(|why| Failure::Other(anyhow!("the seal of {name} can't be used: {why}")))?;
    Ok(seal)
}

/// The page with this shop's seal in it.
fn sealed(page: Vec<u8>, stamp: &Stamp, surroundings: &Surroundings<'_>) -> Result<Vec<u8>, Failure> {
    let key = to_seal_with(surroundings)
        .ok_or_else(|| Failure::Other(anyhow!("without the key there is no certificate")))?;
    let fingerprint = from_hex::<32>(&stamp.fingerprint)
        .context("the seal's fingerprint can't be read")
        .map_err(Failure::Other)?;
    seal_document(page, &fingerprint, &key).map_err(|e| Failure::Other(e.into()))
}
