//! Grip and throttle body together, the rig playing the engine controller.

use super::bench_work::{keep, other_part, with_bench};
use super::body::tell_of_the_part;
use super::cautions::{self, Consent};
use super::concluded::{Concluded, conclude};
use super::failure::Failure;
use super::mounted::Mounted;
use super::outside::Outside;
use super::question::Question;
use super::recorded::Recorded;
use super::sheets::Shelf;
use crate::procedure::Recording;
use crate::quantity::{PartKind, ProcedureKind};
use crate::verdict::Scope;

/// Grip and throttle body together.
///
/// # Errors
/// As every procedure of a throttle body; [`Failure::Usage`] for a sheet of one part alone.
pub fn follow(
    mounted: Mounted<'_>,
    cautions_read: bool,
    outside: &Outside<'_>,
) -> Result<Concluded, Failure> {
    let consent = Consent::of(mounted.rig, cautions_read);
    let shelf = Shelf::for_pair(mounted.sheet)?;
    let sheet = shelf.first();
    let mut recorded = Recorded::of_session(mounted, sheet, outside)?;
    recorded.is_about(PartKind::Pair);
    let (followed, story) =
        with_bench(mounted.rig, mounted.part, sheet, outside, |bench| -> Result<(), Failure> {
            bench.takes_pairs().map_err(other_part)?;
            cautions::show(consent, outside)?;
            let found = bench.follow(&|| outside.now());
            recorded.heed(&found.check);
            let mut recordings: Vec<Recording> = vec![found.check.recording];
            recordings.extend(found.rest.into_iter().flat_map(|rest| rest.recordings));
            recordings.extend(found.grip);
            for mut recording in recordings {
                tell_of_the_part(&mut recording);
                keep(&mut recorded, recording, outside);
            }
            found.plate.into_iter().for_each(|trace| recorded.store(trace, outside));
            Ok(())
        })?;
    followed?;
    recorded.tell_of(story);
    conclude(recorded, &Question::of(Scope::Procedure(ProcedureKind::Follow)), sheet, outside)
}
