//! Writes the analysis bench's trace as Parquet, for the peer in Python: `bench_trace FILE [SCANS]`.

use trackpair::record::trace_to_parquet;
use trackpair_tests::big_trace::big_trace;

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let file = args.next().ok_or_else(|| anyhow::anyhow!("usage: bench_trace FILE [SCANS]"))?;
    let scans = args.next().map_or(Ok(2_500_000), |n| n.parse())?;
    std::fs::write(file, trace_to_parquet(&big_trace(scans))?)?;
    Ok(())
}
