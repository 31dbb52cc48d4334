//! The tables of figures in a report: a grip's as one list, a throttle body's in groups, as the other media have them.

use super::PdfError;
use super::blocks::{SMALL, Setter};
use super::colour::{FAINT, OUTSIDE, UNDECIDED, WITHIN, verdict_colour};
use super::picture::{Picture, sign};
use super::piece::Piece;
use super::rich::{Rich, Style};
use super::table::{Cell, Row, table};
use crate::report::body_plots::BeforeAfter;
use crate::report::groups::{FigureGroupRows, Grid};
use crate::report::people::People;
use crate::report::rows::FigureRow;
use crate::report::soak::DriftRow;

/// How figures are to be read.
const READING: &str = "Value ± expanded uncertainty (95 %, k = 2). Volts and millivolts are at a supply of exactly 5 V. Raised \
    numbers name the source of a limit.";
const HEAD: Style = SMALL.bold();

/// Verdicts as cells: their signs are read once.
pub struct Verdicts {
    within: Option<Picture>,
    outside: Option<Picture>,
    undecided: Option<Picture>,
}

impl Verdicts {
    /// Reads the signs.
    ///
    /// # Errors
    /// One is no picture.
    pub fn new() -> Result<Self, PdfError> {
        Ok(Self {
            within: sign("within", WITHIN)?,
            outside: sign("outside", OUTSIDE)?,
            undecided: sign("undecided", UNDECIDED)?,
        })
    }

    /// Sign and word of a verdict.
    pub fn word(&self, verdict: &str) -> (Option<Picture>, Rich) {
        let sign = match verdict {
            "within" => &self.within,
            "outside" => &self.outside,
            "undecided" => &self.undecided,
            _ => &None,
        };
        let style = match verdict {
            "outside" => SMALL.bold().colour(OUTSIDE),
            "no limit" => SMALL.colour(FAINT),
            other => SMALL.colour(verdict_colour(other)),
        };
        (sign.clone(), Rich::new(verdict, style))
    }
}

/// Every figure.
///
/// # Errors
/// A sign is no picture.
pub fn figures(set: &Setter<'_>, people: &People) -> Result<Vec<Piece>, PdfError> {
    let verdicts = Verdicts::new()?;
    let mut pieces = set.paragraph(&Rich::new(READING, SMALL.colour(FAINT)), 0.0);
    pieces.iter_mut().for_each(|p| p.keep = true);
    if people.groups.is_empty() {
        pieces.extend(list(set, &people.figures, "line", &verdicts));
    }
    for group in &people.groups {
        pieces.extend(of_group(set, group, &verdicts));
    }
    Ok(pieces)
}

fn of_group(set: &Setter<'_>, group: &FigureGroupRows, verdicts: &Verdicts) -> Vec<Piece> {
    let mut pieces = set.sub(group.title);
    let reading = set.paragraph(&Rich::new(group.reading, SMALL.colour(FAINT)), 0.0);
    pieces.extend(reading.into_iter().map(|p| Piece { keep: true, ..p }));
    if let Some(grid) = &group.grid {
        pieces.extend(of_grid(set, grid, verdicts));
    }
    if !group.rows.is_empty() {
        let mut rows = list(set, &group.rows, group.second, verdicts);
        if let Some(first) = rows.first_mut().filter(|_| group.grid.is_some()) {
            first.before = 8.0;
        }
        pieces.extend(rows);
    }
    pieces
}

/// Figures one below the other; `second` names the second column, which is left out when it says nothing.
fn list(set: &Setter<'_>, rows: &[FigureRow], second: &str, verdicts: &Verdicts) -> Vec<Piece> {
    let with_second: [f32; 6] = [0.245, 0.125, 0.215, 0.195, 0.13, 0.09];
    let without: [f32; 5] = [0.29, 0.24, 0.23, 0.14, 0.10];
    let (shares, mut names): (&[f32], Vec<&str>) =
        if second.is_empty() { (&without, vec!["figure"]) } else { (&with_second, vec!["figure", second]) };
    names.extend(["value ± uncertainty", "limit", "verdict", "where"]);
    let head = names.into_iter().map(|n| Rich::new(n, HEAD)).collect();
    let rows: Vec<Row> = rows
        .iter()
        .enumerate()
        .map(|(k, row)| {
            let name = if row.rows > 0 { row.name.clone() } else { String::new() };
            let mut cells = vec![cell(&name)];
            if !second.is_empty() {
                cells.push(cell(if row.condition.is_empty() { &row.line } else { &row.condition }));
            }
            cells.extend([
                cell(&row.value),
                Cell::text(limit(&row.limit, row.source)),
                Cell(vec![verdicts.word(row.verdict)]),
                cell(&row.place),
            ]);
            // The rows of one figure stay together: only the first bears its name.
            Row { cells, begins: row.rows > 0, keep: rows.get(k + 1).is_some_and(|next| next.rows == 0) }
        })
        .collect();
    table(set, shares, head, &rows)
}

/// Figures by condition: a row per condition, a column per figure.
fn of_grid(set: &Setter<'_>, grid: &Grid, verdicts: &Verdicts) -> Vec<Piece> {
    let corner = 0.2;
    let share = (1.0 - corner) / grid.columns.len().max(1) as f32;
    let shares: Vec<f32> = std::iter::once(corner).chain(grid.columns.iter().map(|_| share)).collect();
    let names = std::iter::once(grid.corner).chain(grid.columns.iter().map(String::as_str));
    let head = names.map(|n| Rich::new(n, HEAD)).collect();
    let mut rows: Vec<Row> = grid
        .rows
        .iter()
        .map(|(name, cells)| {
            let cells = cells.iter().zip(&grid.limits).map(|(found, common)| match found {
                None => Cell::text(Rich::new("not measured", SMALL.colour(FAINT))),
                Some(row) => {
                    let mut lines =
                        vec![(None, Rich::new(row.value.clone(), SMALL)), verdicts.word(row.verdict)];
                    if common.is_none() {
                        lines.push((None, limit(&row.limit, row.source)));
                    }
                    Cell(lines)
                }
            });
            Row { cells: std::iter::once(cell(name)).chain(cells).collect(), begins: true, keep: false }
        })
        .collect();
    let limits = grid.limits.iter().map(|common| {
        let faint = SMALL.colour(FAINT);
        Cell::text(match common {
            None => Rich::new("in each cell", faint),
            Some(limit) if limit.name.is_empty() => Rich::new(limit.text.clone(), faint),
            Some(limit) => {
                Rich::new(limit.text.clone(), faint).raised(format!("\u{a0}{}", limit.name), faint)
            }
        })
    });
    let name = Cell::text(Rich::new("limit", SMALL.colour(FAINT)));
    if let Some(last) = rows.last_mut() {
        last.keep = true;
    }
    rows.push(Row { cells: std::iter::once(name).chain(limits).collect(), begins: true, keep: false });
    table(set, &shares, head, &rows)
}

/// What was measured before and after blips.
pub fn before_and_after(set: &Setter<'_>, rows: &[BeforeAfter]) -> Vec<Piece> {
    let head = ["quantity", "before", "after", "difference", "change"].map(|n| Rich::new(n, HEAD)).to_vec();
    let row = |r: &BeforeAfter| Row {
        cells: [&r.name, &r.before, &r.after, &r.change]
            .map(|text| cell(text))
            .into_iter()
            .chain([Cell::text(Rich::new(r.verdict(), if r.changed { SMALL.bold() } else { SMALL }))])
            .collect(),
        begins: false,
        keep: false,
    };
    table(set, &[0.28, 0.19, 0.19, 0.19, 0.15], head, &rows.iter().map(row).collect::<Vec<_>>())
}

/// Figures of a soak over time.
pub fn drifts(set: &Setter<'_>, rows: &[DriftRow]) -> Vec<Piece> {
    let head =
        ["figure", "beginning", "end", "slope", "by chance", "drift"].map(|n| Rich::new(n, HEAD)).to_vec();
    let row = |r: &DriftRow| Row {
        cells: [&r.name, &r.first, &r.last, &r.per_hour, &r.chance]
            .map(|text| cell(text))
            .into_iter()
            .chain([Cell::text(Rich::new(r.word.clone(), if r.drifts { SMALL.bold() } else { SMALL }))])
            .collect(),
        begins: false,
        keep: false,
    };
    table(set, &[0.24, 0.12, 0.12, 0.25, 0.09, 0.18], head, &rows.iter().map(row).collect::<Vec<_>>())
}

/// Procedures that were run.
pub fn procedures(set: &Setter<'_>, rows: &[[String; 4]]) -> Vec<Piece> {
    let head =
        ["procedure", "scans", "end", "file among the record's traces"].map(|n| Rich::new(n, HEAD)).to_vec();
    let row = |r: &[String; 4]| Row {
        cells: r.iter().map(|text| cell(text)).collect(),
        begins: false,
        keep: false,
    };
    table(set, &[0.2, 0.12, 0.22, 0.46], head, &rows.iter().map(row).collect::<Vec<_>>())
}

fn cell(text: &str) -> Cell {
    Cell::text(Rich::new(text, SMALL))
}

/// A limit with the raised number of its source.
fn limit(text: &str, source: Option<usize>) -> Rich {
    let rich = Rich::new(text, SMALL);
    match source {
        None => rich,
        Some(number) => rich.raised(format!("\u{a0}{number}"), SMALL),
    }
}
