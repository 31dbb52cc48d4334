//! Runs the `trackpair` program as a user does and reads what it printed, stored and returned. It knows no exit code by heart and
//! judges nothing.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read, Seek, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::programs;
use anyhow::{Context, Result, bail, ensure};
use serde_json::Value;
use tempfile::TempDir;

/// Longest that any command of a test may take: a hang is a failure, a slow machine is not.
pub const DEADLINE: Duration = Duration::from_secs(120);

/// What a command said and how it ended.
#[derive(Clone, Debug)]
pub struct Said {
    /// Exit code; none when it was killed by a signal.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Said {
    /// Fails, printing everything, unless the exit code is `code` and every one of `words` was printed on either stream.
    ///
    /// # Panics
    /// When it is not so.
    #[track_caller]
    pub fn expect(&self, code: i32, words: &[&str]) -> &Self {
        assert_eq!(self.code, Some(code), "exit code; it said:\n{}\n{}", self.out, self.err);
        // What is folded to a terminal's width is unfolded.
        let all = [&self.out, &self.err].map(|s| s.split_whitespace().collect::<Vec<_>>().join(" "));
        for word in words {
            assert!(all.iter().any(|s| s.contains(word)), "{word:?} missing in:\n{}\n{}", self.out, self.err);
        }
        self
    }

    /// Fails, printing everything, if any of these was printed.
    ///
    /// # Panics
    /// When one was.
    #[track_caller]
    pub fn silent_about(&self, words: &str) -> &Self {
        let all = [&self.out, &self.err].map(|s| s.split_whitespace().collect::<Vec<_>>().join(" "));
        assert!(!all.iter().any(|s| s.contains(words)), "{words:?} in:\n{}\n{}", self.out, self.err);
        self
    }
}

thread_local! {
    /// A home folder for the test that runs on this thread, with its own places for configuration and data; removed with the thread.
    static HOME: TempDir = TempDir::new().expect("the system has a place for temporary files");
}

/// The home folder of this test's commands: configuration in `config/trackpair`, data in `data/trackpair`.
pub fn home() -> PathBuf {
    HOME.with(|home| home.path().to_path_buf())
}

/// `trackpair`, not yet started: nothing of the tester's own surroundings reaches it, and it reaches nothing of theirs.
///
/// # Errors
/// It can't be built.
pub fn command<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Result<Command> {
    let mut command = Command::new(programs::trackpair()?);
    command.args(arguments).stdin(Stdio::null());
    surround(&mut command)?;
    Ok(command)
}

/// Gives a command the surroundings that every test has.
///
/// # Errors
/// They can't be made.
pub fn surround(command: &mut Command) -> Result<()> {
    command.env("COLUMNS", "100").env("LC_ALL", "C.UTF-8").env_remove("NO_COLOR");
    let own = |name: &OsStr| name.to_string_lossy().starts_with("TRACKPAIR_");
    for (name, _) in std::env::vars_os().filter(|(name, _)| own(name)) {
        command.env_remove(name);
    }
    let home = home();
    command.env("HOME", &home);
    for (name, folder) in [
        ("XDG_CONFIG_HOME", "config"),
        ("XDG_DATA_HOME", "data"),
        ("XDG_STATE_HOME", "state"),
        ("XDG_CACHE_HOME", "cache"),
    ] {
        command.env(name, home.join(folder));
    }
    Ok(())
}

/// The folders of the records in an archive, in order; none where nothing was kept.
pub fn record_folders(archive: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(archive.join("records")).into_iter().flatten().flatten();
    let mut folders: Vec<PathBuf> = entries.map(|e| e.path()).collect();
    folders.sort();
    folders
}

/// Every file under a folder, in order.
pub fn files_under(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for path in std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()) {
        if path.is_dir() {
            files.extend(files_under(&path));
        } else {
            files.push(path);
        }
    }
    files.sort();
    files
}

/// Runs `trackpair` to its end.
///
/// # Errors
/// It can't be built or started, or does not end in [`DEADLINE`].
pub fn trackpair<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Result<Said> {
    Running::start(command(arguments)?)?.finish()
}

/// The same with something on standard input.
///
/// # Errors
/// As [`trackpair()`], or the words can't be written down for it.
pub fn trackpair_told<S: AsRef<OsStr>>(
    arguments: impl IntoIterator<Item = S>,
    answers: &str,
) -> Result<Said> {
    let mut file = tempfile::tempfile()?;
    file.write_all(answers.as_bytes())?;
    file.rewind()?;
    let mut command = command(arguments)?;
    command.stdin(file);
    Running::start(command)?.finish()
}

/// What a command with `--json` prints, as studies ask for it: its archive is made for it and thrown away.
///
/// # Errors
/// As [`trackpair()`], or it prints no document.
pub fn outcome_of(arguments: &[&str]) -> Result<Value> {
    let archive = tempfile::tempdir()?;
    let place = archive.path().to_str().context("the path is text")?;
    let said = trackpair([arguments, &["--json", "--archive", place]].concat())?;
    serde_json::from_str(&said.out)
        .with_context(|| format!("no outcome; it said:\n{}\n{}", said.out, said.err))
}

/// A command that runs; its standard error comes line by line. Killed when dropped.
#[derive(Debug)]
pub struct Running {
    child: Child,
    lines: Receiver<String>,
    out: Option<JoinHandle<String>>,
    err: String,
    until: Instant,
}

impl Running {
    /// Starts a command.
    ///
    /// # Errors
    /// It does not start.
    pub fn start(mut command: Command) -> Result<Self> {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .with_context(|| format!("{command:?} does not start"))?;
        let (mut stdout, stderr) =
            (child.stdout.take().context("no stdout")?, child.stderr.take().context("no stderr")?);
        let out = std::thread::spawn(move || {
            let mut bytes = Vec::new();
            // What came before an error is all there is.
            let _ = stdout.read_to_end(&mut bytes);
            String::from_utf8_lossy(&bytes).into_owned()
        });
        let (sender, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(stderr).split(b'\n').map_while(Result::ok) {
                let _ = sender.send(String::from_utf8_lossy(&line).into_owned());
            }
        });
        Ok(Self { child, lines, out: Some(out), err: String::new(), until: Instant::now() + DEADLINE })
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits for a line of standard error that holds `word`.
    ///
    /// # Errors
    /// It ends, or takes too long, without saying it.
    pub fn wait_for(&mut self, word: &str) -> Result<()> {
        loop {
            match self.lines.recv_timeout(self.until.saturating_duration_since(Instant::now())) {
                Ok(line) => {
                    self.err += &line;
                    self.err.push('\n');
                    if line.contains(word) {
                        return Ok(());
                    }
                }
                Err(why) => bail!("{word:?} was never said ({why}), but:\n{}", self.err),
            }
        }
    }

    /// Sends a signal, by its name: `INT`, `KILL` …
    ///
    /// # Errors
    /// It is gone already.
    pub fn signal(&self, name: &str) -> Result<()> {
        let id = self.child.id().to_string();
        let status = Command::new("kill").args(["-s", name, &id]).status().context("kill does not start")?;
        ensure!(status.success(), "{name} can't be sent to {id}: {status}");
        Ok(())
    }

    /// Waits for its end.
    ///
    /// # Errors
    /// It does not end in [`DEADLINE`].
    pub fn finish(mut self) -> Result<Said> {
        loop {
            // The stream ends with the process.
            match self.lines.recv_timeout(self.until.saturating_duration_since(Instant::now())) {
                Ok(line) => {
                    self.err += &line;
                    self.err.push('\n');
                }
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => bail!("it does not end; it said:\n{}", self.err),
            }
        }
        let status: ExitStatus = self.child.wait()?;
        let out = self.out.take().map(JoinHandle::join).and_then(Result::ok).unwrap_or_default();
        Ok(Said { code: status.code(), out, err: std::mem::take(&mut self.err) })
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself; either way there is nobody left to report to.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A record folder that a command left, and what the command said.
#[derive(Clone, Debug)]
pub struct Record {
    /// What was printed.
    pub said: Said,
    /// The archive.
    pub archive: PathBuf,
    /// The record's folder in it.
    pub folder: PathBuf,
    /// `outcome.json`.
    pub outcome: Value,
}

impl Record {
    /// The one record in an archive.
    ///
    /// # Errors
    /// There is none, more than one, or it holds no outcome.
    pub fn only(archive: &Path, said: Said) -> Result<Self> {
        let mut folders = record_folders(archive);
        ensure!(folders.len() == 1, "one record is expected, there are {folders:?}; it said:\n{}", said.err);
        let folder = folders.remove(0);
        let text = std::fs::read_to_string(folder.join("outcome.json")).with_context(|| {
            format!("no outcome in {}; it said:\n{}\n{}", folder.display(), said.out, said.err)
        })?;
        Ok(Self { said, archive: archive.to_path_buf(), folder, outcome: serde_json::from_str(&text)? })
    }

    /// A stored file's bytes.
    ///
    /// # Errors
    /// It is not there.
    pub fn file(&self, name: &str) -> Result<Vec<u8>> {
        std::fs::read(self.folder.join(name)).with_context(|| format!("{name} in {}", self.folder.display()))
    }

    /// The trace of a procedure.
    ///
    /// # Errors
    /// There is none.
    pub fn trace(&self, procedure: &str) -> Result<PathBuf> {
        let procedures = self.outcome["procedures"].as_array().context("no procedures")?;
        let stored =
            procedures.iter().find(|p| p["procedure"] == procedure).and_then(|p| p["trace_file"].as_str());
        let name = stored.with_context(|| format!("no trace of a {procedure}: {procedures:?}"))?;
        Ok(self.archive.join(name))
    }

    /// Every file of its archive.
    pub fn files(&self) -> Vec<PathBuf> {
        files_under(&self.archive)
    }

    /// The verdict in words.
    pub fn verdict(&self) -> &str {
        self.outcome["verdict"].as_str().unwrap_or_default()
    }

    /// Findings of a kind.
    pub fn findings(&self, kind: &str) -> Vec<&Value> {
        entries(&self.outcome["findings"]).filter(|f| f["kind"] == kind).collect()
    }

    /// A figure of a line, or of the pair with `None`.
    ///
    /// # Errors
    /// There is none.
    pub fn figure(&self, name: &str, channel: Option<&str>) -> Result<&Value> {
        let is = |f: &&Value| f["figure"] == name && f["channel"].as_str() == channel;
        entries(&self.outcome["figures"]).find(is).with_context(|| format!("no {name} of {channel:?}"))
    }
}

fn entries(list: &Value) -> impl Iterator<Item = &Value> {
    list.as_array().into_iter().flatten()
}

/// `trackpair qualify` on a part, with its record in `archive`.
///
/// # Errors
/// It can't be run, or left no record.
pub fn qualify(rig: &str, archive: &Path, more: &[&str]) -> Result<Record> {
    let mut arguments = vec![
        OsStr::new("qualify"),
        OsStr::new("--full"),
        OsStr::new("--rig"),
        OsStr::new(rig),
        OsStr::new("--archive"),
    ];
    arguments.push(archive.as_os_str());
    arguments.extend(more.iter().map(OsStr::new));
    Record::only(archive, trackpair(arguments)?)
}
