//! What was typed, what it means, what is printed. The one layer of the library that reads the clock and prints.
//!
//! - [`Arguments`]: what was typed; `commands`: which command that is. Each command has a file or folder of its own, with its options; what is done
//!   with a rig or to many records is a job (`crate::job`), which a command starts and draws.
//! - `options`: what may be typed with many commands, and what it means.
//! - `terminal`: questions, answers, results, progress.
//! - [`Config`]: what environment and configuration file set; [`Surroundings`]: what the program gives to its commands; `clock`: this computer's.
//! - `filing`, `sealing`: entries into cases, and the key, for commands that write without a job.
//! - [`Ending`], [`code_of`]: how a command ended, as an exit code; [`Logging`]: what is logged beside it.
//!
//! A command imports no other command, and no file here imports, over whatever way, itself (a test reads the `use` lines and keeps that).

mod case;
mod certificate;
mod check_part;
mod check_setup;
mod clock;
mod commands;
mod compare;
mod config;
mod ending;
mod explain;
mod filing;
mod flex;
mod follow;
mod gauge;
mod judge;
mod key;
mod logging;
mod matings;
mod options;
mod population;
mod procedure;
mod published;
mod qualify;
mod records;
mod rejudge;
mod rigs;
mod sealing;
mod settings;
mod sheet;
mod shell;
mod soak;
mod surroundings;
mod terminal;
mod vehicle_check;
mod verify;

pub use commands::{Arguments, Command, run};
pub use config::{Config, ConfigError};
pub use ending::{Ending, code_of};
pub use logging::{Log, Logging};
pub use published::{PUBLISHED, Published};
pub use surroundings::Surroundings;
pub use terminal::aside::all_said;
