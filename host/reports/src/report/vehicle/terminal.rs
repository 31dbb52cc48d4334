//! The judged worksheet for the terminal. It returns text.

use super::{Basis, VehicleInput, groups, sign_of};
use crate::report::terminal::{Page, Style, code, list, shown};
use crate::vehicle::{CAUTIONS, headline};

/// The judged worksheet, ending in a newline. Nothing in it depends on colour.
pub fn vehicle_check_terminal(input: &VehicleInput<'_>, style: Style) -> String {
    let check = input.check;
    let mut page = Page::new(style);
    let word = page.painted(&headline(check.conclusion).to_uppercase(), code(sign_of(check.conclusion)));
    page.line(&format!("{word}: vehicle checks, {}", check.kind.name()));
    for reason in &check.reasons {
        page.paragraph("  - ", reason);
    }
    if check.as_typed {
        page.paragraph("  - ", "Entries whose unit may have slipped were kept as typed.");
    }
    for group in groups(check) {
        page.heading(&group.title);
        for row in &group.rows {
            let verdict = format!("{:<10}", shown(row.verdict));
            let verdict = page.painted(&verdict, code(row.verdict));
            let entered = if row.entered.is_empty() { "" } else { &row.entered };
            page.line(&format!("  {verdict} {:<30} {entered}", row.place));
            if row.verdict != "within" && row.verdict != "missing" {
                page.paragraph("             ", &format!("{} Expected: {}.", row.why, row.expected));
            }
        }
    }
    let basis = Basis::of(check);
    list(&mut page, "Rests on", &[basis.wires, vec![basis.meter]].concat());
    list(&mut page, "Cautions", &CAUTIONS.map(str::to_owned));
    page.finish()
}
