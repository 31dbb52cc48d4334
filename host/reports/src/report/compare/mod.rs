//! Comparisons for people: the same view for terminal and HTML. It compares nothing itself.
//!
//! - `view`: tables and lists of words.
//! - `changes`, `standing`, `proposal`, `risks`, `rejudged`: one per document.
//! - `overlay`: curves of several records in one picture.
//! - [`sheet_text`]: proposed limits as a part sheet.
//! - `media`: the view as text and as HTML.

mod changes;
mod media;
mod overlay;
mod proposal;
mod rejudged;
mod risks;
pub mod sheet_text;
mod standing;
mod view;

pub use changes::changes;
pub use media::{html, terminal};
pub use overlay::{Drawn, overlays};
pub use proposal::proposal;
pub use rejudged::rejudged;
pub use risks::risks;
pub use standing::standing;
pub(super) use view::named;
pub use view::{Table, View};
