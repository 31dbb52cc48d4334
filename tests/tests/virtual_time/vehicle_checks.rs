//! Vehicle checks through the program: forms, judged worksheets, what is refused, and that nothing that was entered is lost.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{Said, trackpair, trackpair_told};
use trackpair_tests::programs;

/// A folder of one test, with its archive.
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Result<Self> {
        Ok(Self { folder: tempdir()? })
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The path of a file as an option takes it.
    fn path(&self, name: &str) -> Result<String> {
        Ok(self.file(name).to_str().context("UTF-8")?.to_owned())
    }

    fn with_archive(&self, arguments: &[&str]) -> Result<Vec<String>> {
        let place = ["--archive".to_owned(), self.path("archive")?];
        Ok(arguments.iter().map(|a| (*a).to_owned()).chain(place).collect())
    }

    fn run(&self, arguments: &[&str]) -> Result<Said> {
        trackpair(self.with_archive(arguments)?)
    }

    fn told(&self, arguments: &[&str], answers: &str) -> Result<Said> {
        trackpair_told(self.with_archive(arguments)?, answers)
    }

    /// A filled template with some lines changed; its path.
    fn filled(&self, kind: &str, changes: &[(&str, &str)]) -> Result<String> {
        let path = self.path("readings.toml")?;
        let _ = fs::remove_file(&path);
        let wire = ["--wire", "0.34mm2", "--length", "1.8", "--meter-leads", "0.2 ohm"];
        let form = ["vehicle-check", "form", "--kind", kind, "--template", &path];
        self.run(&[&form[..], &wire].concat())?.expect(0, &["fill it in"]);
        fs::write(&path, fill(&fs::read_to_string(&path)?, changes))?;
        Ok(path)
    }

    fn enter(&self, changes: &[(&str, &str)], more: &[&str]) -> Result<Said> {
        let path = self.filled("grip", changes)?;
        self.run(&[&["vehicle-check", "enter", "--readings", &path], more].concat())
    }
}

/// What a sound vehicle shows; invented.
fn good(id: &str) -> &'static str {
    let words: Vec<&str> = id.split('.').collect();
    match (words[1], words[2], words.get(3).copied()) {
        ("terminal", ..) => "firm",
        ("continuity", ..) => "0.3 ohm",
        ("neck" | "bend", ..) => "steady",
        ("frame" | "between", ..) => "OL",
        ("drop", ..) => "170 mV @ 1.7 A",
        (_, "supply", _) => "5.00 V",
        (_, _, Some("half")) => "2.50 V",
        (_, "first", Some("rest")) | (_, "second", Some("full")) => "0.50 V",
        _ => "4.50 V",
    }
}

/// A template with every line filled in, but for the changes.
fn fill(template: &str, changes: &[(&str, &str)]) -> String {
    let line = |line: &str| {
        let Some((id, rest)) = line.strip_prefix('"').and_then(|l| l.split_once("\" = \"\"")) else {
            return format!("{line}\n");
        };
        let changed = changes.iter().find(|(change, _)| *change == id).map(|(_, entry)| *entry);
        format!("\"{id}\" = \"{}\"{rest}\n", changed.unwrap_or_else(|| good(id)))
    };
    template.lines().map(line).collect()
}

#[test]
fn a_sound_vehicle_clears_its_wiring_and_a_broken_wire_is_mended_first() -> Result<()> {
    let bench = Bench::new()?;
    bench.enter(&[], &[])?.expect(0, &["PULL THE PART", "Pull the part and qualify it"]);
    let broken = [("grip.bend.first", "flickers")];
    bench.enter(&broken, &[])?.expect(10, &["MEND THE RUN FIRST", "grip.bend.first", "broken inside"]);
    let pair = bench.filled("pair", &[])?;
    bench.run(&["vehicle-check", "enter", "--readings", &pair])?.expect(0, &["PULL THE PART"]);
    Ok(())
}

#[test]
fn half_a_worksheet_is_undecided_and_names_the_missing_lines() -> Result<()> {
    let bench = Bench::new()?;
    let some = [("grip.neck.first", ""), ("grip.output.second.half", "-")];
    bench.enter(&some, &[])?.expect(11, &["UNDECIDED", "2 of", "grip.neck.first, grip.output.second.half"]);
    let one = ["vehicle-check", "enter", "--kind", "grip", "--reading", "grip.neck.first=steady"];
    bench.run(&one)?.expect(11, &["are missing", "grip.continuity.supply"]);
    Ok(())
}

#[test]
fn units_that_slipped_are_refused_unless_they_are_true_as_typed() -> Result<()> {
    let bench = Bench::new()?;
    for (id, entry, question) in [
        ("grip.continuity.first", "45 ohm", "ohms for milliohms?"),
        ("grip.continuity.first", "0.3 mohm", "milliohms for ohms?"),
        ("grip.frame.first", "20 mohm", "m for M"),
        ("grip.output.first.rest", "500 V", "volts for millivolts?"),
    ] {
        bench.enter(&[(id, entry)], &[])?.expect(2, &[id, entry, question, "--as-typed"]);
    }
    let typed = [("grip.continuity.first", "45 ohm")];
    bench.enter(&typed, &["--as-typed"])?.expect(10, &["MEND THE RUN FIRST", "kept as typed"]);
    Ok(())
}

#[test]
fn a_wire_that_does_not_exist_is_refused_with_those_near_it() -> Result<()> {
    let bench = Bench::new()?;
    let form = ["vehicle-check", "form", "--kind", "grip", "--out", "never.pdf", "--wire"];
    let with = |wire: &'static str| bench.run(&[&form[..], &[wire]].concat());
    with("0.33mm2")?.expect(2, &["no wire of 0.33mm2", "0.34mm2", "ASTM B258"]);
    with("0.34")?.expect(2, &["mm2 or AWG"]);
    with("99AWG")?.expect(2, &["30AWG"]);
    ensure!(!Path::new("never.pdf").exists());
    let metres = ["vehicle-check", "form", "--kind", "grip", "--out", "never.pdf", "--length", "180"];
    bench.run(&metres)?.expect(2, &["180 m", "0.05 to 20 m"]);
    Ok(())
}

#[test]
fn contradictory_entries_are_refused_and_both_are_named() -> Result<()> {
    let bench = Bench::new()?;
    let open = [("grip.continuity.first", "open"), ("grip.neck.first", "open"), ("grip.bend.first", "open")];
    bench
        .enter(&open, &[])?
        .expect(2, &["grip.continuity.first = \"open\"", "grip.output.first.rest = \"0.50 V\""]);
    let low = [("grip.continuity.first", "3 ohm"), ("grip.frame.first", "0.5 ohm")];
    bench.enter(&low, &[])?.expect(2, &["grip.continuity.first", "grip.frame.first", "insulation"]);
    let half = [("grip.output.first.half", "0.20 V")];
    bench
        .enter(&half, &[])?
        .expect(2, &["grip.output.first.half", "grip.output.first.rest", "between rest and full"]);
    // Both "open" and 40 mΩ: in options, in a file against an option, and twice in a file.
    let twice = ["--reading", "grip.continuity.first=open", "--reading", "grip.continuity.first=40 mOhm"];
    bench
        .run(&[&["vehicle-check", "enter", "--kind", "grip"], &twice[..]].concat())?
        .expect(2, &["\"open\"", "\"40 mOhm\"", "given twice"]);
    bench.enter(&[], &twice[..2])?.expect(2, &["\"0.3 ohm\"", "\"open\"", "given twice"]);
    let path = bench.filled("grip", &[])?;
    let text = fs::read_to_string(&path)? + "\"grip.continuity.first\" = \"open\"\n";
    fs::write(&path, text)?;
    bench.run(&["vehicle-check", "enter", "--readings", &path])?.expect(2, &["duplicate key", "given once"]);
    Ok(())
}

#[test]
fn files_and_options_that_can_not_be_used_say_what_is_allowed() -> Result<()> {
    let bench = Bench::new()?;
    bench
        .run(&["vehicle-check", "enter", "--readings", "nowhere.toml"])?
        .expect(2, &["can't read", "writes a template"]);
    bench.enter(&[("grip.continuity.first", "0,3 ohm")], &[])?.expect(2, &["a point before the decimals"]);
    bench.enter(&[("grip.continuity.first", "43")], &[])?.expect(2, &["no unit", "43 mOhm"]);
    bench
        .enter(&[], &["--reading", "grip.ohm.first=1 ohm"])?
        .expect(2, &["no line of a grip worksheet", "grip.terminal.first"]);
    bench.enter(&[], &["--kind", "body"])?.expect(2, &["--kind is body", "for grip"]);
    bench.enter(&[], &["--sheet", "body"])?.expect(2, &["the sheet body", "takes one sheet"]);
    bench.enter(&[], &["--meter", "ohms=good"])?.expect(2, &["1 % + 2 x 0.1 ohm"]);
    bench.enter(&[], &["--report", "x.txt"])?.expect(2, &[".pdf nor in .html"]);
    bench.run(&["vehicle-check", "form", "--out", "x.pdf"])?.expect(2, &["--kind grip, body or pair"]);
    bench.run(&["vehicle-check", "enter", "--kind", "wheel"])?.expect(2, &["grip, body or pair"]);
    Ok(())
}

#[test]
fn answers_are_saved_after_every_line_and_the_next_enter_goes_on() -> Result<()> {
    let bench = Bench::new()?;
    let enter = ["vehicle-check", "enter", "--kind", "grip"];
    // A mistake is asked again, `?` repeats, `back` goes back; then the answers break off.
    let answers = "firm\ngood\n?\nfirm\nback\nloose\nfirm\nfirm\n";
    bench
        .told(&enter, answers)?
        .expect(10, &["firm, loose or unclear", "are saved in", "goes on there", "MEND THE RUN FIRST"]);
    let draft = bench.file("archive").join(".drafts").join("vehicle-check.toml");
    let text = fs::read_to_string(&draft)?;
    ensure!(text.contains("\"grip.terminal.ground\" = \"loose\""), "{text}");
    // The rest, with the slip that is asked for at once.
    let file = fill(&text, &[]);
    let rest: String = file
        .lines()
        .filter_map(|l| l.strip_prefix("\"grip.")?.split_once("\" = \"")?.1.split_once('"').map(|(e, _)| e))
        .skip(4)
        .map(|entry| if entry == "0.3 ohm" { "45 ohm\n0.3 ohm\n".to_owned() } else { format!("{entry}\n") })
        .collect();
    let out = bench.path("check.json")?;
    let said = bench.told(&[&enter[..], &["--out", &out]].concat(), &rest)?;
    said.expect(10, &["going on with what is saved", "ohms for milliohms?", "grip.terminal.ground"]);
    ensure!(!draft.exists(), "what is kept elsewhere is no draft any more");
    bench_show(&out)?.expect(10, &["MEND THE RUN FIRST", "ground", "loose"]);
    Ok(())
}

fn bench_show(file: &str) -> Result<Said> {
    trackpair(["vehicle-check", "show", file])
}

#[test]
fn a_worksheet_is_kept_in_its_case_with_its_page_and_its_paper() -> Result<()> {
    let bench = Bench::new()?;
    let new =
        ["case", "new", "--complaint", "limp-home", "--vehicle", "an invented twin", "--intake", "grip"];
    bench.run(&new)?.expect(0, &[]);
    let form = bench.path("form.pdf")?;
    // The case shows the kind of part.
    bench.run(&["vehicle-check", "form", "--case", "twin", "--out", &form])?.expect(0, &["the form"]);
    bench
        .run(&["vehicle-check", "form", "--case", "twin", "--out", &form])?
        .expect(2, &["never overwritten"]);
    bench.enter(&[("grip.bend.first", "flickers")], &["--case", "twin"])?.expect(10, &["entry 2"]);
    bench.run(&["case", "show", "twin"])?.expect(0, &["MEND THE RUN FIRST", "mend that run"]);
    bench.run(&["records", "verify"])?.expect(0, &["AS KEPT"]);
    let files = trackpair_tests::cli::files_under(&bench.file("archive"));
    let page = files.iter().find(|f| f.to_string_lossy().ends_with(".html")).context("a page")?;
    ensure!(files.iter().any(|f| f.to_string_lossy().ends_with(".pdf")), "{files:?}");
    let page = page.to_str().context("UTF-8")?;
    trackpair(["verify", page])?.expect(0, &[]);
    bench.enter(&[], &["--case", "nowhere"])?.expect(2, &["no case", "case list"]);
    bench.run(&["case", "close", "twin", "--ending", "handed_on"])?.expect(0, &[]);
    bench.enter(&[], &["--case", "twin"])?.expect(2, &["was closed on"]);
    Ok(())
}

#[test]
fn forms_and_worksheets_are_well_formed_and_hold_every_line() -> Result<()> {
    let bench = Bench::new()?;
    let (form, report, out) =
        (bench.path("form.html")?, bench.path("report.html")?, bench.path("check.json")?);
    bench.run(&["vehicle-check", "form", "--kind", "pair", "--out", &form])?.expect(0, &[]);
    bench.enter(&[("grip.frame.first", "40 kohm")], &["--report", &report, "--out", &out])?.expect(10, &[]);
    let check: Value = serde_json::from_str(&fs::read_to_string(&out)?)?;
    let lines = check["lines"].as_array().context("lines")?;
    let (form, report) = (fs::read_to_string(&form)?, fs::read_to_string(&report)?);
    for line in lines.iter().filter(|l| l["computed"] == false) {
        let id = line["id"].as_str().context("an id")?;
        ensure!(form.contains(id), "{id} is on no form");
    }
    ensure!(report.contains("40 kohm") && report.contains("Mend the run first"), "{report}");
    for caution in ["Unplug both ends", "battery disconnected", "service manual prevails"] {
        ensure!(form.contains(caution) && report.contains(caution), "{caution}");
    }
    Ok(())
}

#[test]
fn expected_values_and_verdicts_are_those_of_an_independent_program() -> Result<()> {
    let bench = Bench::new()?;
    let out = bench.path("check.json")?;
    let mut documents = Vec::new();
    let changes = [
        ("grip.continuity.first", "0.7 ohm"),
        ("grip.continuity.second", "1.4 ohm"),
        ("grip.neck.supply", "0.3..0.5 ohm"),
        ("grip.bend.second", "0.3..0.9 ohm"),
        ("grip.frame.ground", "0.98 Mohm"),
        ("grip.frame.first", ">0.5 Mohm"),
        ("grip.between.supply-ground", "0.4 Mohm"),
        ("grip.drop.ground", "260 mV @ 1.7 A"),
        ("grip.drop.supply", "230 mV @ bulb 21 W"),
        ("grip.output.supply", "4.74 V"),
        ("grip.output.first.rest", "0.62 V"),
        ("grip.output.first.half", "2.30 V"),
    ];
    for (changes, more) in [
        (&[][..], &[][..]),
        (&changes[..], &["--temperature", "60"][..]),
        (&changes[..3], &["--wire", "24AWG", "--meter", "ohms=0.2 % + 1 x 0.01 ohm"][..]),
    ] {
        let _ = fs::remove_file(&out);
        bench.enter(changes, &[&["--out", &out], more].concat())?;
        documents.push(fs::read_to_string(&out)?);
    }
    let paths: Vec<PathBuf> = (0..documents.len()).map(|k| bench.file(&format!("{k}.json"))).collect();
    for (path, text) in paths.iter().zip(&documents) {
        fs::write(path, text)?;
    }
    let script = programs::repository().join("tests/python/vehicle.py");
    let output = Command::new(programs::python()?).arg(script).args(&paths).output()?;
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success() && said.contains("agree"), "{said}");
    Ok(())
}
