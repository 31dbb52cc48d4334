//! Whether the rig takes the kind of part that a procedure is for: asked before anything is shown, driven or recorded.

use super::failure::Failure;
use crate::procedure::Bench;
use crate::quantity::ProcedureKind;
use anyhow::anyhow;

/// What a grip's rig can be asked for.
const FOR_GRIPS: &str = "for a grip, use `trackpair qualify`, `trackpair flex` or `trackpair procedure self-check|leads-check|hand-sweep`";
/// What a throttle body's rig can be asked for.
const FOR_BODIES: &str = "for a throttle body, use `trackpair qualify` or `trackpair procedure rest|leads-check|creep|step|release|lash|tooth-map|blip|guided-push`";

/// A procedure that only a throttle body has.
///
/// # Errors
/// [`Failure::Usage`] on a rig without a motor bridge.
pub fn takes_bodies(bench: &Bench<'_>, procedure: ProcedureKind) -> Result<(), Failure> {
    if bench.drives_body() || bench.has_pair() {
        return Ok(());
    }
    Err(usage(format!("this rig takes grips, and {} is for throttle bodies; {FOR_GRIPS}", procedure.title())))
}

/// A procedure that only a grip has.
///
/// # Errors
/// [`Failure::Usage`] on a rig for throttle bodies.
pub fn takes_grips(bench: &Bench<'_>, procedure: ProcedureKind) -> Result<(), Failure> {
    if !bench.drives_body() {
        return Ok(());
    }
    Err(usage(format!(
        "this rig takes throttle bodies, and {} is for grips; {FOR_BODIES}",
        procedure.title()
    )))
}

/// Both parts together.
///
/// # Errors
/// [`Failure::Usage`] on a rig for one of them.
pub fn takes_pairs(bench: &Bench<'_>) -> Result<(), Failure> {
    if bench.has_pair() {
        return Ok(());
    }
    Err(usage(
        "follow needs a rig with a grip and a throttle body on it, and this one takes one part; for one part, use `trackpair qualify`".to_owned(),
    ))
}

fn usage(sentence: String) -> Failure {
    Failure::Usage(anyhow!(sentence))
}
