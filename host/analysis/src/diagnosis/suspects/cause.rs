//! Causes as a technician names them: in the sensor, in the throttle body, in its wires, and off the part. It holds names alone; what
//! speaks for a cause is told elsewhere.

use serde::{Deserialize, Serialize};

/// Something that can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// A stretch of track or a magnet drive where the output does not follow.
    FlatSpot,
    /// A stretch of track that is noisy.
    NoisyTrack,
    /// A wiper that lifts off at one place.
    LiftingWiper,
    /// A signal wire or its joint, within the part, that loses contact at random.
    SignalContact,
    /// Supply or ground of the part that loses contact at random.
    SupplyContact,
    /// A contact inside the cover that opens when the plate is struck.
    ImpactContact,
    /// Resistance in the part's supply lead or its terminal.
    SupplyLead,
    /// Resistance in the part's ground lead or its terminal.
    GroundLead,
    /// Resistance in a signal lead or its terminal.
    SignalLead,
    /// Leakage from a signal line: moisture, dirt, a crushed wire.
    Leakage,
    /// Gain or offset of a sensor element is off.
    GainOffset,
    /// Magnet or track off centre.
    OffCentre,
    /// Play or stick-slip between what turns and the sensor.
    SensorPlay,
    /// The sensor's drive turns some way at a stop before the output follows.
    DeadBand,
    /// A sensor element or its output is dead.
    DeadElement,
    /// A signal wire within the part is broken or shorted.
    BrokenSignalWire,
    /// First and second line exchanged.
    SwappedLines,
    /// The grip does not turn.
    Seized,
    /// The grip's return spring is weak, broken or off its seat.
    ReturnSpring,
    /// The grip turns with too much friction to close by itself.
    BindingGrip,
    /// A tooth that is worn or chipped.
    WornTooth,
    /// A tooth that is missing or broken.
    MissingTooth,
    /// The tooth that is in mesh at rest is worn.
    RestTooth,
    /// Lash has grown in the whole train.
    GrownLash,
    /// A segment of the commutator without contact.
    BrushDeadSpot,
    /// Main spring is weak.
    WeakMainSpring,
    /// Main spring is broken or off its seat.
    BrokenMainSpring,
    /// Default spring is weak.
    WeakDefaultSpring,
    /// Default spring is broken or off its seat.
    BrokenDefaultSpring,
    /// Dirt between plate and bore at the closed stop.
    StickyPlate,
    /// Bearings of the plate's shaft run dry.
    DryBearing,
    /// Motor or gears turn with too much friction.
    MotorDrag,
    /// Resistance of the winding has grown.
    WindingResistance,
    /// Brushes conduct badly all around.
    WornBrushes,
    /// Resistance in the motor's terminals or leads.
    MotorTerminal,
    /// Turns of the winding are shorted.
    ShortedTurns,
    /// The motor's magnet is weak.
    WeakMagnet,
    /// The rig's own coupling or clamp: not the part.
    RigCoupling,
    /// The vehicle's wiring between part and controller.
    WiringRun,
    /// A terminal or plug of the vehicle.
    Terminal,
    /// The controller.
    Controller,
}

impl Cause {
    /// Every cause.
    pub const ALL: [Self; 41] = [
        Self::FlatSpot,
        Self::NoisyTrack,
        Self::LiftingWiper,
        Self::SignalContact,
        Self::SupplyContact,
        Self::ImpactContact,
        Self::SupplyLead,
        Self::GroundLead,
        Self::SignalLead,
        Self::Leakage,
        Self::GainOffset,
        Self::OffCentre,
        Self::SensorPlay,
        Self::DeadBand,
        Self::DeadElement,
        Self::BrokenSignalWire,
        Self::SwappedLines,
        Self::Seized,
        Self::ReturnSpring,
        Self::BindingGrip,
        Self::WornTooth,
        Self::MissingTooth,
        Self::RestTooth,
        Self::GrownLash,
        Self::BrushDeadSpot,
        Self::WeakMainSpring,
        Self::BrokenMainSpring,
        Self::WeakDefaultSpring,
        Self::BrokenDefaultSpring,
        Self::StickyPlate,
        Self::DryBearing,
        Self::MotorDrag,
        Self::WindingResistance,
        Self::WornBrushes,
        Self::MotorTerminal,
        Self::ShortedTurns,
        Self::WeakMagnet,
        Self::RigCoupling,
        Self::WiringRun,
        Self::Terminal,
        Self::Controller,
    ];

    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FlatSpot => "flat_spot",
            Self::NoisyTrack => "noisy_track",
            Self::LiftingWiper => "lifting_wiper",
            Self::SignalContact => "signal_contact",
            Self::SupplyContact => "supply_contact",
            Self::ImpactContact => "impact_contact",
            Self::SupplyLead => "supply_lead",
            Self::GroundLead => "ground_lead",
            Self::SignalLead => "signal_lead",
            Self::Leakage => "leakage",
            Self::GainOffset => "gain_offset",
            Self::OffCentre => "off_centre",
            Self::SensorPlay => "sensor_play",
            Self::DeadBand => "dead_band",
            Self::DeadElement => "dead_element",
            Self::BrokenSignalWire => "broken_signal_wire",
            Self::SwappedLines => "swapped_lines",
            Self::Seized => "seized",
            Self::ReturnSpring => "return_spring",
            Self::BindingGrip => "binding_grip",
            Self::WornTooth => "worn_tooth",
            Self::MissingTooth => "missing_tooth",
            Self::RestTooth => "rest_tooth",
            Self::GrownLash => "grown_lash",
            Self::BrushDeadSpot => "brush_dead_spot",
            Self::WeakMainSpring => "weak_main_spring",
            Self::BrokenMainSpring => "broken_main_spring",
            Self::WeakDefaultSpring => "weak_default_spring",
            Self::BrokenDefaultSpring => "broken_default_spring",
            Self::StickyPlate => "sticky_plate",
            Self::DryBearing => "dry_bearing",
            Self::MotorDrag => "motor_drag",
            Self::WindingResistance => "winding_resistance",
            Self::WornBrushes => "worn_brushes",
            Self::MotorTerminal => "motor_terminal",
            Self::ShortedTurns => "shorted_turns",
            Self::WeakMagnet => "weak_magnet",
            Self::RigCoupling => "rig_coupling",
            Self::WiringRun => "wiring_run",
            Self::Terminal => "terminal",
            Self::Controller => "controller",
        }
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }

    /// The name in the words of the trade, for people.
    pub const fn title(self) -> &'static str {
        match self {
            Self::FlatSpot => "flat spot of the sensor",
            Self::NoisyTrack => "worn, noisy stretch of track",
            Self::LiftingWiper => "wiper that lifts at one place of the track",
            Self::SignalContact => "intermittent signal wire or joint of the part",
            Self::SupplyContact => "intermittent supply or ground wire of the part",
            Self::ImpactContact => "contact inside the cover that opens on impacts",
            Self::SupplyLead => "resistance in the part's supply lead or terminal",
            Self::GroundLead => "resistance in the part's ground lead or terminal",
            Self::SignalLead => "resistance in a signal lead or terminal of the part",
            Self::Leakage => "leakage from a signal line: moisture or a crushed wire",
            Self::GainOffset => "sensor element with wrong gain or offset",
            Self::OffCentre => "magnet or track off centre",
            Self::SensorPlay => "play or stick-slip in the sensor's drive",
            Self::DeadBand => "dead band of the sensor at a stop",
            Self::DeadElement => "dead sensor element",
            Self::BrokenSignalWire => "signal wire broken or shorted within the part",
            Self::SwappedLines => "signal lines exchanged",
            Self::Seized => "seized grip",
            Self::ReturnSpring => "weak or broken return spring of the grip",
            Self::BindingGrip => "grip that binds: dirt, a bent bar end, a tube that rubs",
            Self::WornTooth => "worn or chipped tooth",
            Self::MissingTooth => "missing or broken tooth",
            Self::RestTooth => "worn tooth in mesh at rest",
            Self::GrownLash => "worn gears: lash in the whole train",
            Self::BrushDeadSpot => "dead spot of brushes and commutator",
            Self::WeakMainSpring => "weak main spring",
            Self::BrokenMainSpring => "broken main spring",
            Self::WeakDefaultSpring => "weak default spring",
            Self::BrokenDefaultSpring => "broken default spring",
            Self::StickyPlate => "dirt between plate and bore at the closed stop",
            Self::DryBearing => "dry bearings of the plate's shaft",
            Self::MotorDrag => "friction in the motor or the gears",
            Self::WindingResistance => "winding with too much resistance",
            Self::WornBrushes => "worn brushes",
            Self::MotorTerminal => "resistance in the motor's terminals or leads",
            Self::ShortedTurns => "shorted turns of the winding",
            Self::WeakMagnet => "weak magnet of the motor",
            Self::RigCoupling => "the rig's coupling or clamp",
            Self::WiringRun => "the vehicle's wiring",
            Self::Terminal => "a terminal or plug of the vehicle",
            Self::Controller => "the controller",
        }
    }

    /// Whether it lies in the part; otherwise in the rig or the vehicle.
    pub const fn is_of_the_part(self) -> bool {
        !matches!(self, Self::RigCoupling | Self::WiringRun | Self::Terminal | Self::Controller)
    }

    /// What is checked next when this is suspected, in a sentence.
    pub const fn next_check(self) -> &'static str {
        match self {
            Self::FlatSpot => {
                "Mark shaft and magnet or coupling and sweep again: a flat spot that comes back at the same angle is in the sensor."
            }
            Self::NoisyTrack => {
                "Sweep five cycles again: noise that stays at the same angle is that stretch of track."
            }
            Self::LiftingWiper | Self::SignalContact => {
                "Sweep five cycles, then flex the pigtail: events locked to an angle are the track, events that follow the flexing the wire."
            }
            Self::SupplyContact => {
                "Flex supply and ground wire one after the other while the bench watches, and look at their terminals."
            }
            Self::ImpactContact => {
                "Run twenty blips, then flex the feedback wires with the plate still: events on impacts alone are inside the cover."
            }
            Self::SupplyLead | Self::GroundLead => {
                "Measure the drop of that lead with four wires on the connector pins under load, and wiggle it while watching."
            }
            Self::SignalLead => {
                "Measure that signal lead with four wires from terminal to sensor; clean the terminal and repeat the load step."
            }
            Self::Leakage | Self::GainOffset => {
                "Insulation test with the part unplugged: signal pin to case and to ground, more than 1 Mohm; when that is good the sensor is off."
            }
            Self::OffCentre => {
                "Remount the part turned by 90 degrees and sweep again: what follows the rig is the rig's coupling, what stays is the part's."
            }
            Self::SensorPlay => {
                "Sweep again with the return spring loading one side, at two torques: play of the coupling changes, hysteresis of the sensor stays."
            }
            Self::DeadBand => {
                "Turn the part by hand off that stop and watch the output: travel before it follows is the part's, none is the rig's clamp."
            }
            Self::DeadElement | Self::BrokenSignalWire => {
                "Check continuity of that signal wire from terminal to sensor, unplugged, and move the wire meanwhile: good is a dead element."
            }
            Self::SwappedLines => "Check the adapter's wiring and the part number against the sheet.",
            Self::Seized => {
                "Turn the part by hand off the rig: what is stiff there is the part, what is free the rig's clamp."
            }
            Self::ReturnSpring | Self::BindingGrip => {
                "Turn the grip open by hand off the rig and let go: one that turns lightly and stays open has a bad spring, one that turns heavily binds."
            }
            Self::WornTooth | Self::MissingTooth => {
                "Push the plate through the bore at that place (guided push), or open the gear cover and look at the tooth."
            }
            Self::RestTooth | Self::GrownLash => {
                "Guided push at 20 and 60 degrees: the same lash there is the whole train, less there is the tooth in mesh at rest."
            }
            Self::BrushDeadSpot => {
                "Run twenty blips and repeat the tooth map: a dead spot that comes back at the same turn of the rotor is in the brushes."
            }
            Self::WeakMainSpring
            | Self::BrokenMainSpring
            | Self::WeakDefaultSpring
            | Self::BrokenDefaultSpring => {
                "Look through the bore for a spring off its seat and repeat the creep: a preload that stays low is the spring."
            }
            Self::StickyPlate => {
                "Clean bore and plate edge as the service manual says, then repeat the creep and compare."
            }
            Self::DryBearing | Self::MotorDrag => {
                "Push the plate through the bore with the motor unplugged and disengaged: friction felt there is the shaft's, none is the motor's."
            }
            Self::WindingResistance | Self::WornBrushes | Self::MotorTerminal => {
                "Measure with four wires at the pins in five rotor positions, cold: constant is the winding, changing the brushes, none the terminal."
            }
            Self::ShortedTurns | Self::WeakMagnet => {
                "Measure winding resistance cold with four wires: low is shorted turns, as the sheet says is a weak magnet."
            }
            Self::RigCoupling => {
                "Remount the part and repeat: what goes away with the mounting was the rig's."
            }
            Self::WiringRun => {
                "Check continuity and insulation of that run with both plugs off, and move the loom at the steering neck meanwhile."
            }
            Self::Terminal => {
                "Look at both halves of the plug for backed-out, spread or green terminals and try how firmly each holds a pin."
            }
            Self::Controller => {
                "Only when part, wiring and terminals are cleared: measure supply and ground at the controller's own pins under load."
            }
        }
    }
}
