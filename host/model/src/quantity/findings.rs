//! The kinds of finding: every located defect, a row each.

use super::procedures::ProcedureKind as P;
use super::table::table;
use super::{PartKind, advice};

/// What is known of a kind of finding.
#[derive(Clone, Copy, Debug)]
pub struct FindingRow {
    /// Name in sheets and outcomes.
    pub name: &'static str,
    /// Name in the words of the trade.
    pub title: &'static str,
    /// Kinds of part that can have it.
    pub parts: &'static [PartKind],
    /// Place among the findings of a part, 0 first. A part that did not move or has a dead or exchanged line makes everything after it doubtful;
    /// then what fails without warning at a place or a moment; then what shifts the whole line; then what degrades it; last what
    /// follows from the others.
    pub order: u8,
    /// Whether it is about motor, gears, springs or plate rather than about a line.
    pub of_the_drive: bool,
    /// Whether it says that a grip or plate does not return as it should. Sheets for grips from before grips were let go have no rule for these; they
    /// then decide.
    pub of_a_return: bool,
    /// Whether a figure that can be limited shows it too. The others must be looked for, or a part can't be cleared of them.
    pub shows_in_a_figure: bool,
    /// Procedures that can show it when they are done alone.
    pub shown_by: &'static [P],
    /// Whether every procedure of a throttle body watches for it.
    pub in_every: bool,
    /// Whether the rounds of a soak can show it: teeth, brushes and winding take other strokes than a round has.
    pub in_rounds: bool,
    /// What would make an unsure one sure, or drop it.
    pub settled_by: &'static str,
    /// What a technician does next about it, in a sentence.
    pub advice: &'static str,
}

/// What a grip's sensor and a throttle body's feedback pair can have alike.
const BOTH: &[PartKind] = &PartKind::ALL;
const DRIVEN: &[PartKind] = &[PartKind::Body, PartKind::Pair];

table! {
/// Kinds of located defect.
pub enum FindingKind of FindingRow {
    /// The output stops following for a stretch of travel.
    FlatSpot = {
        name: "flat_spot", title: "flat spot", parts: BOTH,
        order: 4, of_the_drive: false, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[P::Creep], in_every: false, in_rounds: true,
        settled_by: "more cycles over the same place would settle it", advice: advice::FLAT_SPOT,
    }

    /// The output was lost for a moment.
    Dropout = {
        name: "dropout", title: "dropout", parts: BOTH,
        order: 3, of_the_drive: false, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[P::Flex], in_every: true, in_rounds: true,
        settled_by: "a longer flex of the pigtail would settle it", advice: advice::LOST_CONTACT,
    }

    /// One stretch of a track is noisier than the rest.
    NoisyTrack = {
        name: "noisy_track", title: "noisy track", parts: BOTH,
        order: 8, of_the_drive: false, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[P::Creep], in_every: false, in_rounds: true,
        settled_by: "more cycles over the same place would settle it", advice: advice::NOISY_TRACK,
    }

    /// A sensor line does not move with the grip.
    DeadChannel = {
        name: "dead_channel", title: "dead line", parts: BOTH,
        order: 2, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::SelfCheck, P::LeadsCheck, P::Flex], in_every: true, in_rounds: true,
        settled_by: "continuity of that line from terminal to sensor would settle it", advice: advice::DEAD_LINE,
    }

    /// First and second line are exchanged.
    SwappedChannels = {
        name: "swapped_channels", title: "lines exchanged", parts: BOTH,
        order: 1, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::LeadsCheck], in_every: true, in_rounds: true,
        settled_by: "the adapter's wiring against the sheet would settle it", advice: advice::SWAPPED,
    }

    /// Resistance in the supply lead.
    SupplyLead = {
        name: "supply_lead", title: "resistance in the supply lead", parts: BOTH,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::LeadsCheck], in_every: false, in_rounds: true,
        settled_by: "the leads check, or a 4-wire drop of that lead, would settle it", advice: advice::POWER_LEAD,
    }

    /// Resistance in the ground lead.
    GroundLead = {
        name: "ground_lead", title: "resistance in the ground lead", parts: BOTH,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::LeadsCheck], in_every: false, in_rounds: true,
        settled_by: "the leads check, or a 4-wire drop of that lead, would settle it", advice: advice::POWER_LEAD,
    }

    /// Resistance in a signal lead.
    SignalLead = {
        name: "signal_lead", title: "resistance in a signal lead", parts: BOTH,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::LeadsCheck], in_every: false, in_rounds: true,
        settled_by: "the leads check, or a 4-wire drop of that lead, would settle it", advice: advice::SIGNAL_LEAD,
    }

    /// Leakage from a signal lead.
    Leakage = {
        name: "leakage", title: "leakage from a signal lead", parts: BOTH,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::LeadsCheck], in_every: false, in_rounds: true,
        settled_by: "the leads check, or an insulation test of the signal pins, would settle it", advice: advice::INSULATION,
    }

    /// Gain or offset of one line is off.
    GainOffset = {
        name: "gain_offset", title: "gain or offset off", parts: BOTH,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::LeadsCheck, P::Creep], in_every: false, in_rounds: true,
        settled_by: "a sweep after mounting it anew would settle it", advice: advice::INSULATION,
    }

    /// Both lines share a bend: the magnet or track is off centre.
    CommonNonlinearity = {
        name: "common_nonlinearity", title: "bend common to both lines", parts: BOTH,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::Creep], in_every: false, in_rounds: true,
        settled_by: "a sweep after mounting it anew would settle it", advice: advice::OFF_CENTRE,
    }

    /// The part did not move.
    NotMoving = {
        name: "not_moving", title: "part did not move", parts: BOTH,
        order: 0, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::SelfCheck, P::LeadsCheck], in_every: true, in_rounds: true,
        settled_by: "a sweep with the coupling tightened would settle it", advice: advice::SEIZED,
    }

    /// A gear tooth is worn: motion is lost there.
    WornTooth = {
        name: "worn_tooth", title: "worn tooth", parts: DRIVEN,
        order: 4, of_the_drive: true, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[P::ToothMap, P::GuidedPush], in_every: false, in_rounds: false,
        settled_by: "repeating the tooth map, or a guided push at that place, would settle it", advice: advice::WORN_TOOTH,
    }

    /// A gear tooth is missing: the plate loses the drive there.
    MissingTooth = {
        name: "missing_tooth", title: "missing tooth", parts: DRIVEN,
        order: 3, of_the_drive: true, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[P::ToothMap], in_every: false, in_rounds: false,
        settled_by: "repeating the tooth map, or a guided push at that place, would settle it", advice: advice::MISSING_TOOTH,
    }

    /// The gears have grown too much free travel.
    Lash = {
        name: "lash", title: "too much lash", parts: DRIVEN,
        order: 6, of_the_drive: true, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::Lash, P::ToothMap, P::GuidedPush], in_every: false, in_rounds: false,
        settled_by: "a guided push at 20 and 60 degrees would settle it", advice: advice::LASH,
    }

    /// The brushes lose contact over a part of the rotor's turn.
    BrushDeadSpot = {
        name: "brush_dead_spot", title: "dead spot of the brushes", parts: DRIVEN,
        order: 3, of_the_drive: true, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[P::ToothMap], in_every: false, in_rounds: false,
        settled_by: "repeating the tooth map, or a guided push at that place, would settle it", advice: advice::BRUSHES,
    }

    /// A spring has lost torque.
    WeakSpring = {
        name: "weak_spring", title: "weak spring", parts: BOTH,
        order: 6, of_the_drive: true, of_a_return: true, shows_in_a_figure: true,
        shown_by: &[P::Rest, P::Release, P::Creep], in_every: false, in_rounds: true,
        settled_by: "repeating the creep and the release would settle it", advice: advice::WEAK_SPRING,
    }

    /// A spring is broken.
    BrokenSpring = {
        name: "broken_spring", title: "broken spring", parts: BOTH,
        order: 3, of_the_drive: true, of_a_return: true, shows_in_a_figure: true,
        shown_by: &[P::Rest, P::Release, P::Creep], in_every: false, in_rounds: true,
        settled_by: "repeating the creep and the release would settle it", advice: advice::BROKEN_SPRING,
    }

    /// The plate sticks near the closed stop.
    StickyPlate = {
        name: "sticky_plate", title: "plate sticks near the closed stop", parts: DRIVEN,
        order: 6, of_the_drive: true, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::Creep], in_every: false, in_rounds: true,
        settled_by: "repeating the creep and the release would settle it", advice: advice::STICKY_PLATE,
    }

    /// Friction of the drive has grown.
    DryBearing = {
        name: "dry_bearing", title: "dry bearing", parts: DRIVEN,
        order: 6, of_the_drive: true, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::Creep], in_every: false, in_rounds: true,
        settled_by: "repeating the creep and the release would settle it", advice: advice::FRICTION,
    }

    /// Resistance or back-EMF constant of the motor is off.
    Winding = {
        name: "winding", title: "winding off", parts: DRIVEN,
        order: 6, of_the_drive: true, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::Lash, P::ToothMap], in_every: false, in_rounds: false,
        settled_by: "a 4-wire measurement at the motor's pins would settle it", advice: advice::WINDING,
    }

    /// The plate, or the grip, returns to rest too slowly, or not at all.
    SlowReturn = {
        name: "slow_return", title: "slow return", parts: BOTH,
        order: 7, of_the_drive: true, of_a_return: true, shows_in_a_figure: true,
        shown_by: &[P::Rest, P::Release], in_every: false, in_rounds: true,
        settled_by: "repeating the creep and the release would settle it", advice: advice::SLOW_RETURN,
    }

    /// The feedback lines disagree by a constant or a slope.
    FeedbackOffset = {
        name: "feedback_offset", title: "feedback lines disagree", parts: DRIVEN,
        order: 5, of_the_drive: false, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[P::Creep], in_every: false, in_rounds: true,
        settled_by: "a 4-wire drop and an insulation test of the feedback leads would settle it", advice: advice::INSULATION,
    }

    /// A feedback line is lost for moments, above all on impacts.
    FeedbackIntermittent = {
        name: "feedback_intermittent", title: "feedback lost for moments", parts: DRIVEN,
        order: 3, of_the_drive: false, of_a_return: false, shows_in_a_figure: false,
        shown_by: &[], in_every: true, in_rounds: true,
        settled_by: "more blips, or a flex of the feedback wires, would settle it", advice: advice::IMPACTS,
    }

    /// What the test rests on was not given, so a part of it says nothing.
    NotTestable = {
        name: "not_testable", title: "not testable", parts: DRIVEN,
        order: 9, of_the_drive: true, of_a_return: false, shows_in_a_figure: true,
        shown_by: &[], in_every: true, in_rounds: true,
        settled_by: "a plate that returns to rest would settle it", advice: advice::NO_RETURN,
    }
}
}

impl FindingKind {
    /// Whether a kind of part can have it.
    pub fn belongs_to(self, kind: PartKind) -> bool {
        self.row().parts.contains(&kind)
    }

    /// Whether it says that a grip or plate does not return as it should.
    pub const fn is_of_a_return(self) -> bool {
        self.row().of_a_return
    }

    /// What a technician does next about it in a kind of part, in a sentence.
    pub const fn advice(self, kind: PartKind) -> &'static str {
        match kind {
            PartKind::Grip if self.row().of_a_return => advice::STAYS_OPEN,
            _ => self.row().advice,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Cause;

    #[test]
    fn every_kind_has_a_name_and_a_title_of_its_own() {
        for (k, kind) in FindingKind::ALL.into_iter().enumerate() {
            assert_eq!(FindingKind::from_name(kind.name()), Some(kind));
            let others = || FindingKind::ALL[..k].iter();
            assert!(others().all(|o| o.name() != kind.name() && o.title() != kind.title()), "{kind:?}");
        }
    }

    #[test]
    fn a_finding_asks_for_the_check_of_a_cause_or_says_that_it_follows_from_others() {
        let follows = [FindingKind::SlowReturn, FindingKind::NotTestable];
        for kind in FindingKind::ALL {
            let of_a_cause = Cause::ALL.into_iter().any(|c| c.advice() == kind.advice(PartKind::Body));
            assert_eq!(of_a_cause, !follows.contains(&kind), "{kind:?}");
        }
    }
}
