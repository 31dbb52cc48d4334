//! `follow`: grip and throttle body together, the rig playing the engine controller.

use super::bench_work::{keep, with_bench};
use super::body::tell_of_the_part;
use super::cautions;
use super::cautions::Consent;
use super::clock::date;
use super::conclude::conclude;
use super::ending::Ending;
use super::options::driven::BodyProcedure;
use super::options::mounted::Settled;
use super::qualify::begin;
use super::surroundings::Surroundings;
use crate::job::Failure;
use crate::job::sheets::Shelf;
use crate::procedure::Recording;
use crate::quantity::PartKind;
use crate::trace::ProcedureKind;
use crate::verdict::Scope;

/// Carries out `follow`.
///
/// # Errors
/// As every procedure of a throttle body; [`Failure::Usage`] for a sheet of one part alone.
pub fn follow(args: &BodyProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let common = Settled::of(&args.common, surroundings)?;
    let consent = Consent::of(common.rig, args.i_have_read_the_cautions, surroundings.stop);
    let shelf = Shelf::for_pair(common.sheet)?;
    let sheet = shelf.first();
    let mut kept = begin(common, sheet, surroundings)?;
    kept.judge_only(Scope::Procedure(ProcedureKind::Follow), Vec::new());
    kept.is_about(PartKind::Pair);
    let (followed, story) =
        with_bench(common.rig, common.part, sheet, surroundings, |bench, meter| -> Result<(), Failure> {
            cautions::show(consent, &|line| meter.say(line))?;
            let found = bench.follow(&date);
            kept.heed(&found.check);
            let mut recordings: Vec<Recording> = vec![found.check.recording];
            recordings.extend(found.rest.into_iter().flat_map(|rest| rest.recordings));
            recordings.extend(found.grip);
            for mut recording in recordings {
                tell_of_the_part(&mut recording);
                keep(&mut kept, recording, meter);
            }
            found.plate.into_iter().for_each(|trace| kept.store(trace));
            Ok(())
        })?;
    followed?;
    kept.tell_of(story);
    conclude(kept, sheet, common.json, None, surroundings)
}
