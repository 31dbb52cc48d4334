//! The causes that may be suspected: what can be wrong in the part, at the rig, or in the vehicle, a row each.
//! Sources of the code numbers: SAE J2012 / ISO 15031-6, as published in lists of generic codes.

use super::advice;
use super::table::table;

/// What is known of a cause.
#[derive(Clone, Copy, Debug)]
pub struct CauseRow {
    /// Name in files.
    pub name: &'static str,
    /// Name in the words of the trade.
    pub title: &'static str,
    /// Whether it lies in the part; otherwise in the rig or the vehicle.
    pub of_the_part: bool,
    /// What is checked next when it is suspected, in a sentence.
    pub advice: &'static str,
    /// Last digits of the generic codes of a line that fit it: 0 circuit, 1 range, 2 low, 3 high, 4 intermittent.
    pub line_codes: &'static [u8],
    /// Whether the code for the correlation of both lines fits it.
    pub correlation_code: bool,
    /// Other generic codes that fit it.
    pub codes: &'static [&'static str],
}

table! {
/// What may be wrong.
pub enum Cause of CauseRow {
    /// A stretch of track or a magnet drive where the output does not follow.
    FlatSpot = {
        name: "flat_spot", title: "flat spot of the sensor", of_the_part: true, advice: advice::FLAT_SPOT,
        line_codes: &[1], correlation_code: true, codes: &[],
    }

    /// A stretch of track that is noisy.
    NoisyTrack = {
        name: "noisy_track", title: "worn, noisy stretch of track", of_the_part: true, advice: advice::NOISY_TRACK,
        line_codes: &[1], correlation_code: false, codes: &[],
    }

    /// A wiper that lifts off at one place.
    LiftingWiper = {
        name: "lifting_wiper", title: "wiper that lifts at one place of the track", of_the_part: true, advice: advice::LOST_CONTACT,
        line_codes: &[4], correlation_code: true, codes: &[],
    }

    /// A signal wire or its joint, within the part, that loses contact at random.
    SignalContact = {
        name: "signal_contact", title: "intermittent signal wire or joint of the part", of_the_part: true, advice: advice::LOST_CONTACT,
        line_codes: &[4], correlation_code: true, codes: &[],
    }

    /// Supply or ground of the part that loses contact at random.
    SupplyContact = {
        name: "supply_contact", title: "intermittent supply or ground wire of the part", of_the_part: true, advice: advice::SUPPLY_CONTACT,
        line_codes: &[4], correlation_code: false, codes: &["P0641", "P0651"],
    }

    /// A contact inside the cover that opens when the plate is struck.
    ImpactContact = {
        name: "impact_contact", title: "contact inside the cover that opens on impacts", of_the_part: true, advice: advice::IMPACTS,
        line_codes: &[4], correlation_code: false, codes: &[],
    }

    /// Resistance in the part's supply lead or its terminal.
    SupplyLead = {
        name: "supply_lead", title: "resistance in the part's supply lead or terminal", of_the_part: true, advice: advice::POWER_LEAD,
        line_codes: &[1], correlation_code: true, codes: &["P0641", "P0651"],
    }

    /// Resistance in the part's ground lead or its terminal.
    GroundLead = {
        name: "ground_lead", title: "resistance in the part's ground lead or terminal", of_the_part: true, advice: advice::POWER_LEAD,
        line_codes: &[1], correlation_code: true, codes: &[],
    }

    /// Resistance in a signal lead or its terminal.
    SignalLead = {
        name: "signal_lead", title: "resistance in a signal lead or terminal of the part", of_the_part: true, advice: advice::SIGNAL_LEAD,
        line_codes: &[1], correlation_code: true, codes: &[],
    }

    /// Leakage from a signal line: moisture, dirt, a crushed wire.
    Leakage = {
        name: "leakage", title: "leakage from a signal line: moisture or a crushed wire", of_the_part: true, advice: advice::INSULATION,
        line_codes: &[1], correlation_code: true, codes: &[],
    }

    /// Gain or offset of a sensor element is off.
    GainOffset = {
        name: "gain_offset", title: "sensor element with wrong gain or offset", of_the_part: true, advice: advice::INSULATION,
        line_codes: &[1], correlation_code: true, codes: &[],
    }

    /// Magnet or track off centre.
    OffCentre = {
        name: "off_centre", title: "magnet or track off centre", of_the_part: true, advice: advice::OFF_CENTRE,
        line_codes: &[1], correlation_code: false, codes: &[],
    }

    /// Play or stick-slip between what turns and the sensor.
    SensorPlay = {
        name: "sensor_play", title: "play or stick-slip in the sensor's drive", of_the_part: true, advice: advice::SENSOR_PLAY,
        line_codes: &[1], correlation_code: false, codes: &[],
    }

    /// The sensor's drive turns some way at a stop before the output follows.
    DeadBand = {
        name: "dead_band", title: "dead band of the sensor at a stop", of_the_part: true, advice: advice::DEAD_BAND,
        line_codes: &[1], correlation_code: false, codes: &[],
    }

    /// A sensor element or its output is dead.
    DeadElement = {
        name: "dead_element", title: "dead sensor element", of_the_part: true, advice: advice::DEAD_LINE,
        line_codes: &[0, 2, 3], correlation_code: false, codes: &[],
    }

    /// A signal wire within the part is broken or shorted.
    BrokenSignalWire = {
        name: "broken_signal_wire", title: "signal wire broken or shorted within the part", of_the_part: true, advice: advice::DEAD_LINE,
        line_codes: &[0, 2, 3], correlation_code: false, codes: &[],
    }

    /// First and second line exchanged.
    SwappedLines = {
        name: "swapped_lines", title: "signal lines exchanged", of_the_part: true, advice: advice::SWAPPED,
        line_codes: &[1], correlation_code: true, codes: &[],
    }

    /// The grip does not turn.
    Seized = {
        name: "seized", title: "seized grip", of_the_part: true, advice: advice::SEIZED,
        line_codes: &[1], correlation_code: false, codes: &[],
    }

    /// The grip's return spring is weak, broken or off its seat.
    ReturnSpring = {
        name: "return_spring", title: "weak or broken return spring of the grip", of_the_part: true, advice: advice::STAYS_OPEN,
        line_codes: &[], correlation_code: false, codes: &[],
    }

    /// The grip turns with too much friction to close by itself.
    BindingGrip = {
        name: "binding_grip", title: "grip that binds: dirt, a bent bar end, a tube that rubs", of_the_part: true, advice: advice::STAYS_OPEN,
        line_codes: &[], correlation_code: false, codes: &[],
    }

    /// A tooth that is worn or chipped.
    WornTooth = {
        name: "worn_tooth", title: "worn or chipped tooth", of_the_part: true, advice: advice::WORN_TOOTH,
        line_codes: &[], correlation_code: false, codes: &["P0638", "P2119"],
    }

    /// A tooth that is missing or broken.
    MissingTooth = {
        name: "missing_tooth", title: "missing or broken tooth", of_the_part: true, advice: advice::MISSING_TOOTH,
        line_codes: &[], correlation_code: false, codes: &["P0638", "P2119"],
    }

    /// The tooth that is in mesh at rest is worn.
    RestTooth = {
        name: "rest_tooth", title: "worn tooth in mesh at rest", of_the_part: true, advice: advice::LASH,
        line_codes: &[], correlation_code: false, codes: &["P2119", "P2176"],
    }

    /// Lash has grown in the whole train.
    GrownLash = {
        name: "grown_lash", title: "worn gears: lash in the whole train", of_the_part: true, advice: advice::LASH,
        line_codes: &[], correlation_code: false, codes: &["P2119", "P2176"],
    }

    /// A segment of the commutator without contact.
    BrushDeadSpot = {
        name: "brush_dead_spot", title: "dead spot of brushes and commutator", of_the_part: true, advice: advice::BRUSHES,
        line_codes: &[], correlation_code: false, codes: &["P2100", "P2101", "P2118"],
    }

    /// Main spring is weak.
    WeakMainSpring = {
        name: "weak_main_spring", title: "weak main spring", of_the_part: true, advice: advice::WEAK_SPRING,
        line_codes: &[], correlation_code: false, codes: &["P2111", "P2119"],
    }

    /// Main spring is broken or off its seat.
    BrokenMainSpring = {
        name: "broken_main_spring", title: "broken main spring", of_the_part: true, advice: advice::BROKEN_SPRING,
        line_codes: &[], correlation_code: false, codes: &["P2111", "P2119"],
    }

    /// Default spring is weak.
    WeakDefaultSpring = {
        name: "weak_default_spring", title: "weak default spring", of_the_part: true, advice: advice::WEAK_SPRING,
        line_codes: &[], correlation_code: false, codes: &["P2112", "P2119", "P2176"],
    }

    /// Default spring is broken or off its seat.
    BrokenDefaultSpring = {
        name: "broken_default_spring", title: "broken default spring", of_the_part: true, advice: advice::BROKEN_SPRING,
        line_codes: &[], correlation_code: false, codes: &["P2112", "P2119", "P2176"],
    }

    /// Dirt between plate and bore at the closed stop.
    StickyPlate = {
        name: "sticky_plate", title: "dirt between plate and bore at the closed stop", of_the_part: true, advice: advice::STICKY_PLATE,
        line_codes: &[], correlation_code: false, codes: &["P2109", "P2112", "P2119"],
    }

    /// Bearings of the plate's shaft run dry.
    DryBearing = {
        name: "dry_bearing", title: "dry bearings of the plate's shaft", of_the_part: true, advice: advice::FRICTION,
        line_codes: &[], correlation_code: false, codes: &["P2101", "P2118", "P2119"],
    }

    /// Motor or gears turn with too much friction.
    MotorDrag = {
        name: "motor_drag", title: "friction in the motor or the gears", of_the_part: true, advice: advice::FRICTION,
        line_codes: &[], correlation_code: false, codes: &["P2101", "P2118", "P2119"],
    }

    /// Resistance of the winding has grown.
    WindingResistance = {
        name: "winding_resistance", title: "winding with too much resistance", of_the_part: true, advice: advice::WINDING,
        line_codes: &[], correlation_code: false, codes: &["P2100", "P2101", "P2118"],
    }

    /// Brushes conduct badly all around.
    WornBrushes = {
        name: "worn_brushes", title: "worn brushes", of_the_part: true, advice: advice::WINDING,
        line_codes: &[], correlation_code: false, codes: &["P2100", "P2101", "P2118"],
    }

    /// Resistance in the motor's terminals or leads.
    MotorTerminal = {
        name: "motor_terminal", title: "resistance in the motor's terminals or leads", of_the_part: true, advice: advice::WINDING,
        line_codes: &[], correlation_code: false, codes: &["P2100", "P2101", "P2118"],
    }

    /// Turns of the winding are shorted.
    ShortedTurns = {
        name: "shorted_turns", title: "shorted turns of the winding", of_the_part: true, advice: advice::LOW_TORQUE,
        line_codes: &[], correlation_code: false, codes: &["P2101", "P2118"],
    }

    /// The motor's magnet is weak.
    WeakMagnet = {
        name: "weak_magnet", title: "weak magnet of the motor", of_the_part: true, advice: advice::LOW_TORQUE,
        line_codes: &[], correlation_code: false, codes: &["P2101", "P2118"],
    }

    /// The rig's own coupling or clamp: not the part.
    RigCoupling = {
        name: "rig_coupling", title: "the rig's coupling or clamp", of_the_part: false, advice: advice::RIG_COUPLING,
        line_codes: &[], correlation_code: false, codes: &[],
    }

    /// The vehicle's wiring between part and controller.
    WiringRun = {
        name: "wiring_run", title: "the vehicle's wiring", of_the_part: false, advice: advice::WIRING_RUN,
        line_codes: &[0, 2, 3, 4], correlation_code: false, codes: &[],
    }

    /// A terminal or plug of the vehicle.
    Terminal = {
        name: "terminal", title: "a terminal or plug of the vehicle", of_the_part: false, advice: advice::TERMINAL,
        line_codes: &[0, 2, 3, 4], correlation_code: false, codes: &[],
    }

    /// The controller.
    Controller = {
        name: "controller", title: "the controller", of_the_part: false, advice: advice::CONTROLLER,
        line_codes: &[], correlation_code: false, codes: &["P2107", "P2108"],
    }
}
}

impl Cause {
    /// Whether it lies in the part; otherwise in the rig or the vehicle.
    pub const fn is_of_the_part(self) -> bool {
        self.row().of_the_part
    }

    /// What is checked next when it is suspected, in a sentence.
    pub const fn advice(self) -> &'static str {
        self.row().advice
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cause_has_a_name_of_its_own_and_every_sentence_ends() {
        for (k, cause) in Cause::ALL.into_iter().enumerate() {
            assert_eq!(Cause::from_name(cause.name()), Some(cause));
            assert!(Cause::ALL[..k].iter().all(|c| c.title() != cause.title()), "{}", cause.title());
            assert!(cause.advice().ends_with('.') && !cause.advice().contains("  "), "{}", cause.advice());
            assert_eq!(serde_json::to_value(cause).unwrap(), cause.name());
        }
    }
}
