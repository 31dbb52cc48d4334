//! What was typed. What it means is decided in the commands' own files.

use super::case::{CaseCommand, InCase};
use super::certificate::Certificate;
use super::check_part::CheckPartCommand;
use super::check_setup::CheckSetup;
use super::compare::Compare;
use super::config::ConfigCommand;
use super::explain::Explain;
use super::flex::{Flex, WarmUp};
use super::gauge::GaugeCommand;
use super::limits::ProposeLimits;
use super::logging::Logging;
use super::matings::Matings;
use super::published::Schema;
use super::records::{RecordsCommand, Where};
use super::rejudge::Rejudge;
use super::shell::{Completions, Man};
use super::soak::Soak;
use super::vehicle_check::VehicleCheckCommand;
use super::verify::Verify;
use crate::verdict::MOST_MORE_SWEEPS;
use clap::{Args, Parser, Subcommand};
use std::cell::OnceCell;
use std::path::PathBuf;

const EXIT_CODES: &str = "Exit codes: 0 within · 10 outside · 11 undecided · 12 altered or missing · 20 rig fault or aborted · 2 usage · 1 other";

/// Judge a removed throttle-by-wire part on the bench.
#[derive(Debug, Parser)]
#[command(name = "trackpair", version, after_help = EXIT_CODES)]
pub struct Arguments {
    /// What is logged.
    #[command(flatten)]
    pub logging: Logging,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the whole plan on a part; judge it, keep the record, write the report
    ///
    /// A grip: self-check, sweep, leads check. A throttle body: rest and stops, leads check, creep, steps, release, lash, tooth map, blips.
    Qualify(Qualify),
    /// Supply, noise floor, reference and stops: is rig and part ready?
    SelfCheck(OneProcedure),
    /// Step the supply and load the lines: which lead is bad?
    LeadsCheck(BodyProcedure),
    /// Record and judge a part that is turned by hand, without a drive
    HandSweep(HandSweep),
    /// Wait for dropouts while the pigtail is flexed, place by place: each is cued; ends on Enter, Ctrl-C or time
    Flex(Flex),
    /// Wait for dropouts while the part grows warm: each with its temperature
    WarmUp(WarmUp),
    /// Cycle a part for hours or days: figures and dropouts over time, drift; killed or unplugged, it goes on where it was
    ///
    /// One program at a time may have a rig: while one is soaked, other commands on it end with exit code 20 and say who has it. A rig that
    /// does not come back, or a fault of it, ends with 20 as well; what was acknowledged is kept, and --resume goes on.
    Soak(Soak),
    /// Throttle body: where the plate rests and where it stops
    Rest(BodyProcedure),
    /// Throttle body: steps of voltage and setpoint: latency, rise, overshoot, settling
    Step(BodyProcedure),
    /// Throttle body: let go from several openings: time to rest
    Release(BodyProcedure),
    /// Throttle body: slow ramps: springs, friction, sticking, feedback lines
    Creep(BodyProcedure),
    /// Throttle body: free travel of the gears at rest
    Lash(BodyProcedure),
    /// Throttle body: motion lost along the travel: worn, broken, missing teeth
    ToothMap(ToothMap),
    /// Throttle body: snap openings, with a short check before and after
    Blip(BodyProcedure),
    /// Throttle body: lash at any place, the plate moved by a soft probe through the bore; ends on Enter, Ctrl-C or time
    GuidedPush(GuidedPush),
    /// Grip and throttle body together, the rig as controller: grip to plate latency, deviation, limp-home trips
    Follow(BodyProcedure),
    /// Judge a stored trace (Parquet), a record folder, or another logger's CSV
    Judge(Judge),
    /// Judge records of the archive again, on all cores: a new outcome beside the old, differences listed
    Rejudge(Rejudge),
    /// From a complaint to what was done about it: complaint, checks at the vehicle, records of the bench, causes
    #[command(subcommand)]
    Case(CaseCommand),
    /// Checks at the vehicle before a part is pulled: a form to fill in, its readings judged line by line
    #[command(subcommand)]
    VehicleCheck(VehicleCheckCommand),
    /// How often connectors were plugged in, and how many matings they bear
    Matings(Matings),
    /// Compare records: one part before and after, a series, or a part among the population of its kind
    Compare(Compare),
    /// What a figure of a record is: definition, source, algorithm, and its uncertainty source by source
    Explain(Explain),
    /// Good parts of your own: bodies among which worn teeth are searched for; limits that good parts would give
    #[command(subcommand)]
    Population(PopulationCommand),
    /// How good the rig is: parts mounted and swept again and again in blind order, what of their figures is the rig's own scatter
    #[command(subcommand)]
    Gauge(GaugeCommand),
    /// A known part, swept daily: whether the rig moves, before verdicts are wrong
    ///
    /// Exit codes: 0 steady · 11 the rig moves · 10 verdicts near a limit are wrong.
    #[command(subcommand)]
    CheckPart(CheckPartCommand),
    /// The archive: what is in it, and whether it still is what was kept
    #[command(subcommand)]
    Records(RecordsCommand),
    /// Make a stored record's certificate anew, on other paper or with the shop as it is configured now
    Certificate(Certificate),
    /// Check a report, certificate, bundle or printed code by itself, with the shop's public key
    Verify(Verify),
    /// The shop's key, with which records and reports are sealed
    #[command(subcommand)]
    Key(KeyCommand),
    /// Part sheets: what a kind of part is and the limits it must keep
    #[command(subcommand)]
    Sheet(Sheet),
    /// List ports and who answers there
    Rigs(Rigs),
    /// Ports, archive, key, clock, configuration: is this machine ready, and if not, what is to be done?
    CheckSetup(CheckSetup),
    /// What is configured and where it came from
    #[command(subcommand)]
    Config(ConfigCommand),
    /// The published shapes of what --json prints (JSON Schema 2020-12)
    Schema(Schema),
    /// Print the completions for a shell
    Completions(Completions),
    /// Write the manual pages, one per command
    Man(Man),
}

/// Which rig, which part, where to keep the record.
#[derive(Args, Debug)]
pub struct Common {
    /// Rig address: serial:PATH[?baud=N], tcp:HOST:PORT, sim:PART[?seed=N] or sim:FILE.toml [else: TRACKPAIR_RIG, configuration]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Option<String>,
    /// Part sheet, by name or file [else: TRACKPAIR_SHEET, configuration, the shipped sheet whose topology the part shows]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// The part in your words: number, serial, where it came from
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub part: String,
    /// The case that the record belongs to, by its name or a part of it; without --part, its one part is meant
    #[arg(long, value_name = "CASE")]
    pub case: Option<String>,
    /// The part has been left plugged in since the last session: no mating is counted
    #[arg(long)]
    pub still_plugged: bool,
    /// Folder that keeps the records [else: TRACKPAIR_ARCHIVE, configuration, the platform's place for data]
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Print outcome.json on stdout, everything else on stderr
    #[arg(long)]
    pub json: bool,
    /// What the case says, once it was looked up.
    #[arg(skip)]
    pub in_case: OnceCell<InCase>,
}

/// `qualify`.
#[derive(Args, Debug)]
pub struct Qualify {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// Full cycles, instead of the sheet's
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=200))]
    pub cycles: Option<u32>,
    /// Speed in degrees per second, instead of the sheet's
    #[arg(long, value_name = "DEG_S")]
    pub speed: Option<f64>,
    /// Scans per second, instead of the sheet's
    #[arg(long, value_name = "HZ")]
    pub rate: Option<u32>,
    /// A grip that is undecided is swept again as its verdict advises, so often at most [1]; within and outside then need more than 95 %
    #[arg(long, value_name = "SWEEPS", num_args = 0..=1, require_equals = true, default_missing_value = "1", value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_MORE_SWEEPS)))]
    pub settle: Option<u32>,
    /// Leave the leads check out
    #[arg(long)]
    pub skip_leads: bool,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
    /// Good bodies among which a throttle body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
}

/// A single procedure of a throttle body.
#[derive(Args, Debug)]
pub struct BodyProcedure {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// `tooth-map`.
#[derive(Args, Debug)]
pub struct ToothMap {
    /// Rig, part, record, cautions.
    #[command(flatten)]
    pub procedure: BodyProcedure,
    /// Good bodies among which the body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
}

/// `guided-push`.
#[derive(Args, Debug)]
pub struct GuidedPush {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long, value_name = "S", default_value_t = 60.0)]
    pub seconds: f64,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// A single procedure.
#[derive(Args, Debug)]
pub struct OneProcedure {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
}

/// `hand-sweep`.
#[derive(Args, Debug)]
pub struct HandSweep {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long, value_name = "S", default_value_t = 30.0)]
    pub seconds: f64,
    /// Turn the grip without the rig's reference coupled: lines are compared with each other only
    #[arg(long)]
    pub no_reference: bool,
}

/// `judge`.
#[derive(Args, Debug)]
pub struct Judge {
    /// A .parquet trace, a record folder, or a CSV file
    pub path: PathBuf,
    /// Part sheet, by name or file [else: TRACKPAIR_SHEET, configuration, the shipped sheet whose topology the data show]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Columns of a CSV: reference=COL,rising=COL,falling=COL,supply=COL,time=COL; COL is a header name or a 1-based number
    #[arg(long, value_name = "MAP")]
    pub map: Option<String>,
    /// Sensor supply in volts, where none was logged
    #[arg(long, value_name = "VOLTS")]
    pub supply: Option<f64>,
    /// Scans per second, where no time was logged
    #[arg(long, value_name = "HZ")]
    pub rate: Option<f64>,
    /// Unit of the time column, where its header does not say: s, ms, us or ns
    #[arg(long, value_name = "UNIT")]
    pub time_unit: Option<String>,
    /// Good bodies among which a throttle body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
    /// The part in your words
    #[arg(long, value_name = "TEXT")]
    pub part: Option<String>,
    /// Keep the judgement as a record in the archive: TRACKPAIR_ARCHIVE, configuration, the platform's place for data
    #[arg(long)]
    pub keep: bool,
    /// Keep the judgement as a record in this folder
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Write the report to this file
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print outcome.json on stdout
    #[arg(long)]
    pub json: bool,
}

/// `population`.
#[derive(Debug, Subcommand)]
pub enum PopulationCommand {
    /// Learn from the records of good bodies, 20 at least, how the lost motion of their gears varies
    Learn(LearnPopulation),
    /// Propose limits from good parts of one kind, 10 at least: normal tolerance bounds
    Limits(ProposeLimits),
    /// Where a population came from, and which wear can be seen among it
    Show {
        /// A file that `population learn` wrote, or the word shipped
        #[arg(value_name = "FILE|shipped")]
        file: PathBuf,
        /// Print it as JSON
        #[arg(long)]
        json: bool,
    },
}

/// `population learn`.
#[derive(Args, Debug)]
pub struct LearnPopulation {
    /// Part sheet of the bodies, by name or file; its name is their kind
    #[arg(long, value_name = "NAME|FILE")]
    pub kind: String,
    /// Where the population is written
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Record folders, one per body, each with a tooth map
    #[arg(required = true, value_name = "RECORD_FOLDER")]
    pub records: Vec<PathBuf>,
}

/// `key`.
#[derive(Debug, Subcommand)]
pub enum KeyCommand {
    /// Where it lies, and its public key
    Show,
    /// The public key as PEM, for those who check reports; with --private the key itself, for a safe place
    Export {
        /// Write it to this file, which is not there yet
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// The private key: whoever has it can seal in the shop's name
        #[arg(long)]
        private: bool,
    },
    /// Take an exported private key as the shop's; one that is there is never overwritten
    Import {
        /// The exported file
        from: PathBuf,
    },
}

/// `sheet`.
#[derive(Debug, Subcommand)]
pub enum Sheet {
    /// Names and titles of the shipped sheets
    List {
        /// Print them as JSON
        #[arg(long)]
        json: bool,
    },
    /// Check a sheet file: keys, units, limits, sources
    Check {
        /// The file
        file: PathBuf,
        /// Print what it holds, or where its mistake is, as JSON
        #[arg(long)]
        json: bool,
    },
    /// Print a sheet, ready to copy and change, and what its limits risk: consumer's and producer's risk
    Show(SheetShow),
}

/// `sheet show`.
#[derive(Args, Debug)]
pub struct SheetShow {
    /// Its name, or a file
    #[arg(value_name = "NAME|FILE")]
    pub name: String,
    /// Records of parts as they came in, 10 at least: risks for their spread and for how well they were measured; names, folders, or an archive
    #[arg(long, value_name = "DIR|RECORD", num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// Where records are looked up by name.
    #[command(flatten)]
    pub place: Where,
    /// Print the risks as JSON, without the sheet
    #[arg(long)]
    pub json: bool,
}

/// `rigs`.
#[derive(Args, Debug)]
pub struct Rigs {
    /// Ask this address too (or only it, with --ping); may be given more than once [else: TRACKPAIR_RIG, configuration]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Vec<String>,
    /// Send N clock pings and print the round-trip histogram
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub ping: Option<u32>,
    /// Ask the rig at this address point by point whether it keeps the protocol: without a part, nothing is driven
    #[arg(long, value_name = "ADDRESS", conflicts_with_all = ["rig", "ping"])]
    pub conform: Option<String>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}
