//! `[self_closing]` of a grip's sheet: whether a grip that was not let go may be within. A sheet without it only has it said.

use super::fields::Fields;
use super::located::SheetError;
use crate::quantity::PartKind;

const KEYS: [&str; 2] = ["required", "source"];

/// Reads `[self_closing]`, which may be left out, and stands in sheets for grips alone.
pub(super) fn self_closing(sheet: &Fields<'_>, kind: PartKind) -> Result<bool, SheetError> {
    let Some(place) = sheet.place("self_closing") else { return Ok(false) };
    if kind != PartKind::Grip {
        let message = format!("`[self_closing]` is not for a {}", kind.name());
        return Err(sheet.error_at(
            place,
            message,
            "leave it out: the return of a plate has its own figures",
        ));
    }
    let fields = sheet.table("self_closing", "[self_closing]", &KEYS)?;
    fields.provenance()?;
    fields.boolean("required")
}
