//! What was typed, what it means, what is printed. The one layer of the library that reads the clock and prints.
//!
//! - [`Arguments`]: what was typed.
//! - [`Config`]: what environment and configuration file set; `settled`: what is meant by all of it.
//! - `sheets`: which sheet is meant.
//! - `progress`: how far it is, on stderr.
//! - `bench_work`: a session with a rig, the procedures asked for, every trace kept as soon as it exists.
//! - `conclude`: traces → analysis → verdict → outcome → record and report → what is printed.
//! - `settling`: an undecided grip swept again, and which of several sweeps counts.
//! - `cautions`: shown, and to be accepted, before a throttle body is driven.
//! - `key`: the shop's key, with which records are sealed.
//! - `document`, `published`: what `--json` prints, and its published shapes.
//! - `stored`: stored outcomes by what was typed.
//! - `measuring`: one sweep of a part that is mounted, for `gauge` and `check_part`.
//! - `rig_lock`: one program at a time on a rig.
//! - one file per command: `qualify` (and a grip's single procedures), `body` (a throttle body's), `follow` (both together), `flex` (and warm-up), `soak`, `case`, `vehicle_check`, `matings`, `judge`, `compare`, `explain`, `rejudge`,
//!   `population`, `limits`, `gauge`, `check_part`, `records`, `certificate`, `verify`, `sheet`, `rigs`, `check_setup`, `config`, `shell` (completions, manual pages).

mod answers;
mod args;
mod aside;
mod bench_work;
mod body;
mod case;
mod cautions;
mod certificate;
mod check_part;
mod check_setup;
mod compare;
mod conclude;
mod config;
mod document;
mod ending;
mod explain;
mod flex;
mod follow;
mod gauge;
mod judge;
mod key;
mod limits;
mod logging;
mod matings;
mod measuring;
mod population;
mod population_shown;
mod progress;
mod published;
mod qualify;
mod records;
mod rejudge;
mod rig_lock;
mod rigs;
mod settled;
mod settling;
mod sheet;
mod sheets;
mod shell;
mod soak;
mod stored;
mod vehicle_check;
mod verify;

pub use args::{Arguments, Command};
pub use aside::all_said;
pub use config::{Config, ConfigError};
pub use ending::{Ending, Failure};
pub use logging::{Log, Logging};
pub use published::{PUBLISHED, Published};

use crate::link::{Link, LinkError};
use crate::report::{Paper, Shop};
use crate::trace::ProcedureKind;
use tokio_util::sync::CancellationToken;

/// Opens the simulated rig that stands behind `sim:`.
pub type OpenSimulator<'a> = &'a dyn Fn(&str) -> Result<Box<dyn Link>, LinkError>;

/// What the program gives to its commands.
#[derive(Clone, Copy)]
pub struct Surroundings<'a> {
    /// Opens a simulated rig: what stands behind `sim:`.
    pub open_simulator: OpenSimulator<'a>,
    /// What environment and configuration file set, or why they can't be used.
    pub config: &'a Result<Config, ConfigError>,
    /// Set by Ctrl-C.
    pub stop: &'a CancellationToken,
    /// Whether stdout takes colour.
    pub colour: bool,
    /// Whether stderr is a terminal that a progress bar can be drawn on.
    pub progress: bool,
}

impl<'a> Surroundings<'a> {
    /// What is configured.
    ///
    /// # Errors
    /// [`Failure::Usage`] when it can't be used.
    pub fn config(&self) -> Result<&'a Config, Failure> {
        self.config.as_ref().map_err(|e| Failure::Usage(e.clone().into()))
    }

    /// The paper of reports; that of the configuration, where it can be used.
    fn paper(&self) -> Paper {
        self.config.as_ref().map(|config| config.paper.value).unwrap_or_default()
    }

    /// The shop that hands reports over; none when nothing is configured. `settled` and `judge` made sure that it can be used.
    fn shop(&self) -> Option<Shop> {
        let shop = self.config.as_ref().ok().and_then(|config| config.shop().ok()).flatten()?;
        if let Err(error) = shop.check_logo() {
            aside::aside(format!("trackpair: documents are made without the shop's logo: {error}"));
        }
        Some(shop)
    }
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
        Command::Config(command) => config::config(command, surroundings),
        Command::Schema(args) => published::schema(args),
        Command::Completions(args) => shell::completions(args),
        Command::Man(args) => shell::man(args),
    }
}

/// Now, RFC 3339 with the local offset.
fn date() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}
