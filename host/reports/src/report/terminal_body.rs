//! The parts of the short result that only a throttle body has: its figures in groups, its latencies as one line each.

use super::format;
use super::groups::{FigureGroupRows, Grid};
use super::histograms::LATENCY;
use super::people::People;
use super::rows::FigureRow;
use super::terminal::{Page, code, columns, figure_list, shown, undecided};
use crate::outcome::{Outcome, OutcomeHistogram};
use crate::verdict::Verdict;

/// Width of a verdict's column.
const VERDICT: usize = 9;

/// Every group under its heading; what stands in lists stands in the same columns throughout.
pub(super) fn grouped_figures(page: &mut Page, people: &People) {
    page.heading("Figures (± expanded uncertainty, 95 %; volts at 5 V supply)");
    let listed = |group: &FigureGroupRows, page: &Page| -> Vec<FigureRow> {
        let cells = group.grid.iter().filter(|grid| !fits(page, grid));
        let cells = cells.flat_map(|grid| grid.rows.iter().flat_map(|(_, cells)| cells.iter().flatten()));
        cells.chain(&group.rows).cloned().collect()
    };
    let all: Vec<FigureRow> = people.groups.iter().flat_map(|g| listed(g, page)).collect();
    let columns = columns(page, &all);
    for group in &people.groups {
        let title = page.painted(group.title, "4");
        page.line(&format!(" {title}"));
        if let Some(grid) = group.grid.as_ref().filter(|grid| fits(page, grid)) {
            table(page, grid);
        }
        figure_list(page, &listed(group, page), columns);
    }
    undecided(page, people);
}

/// A cell's value without its unit, which its column's heading says.
fn bare(cell: &FigureRow) -> &str {
    cell.value.strip_suffix(cell.unit).map_or(cell.value.as_str(), str::trim_end)
}

/// A column's heading with the unit of its cells.
fn heading(grid: &Grid, column: usize) -> String {
    let unit = grid.rows.iter().find_map(|(_, cells)| cells[column].as_ref()).map_or("", |c| c.unit);
    if unit.is_empty() { grid.columns[column].clone() } else { format!("{}, {unit}", grid.columns[column]) }
}

/// A column's limit without its unit.
fn limit(grid: &Grid, column: usize) -> String {
    let mut cells = grid.rows.iter().filter_map(|(_, cells)| cells[column].as_ref());
    match (&grid.limits[column], cells.next()) {
        (Some(_), Some(cell)) => cell.limit_number.clone(),
        _ => "several".to_owned(),
    }
}

/// Widths of a grid's first column and of each other one.
fn widths(grid: &Grid) -> (usize, Vec<usize>) {
    let length = |text: &str| text.chars().count();
    let first = grid.rows.iter().map(|(name, _)| length(name)).max().unwrap_or(0);
    let column = |k: usize| {
        let cells = grid.rows.iter().filter_map(|(_, cells)| cells[k].as_ref()).map(|c| length(bare(c)));
        cells.chain([length(&heading(grid, k)), length(&limit(grid, k))]).max().unwrap_or(0)
    };
    (first, (0..grid.columns.len()).map(column).collect())
}

fn fits(page: &Page, grid: &Grid) -> bool {
    let (first, columns) = widths(grid);
    VERDICT + 2 + first + columns.iter().map(|w| w + 2).sum::<usize>() <= page.style.width
}

/// A row per condition, with the worst verdict of its cells.
fn table(page: &mut Page, grid: &Grid) {
    let (first, widths) = widths(grid);
    let row = |name: &str, cells: Vec<String>| {
        let cells = cells.iter().zip(&widths).map(|(cell, width)| format!("  {cell:<width$}"));
        format!("{name:<first$}{}", cells.collect::<String>())
    };
    let all = 0..grid.columns.len();
    let unjudged = " ".repeat(VERDICT + 2);
    page.line(&format!("{unjudged}{}", row("", all.clone().map(|k| heading(grid, k)).collect())));
    for (name, cells) in &grid.rows {
        let worst = worst(cells);
        let verdict = page.painted(&format!("{:<VERDICT$}", shown(worst)), code(worst));
        let cells = cells.iter().map(|c| c.as_ref().map_or(format::NOTHING, bare).to_owned()).collect();
        page.line(&format!(" {verdict} {}", row(name, cells)));
    }
    page.line(&format!("{unjudged}{}", row("limit", all.map(|k| limit(grid, k)).collect())));
}

/// The word of the worst verdict among cells.
fn worst(cells: &[Option<FigureRow>]) -> &'static str {
    let words = [Verdict::Outside, Verdict::Undecided, Verdict::Within].map(Verdict::name);
    let there = |word: &&str| cells.iter().flatten().any(|c| c.verdict == *word);
    words.into_iter().find(there).unwrap_or("no limit")
}

/// The latency histograms, one line each on a common axis with the shortest of their limits.
pub(super) fn latencies(page: &mut Page, outcome: &Outcome) {
    let all: Vec<&OutcomeHistogram> =
        outcome.histograms.iter().filter(|h| h.name == LATENCY && usable(h)).collect();
    let Some(unit) = all.first().map(|h| h.unit) else { return };
    let alike: Vec<_> = all.into_iter().filter(|h| h.unit == unit).collect();
    let edge = |h: &OutcomeHistogram, k: usize| h.low + k as f64 * h.width;
    let last = |h: &OutcomeHistogram| h.counts.iter().rposition(|c| *c > 0).map_or(0, |k| k + 1);
    let limits = || alike.iter().flat_map(|h| &h.limits).copied().filter(|l| l.is_finite() && *l > 0.0);
    let limit = limits().fold(f64::INFINITY, f64::min);
    let longest = alike.iter().map(|h| edge(h, last(h))).fold(0.0, f64::max);
    let high = if limit.is_finite() { limit.max(longest) } else { longest } * 1.05;
    let name =
        |h: &OutcomeHistogram| if h.condition.is_none() { "all".to_owned() } else { h.condition.words() };
    let names = alike.iter().map(|h| name(h).chars().count()).max().unwrap_or(0);
    let columns = page.style.width.saturating_sub(names + 4).min(56);
    if columns < 12 || high <= 0.0 {
        return;
    }
    let column = |value: f64| ((value / high * columns as f64) as usize).min(columns - 1);
    page.heading("Latency, how often: one line per range and direction");
    for histogram in &alike {
        let mut line = bars(histogram, columns, &column);
        if limit.is_finite() && line[column(limit)] == ' ' {
            line[column(limit)] = '│';
        }
        let count = histogram.counts.iter().fold(0_u64, |sum, c| sum.saturating_add(*c));
        let title = name(histogram);
        page.line(&format!("  {title:<names$}  {}", line.into_iter().collect::<String>().trim_end()));
        if count == 0 {
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

fn usable(histogram: &OutcomeHistogram) -> bool {
    histogram.low.is_finite() && histogram.width.is_finite() && histogram.width > 0.0
}

/// Heights of one histogram as blocks.
fn bars(histogram: &OutcomeHistogram, columns: usize, column: &dyn Fn(f64) -> usize) -> Vec<char> {
    const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let mut heights = vec![0.0_f64; columns];
    for (k, count) in histogram.counts.iter().enumerate() {
        heights[column(histogram.low + (k as f64 + 0.5) * histogram.width)] += *count as f64;
    }
    let top = heights.iter().copied().fold(0.0, f64::max);
    let block =
        |h: &f64| if *h > 0.0 { BLOCKS[((h / top * 8.0).ceil() as usize).clamp(1, 8) - 1] } else { ' ' };
    heights.iter().map(block).collect()
}
