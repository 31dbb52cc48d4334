//! Whether the rig's port exists and may be opened, and whether a rig answers there. It drives nothing.

use super::check::Check;
use crate::cli::surroundings::{Surroundings, locks};
use crate::job::bench_work::open_session;
use crate::job::rig_lock;
use crate::link::{Address, serial_ports};
use crate::session::survey;
use std::io;
use std::path::Path;

const RIG: &str = "rig";
const PORT: &str = "port";

/// Where udev looks for rules that are installed by hand or by a package.
const RULE_FOLDERS: [&str; 3] = ["/etc/udev/rules.d", "/usr/lib/udev/rules.d", "/lib/udev/rules.d"];
/// The rule's file.
pub const RULE: &str = "70-trackpair.rules";

/// What the system says of a port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortState {
    /// It can be opened.
    Opens,
    /// There is no such file.
    Missing,
    /// Opening it is not allowed; the group that may.
    Refused {
        /// Its name, where it has one.
        group: Option<String>,
    },
    /// Another program holds it.
    Busy,
    /// Anything else.
    Other(String),
}

/// The rig that is named, or every port.
pub fn checks(rig: Option<&str>, surroundings: &Surroundings<'_>) -> Vec<Check> {
    match rig {
        Some(rig) => named(rig, surroundings),
        None => all(&serial_ports(), rule_installed()),
    }
}

/// Every serial port, none of them asked for a rig.
pub fn all(ports: &[String], rule: bool) -> Vec<Check> {
    if ports.is_empty() {
        let advice = "plug the rig in and look at its cable; a rig on the network is named by --rig tcp:HOST:PORT. Without a rig, \
                      --rig sim:good-grip tries the program out";
        return vec![Check::warning(PORT, "there is no serial port", advice)];
    }
    ports.iter().map(|path| port(path, &state(path), rule)).collect()
}

fn named(rig: &str, surroundings: &Surroundings<'_>) -> Vec<Check> {
    let address = match Address::parse(rig) {
        Ok(address) => address,
        Err(error) => {
            return vec![Check::problem(
                RIG,
                error.to_string(),
                "mend --rig, TRACKPAIR_RIG or the configuration",
            )];
        }
    };
    match &address {
        Address::Sim { .. } => vec![simulated(rig, surroundings)],
        Address::Tcp { .. } => vec![answers(&address)],
        Address::Serial { path, .. } => {
            let state = state(path);
            let mut checks = vec![port(path, &state, rule_installed())];
            if state == PortState::Opens {
                checks.push(answers(&address));
            }
            checks
        }
    }
}

fn simulated(rig: &str, surroundings: &Surroundings<'_>) -> Check {
    match open_session(rig, surroundings.open_simulator, surroundings.stop)
        .and_then(|s| s.close().map_err(|e| crate::job::Failure::Rig(e.into())))
    {
        Ok(_) => Check::ok(RIG, format!("{rig} is simulated and answers")),
        Err(failure) => {
            Check::problem(RIG, format!("{:#}", failure.error()), "name a part that the simulator has")
        }
    }
}

/// Whether a rig answers. Asking leaves it at rest.
fn answers(address: &Address) -> Check {
    if let Some(who) = rig_lock::holder(address, locks().as_deref()) {
        return Check::ok(RIG, who);
    }
    let found = survey([address.clone()]).pop().map(|a| a.found);
    match found {
        Some(Ok(rig)) => Check::ok(
            RIG,
            format!("{address}: {} {} firmware {} answers", rig.model, rig.serial, rig.firmware),
        ),
        Some(Err(error)) => {
            let advice = "look whether the rig has power, whether it is the right port (`trackpair rigs`), and close other programs \
                          that use it";
            Check::problem(RIG, format!("{address}: {error}"), advice)
        }
        None => Check::problem(RIG, format!("{address} was not asked"), "run it again"),
    }
}

/// What is made of a port's state. `rule`: whether the udev rule is installed.
pub fn port(path: &str, state: &PortState, rule: bool) -> Check {
    match state {
        PortState::Opens => Check::ok(PORT, format!("{path} may be opened")),
        PortState::Missing => {
            let advice = "plug the rig in, or look with `trackpair rigs` which port it has";
            Check::problem(PORT, format!("{path} does not exist"), advice)
        }
        PortState::Refused { group } => {
            let found = format!("{path} may not be opened by you");
            Check::problem(PORT, found, rights_advice(group.as_deref(), rule))
        }
        PortState::Busy => {
            let advice = "close the other program; a modem manager lets it go after some seconds";
            Check::problem(PORT, format!("{path} is held by another program"), advice)
        }
        PortState::Other(cause) => {
            Check::problem(PORT, format!("{path}: {cause}"), "unplug the rig and plug it in again")
        }
    }
}

fn rights_advice(group: Option<&str>, rule: bool) -> String {
    let rule = if rule {
        "the udev rule is installed: unplug the rig and plug it in again".to_owned()
    } else {
        format!("install the udev rule packaging/udev/{RULE} (see README), then plug the rig in again")
    };
    match group {
        Some(group) if group != "root" => format!(
            "{rule}; or join the group that owns the port: `sudo usermod -aG {group} $USER`, then log in again"
        ),
        _ => rule,
    }
}

fn rule_installed() -> bool {
    RULE_FOLDERS.iter().any(|folder| Path::new(folder).join(RULE).exists())
}

/// Opens a port for a moment, without waiting and without making it a terminal of this process.
#[cfg(unix)]
pub fn state(path: &str) -> PortState {
    use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
    let flags = rustix::fs::OFlags::NOCTTY | rustix::fs::OFlags::NONBLOCK;
    let flags = i32::try_from(flags.bits()).unwrap_or_default();
    match std::fs::OpenOptions::new().read(true).write(true).custom_flags(flags).open(path) {
        Ok(_) => PortState::Opens,
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => {
            let gid = std::fs::metadata(path).map(|m| m.gid()).ok();
            let groups = std::fs::read_to_string("/etc/group").unwrap_or_default();
            PortState::Refused { group: gid.and_then(|gid| group_name(&groups, gid)) }
        }
        Err(error) => refusal(&error),
    }
}

/// Elsewhere only opening it shows that.
#[cfg(not(unix))]
pub fn state(path: &str) -> PortState {
    if serial_ports().iter().any(|p| p == path) { PortState::Opens } else { PortState::Missing }
}

fn refusal(error: &io::Error) -> PortState {
    match error.kind() {
        io::ErrorKind::NotFound => PortState::Missing,
        io::ErrorKind::ResourceBusy => PortState::Busy,
        _ => PortState::Other(error.to_string()),
    }
}

/// A group's name in the text of `/etc/group`: `name:password:number:members` (group(5)).
pub fn group_name(groups: &str, gid: u32) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse() == Ok(gid)).then(|| name.to_owned())
    })
}
