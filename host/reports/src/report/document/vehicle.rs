//! Checks at the vehicle: the form that is filled in by hand, and the judged worksheet.

use super::report::list;
use super::table::{Cell, Column, Mark, Row, Table};
use super::text::{Text, Tone, texts};
use super::{Blank, Block, Boxes, Document, Entry, Layout, List, Verdict, chapter, part};
use crate::report::letterhead::Letterhead;
use crate::report::provenance::sealing;
use crate::report::text::{LABEL, plain};
use crate::report::vehicle::{Basis, Group, VehicleInput, groups, sign_of};
use crate::report::words;
use crate::vehicle::{CAUTIONS, headline};

const KIND: &str = "vehicle checks before a part is pulled";

/// The form, to be printed and filled in by hand.
pub fn vehicle_form(input: &VehicleInput<'_>) -> Document {
    let title = format!("Vehicle checks before a part is pulled: {}", input.check.kind.name());
    let known = |text: Option<&str>| Text::from(plain(text.unwrap_or_default(), LABEL));
    let blanks = [
        ("case", known(input.case)),
        ("date and time", Text::default()),
        ("vehicle", known(input.vehicle)),
        ("checked by", Text::default()),
        ("meter", Text::default()),
        ("probes held together, Ω", Text::default()),
    ];
    let mut blocks = Vec::new();
    blocks.extend(input.shop.and_then(Letterhead::of).map(Block::Letterhead));
    blocks.push(Block::Head(vec![Block::Title((&title).into())]));
    blocks.push(Block::Blanks(blanks.map(|(name, known)| Blank { name, known }).to_vec()));
    blocks.push(Block::Cautions(texts(CAUTIONS)));
    blocks.extend(groups(input.check).iter().map(to_fill_in));
    blocks.push(rests_on(&Basis::of(input.check)));
    Document {
        kind: KIND.to_owned(),
        subject: title.clone(),
        title,
        layout: Layout::Worksheet,
        blocks,
        ..Document::default()
    }
}

/// What is done, what is expected, a box for each line.
fn to_fill_in(group: &Group) -> Block {
    let mut how = Text::faint(group.instruction);
    if !group.expected.is_empty() {
        how = how.and(format!(" Expected: {}.", group.expected), Tone::Strong);
    }
    let entry = |row: &crate::report::vehicle::Row| Entry {
        place: (&row.place).into(),
        expected: if group.expected.is_empty() { (&row.expected).into() } else { Text::default() },
        id: row.id.clone(),
        computed: row.computed,
    };
    let all: Vec<Entry> = group.rows.iter().map(entry).collect();
    // A supply stands alone, so that both signals of one opening stand side by side.
    let first_alone = all.len() % 2 == 1 && group.unit == "V";
    part(
        &group.title,
        vec![Block::Paragraph(how), Block::Boxes(Boxes { all, unit: group.unit, first_alone })],
    )
}

/// The judged worksheet.
pub fn vehicle_check(input: &VehicleInput<'_>) -> Document {
    let check = input.check;
    let (kind, word) = (check.kind.name(), headline(check.conclusion));
    let case = plain(input.case.unwrap_or_default(), LABEL);
    let case = if case.is_empty() { case } else { format!(", {case}") };
    let checked = plain(&words::time(&check.checked), LABEL);
    let mut reasons = texts(&check.reasons);
    if check.as_typed {
        reasons.push("Entries whose unit may have slipped were kept as typed.".into());
    }
    let verdict = Verdict {
        mark: Mark::of(sign_of(check.conclusion)),
        word: word.to_owned(),
        meaning: format!("Vehicle checks before a part is pulled: {kind}{case}, {checked}").into(),
        reasons,
    };
    let mut blocks = Vec::new();
    blocks.extend(input.shop.and_then(Letterhead::of).map(Block::Letterhead));
    blocks.push(Block::Head(vec![Block::Verdict(verdict)]));
    blocks.extend(groups(check).iter().map(judged));
    blocks.push(rests_on(&Basis::of(check)));
    blocks.push(Block::Cautions(texts(CAUTIONS)));
    blocks.extend(input.stamp.map(|stamp| Block::Sealing(Some(sealing(stamp)), Vec::new())));
    let title = format!("Vehicle checks, {kind}: {word}");
    Document {
        kind: KIND.to_owned(),
        subject: title.clone(),
        title,
        layout: Layout::Worksheet,
        blocks,
        ..Document::default()
    }
}

/// The lines of a group with their verdicts.
fn judged(group: &Group) -> Block {
    let columns = vec![
        Column::new("wire or place").share(0.22),
        Column::new("entered").share(0.18),
        Column::new("value ± uncertainty (k = 2)").share(0.22).in_full(),
        Column::new("expected").share(0.25).in_full(),
        Column::new("verdict").share(0.13),
    ];
    let row = |row: &crate::report::vehicle::Row| {
        let cells = [&row.place, &row.entered, &row.value, &row.expected].map(Cell::new);
        let in_order = ["within", "missing"].contains(&row.verdict);
        // The short form has no column of what is expected.
        let note = (!in_order).then(|| Text::from(format!("{} Expected: {}.", row.why, row.expected)));
        Row { note, ..Row::new(cells.into_iter().chain([Cell::verdict(row.verdict)]).collect()) }
    };
    part(&group.title, vec![Block::Table(Table::new(columns, group.rows.iter().map(row).collect()))])
}

/// What everything rests on.
fn rests_on(basis: &Basis) -> Block {
    let mut blocks = list(&[basis.wires.clone(), vec![basis.meter.clone()]].concat());
    let sources = Block::List(List::aside(texts(&basis.sources)));
    blocks.push(Block::InFull(vec![sources]));
    chapter("Rests on", blocks)
}
