//! Why the bench can't distinguish two causes: the pairs of the physics study, 3.10, and those that hang on the same reasons.

use crate::quantity::Cause;

/// Why two causes look alike to the bench.
pub(super) fn why(a: Cause, b: Cause) -> &'static str {
    use Cause as C;
    let either = |x: Cause, y: Cause| (a == x && b == y) || (a == y && b == x);
    let any = |set: &[Cause]| set.contains(&a) && set.contains(&b);
    if either(C::Leakage, C::GainOffset) {
        "a small leak shifts the line as a wrong gain does"
    } else if any(&[C::SupplyLead, C::GroundLead, C::GainOffset]) {
        "a resistive track draws a current that goes with the supply, so the supply step does not see its leads"
    } else if either(C::OffCentre, C::RigCoupling) {
        "magnet and coupling off centre bend both lines alike, and their correlation stays silent"
    } else if either(C::SensorPlay, C::RigCoupling) {
        "play of the rig's coupling and hysteresis of the sensor draw the same loop"
    } else if either(C::FlatSpot, C::RigCoupling) {
        "a coupling that slips stops both lines as a flat spot does"
    } else if any(&[C::GrownLash, C::RestTooth]) {
        "wear of the tooth at rest and of the whole train are both lash at rest"
    } else if any(&[C::WindingResistance, C::WornBrushes, C::MotorTerminal]) {
        "winding, brushes and terminals are one resistance at the plug"
    } else if either(C::DryBearing, C::MotorDrag) {
        "the bench sees the sum of both frictions"
    } else if any(&[C::SignalContact, C::LiftingWiper, C::ImpactContact]) {
        "the glitch is the same; only what it keeps to tells them apart: a place, the flexing, an impact"
    } else if any(&[C::DeadElement, C::BrokenSignalWire]) {
        "a dead element and a broken wire leave the line at the same level"
    } else if any(&[C::ShortedTurns, C::WeakMagnet]) {
        "both take torque and back-EMF alike"
    } else if any(&[C::Seized, C::RigCoupling]) {
        "what does not turn is the part or the clamp"
    } else if either(C::ReturnSpring, C::BindingGrip) {
        "a weak spring and a grip that binds both leave it open"
    } else if any(&[C::WornTooth, C::MissingTooth]) {
        "a deep chip and a missing tooth lose motion at the same place"
    } else if !(a.is_of_the_part() && b.is_of_the_part()) {
        "the bench has only the part before it, and the fault did not show there"
    } else {
        "the same findings fit both"
    }
}
