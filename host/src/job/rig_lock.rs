//! One program at a time on a rig: a lock that the system takes back when the program ends, however it ends. It knows addresses, not rigs.
//!
//! A simulated rig lives inside its program and needs none. The lock lies in a folder of the user's, named by the address as it is
//! reached: a serial port by the device that its path leads to, a TCP address by the host's number.

use super::failure::Failure;
use super::outside::Outside;
use crate::link::Address;
use anyhow::anyhow;
use serde::{Deserialize, Serialize};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::net::ToSocketAddrs;
use std::path::{Path, PathBuf};

/// Who has a rig.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Holder {
    pid: u32,
    since: String,
    part: String,
}

/// A rig that this program has, until dropped.
#[derive(Debug)]
pub struct RigLock {
    /// The lock is the open file's; none where none is needed or no place can be written.
    _file: Option<File>,
}

impl RigLock {
    /// Takes the rig at an address; a second program is shown `part`.
    ///
    /// # Errors
    /// [`Failure::Rig`] when another program has it; [`Failure::Usage`] for an address that can't be understood.
    pub fn take(rig: &str, part: &str, outside: &Outside<'_>) -> Result<Self, Failure> {
        let address = Address::parse(rig).map_err(|e| Failure::Usage(e.into()))?;
        let Some(place) = outside.workshop.locks.as_deref().and_then(|folder| place(&address, folder)) else {
            return Ok(Self { _file: None });
        };
        let file = match open(&place) {
            Ok(file) => file,
            Err(cause) => {
                outside.warn(format!(
                    "can't keep a lock in {}: {cause}; nothing keeps a second program off this rig but its port",
                    place.display()
                ));
                return Ok(Self { _file: None });
            }
        };
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(Failure::Rig(anyhow!(taken(rig, &place)))),
            // A file system without locks.
            Err(TryLockError::Error(_)) => return Ok(Self { _file: None }),
        }
        let holder = Holder { pid: std::process::id(), since: outside.now(), part: part.to_owned() };
        // Only for words: who can't be named has the rig all the same.
        let _ = fs::write(words(&place), serde_json::to_string(&holder).unwrap_or_default());
        Ok(Self { _file: Some(file) })
    }
}

/// What a second program is shown about the address, where another one has it.
pub fn holder(address: &Address, locks: Option<&Path>) -> Option<String> {
    let place = place(address, locks?)?;
    let file = File::open(&place).ok()?;
    matches!(file.try_lock(), Err(TryLockError::WouldBlock)).then(|| taken(&address.to_string(), &place))
}

fn open(place: &PathBuf) -> std::io::Result<File> {
    if let Some(folder) = place.parent() {
        fs::create_dir_all(folder)?;
    }
    OpenOptions::new().read(true).write(true).create(true).truncate(false).open(place)
}

/// The file beside the lock that says who has it: a locked file can't be read everywhere.
fn words(place: &Path) -> PathBuf {
    place.with_extension("json")
}

fn taken(rig: &str, place: &Path) -> String {
    let known = fs::read_to_string(words(place)).ok();
    let who = match known.and_then(|text| serde_json::from_str::<Holder>(&text).ok()) {
        Some(Holder { pid, since, part }) => {
            let part = crate::report::text::plain(&part, crate::report::text::LABEL);
            let part = if part.is_empty() { String::new() } else { format!(", on the part {part}") };
            format!("another program (process {pid}, since {since}{part})")
        }
        None => "another program".to_owned(),
    };
    format!(
        "the rig at {rig} is in use by {who}; one program at a time may have a rig: wait until it ends, end it with Ctrl-C, or use another rig"
    )
}

/// Where the lock of an address lies in the folder of locks; none for a simulated rig.
fn place(address: &Address, locks: &Path) -> Option<PathBuf> {
    let name = match address {
        Address::Sim { .. } => return None,
        Address::Serial { path, .. } => {
            let device = fs::canonicalize(path).unwrap_or_else(|_| PathBuf::from(path));
            format!("serial-{}", device.display())
        }
        Address::Tcp { .. } => {
            let typed = address.to_string();
            let host = typed.trim_start_matches("tcp:");
            let found = host.to_socket_addrs().ok().and_then(|mut all| all.next());
            format!("tcp-{}", found.map_or(host.to_owned(), |a| a.to_string()))
        }
    };
    let stem: String = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    Some(locks.join(format!("{stem}.lock")))
}
