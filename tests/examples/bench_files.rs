//! A very long recording as Parquet, for the bench of reading and judging files: `bench_files TRACE.parquet [SCANS]`.
//! `tests/python/bench_files.py` makes the same as CSV, and sets the program beside its peers.

use trackpair::record::trace_to_parquet;
use trackpair_tests::big_trace::big_trace;

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let Some(file) = args.next() else { anyhow::bail!("usage: bench_files TRACE.parquet [SCANS]") };
    let scans = args.next().map_or(Ok(10_000_000), |n| n.parse())?;
    std::fs::write(file, trace_to_parquet(&big_trace(scans))?)?;
    Ok(())
}
