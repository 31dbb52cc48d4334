//! `soak`: hours or days of cycling, with figures over time.

use super::ending::Ending;
use super::options::amounts::{bytes, seconds};
use super::options::mounted::Common;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal_drawn;
use super::terminal::conclusion::present;
use super::terminal::drawing::Drawing;
use crate::job::{Event, Failure, Mounted, soak as job};
use clap::Args;

/// `soak`.
#[derive(Args, Debug)]
pub struct Soak {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to soak
    #[arg(long = "for", value_name = "TIME", default_value = "24h", value_parser = seconds)]
    pub length: f64,
    /// Time from the start of one round to the start of the next: 90s, 5min, 1h
    #[arg(long, value_name = "TIME", default_value = "60s", value_parser = seconds)]
    pub every: f64,
    /// Full cycles of a grip in each round, instead of 2; a throttle body's round is its rest, its stops and a creep
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=200))]
    pub cycles: Option<u32>,
    /// Most that log and traces may take; traces are left out before figures and dropouts ever are
    #[arg(long, value_name = "SIZE", default_value = "500MB", value_parser = bytes)]
    pub disk: u64,
    /// How long a rig that went away is waited for; after it the soak ends and can go on later
    #[arg(long, value_name = "TIME", default_value = "10min", value_parser = seconds)]
    pub patience: f64,
    /// Go on with this soak, with the settings that it was begun with
    #[arg(long, value_name = "RECORD", conflicts_with_all = ["case", "still_plugged"])]
    pub resume: Option<String>,
    /// With --resume: drive nothing more, and judge what there is
    #[arg(long, requires = "resume")]
    pub conclude: bool,
    /// Begin another soak, where an unfinished one on the same part would be gone on with
    #[arg(long, conflicts_with = "resume")]
    pub new: bool,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// Carries out `soak`.
///
/// # Errors
/// [`Failure::Usage`] for settings out of range, a record that is not a soak, or no room; [`Failure::Rig`] when the rig is in use by another
/// program, or went away and did not come back: then the soak can go on later.
pub fn soak(args: &Soak, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if args.resume.is_none() {
        args.common.ask_for_part(surroundings)?;
    }
    let plan = job::Soak {
        mounted: settled(args, surroundings)?,
        hours: args.length / 3600.0,
        every_s: args.every,
        cycles: args.cycles,
        disk: args.disk,
        patience_s: args.patience,
        resume: args.resume.as_deref(),
        conclude: args.conclude,
        new: args.new,
        cautions_read: args.i_have_read_the_cautions,
    };
    let drawing = Drawing::new(surroundings.progress);
    // Hours or days before its end, one wants to know where it is kept.
    let draw = |event: Event| match event {
        Event::RecordBegun(folder) => drawing.say(&format!("Record      {}", folder.display())),
        event => drawing.draw(event),
    };
    let concluded = at_terminal_drawn(surroundings, &drawing, &draw, |outside| job::soak(&plan, outside))?;
    present(concluded, args.common.printed(), surroundings)
}

/// Part and rig; of a soak that goes on without a rig being named, the archive's folder alone.
fn settled<'a>(args: &'a Soak, surroundings: &Surroundings<'a>) -> Result<Mounted<'a>, Failure> {
    match (args.common.settled(surroundings), &args.resume) {
        (Err(_), Some(_)) if args.common.rig.is_none() => {
            let config = surroundings.config()?;
            config.shop().map_err(|e| Failure::Usage(e.into()))?;
            Ok(Mounted {
                rig: "",
                sheet: args.common.sheet.as_deref(),
                part: args.common.part_in_words(),
                case: None,
                still_plugged: args.common.still_plugged,
                archive: args.common.archive.as_deref().or(config.archive.value.as_deref()),
            })
        }
        (settled, _) => settled,
    }
}
