//! Histograms in letters: one that stands alone in three lines, those of a family one line each on a common axis. It draws nothing else.

use super::page::Page;
use crate::report::format;
use crate::report::plot::{Plot, Tally};

/// Heights of a bar.
const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Pictures that show counts; families first.
pub fn tallies(page: &mut Page, plots: &[Plot]) {
    let counted = || plots.iter().filter_map(|plot| Some((plot, plot.tally.as_ref()?)));
    let mut families: Vec<&str> = counted().filter_map(|(_, tally)| tally.family).collect();
    families.dedup();
    for heading in families {
        let usable = |t: &&Tally| t.low.is_finite() && t.width.is_finite() && t.width > 0.0;
        let members: Vec<&Tally> =
            counted().map(|(_, tally)| tally).filter(|t| t.family == Some(heading)).filter(usable).collect();
        family(page, heading, &members);
    }
    for (plot, tally) in counted().filter(|(_, tally)| tally.family.is_none()) {
        page.sub(&format!("{}: {}", plot.title, plot.caption));
        let Some(miniature) = Miniature::of(tally, page.style.width - 4) else {
            page.line("  nothing was counted");
            continue;
        };
        page.line(&format!("  {}", miniature.bars));
        page.line(&format!("  {}", miniature.marks));
        page.line(&format!("  {}", miniature.numbers));
    }
}

/// The share of a height as a block; nothing for none.
fn block(height: f64, top: f64) -> char {
    if height > 0.0 { BLOCKS[((height / top * 8.0).ceil() as usize).clamp(1, 8) - 1] } else { ' ' }
}

/// A histogram in three lines of text.
struct Miniature {
    bars: String,
    marks: String,
    numbers: String,
}

impl Miniature {
    /// At most 60 columns; none when nothing was counted.
    fn of(tally: &Tally, width: usize) -> Option<Self> {
        let columns = width.min(60);
        let edge = |k: usize| tally.low + k as f64 * tally.width;
        let first = tally.counts.iter().position(|c| *c > 0)?;
        let last = tally.counts.iter().rposition(|c| *c > 0)? + 1;
        let limits: Vec<f64> = tally.limits.iter().copied().filter(|l| l.is_finite()).collect();
        let low = limits.iter().copied().fold(edge(first), f64::min);
        let high = limits.iter().copied().fold(edge(last), f64::max);
        let margin = (high - low) * 0.05;
        let (low, high) = (low - margin, high + margin);
        let per_column = (high - low) / columns as f64;
        if !per_column.is_finite() || per_column <= 0.0 {
            return None;
        }
        let column = |value: f64| (((value - low) / per_column) as usize).min(columns - 1);
        let mut heights = vec![0.0; columns];
        // A bin wider than a column fills every column that it touches.
        for (k, count) in tally.counts.iter().enumerate().filter(|(_, c)| **c > 0) {
            let hair = tally.width * 1e-6;
            let (from, to) = (column(edge(k) + hair), column(edge(k + 1) - hair));
            for height in &mut heights[from..=to] {
                *height += *count as f64 / (to - from + 1) as f64;
            }
        }
        let top = heights.iter().copied().fold(0.0, f64::max);
        let mut marks = vec!['─'; columns];
        let mut labels: Vec<(usize, String)> = Vec::new();
        for limit in &limits {
            marks[column(*limit)] = '│';
            labels.push((column(*limit), format!("limit {}", format::as_written(*limit))));
        }
        let unit = format::unit(tally.unit);
        if low < 0.0 && high > 0.0 {
            labels.push((column(0.0), format!("0 {unit}")));
        } else {
            labels.push((0, format!("{} {unit}", format::significant(edge(first), 3))));
        }
        Some(Self {
            bars: heights.iter().map(|h| block(*h, top)).collect(),
            marks: marks.into_iter().collect(),
            numbers: placed(labels, (columns + 16).min(width + 2)),
        })
    }
}

/// Labels centred under their columns, from left to right; one that would touch another is left out.
fn placed(mut labels: Vec<(usize, String)>, room: usize) -> String {
    labels.sort();
    let mut line: Vec<char> = vec![' '; room];
    let mut free_from = 0;
    for (at, label) in labels {
        let length = label.chars().count();
        let start = at.saturating_sub(length / 2).min(line.len().saturating_sub(length));
        if start >= free_from && start + length <= line.len() {
            for (k, letter) in label.chars().enumerate() {
                line[start + k] = letter;
            }
            free_from = start + length + 1;
        }
    }
    line.into_iter().collect::<String>().trim_end().to_owned()
}

/// Histograms of a family, one line each on a common axis with the shortest of their limits.
fn family(page: &mut Page, heading: &str, all: &[&Tally]) {
    let Some(unit) = all.first().map(|t| t.unit) else { return };
    let alike: Vec<&Tally> = all.iter().copied().filter(|t| t.unit == unit).collect();
    let edge = |t: &Tally, k: usize| t.low + k as f64 * t.width;
    let last = |t: &Tally| t.counts.iter().rposition(|c| *c > 0).map_or(0, |k| k + 1);
    let limits = alike.iter().flat_map(|t| &t.limits).copied().filter(|l| l.is_finite() && *l > 0.0);
    let limit = limits.fold(f64::INFINITY, f64::min);
    let longest = alike.iter().map(|t| edge(t, last(t))).fold(0.0, f64::max);
    let high = if limit.is_finite() { limit.max(longest) } else { longest } * 1.05;
    let names = alike.iter().map(|t| t.name.chars().count()).max().unwrap_or(0);
    let columns = page.style.width.saturating_sub(names + 4).min(56);
    if columns < 12 || high <= 0.0 {
        return;
    }
    let column = |value: f64| ((value / high * columns as f64) as usize).min(columns - 1);
    page.sub(heading);
    for tally in &alike {
        let mut line = bars(tally, columns, &column);
        if limit.is_finite() && line[column(limit)] == ' ' {
            line[column(limit)] = '│';
        }
        let line: String = line.into_iter().collect();
        page.line(&format!("  {:<names$}  {}", tally.name, line.trim_end()));
        if tally.counts.iter().all(|count| *count == 0) {
            page.line(&format!("  {:<names$}  nothing was counted", ""));
        }
    }
    let to = if limit.is_finite() {
        format!("limit {} {}", format::as_written(limit), format::unit(unit))
    } else {
        format!("{} {}", format::significant(high, 2), format::unit(unit))
    };
    let end = if limit.is_finite() { column(limit) } else { columns - 1 };
    let space = (end + 1).saturating_sub(to.chars().count() + 1);
    page.line(&format!("  {:<names$}  0{:<space$}{to}", "", ""));
}

/// Heights of one histogram as blocks.
fn bars(tally: &Tally, columns: usize, column: &dyn Fn(f64) -> usize) -> Vec<char> {
    let mut heights = vec![0.0_f64; columns];
    for (k, count) in tally.counts.iter().enumerate() {
        heights[column(tally.low + (k as f64 + 0.5) * tally.width)] += *count as f64;
    }
    let top = heights.iter().copied().fold(0.0, f64::max);
    heights.iter().map(|h| block(*h, top)).collect()
}
