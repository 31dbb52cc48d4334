//! `check-part`: a known part is registered once, swept daily, and its figures are charted: has the rig moved?

use super::clock::date;
use super::ending::Ending;
use super::options::mounted::rig_meant;
use super::surroundings::Surroundings;
use super::terminal::mounting::{ask_to_mount, stopped, sweep_at_terminal, tell_of_torn};
use super::terminal::say::{say, style, write_report};
use crate::gauge::documents::KnownDocument;
use crate::gauge::watch::{LEAST_FIRST, State, watch};
use crate::job::Failure;
use crate::job::sheets::Shelf;
use crate::job::sweep::{Occasion, needs_hands, of_folder, on_occasion};
use crate::link::Address;
use crate::outcome::OutcomeFigure;
use crate::record::study_folder::{KNOWN, StudyFolder, SweepLine};
use crate::report::check_part::check_part as shown;
use crate::report::{Lines, html, terminal};
use crate::verdict::Verdict;
use anyhow::anyhow;
use clap::{Args, Subcommand};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Version of `known.json`.
const KNOWN_SCHEMA: u32 = 1;
/// First sweeps, where no number is given.
const FIRST: u32 = 20;
/// Most of them.
const MOST_FIRST: u32 = 200;

/// `check-part`.
#[derive(Debug, Subcommand)]
pub enum CheckPartCommand {
    /// Register a known part: its first sweeps are what later ones are held against; interrupted, it goes on where it was
    Register(Register),
    /// Sweep the known part once more and chart it: 0 steady, 11 the rig moves, 10 verdicts near a limit are wrong
    Sweep(Sweep),
    /// The charts as they stand; exit code as of sweep
    Chart(Chart),
}

/// `check-part register`.
#[derive(Args, Debug)]
pub struct Register {
    /// Folder of the known part, which is made
    #[arg(value_name = "KNOWN")]
    pub known: PathBuf,
    /// The rig [else: TRACKPAIR_RIG, configuration]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Option<String>,
    /// Part sheet, by name or file [else: the shipped one whose topology the part shows]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// The known part in your words
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub part: String,
    /// First sweeps, the part mounted anew for each; better on several days than in one hour
    #[arg(long, value_name = "N", default_value_t = FIRST, value_parser = clap::value_parser!(u32).range(LEAST_FIRST as i64..=MOST_FIRST as i64))]
    pub sweeps: u32,
    /// At most so many sweeps in this sitting
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub most: Option<u32>,
    /// The part stays mounted for good: it is not mounted anew for each sweep
    #[arg(long)]
    pub stays_mounted: bool,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// `check-part sweep`.
#[derive(Args, Debug)]
pub struct Sweep {
    /// Folder of the known part
    #[arg(value_name = "KNOWN")]
    pub known: PathBuf,
    /// The rig [else: the one that it was registered on]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Option<String>,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
    /// Print the charts as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// `check-part chart`.
#[derive(Args, Debug)]
pub struct Chart {
    /// Folder of the known part
    #[arg(value_name = "KNOWN")]
    pub known: PathBuf,
    /// Also every value with both charts
    #[arg(long)]
    pub details: bool,
    /// Write the charts, with their details, to this HTML file
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print the charts as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// What a known part is: `known.json`.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Known {
    schema: u32,
    /// When it was registered, RFC 3339.
    registered: String,
    /// In the user's words.
    part: String,
    /// Address of the rig.
    rig: String,
    /// Part sheet, by name or file; null where the lines show which.
    sheet: Option<String>,
    /// First sweeps.
    first: usize,
    /// Whether it stays mounted.
    stays_mounted: bool,
}

/// Carries out `check-part`.
///
/// # Errors
/// As the commands' own.
pub fn check_part(command: &CheckPartCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        CheckPartCommand::Register(args) => register(args, surroundings),
        CheckPartCommand::Sweep(args) => sweep(args, surroundings),
        CheckPartCommand::Chart(args) => chart(args, surroundings),
    }
}

/// Begins, or goes on with, a registration.
///
/// # Errors
/// [`Failure::Usage`] when the part is registered already; [`Failure::Rig`] when a sweep was cut short or nobody mounted the part.
fn register(args: &Register, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let (mut folder, known) = if args.known.join(KNOWN.head).exists() {
        StudyFolder::open::<Known>(&args.known, KNOWN).map_err(of_folder)?
    } else {
        begin(args, surroundings)?
    };
    tell_of_torn(&folder);
    let done = counted(folder.sweeps()).len();
    if done >= known.first {
        return Err(Failure::Usage(anyhow!(
            "the known part in {} is registered, with {} sweeps: `trackpair check-part sweep` goes on with it; to begin anew, give another folder",
            args.known.display(),
            known.first
        )));
    }
    if done > 0 {
        eprintln!(
            "{done} of {} first sweeps are done: going on, with the settings that it was begun with",
            known.first
        );
    }
    let shelf = Shelf::new(known.sheet.as_deref())?;
    let now = args.most.map_or(known.first - done, |most| (known.first - done).min(most as usize));
    for number in done + 1..=done + now {
        let what = format!("sweep {number} of {}", known.first);
        one_sweep(
            &mut folder,
            &known,
            &known.rig,
            &what,
            args.i_have_read_the_cautions,
            &shelf,
            surroundings,
        )?;
        eprintln!("{what} kept");
    }
    let name = args.known.display();
    match known.first - done - now {
        0 => eprintln!("registered: sweep it daily with `trackpair check-part sweep {name}`"),
        left => eprintln!("{left} first sweeps are left: `trackpair check-part register {name}` goes on"),
    }
    Ok(Ending::Done)
}

fn begin(args: &Register, surroundings: &Surroundings<'_>) -> Result<(StudyFolder, Known), Failure> {
    let rig = rig_meant(args.rig.as_deref(), surroundings)?;
    Address::parse(rig).map_err(|e| Failure::Usage(e.into()))?;
    Shelf::new(args.sheet.as_deref())?;
    let known = Known {
        schema: KNOWN_SCHEMA,
        registered: date(),
        part: args.part.clone(),
        rig: rig.to_owned(),
        sheet: args.sheet.clone(),
        first: args.sweeps as usize,
        stays_mounted: args.stays_mounted,
    };
    let folder = StudyFolder::begin(&args.known, KNOWN, &known).map_err(of_folder)?;
    Ok((folder, known))
}

/// One more sweep, and where it leads.
///
/// # Errors
/// [`Failure::Usage`] before the registration is whole; [`Failure::Rig`] when the sweep was cut short or nobody mounted the part.
fn sweep(args: &Sweep, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let (mut folder, known) = StudyFolder::open::<Known>(&args.known, KNOWN).map_err(of_folder)?;
    tell_of_torn(&folder);
    check_registered(&known, folder.sweeps(), &args.known)?;
    let shelf = Shelf::new(known.sheet.as_deref())?;
    let rig = args.rig.as_deref().unwrap_or(&known.rig);
    one_sweep(&mut folder, &known, rig, "daily sweep", args.i_have_read_the_cautions, &shelf, surroundings)?;
    let document = document(&known, folder.sweeps());
    let view = shown(&document, lines(folder.sweeps()), false);
    say(&terminal(&view, style(surroundings)), &document, args.json);
    Ok(ending(document.state))
}

/// The charts as they stand.
///
/// # Errors
/// [`Failure::Usage`] before the registration is whole; [`Failure::Other`] when the report can't be written.
fn chart(args: &Chart, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let (known, sweeps) = StudyFolder::read::<Known>(&args.known, KNOWN).map_err(of_folder)?;
    check_registered(&known, &sweeps, &args.known)?;
    let document = document(&known, &sweeps);
    let view = |details| shown(&document, lines(&sweeps), details);
    let reported =
        args.report.as_deref().map_or(Ok(()), |file| write_report(html(&view(true)).as_bytes(), file));
    say(&terminal(&view(args.details), style(surroundings)), &document, args.json);
    reported?;
    Ok(ending(document.state))
}

fn check_registered(known: &Known, sweeps: &[SweepLine], folder: &Path) -> Result<(), Failure> {
    let done = counted(sweeps).len();
    if done >= known.first {
        return Ok(());
    }
    Err(Failure::Usage(anyhow!(
        "{done} of {} first sweeps are done: `trackpair check-part register {}` goes on",
        known.first,
        folder.display()
    )))
}

fn one_sweep(
    folder: &mut StudyFolder,
    known: &Known,
    rig: &str,
    what: &str,
    cautions_read: bool,
    shelf: &Shelf,
    surroundings: &Surroundings<'_>,
) -> Result<(), Failure> {
    if surroundings.stop.is_cancelled() {
        return Err(stopped());
    }
    let before = counted(folder.sweeps()).len();
    if needs_hands(rig) && (!known.stays_mounted || before == 0) {
        ask_to_mount(&format!("{what}: mount the known part anew, as in the days before"), surroundings)?;
    }
    let mounting = if known.stays_mounted { 1 } else { before + 1 };
    let rig = on_occasion(rig, &[("mounting", mounting as u64), ("sweep", before as u64 + 1)]);
    let label = if known.part.is_empty() { "known part" } else { &known.part };
    let occasion =
        Occasion { rig: &rig, label, part: &known.part, mounting, repeat: before + 1, cautions_read };
    sweep_at_terminal(folder, occasion, shelf, surroundings)
}

/// Sweeps that were not cut short, in their order.
fn counted(sweeps: &[SweepLine]) -> Vec<&SweepLine> {
    sweeps.iter().filter(|s| s.failure.is_none()).collect()
}

fn document(known: &Known, sweeps: &[SweepLine]) -> KnownDocument {
    let counted = counted(sweeps);
    let figures: Vec<&[OutcomeFigure]> = counted.iter().map(|s| s.figures.as_slice()).collect();
    let watch = watch(&figures, known.first);
    let distinct = |of: &dyn Fn(&SweepLine) -> Option<String>| {
        counted.iter().filter_map(|s| of(s)).collect::<BTreeSet<String>>().into_iter().collect()
    };
    KnownDocument {
        schema: 1,
        document: "check_part",
        part: known.part.clone(),
        state: watch.state(),
        first: known.first,
        sweeps: counted.iter().map(|s| s.date.clone()).collect(),
        simulated: counted.iter().any(|s| s.simulated),
        rigs: distinct(&|s| s.rig.clone()),
        sheets: distinct(&|s| Some(s.sheet.clone())),
        analyses: distinct(&|s| Some(s.analysis.clone())),
        figures: watch.figures,
        left_out: watch.left_out,
    }
}

fn lines(sweeps: &[SweepLine]) -> Lines {
    sweeps.last().map(|s| Lines::of_topology(&s.topology)).unwrap_or_default()
}

/// A state as the ending of a command: steady is as within, a rig that moves as undecided, one that misjudges as outside.
const fn ending(state: State) -> Ending {
    Ending::Judged(match state {
        State::Steady => Verdict::Within,
        State::Moves => Verdict::Undecided,
        State::Misjudges => Verdict::Outside,
    })
}
