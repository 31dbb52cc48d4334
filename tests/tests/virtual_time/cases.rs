//! Cases through the program: from a complaint to its end, what they refuse, and that nothing is lost by it.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::ffi::OsStr;
use std::process::Command;
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{Running, Said, command, home, trackpair, trackpair_told};
use trackpair_tests::programs;

/// An archive of one test.
struct Shelf {
    folder: TempDir,
}

impl Shelf {
    fn new() -> Result<Self> {
        Ok(Self { folder: tempdir()? })
    }

    /// A command on this archive.
    fn run(&self, arguments: &[&str]) -> Result<Said> {
        let place = self.folder.path().to_str().context("UTF-8")?;
        trackpair(arguments.iter().copied().chain(["--archive", place]))
    }

    fn document(&self, arguments: &[&str]) -> Result<Value> {
        let said = self.run(&[arguments, &["--json"]].concat())?;
        serde_json::from_str(&said.out).with_context(|| said.out.clone())
    }

    fn opened(&self, more: &[&str]) -> Result<()> {
        let new = ["case", "new", "--complaint", "limp-home at random", "--vehicle", "an invented twin"];
        self.run(&[&new, more].concat())?.expect(0, &["case case-", "entry 1", "case show"]);
        Ok(())
    }

    fn as_kept(&self) -> Result<()> {
        self.run(&["records", "verify"])?.expect(0, &["AS KEPT"]);
        Ok(())
    }

    /// What a program that knows nothing of this one says of the seals of the only case.
    fn seals_read_by_another(&self) -> Result<String> {
        let key = self.folder.path().join("shop.pub");
        trackpair([OsStr::new("key"), OsStr::new("export"), OsStr::new("--out"), key.as_os_str()])?
            .expect(0, &[]);
        let case = std::fs::read_dir(self.folder.path().join("cases"))?.next().context("a case")??.path();
        let script = programs::repository().join("tests/python/seals.py");
        let output = Command::new(programs::python()?).arg(script).arg(case).arg(&key).output()?;
        std::fs::remove_file(key)?;
        ensure!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    }
}

#[test]
fn a_case_goes_from_complaint_to_its_end_and_stays_provable() -> Result<()> {
    let shelf = Shelf::new()?;
    let part = "grip,number=4711,serial=A12,use=18000 km,origin=from the vehicle,matings=2";
    shelf.opened(&[
        "--symptom",
        "limp_home",
        "--code",
        "p2135",
        "--seen",
        "terminals=bad:green",
        "--intake",
        part,
    ])?;
    let rig = ["--rig", "sim:worn-grip", "--case", "twin"];
    shelf.run(&[&["qualify"], rig.as_slice()].concat())?.expect(10, &[]);
    shelf
        .run(&[&["procedure", "leads-check"], rig.as_slice(), &["--still-plugged"]].concat())?
        .expect(0, &[]);
    let case = shelf.document(&["case", "show", "twin"])?;
    let whats: Vec<&str> =
        case["entries"].as_array().context("entries")?.iter().filter_map(|e| e["what"].as_str()).collect();
    assert_eq!(whats, ["opening", "record", "record"]);
    let told = |k: usize| &case["entries"][k]["told"];
    assert_eq!(
        (told(1)["verdict"].as_str(), told(1)["label"].as_str()),
        (Some("outside"), Some("grip 4711 A12"))
    );
    assert_eq!(told(2)["scope"], "leads");
    // Two known before, one session; the second was left plugged in.
    assert_eq!(case["matings"][0]["matings"], 3);
    // The record is sealed, and the case names its seal.
    let record = told(1)["record"].as_str().context("a record")?;
    let shown = shelf.document(&["records", "show", record])?;
    assert!(shown.to_string().contains(told(1)["fingerprint"].as_str().context("a fingerprint")?), "{shown}");
    let close = ["case", "close", "twin", "--ending", "mended"];
    shelf.run(&close)?.expect(2, &["no note of what was mended", "--mended WHAT"]);
    // Written down as a repair, and nothing has shown that the fault is gone.
    shelf
        .run(&[&close[..], &["--mended", "replaced the grip"]].concat())?
        .expect(11, &["stays open", "since the repair", "trackpair qualify"]);
    let other = ["case", "note", "twin", "--intake", "grip,number=4712,origin=from the shelf"];
    shelf.run(&other)?.expect(0, &[]);
    let again = ["qualify", "--rig", "sim:good-grip?seed=8", "--case", "twin", "--part", "grip 4712"];
    shelf.run(&again)?.expect(0, &[]);
    shelf.run(&close)?.expect(0, &["closed: mended"]);
    shelf.run(&close)?.expect(2, &["was closed on", "not closed again", "--reopen"]);
    shelf.run(&["case", "note", "twin", "--words", "x"])?.expect(2, &["nothing is added", "--reopen"]);
    shelf.run(&[&["qualify"], rig.as_slice()].concat())?.expect(2, &["was closed on", "--reopen"]);
    shelf.run(&["case", "note", "twin", "--reopen", "it came back"])?.expect(0, &[]);
    assert_eq!(shelf.document(&["case", "list", "--open"])?["cases"].as_array().map(Vec::len), Some(1));
    assert_eq!(shelf.document(&["case", "show", "twin"])?["entries"].as_array().map(Vec::len), Some(8));
    let said = shelf.seals_read_by_another()?;
    ensure!(said.contains("8 entries and 0 documents hold"), "{said}");
    shelf.as_kept()
}

#[test]
fn a_fault_that_clears_by_replugging_stays_open_until_something_is_mended() -> Result<()> {
    let shelf = Shelf::new()?;
    shelf.opened(&["--intake", "body,serial=7"])?;
    shelf
        .run(&["case", "note", "twin", "--replugged", "body 7", "--cleared"])?
        .expect(0, &["That is not a repair"]);
    for ending in ["mended", "nothing_found"] {
        let said = shelf.run(&["case", "close", "twin", "--ending", ending])?;
        said.expect(11, &["stays open", "nothing was mended since", "--mended WHAT"]);
    }
    shelf.run(&["case", "show", "twin"])?.expect(0, &["(open)", "(no repair)", "it will come back"]);
    let mended = ["case", "note", "twin", "--mended", "new terminal"];
    shelf.run(&mended)?.expect(0, &[]);
    for ending in ["mended", "nothing_found"] {
        let said = shelf.run(&["case", "close", "twin", "--ending", ending])?;
        said.expect(11, &["stays open", "since the repair", "wiggle"]);
    }
    shelf.run(&["case", "close", "twin", "--ending", "handed_on"])?.expect(0, &["closed"]);
    shelf.as_kept()
}

#[test]
fn questions_are_answered_from_standard_input_and_what_ends_early_keeps_nothing() -> Result<()> {
    let shelf = Shelf::new()?;
    let place = shelf.folder.path().to_str().context("UTF-8")?;
    let ask = ["case", "new", "--ask", "--archive", place];
    let answers = "random limp-home\na green invented single\n1\n\n\n\n\n\n\ngrip\n99\n\n\n\n\n";
    trackpair_told(ask, answers)?.expect(0, &["case case-"]);
    trackpair_told(ask, "random limp-home\n")?.expect(2, &["nothing was kept"]);
    let cases = shelf.document(&["case", "list"])?;
    assert_eq!(cases["cases"].as_array().map(Vec::len), Some(1));
    assert_eq!(cases["cases"][0]["vehicle"], "a green invented single");
    let shown = shelf.document(&["case", "show", "single"])?;
    assert_eq!(shown["entries"][0]["told"]["parts"][0]["label"], "grip 99");
    trackpair_told(["case", "new", "--archive", place], "")?
        .expect(2, &["begins with its complaint", "--ask"]);
    Ok(())
}

#[test]
fn bad_entries_are_refused_with_what_is_allowed_and_nothing_is_written() -> Result<()> {
    let shelf = Shelf::new()?;
    let new = ["case", "new", "--complaint", "x"];
    for (more, words) in [
        (["--symptom", "sad"], "limp_home"),
        (["--code", "2135"], "written like P2135"),
        (["--seen", "pin_fit=fine"], "PLACE=good"),
        (["--intake", "wheel"], "grip, body or pair"),
        (["--intake", "grip,matings=many"], "not a count from 0 to"),
    ] {
        shelf.run(&[&new[..], &more].concat())?.expect(2, &[words]);
    }
    shelf
        .run(&[&new[..], &["--seen", "cover=good", "--seen", "cover=bad"]].concat())?
        .expect(2, &["given twice"]);
    shelf
        .run(&[&new[..], &["--intake", "grip", "--intake", "grip"]].concat())?
        .expect(2, &["different labels"]);
    shelf.run(&["case", "new", "--complaint", " "])?.expect(2, &["is empty"]);
    assert!(!shelf.folder.path().join("cases").exists());
    shelf.opened(&["--intake", "grip", "--intake", "body"])?;
    shelf.run(&["case", "show", "blue"])?.expect(2, &["no case \"blue\"", "case list"]);
    shelf.run(&["case", "note", "twin"])?.expect(2, &["says nothing", "--words"]);
    shelf
        .run(&["case", "note", "twin", "--replugged", "wheel"])?
        .expect(2, &["no part \"wheel\"", "grip, body"]);
    shelf.run(&["case", "note", "twin", "--intake", "grip"])?.expect(2, &["has a part \"grip\" already"]);
    shelf.run(&["case", "note", "twin", "--record", "none"])?.expect(2, &["no record \"none\""]);
    shelf
        .run(&["case", "close", "twin", "--ending", "happy"])?
        .expect(2, &["mended, nothing_found, handed_on"]);
    let rig = ["qualify", "--rig", "sim:good-grip", "--case", "twin"];
    shelf.run(&rig)?.expect(2, &["names 2 parts", "--part"]);
    shelf.run(&[&rig[..], &["--part", "wheel"]].concat())?.expect(2, &["no part \"wheel\""]);
    assert_eq!(shelf.document(&["case", "show", "twin"])?["entries"].as_array().map(Vec::len), Some(1));
    assert!(!shelf.folder.path().join("records").exists(), "nothing was recorded");
    shelf.as_kept()
}

#[test]
fn connectors_are_warned_of_before_they_wear_out_and_a_new_lead_begins_anew() -> Result<()> {
    let shelf = Shelf::new()?;
    shelf.opened(&["--intake", "grip,matings=6"])?;
    let check = ["procedure", "self-check", "--rig", "sim:good-grip", "--case", "twin"];
    shelf.run(&check)?.expect(0, &[]).silent_about("the connector of");
    // 8 of 10: near; 11 of 10: beyond, and reported before anything is driven.
    for (number, words) in [
        (8, "8 matings of the 10"),
        (9, "9 matings of the 10"),
        (10, "10 matings of the 10"),
        (11, "11 matings, and 10"),
    ] {
        let said = shelf.run(&[&check[..], &["--json"]].concat())?;
        said.expect(0, &["the connector of grip has had", words]);
        let outcome: Value = serde_json::from_str(&said.out)?;
        assert_eq!(outcome["matings"]["part"]["count"], number);
        assert!(outcome["warnings"].to_string().contains(words), "{}", outcome["warnings"]);
    }
    let still = shelf.run(&[&check[..], &["--still-plugged", "--json"]].concat())?;
    let outcome: Value = serde_json::from_str(&still.out)?;
    assert_eq!(
        (&outcome["matings"]["part"]["count"], &outcome["matings"]["counted"]),
        (&Value::from(11), &Value::from(false))
    );
    let all = shelf.document(&["matings"])?;
    assert_eq!(
        (&all["parts"][0]["count"], &all["parts"][0]["standing"]),
        (&Value::from(11), &Value::from("beyond"))
    );
    assert_eq!(all["leads"][0]["count"], 5);
    shelf.run(&["matings"])?.expect(0, &["11 of 10", "BEYOND", "5 of 50"]);
    // A lead that was fitted after all of these has had none of them.
    let config = home().join("config/trackpair");
    std::fs::create_dir_all(&config)?;
    std::fs::write(config.join("config.toml"), "lead_fitted = \"2999-01-01\"\n")?;
    assert_eq!(shelf.document(&["matings"])?["leads"], Value::Array(Vec::new()));
    std::fs::write(config.join("config.toml"), "lead_fitted = \"yesterday\"\n")?;
    shelf.run(&["matings"])?.expect(2, &["config.toml:1:15", "not a day", "2026-01-31"]);
    std::fs::remove_file(config.join("config.toml"))?;
    shelf.as_kept()
}

#[test]
fn a_soak_belongs_to_its_case_and_is_one_mating_also_when_it_was_cut_off() -> Result<()> {
    let shelf = Shelf::new()?;
    shelf.opened(&["--intake", "grip"])?;
    let soak = ["soak", "--rig", "sim:good-grip", "--for", "0.02h", "--every", "12s"];
    shelf.run(&[&soak[..], &["--case", "twin"]].concat())?.expect(0, &["WITHIN", "entry 2"]);
    let case = shelf.document(&["case", "show", "twin"])?;
    assert_eq!(case["entries"][1]["told"]["scope"], "soak");
    assert_eq!(case["matings"][0]["matings"], 1);
    // One that is killed in its second round and gone on with, with what it was begun with.
    let place = shelf.folder.path().to_str().context("UTF-8")?;
    let long =
        [&soak[..3], &["--for", "1h", "--every", "12s", "--case", "twin", "--archive", place]].concat();
    let mut running = Running::start(command(long)?)?;
    running.wait_for("round 2 of")?;
    running.signal("KILL")?;
    running.finish()?;
    let records = std::fs::read_dir(shelf.folder.path().join("records"))?;
    let names: Vec<String> = records
        .map(|r| r.map(|r| r.file_name().to_string_lossy().into_owned()))
        .collect::<std::io::Result<_>>()?;
    let first = case["entries"][1]["told"]["record"].as_str().context("a record")?;
    let cut = names.iter().find(|n| *n != first).context("the record that was cut off")?;
    shelf.run(&["soak", "--resume", cut, "--conclude"])?.expect(11, &["entry 3"]);
    let case = shelf.document(&["case", "show", "twin"])?;
    assert_eq!(case["entries"][2]["told"]["record"].as_str(), Some(cut.as_str()));
    assert_eq!(case["matings"][0]["matings"], 2);
    shelf.run(&["soak", "--resume", cut, "--case", "twin"])?.expect(2, &["--resume", "--case"]);
    shelf.as_kept()
}
