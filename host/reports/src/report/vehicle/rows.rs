//! The lines of a worksheet in groups, in words.

use crate::report::text::{LABEL, plain};
use crate::vehicle::{Checked, VehicleCheck, instruction, run_words, show, title};

/// Lines that are worked through together.
#[derive(Clone, Debug)]
pub struct Group {
    /// Run and check.
    pub title: String,
    /// What is done.
    pub instruction: &'static str,
    /// What is expected, where it is the same for all of them; else empty.
    pub expected: String,
    /// The unit or words that are written into a box.
    pub unit: &'static str,
    /// The lines.
    pub rows: Vec<Row>,
}

/// One line.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its name.
    pub id: String,
    /// Wire or place.
    pub place: String,
    /// What is expected.
    pub expected: String,
    /// What was entered, harmless; empty where nothing was.
    pub entered: String,
    /// Value with its expanded uncertainty; empty for words.
    pub value: String,
    /// `within`, `outside`, `undecided` or `missing`.
    pub verdict: &'static str,
    /// Why.
    pub why: String,
    /// Whether it is not entered but follows from others.
    pub computed: bool,
}

/// What everything rests on, in words.
#[derive(Clone, Debug)]
pub struct Basis {
    /// Wires, a sentence for each run.
    pub wires: Vec<String>,
    /// The meter.
    pub meter: String,
    /// Every source of an expectation, once.
    pub sources: Vec<String>,
}

impl Basis {
    /// Of a worksheet.
    pub fn of(check: &VehicleCheck) -> Self {
        let wires = check
            .wires
            .iter()
            .map(|(run, wire)| format!("{}: {}; {}", run_words(*run), wire.words(), show::ohms(wire.ohms())));
        let mut sources: Vec<String> = Vec::new();
        for line in &check.lines {
            let source = format!("{}: {}", title(line.line.check), line.line.expected.source);
            if !sources.contains(&source) {
                sources.push(source);
            }
        }
        Self { wires: wires.collect(), meter: plain(&check.meter.words(), 4 * LABEL), sources }
    }
}

/// The lines in groups, in the order of working.
pub fn groups(check: &VehicleCheck) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for checked in &check.lines {
        let line = &checked.line;
        let title = format!("{}: {}", capital(run_words(line.run)), title(line.check).to_lowercase());
        if groups.last().is_none_or(|g| g.title != title) {
            let instruction = instruction(line.run, line.check);
            groups.push(Group {
                title,
                instruction,
                expected: String::new(),
                unit: unit(checked),
                rows: Vec::new(),
            });
        }
        if let Some(group) = groups.last_mut() {
            group.rows.push(row(check, checked));
        }
    }
    for group in &mut groups {
        let first = group.rows.first().map(|r| r.expected.clone()).unwrap_or_default();
        if group.rows.iter().all(|r| r.expected == first) {
            group.expected = first;
        }
    }
    groups
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

const fn unit(checked: &Checked) -> &'static str {
    use crate::diagnosis::CheckKind;
    match checked.line.check {
        CheckKind::TerminalGrip => "firm / loose",
        CheckKind::Continuity => "Ω",
        CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector => "Ω, steady, flickers",
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween => "MΩ",
        CheckKind::SupplyDrop | CheckKind::GroundDrop => "mV @ A",
        CheckKind::SensorOutput => "V",
    }
}

fn row(check: &VehicleCheck, checked: &Checked) -> Row {
    let line = &checked.line;
    let volts = check.supply_volts.get(&line.run).copied().unwrap_or(5.0);
    let value = match (checked.value, checked.standard_uncertainty) {
        (Some(value), Some(u)) => show::measured(value, 2.0 * u, line.expected.counted),
        _ => String::new(),
    };
    Row {
        id: line.id.clone(),
        place: show::place(line),
        expected: show::expected(line, volts),
        entered: plain(checked.entered.as_deref().unwrap_or_default(), LABEL),
        value,
        verdict: checked.verdict.map_or("missing", |v| v.name()),
        why: checked.why.clone(),
        computed: line.computed,
    }
}
