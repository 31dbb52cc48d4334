//! The figures of a throttle body in groups, for tables: by range and direction, by opening and bridge, or one a row.
//! It does not know where the tables go.

use super::format;
use super::rows::{FigureRow, Named};
use crate::outcome::{Outcome, OutcomeFigure};
use crate::quantity::{Bridge, Condition, FigureGroup};

/// A group of figures under its heading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FigureGroupRows {
    /// Heading.
    pub title: &'static str,
    /// One sentence on how to read it; may be empty.
    pub reading: &'static str,
    /// What the second column of `rows` says: a line of the feedback, or a condition; empty when no row has any.
    pub second: &'static str,
    /// Figures one below the other: those that stand in no grid.
    pub rows: Vec<FigureRow>,
    /// Figures by condition.
    pub grid: Option<Grid>,
}

/// Figures of several conditions: a row per condition, a column per figure or bridge state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grid {
    /// What the rows are.
    pub corner: &'static str,
    /// Headings of the columns.
    pub columns: Vec<String>,
    /// Name and cells of each row; none where nothing was measured.
    pub rows: Vec<(String, Vec<Option<FigureRow>>)>,
    /// Limits by column, where every cell of a column has the same; else they stand in the cells.
    pub limits: Vec<Option<Named>>,
}

/// How a group is laid out.
enum Layout {
    List,
    /// Rows by region and direction, or by speed, a column per figure.
    ByMotion,
    /// Rows by opening, columns by the state of the bridge.
    ByBridge,
}

/// Heading, reading and layout of a group.
const fn about(group: FigureGroup) -> (&'static str, &'static str, Layout) {
    match group {
        FigureGroup::RestAndStops => ("Rest and stops", "", Layout::List),
        FigureGroup::Latency => (
            "Latency: command to first motion",
            "Open-loop steps from a hold that seats the gears. The low range begins at rest; it is where riders spend their time \
             and where teeth wear.",
            Layout::ByMotion,
        ),
        FigureGroup::PositionLoop => (
            "Position loop",
            "These say as much about the loop of the part sheet as about the part.",
            Layout::ByMotion,
        ),
        FigureGroup::Return => (
            "Return to rest after power is cut",
            "How the bridge is set matters two- to threefold, so each time stands under its own.",
            Layout::ByBridge,
        ),
        FigureGroup::SpringsAndFriction => ("Springs and friction", "Torques at the plate.", Layout::List),
        FigureGroup::Motor => ("Motor", "", Layout::List),
        FigureGroup::LashAndTeeth => ("Lash and teeth", "", Layout::List),
        FigureGroup::PlateBehindGrip => (
            "Plate behind grip",
            "The rig plays the controller, by the mapping of the part sheet. These say as much about its loop as about the parts.",
            Layout::ByMotion,
        ),
        FigureGroup::SensorLines => ("Feedback lines", "", Layout::List),
        FigureGroup::SelfClosing => ("Self-closing", "", Layout::List),
    }
}

/// The figures of a body in groups; what no group knows comes last. `rows` are the outcome's figures in words.
pub fn groups(outcome: &Outcome, rows: &[FigureRow]) -> Vec<FigureGroupRows> {
    let known = |f: &OutcomeFigure| f.figure.known();
    let all: Vec<(&OutcomeFigure, &FigureRow)> = outcome.figures.iter().zip(rows).collect();
    let of = |group: FigureGroup| {
        let mut of: Vec<_> =
            all.iter().copied().filter(|(f, _)| known(f).is_some_and(|n| n.row().group == group)).collect();
        of.sort_by_key(|(f, _)| known(f));
        of
    };
    let grouped = FigureGroup::ALL.into_iter().map(|of_group| {
        let members = of(of_group);
        let (title, reading, layout) = about(of_group);
        let grid = match layout {
            Layout::List => None,
            Layout::ByMotion => by_motion(&members),
            Layout::ByBridge => by_bridge(&members),
        };
        group(title, reading, &members, grid)
    });
    let others: Vec<_> = all.iter().copied().filter(|(f, _)| known(f).is_none()).collect();
    grouped
        .chain([group("Other figures", "", &others, None)])
        .filter(|g| !g.rows.is_empty() || g.grid.is_some())
        .collect()
}

fn group(
    title: &'static str,
    reading: &'static str,
    members: &[(&OutcomeFigure, &FigureRow)],
    grid: Option<Grid>,
) -> FigureGroupRows {
    let listed = members.iter().filter(|(f, _)| grid.is_none() || f.condition.is_none());
    let mut rows: Vec<FigureRow> = listed.map(|(_, row)| (*row).clone()).collect();
    super::rows::group(&mut rows);
    let second = match (rows.iter().any(|r| r.line != "pair"), rows.iter().any(|r| !r.condition.is_empty())) {
        (_, true) => "condition",
        (true, false) => "line",
        (false, false) => "",
    };
    FigureGroupRows { title, reading, second, rows, grid }
}

/// A row per region and direction, for the figures that have them; none when no figure has.
fn by_motion(members: &[(&OutcomeFigure, &FigureRow)]) -> Option<Grid> {
    let members: Vec<_> = members.iter().filter(|(f, _)| !f.condition.is_none()).collect();
    if members.is_empty() {
        return None;
    }
    let mut columns: Vec<String> = Vec::new();
    let mut conditions: Vec<Condition> = Vec::new();
    for (figure, row) in &members {
        if !columns.contains(&row.name) {
            columns.push(row.name.clone());
        }
        if !conditions.contains(&figure.condition) {
            conditions.push(figure.condition);
        }
    }
    conditions.sort_by(|a, b| {
        let from = |c: &Condition| c.from_deg.or(c.speed_deg_s).unwrap_or(0.0);
        (a.region, a.direction).cmp(&(b.region, b.direction)).then(from(a).total_cmp(&from(b)))
    });
    let find = |condition: &Condition, column: &String| {
        members
            .iter()
            .find(|(f, r)| f.condition == *condition && r.name == *column)
            .map(|(_, r)| (*r).clone())
    };
    let rows = conditions
        .iter()
        .map(|c| (short_condition(c), columns.iter().map(|k| find(c, k)).collect()))
        .collect();
    // What the heading says need not be said in every column.
    let short = |name: &String| match name.strip_prefix("latency, ") {
        Some(quantile) => quantile.replace("th percentile", " %"),
        None => name.strip_suffix(" time").unwrap_or(name).to_owned(),
    };
    let columns = columns.iter().map(short).collect();
    let by_speed = conditions.iter().all(|c| c.speed_deg_s.is_some());
    Some(grid(if by_speed { "grip turned at" } else { "range and direction" }, columns, rows))
}

/// A condition under its heading: "low, opening", "low, opening, from 10°", "60 °/s".
fn short_condition(condition: &Condition) -> String {
    let parts = [
        condition.region.map(|r| r.name().to_owned()),
        condition.direction.map(|d| d.name().to_owned()),
        condition.from_deg.map(|deg| format!("from {}°", format::fixed(deg, 0))),
        condition.speed_deg_s.map(|speed| format!("{} °/s", format::fixed(speed, 0))),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// A row per opening, a column per bridge state; none when no figure names a bridge.
fn by_bridge(members: &[(&OutcomeFigure, &FigureRow)]) -> Option<Grid> {
    let bridges: Vec<Bridge> = Bridge::ALL
        .into_iter()
        .filter(|b| members.iter().any(|(f, _)| f.condition.bridge == Some(*b)))
        .collect();
    let whole = |f: &OutcomeFigure| f.condition.bridge.is_some() && f.condition.from_deg.is_some();
    if bridges.is_empty() || !members.iter().all(|(f, _)| whole(f)) {
        return None;
    }
    let mut openings: Vec<f64> = members.iter().filter_map(|(f, _)| f.condition.from_deg).collect();
    openings.sort_by(|a, b| b.total_cmp(a));
    openings.dedup();
    let find = |opening: f64, bridge: Bridge| {
        let wanted =
            |f: &OutcomeFigure| f.condition.from_deg == Some(opening) && f.condition.bridge == Some(bridge);
        members.iter().find(|(f, _)| wanted(f)).map(|(_, r)| (*r).clone())
    };
    let words = |bridge: &Bridge| Condition { bridge: Some(*bridge), ..Condition::NONE }.words();
    let rows = openings
        .iter()
        .map(|o| {
            let name = format!("from {}°", format::fixed(*o, 0));
            (name, bridges.iter().map(|b| find(*o, *b)).collect())
        })
        .collect();
    Some(grid("let go", bridges.iter().map(words).collect(), rows))
}

fn grid(corner: &'static str, columns: Vec<String>, rows: Vec<(String, Vec<Option<FigureRow>>)>) -> Grid {
    let limits = (0..columns.len())
        .map(|k| {
            let mut cells =
                rows.iter().filter_map(|(_, cells): &(String, Vec<Option<FigureRow>>)| cells[k].as_ref());
            let first = cells.next()?;
            let alike = cells.all(|c| (&c.limit, c.source) == (&first.limit, first.source));
            let source = first.source.map_or(String::new(), |s| s.to_string());
            alike.then(|| Named { name: source, text: first.limit.clone() })
        })
        .collect();
    Grid { corner, columns, rows, limits }
}
