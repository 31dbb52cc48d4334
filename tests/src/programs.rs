//! Finds and starts the project's programs for tests. It knows where they are built, not what they do.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::time::SystemTime;

use anyhow::{Context, Result, bail, ensure};

/// The repository's root.
pub fn repository() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the tests crate lies in the repository")
}

/// The rig program, built when it is missing or older than a source file.
///
/// # Errors
/// The build failed; its output is on standard error.
pub fn rig() -> Result<PathBuf> {
    program("trackpair-rig")
}

/// The technician's program, built when it is missing or older than a source file.
///
/// # Errors
/// The build failed; its output is on standard error.
pub fn trackpair() -> Result<PathBuf> {
    program("trackpair")
}

/// The python of the environment that `scripts/python-env` makes.
///
/// # Errors
/// The environment can't be made: no Python, or its packages can't be had.
pub fn python() -> Result<PathBuf> {
    let script = repository().join("scripts/python-env");
    let output = Command::new(&script)
        .stderr(Stdio::inherit())
        .output()
        .context("scripts/python-env does not start")?;
    ensure!(output.status.success(), "scripts/python-env failed ({}): see its message above", output.status);
    Ok(PathBuf::from(String::from_utf8(output.stdout)?.trim()))
}

/// What a script of `tests/python/` prints when it reads `input`.
///
/// # Errors
/// It does not start, or ends with another status than 0: then what it printed on both streams.
pub fn script_says(script: &str, input: &str) -> Result<String> {
    let mut child = Command::new(python()?)
        .arg(repository().join("tests/python").join(script))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()?;
    child.stdin.take().context("a pipe")?.write_all(input.as_bytes())?;
    let output = child.wait_with_output()?;
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    ensure!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    Ok(said)
}

/// A rig program that serves an address, until dropped.
#[derive(Debug)]
pub struct ServedRig {
    child: Child,
    address: String,
}

impl ServedRig {
    /// Starts `trackpair-rig` with `arguments` and waits until it says where it listens.
    ///
    /// # Errors
    /// It can't be built or started, or ends without listening.
    pub fn start<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Result<Self> {
        let mut child = Command::new(rig()?)
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .context("trackpair-rig does not start")?;
        let mut lines = BufReader::new(child.stdout.take().context("no standard output")?).lines();
        let listening = lines.by_ref().map_while(Result::ok).find_map(|line| {
            let (_, address) = line.split_once("listening on ")?;
            address.split_whitespace().next().map(str::to_owned)
        });
        // Whatever else it prints must not block it.
        std::thread::spawn(move || lines.for_each(drop));
        match listening {
            Some(address) => Ok(Self { child, address }),
            None => bail!("trackpair-rig ended without listening: {}", child.wait()?),
        }
    }

    /// Where it listens, as it says: `tcp:HOST:PORT` or `serial:PATH`.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.child.id()
    }
}

impl Drop for ServedRig {
    fn drop(&mut self) {
        // It may have ended by itself; either way there is nobody left to report to.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Programs that this process has found up to date: tests run side by side, and one build is enough for all of them.
static UP_TO_DATE: Mutex<Vec<&str>> = Mutex::new(Vec::new());

fn program(name: &'static str) -> Result<PathBuf> {
    let mut up_to_date = UP_TO_DATE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let profile = profile_folder()?;
    let path = profile.join(name).with_extension(std::env::consts::EXE_EXTENSION);
    let built = path.metadata().and_then(|m| m.modified()).ok();
    if !up_to_date.contains(&name) {
        if built.is_none_or(|built| newest_source() > Some(built)) {
            build(name, &profile)?;
        }
        up_to_date.push(name);
    }
    ensure!(path.is_file(), "{} was built, but is not there", path.display());
    Ok(path)
}

/// The folder of this test's profile: this executable lies in its `deps` or `examples`.
fn profile_folder() -> Result<PathBuf> {
    let own = std::env::current_exe().context("this test does not know where it lies")?;
    let inner = ["deps", "examples"].map(|name| Some(OsStr::new(name)));
    let folder = own.ancestors().skip(1).find(|f| !inner.contains(&f.file_name()));
    folder.map(Path::to_path_buf).with_context(|| format!("{} lies in no profile folder", own.display()))
}

fn build(name: &str, profile: &Path) -> Result<()> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
    let mut command = Command::new(cargo);
    // As the test script builds them: other features or packages would be another build.
    command.current_dir(repository()).args(["build", "--quiet", "--workspace", "--bins"]);
    let target = profile.parent().context("a profile folder lies in a target folder")?;
    command.arg("--target-dir").arg(target);
    match profile.file_name().and_then(OsStr::to_str) {
        Some("debug") => {}
        Some(other) => {
            command.args(["--profile", other]);
        }
        None => bail!("{} has no name", profile.display()),
    }
    let status = command.status().context("cargo does not start")?;
    ensure!(status.success(), "{name} can't be built: {status}");
    Ok(())
}

/// When a source that goes into a program was last changed.
fn newest_source() -> Option<SystemTime> {
    let mut folders: Vec<PathBuf> =
        ["protocol/src", "bench-rig/core", "bench-rig/sim", "host"].map(|f| repository().join(f)).to_vec();
    let mut newest = None;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
            match entry.file_type() {
                Ok(kind) if kind.is_dir() => folders.push(entry.path()),
                _ => newest = newest.max(entry.metadata().and_then(|m| m.modified()).ok()),
            }
        }
    }
    newest
}
