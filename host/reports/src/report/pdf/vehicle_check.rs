//! The judged worksheet on paper, in the order of the HTML page.

use super::PdfError;
use super::blocks::{BODY, SMALL, Setter, beside};
use super::colour::{FAINT, verdict_colour};
use super::figures::Verdicts;
use super::picture::sign;
use super::piece::Piece;
use super::report::{letterhead, sealing};
use super::rich::{Rich, Style};
use super::table::{Cell, Row, table};
use super::vehicle_form::rests_on;
use crate::report::letterhead::Letterhead;
use crate::report::provenance::Sealing;
use crate::report::text::{LABEL, plain};
use crate::report::vehicle::{Basis, VehicleInput, groups, sign_of};
use crate::report::words;
use crate::vehicle::{CAUTIONS, headline};

/// Side of the sign beside the conclusion, points.
const SIGN: f32 = 34.0;

/// Everything, in order.
///
/// # Errors
/// A sign or the seal's code is no picture.
pub fn content(input: &VehicleInput<'_>, set: &Setter<'_>) -> Result<Vec<Piece>, PdfError> {
    let check = input.check;
    let mut pieces: Vec<Piece> =
        input.shop.and_then(Letterhead::of).map(|s| letterhead(set, &s)).into_iter().collect();
    pieces.push(head(input, set)?);
    let mut reasons = check.reasons.clone();
    if check.as_typed {
        reasons.push("Entries whose unit may have slipped were kept as typed.".to_owned());
    }
    let mut told = set.list(&reasons, BODY).into_iter();
    pieces.extend(told.next().map(|first| first.before(8.0)));
    pieces.extend(told);
    if let Some(stamp) = input.stamp {
        pieces.push(sealing(set, &Sealing::of(stamp), 84.0)?.before(10.0));
    }
    let verdicts = Verdicts::new()?;
    for group in groups(check) {
        pieces.extend(set.sub(&group.title));
        let names = ["wire or place", "entered", "value ± uncertainty (k = 2)", "expected", "verdict"];
        let names = names.map(|n| Rich::new(n, SMALL.bold())).to_vec();
        let cell = |text: &str| Cell::text(Rich::new(text, SMALL));
        let rows: Vec<Row> = group
            .rows
            .iter()
            .map(|row| Row {
                cells: vec![
                    cell(&row.place),
                    cell(&row.entered),
                    cell(&row.value),
                    cell(&row.expected),
                    Cell(vec![verdicts.word(row.verdict)]),
                ],
                ..Row::default()
            })
            .collect();
        pieces.extend(table(set, &[0.22, 0.18, 0.22, 0.25, 0.13], names, &rows));
    }
    pieces.extend(rests_on(set, &Basis::of(check)));
    pieces.extend(set.heading("Cautions"));
    pieces.extend(set.list(&CAUTIONS.map(str::to_owned), SMALL));
    Ok(pieces)
}

/// Sign, conclusion, which part, which case, when.
fn head(input: &VehicleInput<'_>, set: &Setter<'_>) -> Result<Piece, PdfError> {
    let verdict = sign_of(input.check.conclusion);
    let colour = verdict_colour(verdict);
    let narrow = Setter { width: set.width - SIGN - 12.0, ..*set };
    let word =
        Rich::new(headline(input.check.conclusion).to_uppercase(), Style::new(20.0).bold().colour(colour));
    let mut words = narrow.paragraph(&word, 0.0);
    let case = plain(input.case.unwrap_or_default(), LABEL);
    let case = if case.is_empty() { case } else { format!(", {case}") };
    let about = format!(
        "Vehicle checks before a part is pulled: {}{case}, {}",
        input.check.kind.name(),
        words::time(&input.check.checked)
    );
    words.extend(narrow.paragraph(&Rich::new(about, SMALL.colour(FAINT)), 2.0));
    let picture = sign(verdict, colour)?.map(|s| {
        let items = vec![s.item((0.0, 2.0), SIGN)];
        (0.0, Piece { height: SIGN + 4.0, items, ..Piece::default() })
    });
    Ok(beside(&picture.into_iter().chain([(SIGN + 12.0, Piece::joined(&words))]).collect::<Vec<_>>()))
}
