//! The analysis bench's trace as Parquet, and what the host makes of it as JSON: time on one core, figures.
//!
//! `bench_trace TRACE.parquet FIGURES.json [SCANS]`; `tests/python/bench_figures.py` reads both and sets numpy and scipy beside.

use serde_json::json;
use std::time::Instant;
use trackpair::analysis::PartAnalysis;
use trackpair::analysis::grip::{GripTraces, analyse};
use trackpair::record::trace_to_parquet;
use trackpair::sheet::PartSheet;
use trackpair::trace::Trace;
use trackpair_tests::big_trace::{big_trace, sheet};

/// How often the analysis is timed; the best counts.
const ROUNDS: usize = 5;

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let (Some(trace_file), Some(figures_file)) = (args.next(), args.next()) else {
        anyhow::bail!("usage: bench_trace TRACE.parquet FIGURES.json [SCANS]");
    };
    let scans = args.next().map_or(Ok(2_500_000), |n| n.parse())?;
    let (trace, sheet) = (big_trace(scans), sheet());
    std::fs::write(trace_file, trace_to_parquet(&trace)?)?;
    let (seconds, analysis) = timed(&trace, &sheet);
    let figures: Vec<_> = analysis
        .figures
        .iter()
        .map(|f| {
            // Outcomes state two standard uncertainties.
            let expanded = 2.0 * f.standard_uncertainty();
            let channel = f.channel.map(|c| c.name());
            json!({"figure": f.name.name(), "channel": channel, "value": f.value, "expanded_uncertainty": expanded})
        })
        .collect();
    let note = json!({"seconds": seconds, "rounds": ROUNDS, "figures": figures});
    std::fs::write(figures_file, serde_json::to_vec_pretty(&note)?)?;
    Ok(())
}

/// The best time of the whole analysis in seconds, and the analysis.
fn timed(trace: &Trace, sheet: &PartSheet) -> (f64, PartAnalysis) {
    let once = || {
        let start = Instant::now();
        let analysis = analyse(GripTraces { sweep: trace, leads: None, flex: None }, sheet);
        (start.elapsed().as_secs_f64(), analysis)
    };
    let (mut best, analysis) = once();
    for _ in 1..ROUNDS {
        best = best.min(once().0);
    }
    (best, analysis)
}
