//! What a user of a shell expects: completions that complete, manual pages that man can format, colour on a terminal alone.

use anyhow::{Context, Result, ensure};
use serialport::TTYPort;
use std::fs::File;
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::tempdir;
use trackpair_tests::cli::{DEADLINE, Record, Said, command, trackpair};
use trackpair_tests::programs;
use trackpair_tests::reading::read_some;

/// What bash offers for a line, by the completions that the program prints.
fn bash_offers(line: &[&str]) -> Result<Vec<String>> {
    let folder = tempdir()?;
    let completions = folder.path().join("trackpair.bash");
    std::fs::write(&completions, trackpair(["completions", "bash"])?.out)?;
    // The function that is registered for the program is called as bash itself calls it.
    let script = r#"
        source "$1"; shift
        [[ $(complete -p trackpair) =~ -F\ ([^ ]+) ]] || exit 9
        COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1))
        "${BASH_REMATCH[1]}" trackpair "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD - 1]}"
        printf '%s\n' "${COMPREPLY[@]}"
    "#;
    let output = Command::new("bash")
        .args(["--norc", "-c", script, "bash"])
        .arg(&completions)
        .args(line)
        .output()
        .context("bash does not start")?;
    let complaint = String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success() && complaint.is_empty(), "{}: {complaint}", output.status);
    Ok(String::from_utf8(output.stdout)?.lines().map(str::to_owned).collect())
}

#[test]
fn bash_completes_commands_options_and_shells() -> Result<()> {
    assert_eq!(bash_offers(&["trackpair", "qual"])?, ["qualify"]);
    assert_eq!(bash_offers(&["trackpair", "sheet", "ch"])?, ["check"]);
    assert_eq!(bash_offers(&["trackpair", "qualify", "--arch"])?, ["--archive"]);
    let shells = bash_offers(&["trackpair", "completions", ""])?;
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        ensure!(shells.iter().any(|s| s == shell), "{shell} of {shells:?}");
    }
    assert_eq!(bash_offers(&["trackpair", "no-such"])?, [""]);
    Ok(())
}

#[test]
fn every_shell_gets_a_script_of_its_own_and_another_shell_is_refused() -> Result<()> {
    for (shell, word) in [
        ("zsh", "#compdef trackpair"),
        ("fish", "complete -c trackpair"),
        ("powershell", "Register-ArgumentCompleter"),
        ("elvish", "edit:completion:arg-completer[trackpair]"),
    ] {
        trackpair(["completions", shell])?.expect(0, &[word, "check-setup"]);
    }
    trackpair(["completions", "sh"])?.expect(2, &["invalid value 'sh'", "bash"]);
    Ok(())
}

/// Formats a page with a program that is on this machine; none says so.
fn formatted(page: &std::path::Path) -> Result<Option<(String, String)>> {
    for (program, arguments) in
        [("mandoc", &["-Tlint", "-Wwarning"][..]), ("groff", &["-man", "-ww", "-z", "-K", "utf8"])]
    {
        match Command::new(program).args(arguments).arg(page).output() {
            Ok(output) => {
                let said = [output.stdout, output.stderr].concat();
                return Ok(Some((program.to_owned(), String::from_utf8_lossy(&said).into_owned())));
            }
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => return Err(error.into()),
        }
    }
    Ok(None)
}

#[test]
fn manual_pages_are_written_one_per_command_and_format_without_a_complaint() -> Result<()> {
    let folder = tempdir()?;
    let out = folder.path().join("man1");
    trackpair(["man", "--out", out.to_str().context("a path of ASCII")?])?.expect(0, &["pages in"]);
    let mut pages = 0;
    for entry in std::fs::read_dir(&out)? {
        let page = entry?.path();
        let text = std::fs::read_to_string(&page)?;
        ensure!(text.contains(".SH NAME") && text.contains("trackpair"), "{}", page.display());
        match formatted(&page)? {
            Some((program, said)) => ensure!(said.is_empty(), "{program} on {}: {said}", page.display()),
            None => eprintln!("neither mandoc nor groff is here: {} is not formatted", page.display()),
        }
        pages += 1;
    }
    ensure!(pages > 30, "{pages} pages");
    let first = trackpair(["man"])?;
    assert_eq!(first.out, std::fs::read_to_string(out.join("trackpair.1"))?);
    let file = folder.path().join("file");
    std::fs::write(&file, "")?;
    trackpair(["man", "--out", file.to_str().context("ASCII")?])?
        .expect(1, &["can't make the folder", "--out DIR"]);
    Ok(())
}

/// The bytes that a command writes to a terminal.
fn on_a_terminal(command: Command) -> Result<String> {
    at_a_terminal(command, "", |command, terminal| {
        command.stdout(Stdio::from(terminal)).stderr(Stdio::null());
        Ok(())
    })
}

/// What a command asks and says on a terminal at which somebody types; its result goes elsewhere.
fn answered(command: Command, typed: &str) -> Result<String> {
    at_a_terminal(command, typed, |command, terminal| {
        command.stdin(Stdio::from(terminal.try_clone()?)).stdout(Stdio::null()).stderr(Stdio::from(terminal));
        Ok(())
    })
}

/// What a command writes to a terminal that `wire` gives to it, and on which something was typed.
fn at_a_terminal(
    mut command: Command,
    typed: &str,
    wire: impl FnOnce(&mut Command, File) -> Result<()>,
) -> Result<String> {
    let (mut far, near) = TTYPort::pair()?;
    let path = serialport::SerialPort::name(&near).context("a pty has a name")?;
    let terminal = std::fs::OpenOptions::new().read(true).write(true).open(path)?;
    // Held until all is read: of a pty whose other end is closed the rest may be lost.
    let held = terminal.try_clone()?;
    drop(near);
    far.write_all(typed.as_bytes())?;
    wire(&mut command, terminal)?;
    let mut child = command.spawn()?;
    let until = Instant::now() + DEADLINE;
    let (mut said, mut buffer) = (Vec::new(), [0; 4096]);
    serialport::SerialPort::set_timeout(&mut far, Duration::from_millis(100))?;
    loop {
        let ended = child.try_wait()?.is_some();
        match read_some(&mut far, &mut buffer) {
            Ok(n) => said.extend_from_slice(&buffer[..n]),
            // Nothing more comes once the command has ended.
            Err(e) if e.kind() == std::io::ErrorKind::TimedOut && ended => break,
            Err(e) if e.kind() == std::io::ErrorKind::TimedOut => {
                ensure!(Instant::now() < until, "it does not end");
            }
            Err(e) => return Err(e.into()),
        }
    }
    drop(held);
    Ok(String::from_utf8_lossy(&said).into_owned())
}

#[test]
fn colour_is_for_terminals_and_for_who_wants_it() -> Result<()> {
    let job = || {
        command(["judge", "tests/data/records/note-1"]).map(|mut c| {
            c.current_dir(programs::repository());
            c
        })
    };
    let piped = String::from_utf8(job()?.output()?.stdout)?;
    ensure!(!piped.contains('\u{1b}'), "colour in a pipe:\n{piped}");
    let coloured = on_a_terminal(job()?)?;
    ensure!(coloured.contains("\u{1b}["), "no colour on a terminal:\n{coloured}");
    let mut plain = job()?;
    plain.env("NO_COLOR", "1");
    let plain = on_a_terminal(plain)?;
    ensure!(!plain.is_empty() && !plain.contains('\u{1b}'), "colour in spite of NO_COLOR:\n{plain}");
    Ok(())
}

#[test]
fn a_dumb_terminal_gets_neither_colour_nor_a_bar() -> Result<()> {
    let mut judge = command(["judge", "tests/data/records/note-1"])?;
    judge.current_dir(programs::repository()).env("TERM", "dumb");
    let said = on_a_terminal(judge)?;
    ensure!(!said.is_empty() && !said.contains('\u{1b}'), "{said}");
    let archive = tempdir()?;
    let mut check = command(["procedure", "self-check", "--rig", "sim:good-grip", "--archive"])?;
    check.arg(archive.path()).env("TERM", "dumb");
    let said = answered(check, "")?;
    ensure!(said.contains("self-check ...") && !said.contains('\u{1b}'), "{said}");
    Ok(())
}

#[test]
fn qualify_asks_at_a_terminal_what_the_part_is_and_no_bar_stands_under_the_question() -> Result<()> {
    let qualify = |archive: &std::path::Path| -> Result<Command> {
        let mut qualify = command(["qualify", "--rig", "sim:good-grip?seed=2", "--skip-leads", "--archive"])?;
        qualify.arg(archive).env("TERM", "xterm");
        Ok(qualify)
    };
    let archive = tempdir()?;
    let said = answered(qualify(archive.path())?, "grip 4711, from the shelf\n")?;
    let (before, _) = said.split_once("Which part is this?").context(said.clone())?;
    ensure!(!before.contains('['), "a bar before the question: {before:?}");
    let record = Record::only(archive.path(), Said { code: Some(0), out: String::new(), err: said })?;
    assert_eq!(record.outcome["part"]["label"], "grip 4711, from the shelf");
    // A rig that can't be meant is named at once.
    let mut wrong = command(["qualify", "--rig", "usb:1", "--archive"])?;
    wrong.arg(archive.path()).env("TERM", "xterm");
    let said = answered(wrong, "grip 4711\n")?;
    ensure!(said.contains("usb:1") && !said.contains("Which part"), "{said}");
    // Nobody is asked who has named the part.
    let archive = tempdir()?;
    let mut told = qualify(archive.path())?;
    told.args(["--part", "grip 4712"]);
    let said = answered(told, "")?;
    ensure!(!said.contains("Which part"), "{said}");
    Ok(())
}
