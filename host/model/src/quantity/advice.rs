//! What a technician does next: a sentence each, written once. A finding and the causes that it leads to share theirs.

pub(super) const FLAT_SPOT: &str = "Mark the shaft and the magnet or coupling and sweep again: a flat spot that comes back at the same angle is in the sensor, replace it; one that moves is slip of the coupling.";
pub(super) const NOISY_TRACK: &str = "Sweep five cycles again: noise that stays at the same angle is wear of that stretch of track, replace the sensor.";
pub(super) const LOST_CONTACT: &str = "Sweep five cycles, then flex the pigtail: events that stay at one angle are in the track, events that follow the flexing are in the wire or a terminal.";
pub(super) const SUPPLY_CONTACT: &str =
    "Flex supply and ground wire one after the other while the bench watches, and look at their terminals.";
pub(super) const IMPACTS: &str = "Run twenty blips, then flex the feedback wires with the plate still: events on impacts alone are inside the cover.";
pub(super) const POWER_LEAD: &str = "Measure the voltage drop of that lead with four wires on the connector pins under load, and wiggle it while watching.";
pub(super) const SIGNAL_LEAD: &str = "Measure that signal lead with four wires from terminal to sensor; clean or replace the terminal, then repeat the load step.";
pub(super) const INSULATION: &str = "With the part unplugged, dry the connector, test the insulation of that signal pin to case and to ground (more than 1 Mohm), and measure the drop of its leads with four wires: if all are good the sensor is off, replace it.";
pub(super) const OFF_CENTRE: &str = "Remount the part turned by 90 degrees and sweep again: a bend that follows the rig is the rig's coupling, one that stays is the part's magnet or track.";
pub(super) const SENSOR_PLAY: &str = "Sweep again with the return spring loading one side, at two torques: play of the coupling changes, hysteresis of the sensor stays.";
pub(super) const DEAD_BAND: &str = "Turn the part by hand off that stop and watch the output: travel before it follows is the part's; if there is none, it is the rig's clamp.";
pub(super) const DEAD_LINE: &str = "With the part unplugged, check continuity of that signal wire from terminal to sensor and move the wire meanwhile: if the wire is good, the sensor element is dead.";
pub(super) const SWAPPED: &str =
    "Check the adapter's wiring and the part number against the sheet, then sweep again.";
pub(super) const SEIZED: &str = "Turn the part by hand off the rig: if it is stiff there, the part is seized; if it turns freely, look at the rig's coupling and clamp and sweep again.";
pub(super) const STAYS_OPEN: &str = "Do not refit: a grip must snap shut when it is let go. Off the rig, turn it open by hand and let go: one that turns lightly and stays open has a bad spring, one that turns heavily binds. One that snaps shut there was held by the rig or its clamp: remount it and repeat.";
pub(super) const WORN_TOOTH: &str = "Push the plate through the bore at that place (guided push), or open the gear cover and look at the tooth: free travel there confirms wear; the gears are not to be had apart from the body.";
pub(super) const MISSING_TOOTH: &str = "Do not refit: the plate loses its drive there. Open the gear cover and look at the tooth; fragments may jam the train.";
pub(super) const LASH: &str = "Guided push at 20 and 60 degrees: the same lash there is general wear, less there is wear of the tooth in mesh at rest.";
pub(super) const BRUSHES: &str = "Run twenty blips and repeat the tooth map: a dead spot that comes back at the same turn of the rotor is in the brushes; replace the motor or body.";
pub(super) const WEAK_SPRING: &str = "Look through the bore for a spring off its seat and repeat the creep: if the preload stays low the spring is weak, do not refit.";
pub(super) const BROKEN_SPRING: &str = "Do not refit: without power the plate does not go to its rest position. Look through the bore for a spring off its seat, then open the cover to see it.";
pub(super) const STICKY_PLATE: &str =
    "Clean bore and plate edge as the service manual says, then repeat the creep and compare.";
pub(super) const FRICTION: &str = "Push the plate through the bore with the motor unplugged and disengaged: friction felt there is in the shaft's bearings; if there is none, it is in the motor or the gears.";
pub(super) const WINDING: &str = "Measure the winding with four wires at the pins in five rotor positions, cold: too much everywhere is the winding, a changing value the brushes, a good one the terminals or leads.";
pub(super) const LOW_TORQUE: &str = "Measure the winding's resistance cold with four wires: if it is low, turns are shorted; if it is as the sheet says, the magnet is weak.";
pub(super) const SLOW_RETURN: &str = "See the creep's friction and preload: high friction or a weak spring explains a slow return; with both good, repeat the release.";
pub(super) const NO_RETURN: &str = "First repair what keeps the plate from returning to rest, then qualify again: the tests that rest on it say nothing now.";
pub(super) const RIG_COUPLING: &str =
    "Remount the part and repeat: what goes away with the mounting was the rig's.";
pub(super) const WIRING_RUN: &str = "Check continuity and insulation of that run with both plugs off, and move the loom at the steering neck meanwhile.";
pub(super) const TERMINAL: &str = "Look at both halves of the plug for backed-out, spread or green terminals and try how firmly each holds a pin.";
pub(super) const CONTROLLER: &str = "Only when part, wiring and terminals are cleared: measure supply and ground at the controller's own pins under load.";
