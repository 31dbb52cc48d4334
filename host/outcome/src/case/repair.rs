//! Whether something that could have shown the fault came out within after the last repair. A fault may be closed as mended only then: what was
//! written down as a repair may have been none.
//!
//! - What showed the fault before can show that it is gone: the same scope of the bench, the same lines at the vehicle.
//! - Where nothing had shown it, a contact that lost itself takes what watches for that: flexing, a soak, wiggling the loom at the vehicle. Any other
//!   fault takes a bench record of the part, or a vehicle check in which something was measured and nothing was off.
//! - The last word counts: a record within, and outside when it was done again, is outside. Readiness of a rig shows nothing.

use super::{Case, Content, RecordEntry};
use crate::diagnosis::CheckKind;
use crate::quantity::PartKind;
use crate::vehicle::{Checked, VehicleCheck};
use crate::verdict::{Scope, Verdict};

/// A repair that nothing has confirmed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UncheckedRepair<'a> {
    /// When it was noted.
    pub date: &'a str,
    /// What would confirm it, as sentences.
    pub how: String,
}

/// What the bench judged of which kind of part.
type Judged<'a> = (PartKind, &'a str);

impl Case {
    /// The last repair, where nothing since has shown that the fault is gone; none without a repair.
    pub fn unchecked_repair(&self) -> Option<UncheckedRepair<'_>> {
        let is_repair = |content: &Content| matches!(content, Content::Note(note) if note.mended.is_some());
        let at = self.entries.iter().rposition(|e| is_repair(&e.content))?;
        let (before, since) = (&self.entries[..at], &self.entries[at + 1..]);
        let records = |entries: &'_ [super::Entry]| {
            entries.iter().filter_map(|e| record(&e.content)).cloned().collect::<Vec<_>>()
        };
        let checks = |entries: &'_ [super::Entry]| {
            entries.iter().filter_map(|e| check(&e.content)).cloned().collect::<Vec<_>>()
        };
        let (old, new) = (records(before), records(since));
        let (old_checks, new_checks) = (checks(before), checks(since));
        let showed: Vec<Judged<'_>> =
            old.iter().filter(|r| r.verdict == Verdict::Outside).map(judged).collect();
        let off: Vec<&str> =
            old_checks.iter().flat_map(|c| &c.lines).filter(|l| is(l, Verdict::Outside)).map(id).collect();
        let last = new_checks.last();
        let told = if showed.is_empty() && off.is_empty() {
            self.confirmed_without_sign(&new, last)
        } else {
            let bench = showed.iter().any(|what| last_word(&new, *what) == Some(Verdict::Within));
            let cleared = |id_: &&str| {
                last.is_some_and(|c| c.lines.iter().any(|l| id(l) == *id_ && is(l, Verdict::Within)))
            };
            bench || (!off.is_empty() && off.iter().all(cleared))
        };
        (!told).then(|| UncheckedRepair { date: &self.entries[at].date, how: self.how(&showed, &off) })
    }

    /// Where nothing had shown the fault.
    fn confirmed_without_sign(&self, records: &[RecordEntry], check: Option<&VehicleCheck>) -> bool {
        let within = |r: &RecordEntry| last_word(records, judged(r)) == Some(Verdict::Within);
        if self.ever_replugged() {
            let wiggled = |kind: CheckKind| {
                let mut lines =
                    check.iter().flat_map(|c| &c.lines).filter(move |l| l.line.check == kind).peekable();
                lines.peek().is_some() && lines.all(|l| is(l, Verdict::Within))
            };
            return records.iter().any(|r| watches(&r.scope) && within(r))
                || (wiggled(CheckKind::WiggleAtNeck) && wiggled(CheckKind::WiggleAtConnector));
        }
        let measured = check.is_some_and(|c| {
            c.lines.iter().any(|l| is(l, Verdict::Within)) && !c.lines.iter().any(|l| is(l, Verdict::Outside))
        });
        measured || records.iter().any(|r| r.scope != Scope::Readiness && within(r))
    }

    fn how(&self, showed: &[Judged<'_>], off: &[&str]) -> String {
        let name = &self.name;
        if let Some((kind, scope)) = showed.first() {
            let command = command_of(*kind, scope);
            return format!("Repeat what showed it: trackpair {command} --rig ADDRESS --case {name}.");
        }
        if let Some(line) = off.first() {
            return format!(
                "Check the line {line} again at the vehicle: trackpair vehicle-check enter --case {name}."
            );
        }
        if self.ever_replugged() {
            return format!(
                "Its contact lost itself, so watch it under motion: trackpair flex --rig ADDRESS --case {name}, or the wiggle checks at the vehicle, both places: trackpair \
                 vehicle-check enter --case {name}."
            );
        }
        format!(
            "Qualify the part (trackpair qualify --rig ADDRESS --case {name}), or check the vehicle (trackpair vehicle-check enter --case {name})."
        )
    }
}

fn record(content: &Content) -> Option<&RecordEntry> {
    match content {
        Content::Record(record) => Some(record),
        _ => None,
    }
}

fn check(content: &Content) -> Option<&VehicleCheck> {
    match content {
        Content::VehicleCheck(check) => Some(check),
        _ => None,
    }
}

fn judged(record: &RecordEntry) -> Judged<'_> {
    (record.kind, record.scope.as_str())
}

fn id(line: &Checked) -> &str {
    line.line.id.as_str()
}

fn is(line: &Checked, verdict: Verdict) -> bool {
    line.verdict == Some(verdict)
}

/// The verdict of the last record that judged the same.
fn last_word(records: &[RecordEntry], what: Judged<'_>) -> Option<Verdict> {
    records.iter().rev().find(|r| judged(r) == what).map(|r| r.verdict)
}

/// Whether a scope watches for lost contact for long, or under motion of the wires.
fn watches(scope: &str) -> bool {
    [Scope::Soak.name(), Scope::Flex { limp_trips: true }.name()].contains(&scope)
}

/// The command that judges a scope.
fn command_of(kind: PartKind, scope: &str) -> String {
    match scope {
        "part" if kind == PartKind::Pair => "follow".to_owned(),
        "part" => "qualify".to_owned(),
        "dropouts" => "flex".to_owned(),
        "leads" => "leads-check".to_owned(),
        other => other.replace('_', "-"),
    }
}
