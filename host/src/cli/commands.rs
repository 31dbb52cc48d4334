//! What was typed, and which command it is carried out by. What it means is decided in the commands' own files.

use super::body::{self, GuidedPush, ToothMap};
use super::case::{self, CaseCommand};
use super::certificate::{self, Certificate};
use super::check_part::{self, CheckPartCommand};
use super::check_setup::{self, CheckSetup};
use super::compare::{self, Compare};
use super::ending::Ending;
use super::explain::{self, Explain};
use super::flex::{self, Flex, WarmUp};
use super::follow;
use super::gauge::{self, GaugeCommand};
use super::judge::{self, Judge};
use super::key::{self, KeyCommand};
use super::logging::Logging;
use super::matings::{self, Matings};
use super::options::driven::BodyProcedure;
use super::population::{self, PopulationCommand};
use super::published::{self, Schema};
use super::qualify::{self, HandSweep, OneProcedure, Qualify};
use super::records::{self, RecordsCommand};
use super::rejudge::{self, Rejudge};
use super::rigs::{self, Rigs};
use super::settings::{self, ConfigCommand};
use super::sheet::{self, Sheet};
use super::shell::{self, Completions, Man};
use super::soak::{self, Soak};
use super::surroundings::Surroundings;
use super::vehicle_check::{self, VehicleCheckCommand};
use super::verify::{self, Verify};
use crate::job::Failure;
use crate::quantity::ProcedureKind;
use clap::{CommandFactory, Parser, Subcommand};

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

/// Carries out what was typed.
///
/// # Errors
/// [`Failure`] when nothing could be judged; it says why and what to do.
pub fn run(arguments: &Arguments, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match &arguments.command {
        Command::Qualify(args) => qualify::qualify(args, surroundings),
        Command::SelfCheck(args) => qualify::self_check(args, surroundings),
        Command::LeadsCheck(args) => qualify::leads_check(args, surroundings),
        Command::HandSweep(args) => qualify::hand_sweep(args, surroundings),
        Command::Flex(args) => flex::flex(args, surroundings),
        Command::WarmUp(args) => flex::warm_up(args, surroundings),
        Command::Soak(args) => soak::soak(args, surroundings),
        Command::Rest(args) => body::one_procedure(ProcedureKind::Rest, args, surroundings),
        Command::Step(args) => body::one_procedure(ProcedureKind::Step, args, surroundings),
        Command::Release(args) => body::one_procedure(ProcedureKind::Release, args, surroundings),
        Command::Creep(args) => body::one_procedure(ProcedureKind::Creep, args, surroundings),
        Command::Lash(args) => body::one_procedure(ProcedureKind::Lash, args, surroundings),
        Command::ToothMap(args) => body::tooth_map(args, surroundings),
        Command::Blip(args) => body::one_procedure(ProcedureKind::Blip, args, surroundings),
        Command::GuidedPush(args) => body::guided_push(args, surroundings),
        Command::Follow(args) => follow::follow(args, surroundings),
        Command::Judge(args) => judge::judge(args, surroundings),
        Command::Case(command) => case::case(command, surroundings),
        Command::VehicleCheck(command) => vehicle_check::vehicle_check(command, surroundings),
        Command::Matings(args) => matings::matings(args, surroundings),
        Command::Compare(args) => compare::compare(args, surroundings),
        Command::Explain(args) => explain::explain(args, surroundings),
        Command::Population(command) => population::population(command, surroundings),
        Command::Rejudge(args) => rejudge::rejudge(args, surroundings),
        Command::Gauge(command) => gauge::gauge(command, surroundings),
        Command::CheckPart(command) => check_part::check_part(command, surroundings),
        Command::Records(command) => records::records(command, surroundings),
        Command::Certificate(args) => certificate::certificate_again(args, surroundings),
        Command::Verify(args) => verify::verify(args, surroundings),
        Command::Key(command) => key::key(command, surroundings),
        Command::Sheet(args) => sheet::sheet(args, surroundings),
        Command::Rigs(args) => rigs::rigs(args, surroundings),
        Command::CheckSetup(args) => check_setup::check_setup(args, surroundings),
        Command::Config(command) => settings::config(command, surroundings),
        Command::Schema(args) => published::schema(args),
        Command::Completions(args) => shell::completions(args, Arguments::command()),
        Command::Man(args) => shell::man(args, Arguments::command()),
    }
}
