//! `[self_closing]` of a grip's sheet: whether a grip that was not let go may be within. By a sheet without it the outcome only says so.

use super::located::SheetError;
use super::reader::{Document, Later, Sourced};
use crate::quantity::PartKind;
use serde::Deserialize;

#[derive(Deserialize)]
struct RawSelfClosing {
    required: bool,
}

/// Reads `[self_closing]`, which may be left out, and stands in sheets for grips alone.
pub(super) fn self_closing(document: &Document<'_>, held: Later, kind: PartKind) -> Result<bool, SheetError> {
    let Some(place) = held else { return Ok(false) };
    if kind != PartKind::Grip {
        let message = format!("`[self_closing]` is not for a {}", kind.name());
        let help = "leave it out: the return of a plate has its own figures";
        return Err(document.source.error(place.span(), message, help));
    }
    let Sourced(RawSelfClosing { required }) = document.read_at(&["self_closing"])?;
    Ok(required)
}
