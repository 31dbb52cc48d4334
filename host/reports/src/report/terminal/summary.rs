//! A summary as lines: names in a column, their text beside, each no longer than its room.

use super::Style;
use super::page::Page;
use crate::report::document::{Fact, Mark, Summary, SummaryRow};
use crate::report::text::wrap;

/// Width of the names.
const NAMES: usize = 12;

/// The summary, ending in a newline, with where files of it lie below.
pub fn in_brief(summary: &Summary, kept: &[Fact], style: Style) -> String {
    let mut page = Page::new(style);
    if let Some(simulated) = &summary.simulated {
        page.stripes(simulated);
    }
    page.verdict(&format!("{} {}", sign(summary.mark), summary.word), summary.mark, &summary.meaning);
    summary.rows.iter().for_each(|row| rows(&mut page, row));
    // Whole, however long: a path is copied.
    kept.iter()
        .for_each(|fact| page.line(&format!("{:<NAMES$}{}", fact.name.letters(), fact.text.letters())));
    page.finish()
}

/// The shape beside the word.
const fn sign(mark: Mark) -> &'static str {
    match mark {
        Mark::Within => "[+]",
        Mark::Outside => "[x]",
        Mark::Undecided => "[?]",
        Mark::Open => "[ ]",
    }
}

fn rows(page: &mut Page, row: &SummaryRow) {
    let width = page.style.width.saturating_sub(NAMES);
    let many = row.points.len() > 1;
    let mut lines: Vec<String> = Vec::new();
    for (k, point) in row.points.iter().enumerate() {
        let set = set(point, width, many);
        let left = row.points.len() - k;
        // The last line is kept for how many more there are.
        let room = row.room - usize::from(left > 1);
        if k > 0 && lines.len() + set.len() > room {
            lines.push(format!("- and {left} more in the report"));
            break;
        }
        lines.extend(set);
    }
    if lines.len() > row.room {
        lines.truncate(row.room);
        if let Some(last) = lines.last_mut() {
            cut(last, width);
        }
    }
    for (k, line) in lines.iter().enumerate() {
        let name = if k == 0 { row.name } else { "" };
        page.line(&format!("{name:<NAMES$}{line}"));
    }
}

/// A point in lines, with a dash before it where there are several.
fn set(point: &str, width: usize, dashed: bool) -> Vec<String> {
    if !dashed {
        return wrap(point, width);
    }
    let lines = wrap(point, width.saturating_sub(2));
    lines.iter().enumerate().map(|(k, line)| format!("{} {line}", if k == 0 { "-" } else { " " })).collect()
}

/// Ends a line that does not end what it says.
fn cut(line: &mut String, width: usize) {
    while line.chars().count() + 2 > width {
        match line.rfind(' ') {
            Some(at) => line.truncate(at),
            None => break,
        }
    }
    line.push_str(" …");
}
