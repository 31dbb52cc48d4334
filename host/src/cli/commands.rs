//! What was typed, and which command it is carried out by. What it means is decided in the commands' own files.

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
use super::procedure::{self, ProcedureCommand};
use super::published::{self, Schema};
use super::qualify::{self, Qualify};
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
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

/// What stands below every list of commands.
const EXIT_CODES: &str = "Exit codes: 0 within · 10 outside · 11 undecided · 12 altered or missing
            20 rig fault or stopped · 2 usage · 1 anything else";

/// Help is set no wider than this, columns: longer lines are hard to read.
const WIDEST_HELP: usize = 100;

/// Commands as a newcomer looks for them. Each has its place in one group.
const GROUPS: [(&str, &[&str]); 6] = [
    ("On the bench", &["qualify", "procedure", "flex", "warm-up", "soak", "follow"]),
    ("At the vehicle", &["vehicle-check"]),
    ("Cases", &["case", "matings"]),
    ("Records", &["records", "judge", "rejudge", "compare", "explain", "certificate", "verify"]),
    ("Your rig and your kind of parts", &["check-part", "gauge", "population", "sheet"]),
    ("This machine", &["check-setup", "rigs", "key", "config", "schema", "completions", "man"]),
];

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

impl Arguments {
    /// The commands and options, with a help that shows the commands in groups.
    pub fn grouped() -> clap::Command {
        let command = <Self as CommandFactory>::command();
        let groups = GROUPS.map(|(heading, names)| group(&command, heading, names)).concat();
        let template = format!(
            "{{about}}\n\n{{usage-heading}} {{usage}}\n\n{groups}`trackpair COMMAND --help` explains a command.\n\nOptions:\n{{options}}{{after-help}}"
        );
        command.help_template(template).max_term_width(WIDEST_HELP)
    }

    /// What was typed; ends the program where it asks for help, or can't be understood.
    pub fn typed() -> Self {
        let matches = Self::grouped().get_matches();
        <Self as FromArgMatches>::from_arg_matches(&matches).unwrap_or_else(|error| error.exit())
    }
}

/// A group's heading, and its commands with what each is for.
fn group(command: &clap::Command, heading: &str, names: &[&str]) -> String {
    let line = |name: &&str| {
        let about = command.find_subcommand(name).and_then(clap::Command::get_about);
        format!("  {name:<14} {}\n", about.map(ToString::to_string).unwrap_or_default())
    };
    format!("{heading}:\n{}\n", names.iter().map(line).collect::<String>())
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the whole plan on a part, judge it, report it
    ///
    /// A grip: self-check, sweep, release, leads check. A throttle body: rest and stops, leads check, creep, steps, release, lash, tooth map, blips.
    Qualify(Qualify),
    /// Run one procedure alone, such as self-check or lash
    #[command(subcommand)]
    Procedure(ProcedureCommand),
    /// Catch dropouts while the pigtail is flexed by hand
    ///
    /// Each loss of contact is cued with a bell, place by place. It ends on Enter, on Ctrl-C, or when its time is over.
    Flex(Flex),
    /// Catch dropouts while the part grows warm
    WarmUp(WarmUp),
    /// Cycle a part for hours or days; drift and dropouts
    ///
    /// One program at a time may have a rig: while one is soaked, other commands on it end with exit code 20 and say who has it. A rig that
    /// does not come back, or a fault of it, ends with 20 as well; what was acknowledged is kept, and --resume goes on. Killed or unplugged, a
    /// soak goes on where it was.
    Soak(Soak),
    /// Grip and throttle body together: the plate follows
    ///
    /// The rig is the controller: latency from grip to plate, deviation, limp-home trips.
    Follow(BodyProcedure),
    /// Judge a stored trace, a record, or a logger's CSV
    Judge(Judge),
    /// Judge records again; what differs is listed
    ///
    /// Works on all cores. Each gets a new outcome beside the old one.
    Rejudge(Rejudge),
    /// From the complaint to what was done about it
    ///
    /// Complaint, checks at the vehicle, records of the bench, suspects, repair.
    #[command(subcommand)]
    Case(CaseCommand),
    /// Check the wiring before a part is pulled
    ///
    /// A form to fill in at the vehicle; its readings are judged line by line.
    #[command(subcommand)]
    VehicleCheck(VehicleCheckCommand),
    /// How often connectors were plugged in, and may be
    Matings(Matings),
    /// Compare records: before and after, a series, a kind
    ///
    /// One part before and after, a series over time, or one part with others of its kind.
    Compare(Compare),
    /// What a figure is, and where its uncertainty comes from
    ///
    /// Definition, source, algorithm, and the uncertainty source by source.
    Explain(Explain),
    /// Your own good parts: what is usual for their kind
    ///
    /// Bodies that worn teeth are distinguished from; limits that good parts would give.
    #[command(subcommand)]
    Population(PopulationCommand),
    /// How much of a figure is the rig's own scatter
    ///
    /// Parts are mounted and swept again and again in blind order.
    #[command(subcommand)]
    Gauge(GaugeCommand),
    /// A known part, swept daily: has the rig drifted?
    ///
    /// Exit codes: 0 steady · 11 the rig moves · 10 verdicts near a limit are wrong.
    #[command(subcommand)]
    CheckPart(CheckPartCommand),
    /// The archive: list, show, export, bundle, verify
    #[command(subcommand)]
    Records(RecordsCommand),
    /// Make a record's certificate again
    ///
    /// On other paper, or with the shop as it is configured now.
    Certificate(Certificate),
    /// Check a report, certificate, bundle or printed code
    ///
    /// It needs nothing but the file and the shop's public key.
    Verify(Verify),
    /// The key that seals your records and reports
    #[command(subcommand)]
    Key(KeyCommand),
    /// Part sheets: kinds of part and their limits
    #[command(subcommand)]
    Sheet(Sheet),
    /// List ports and the rigs that answer; test a rig's link
    Rigs(Rigs),
    /// Is this machine ready, and if not, what is missing?
    ///
    /// Ports, archive, disk, key, clock, configuration.
    CheckSetup(CheckSetup),
    /// What is configured, and where it came from
    #[command(subcommand)]
    Config(ConfigCommand),
    /// JSON Schemas of what --json prints
    Schema(Schema),
    /// Completions for a shell
    Completions(Completions),
    /// Manual pages, one per command
    Man(Man),
}

/// Carries out what was typed.
///
/// # Errors
/// [`Failure`] when nothing could be judged; it says why and what to do.
pub fn run(arguments: &Arguments, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match &arguments.command {
        Command::Qualify(args) => qualify::qualify(args, surroundings),
        Command::Procedure(command) => procedure::procedure(command, surroundings),
        Command::Flex(args) => flex::flex(args, surroundings),
        Command::WarmUp(args) => flex::warm_up(args, surroundings),
        Command::Soak(args) => soak::soak(args, surroundings),
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
        Command::Completions(args) => shell::completions(args, Arguments::grouped()),
        Command::Man(args) => shell::man(args, Arguments::grouped()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A terminal's width.
    const COLUMNS: usize = 80;

    #[test]
    fn every_command_has_its_place_in_one_group() {
        let command = Arguments::grouped();
        let mut all: Vec<&str> = command.get_subcommands().map(clap::Command::get_name).collect();
        let mut grouped: Vec<&str> = GROUPS.iter().flat_map(|(_, names)| *names).copied().collect();
        all.sort_unstable();
        grouped.sort_unstable();
        assert_eq!(grouped, all);
    }

    #[test]
    fn the_list_of_commands_fits_a_terminal_and_so_does_every_line_of_it() {
        let help = Arguments::grouped().term_width(COLUMNS).render_help().to_string();
        for line in help.lines() {
            assert!(line.chars().count() <= COLUMNS, "{line}");
        }
        assert!(help.lines().count() <= 60, "{help}");
    }
}
