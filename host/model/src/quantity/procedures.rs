//! The procedures: what a rig does with a part, a row each.

use super::table::table;

/// What is known of a procedure.
#[derive(Clone, Copy, Debug)]
pub struct ProcedureRow {
    /// Name in files and outcomes.
    pub name: &'static str,
    /// Name in a sentence: "the rest and stops".
    pub title: &'static str,
    /// What it does many times.
    pub repeats: &'static str,
    /// Whether the rounds of a throttle body's soak do it.
    pub in_rounds: bool,
}

table! {
/// What the rig did.
pub enum ProcedureKind of ProcedureRow {
    /// Supply, noise floor, reference, stops.
    SelfCheck = { name: "self_check", title: "self-check", repeats: "readings", in_rounds: false }

    /// Driven cycles, stop to stop.
    Sweep = { name: "sweep", title: "sweep", repeats: "cycles", in_rounds: false }

    /// Supply step and load steps at rest.
    LeadsCheck = { name: "leads_check", title: "leads check", repeats: "steps", in_rounds: false }

    /// The grip turned by hand.
    HandSweep = { name: "hand_sweep", title: "hand sweep", repeats: "cycles", in_rounds: false }

    /// Waiting for dropouts while the pigtail is flexed.
    Flex = { name: "flex", title: "flex", repeats: "minutes", in_rounds: false }

    /// Read from another logger's file.
    Import = { name: "import", title: "import", repeats: "cycles", in_rounds: false }

    /// Plate let go from both sides and brought to both stops.
    Rest = { name: "rest", title: "rest and stops", repeats: "returns", in_rounds: true }

    /// Steps of voltage and of the setpoint, over regions and both ways.
    Step = { name: "step", title: "steps", repeats: "steps", in_rounds: false }

    /// Plate, or driven grip, let go from several openings.
    Release = { name: "release", title: "release", repeats: "releases", in_rounds: false }

    /// Slow ramps to and fro, quasi-static.
    Creep = { name: "creep", title: "creep", repeats: "ramps", in_rounds: true }

    /// Swinging and arresting the rotor inside the lash at rest.
    Lash = { name: "lash", title: "lash", repeats: "coasts", in_rounds: false }

    /// Strokes from rest at a constant voltage.
    ToothMap = { name: "tooth_map", title: "tooth map", repeats: "strokes", in_rounds: false }

    /// A short check before snap openings.
    BlipBefore = { name: "blip_before", title: "check before the blips", repeats: "ramps", in_rounds: false }

    /// Snap openings.
    Blip = { name: "blip", title: "blips", repeats: "blips", in_rounds: false }

    /// The same short check after snap openings.
    BlipAfter = { name: "blip_after", title: "check after the blips", repeats: "ramps", in_rounds: false }

    /// The plate moved by a probe through the bore, bridge open.
    GuidedPush = { name: "guided_push", title: "guided push", repeats: "pushes", in_rounds: false }

    /// A grip turned and the plate following it.
    Follow = { name: "follow", title: "follow", repeats: "turns", in_rounds: false }
}
}
