//! A synthetic archive for the bench of `rejudge`: one long simulated sweep, kept again and again as records of its own.
//!
//! `bench_archive DIR [RECORDS] [SCANS]`; DIR must not be there. `tests/python/bench_archive.py` measures on it.

use std::path::Path;
use trackpair::analysis::grip::{GripTraces, analyse};
use trackpair::outcome::{OutcomeInputs, StoredTrace, build};
use trackpair::record::{Archive, Sealing};
use trackpair::verdict::judge;
use trackpair_tests::big_trace::{big_trace, sheet};

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let dir = args.next().ok_or_else(|| anyhow::anyhow!("usage: bench_archive DIR [RECORDS] [SCANS]"))?;
    let records: u32 = args.next().map_or(Ok(20), |n| n.parse())?;
    let scans: usize = args.next().map_or(Ok(1_250_000), |n| n.parse())?;
    anyhow::ensure!(!Path::new(&dir).exists(), "{dir} is there already");
    let (mut trace, sheet) = (big_trace(scans), sheet());
    let analysis = analyse(GripTraces { sweep: &trace, leads: None, flex: None }, &sheet);
    let judgement = judge(&analysis, &sheet);
    let archive = Archive::open(Path::new(&dir))?;
    let date = "2026-01-01T00:00:00+00:00";
    for number in 1..=records {
        trace.provenance.part = format!("invented {number}");
        let mut folder = archive.begin_record(&trace.provenance.part, date)?;
        let file = folder.store_trace(&trace)?;
        let outcome = build(OutcomeInputs {
            session: Default::default(),
            analysis: &analysis,
            judgement: &judgement,
            sheet: &sheet,
            topology_shown: None,
            readings: &[],
            doubts: &[],
            traces: &[StoredTrace { trace: &trace, file: Some(&file) }],
            judged: date,
            warnings: &[],
        });
        folder.conclude(&outcome, Sealing { key: None, date }, |_| Vec::new())?;
    }
    println!("{}", records as usize * trace.len() * trace.columns.len());
    Ok(())
}
