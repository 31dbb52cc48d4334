//! From what is known to what is done about it: the next step for each kind of finding, and what causes are looked for by. It judges
//! no part.
//!
//! - `evidence`: what the bench found, what was checked at the vehicle, what was complained of.
//! - [`suspects`]: the causes that fit it, ranked.

mod evidence;
pub mod suspects;

pub use evidence::{
    CheckKind, Complaint, ContactEvidence, Evidence, FigureEvidence, FindingEvidence, Look, Run, Seen,
    Symptom, VehicleEvidence,
};
pub use suspects::{Suspect, rank};

use crate::analysis::contact::Follows;
use crate::quantity::{FindingKind, PartKind};

/// What a technician does next about a finding, in a sentence. `contact` is what lost contact follows, and whether one place of the pigtail
/// stands out; none where nothing was flexed.
pub fn advice(kind: FindingKind, part: PartKind, contact: Option<(Follows, bool)>) -> &'static str {
    let further = contact.filter(|_| kind == FindingKind::Dropout);
    further.and_then(|(follows, placed)| advice_on_contact(follows, placed)).unwrap_or(kind.advice(part))
}

/// What to do next once it is known what lost contact follows; none where that could not be decided.
pub const fn advice_on_contact(follows: Follows, placed: bool) -> Option<&'static str> {
    match follows {
        Follows::Wire if placed => Some(
            "Open the sheath at the place that stands out and look at wire, crimp and terminal, a few inches to both sides: a wire can be broken inside sound \
             insulation. Repair it there, or replace the part where its pigtail can't be had apart.",
        ),
        Follows::Wire => Some(
            "Flex it place by place (flex --places) to find where the wire or terminal is; then open the sheath there.",
        ),
        Follows::Track => Some(
            "The track or its wiper loses contact at that angle: no wiring cures that, replace the sensor.",
        ),
        Follows::NotTold => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lost_contact_gets_the_step_beyond_once_it_is_known_what_it_follows_and_nothing_else_does() {
        let of = |kind, contact| advice(kind, PartKind::Grip, contact);
        let dropout = FindingKind::Dropout;
        assert!(of(dropout, Some((Follows::Wire, true))).contains("Open the sheath"));
        assert_eq!(of(dropout, Some((Follows::NotTold, false))), of(dropout, None));
        assert_eq!(of(FindingKind::FlatSpot, Some((Follows::Wire, true))), of(FindingKind::FlatSpot, None));
        assert_ne!(of(FindingKind::WeakSpring, None), advice(FindingKind::WeakSpring, PartKind::Body, None));
    }
}
