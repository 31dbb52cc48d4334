//! Comparisons for people, each as a document. It compares nothing itself.
//!
//! - `rows`: what they name and round alike.
//! - `changes`, `standing`, `proposal`, `risks`, `rejudged`: one per document.
//! - `overlay`: curves of several records in one picture.
//! - [`sheet_text`]: proposed limits as a part sheet.

mod changes;
mod overlay;
mod proposal;
mod rejudged;
mod risks;
mod rows;
pub mod sheet_text;
mod standing;

pub use changes::changes;
pub use overlay::{Drawing, Drawn, overlays};
pub use proposal::proposal;
pub use rejudged::rejudged;
pub use risks::risks;
pub(super) use rows::named;
pub use standing::standing;
