//! Records that hold: sealed, verified by the program and by others that know nothing of it, handed over as one file, refused when
//! anything is not as it was kept.

use anyhow::{Context, Result, ensure};
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{Record, Running, Said, command, home, qualify, trackpair};
use trackpair_tests::programs;

const PART: &str = "grip <4711> \u{202e}\"ü\"";

struct Kept {
    archive: TempDir,
    record: Record,
}

/// A sealed record of an invented worn grip.
fn kept() -> Result<Kept> {
    let archive = tempdir()?;
    let record = qualify("sim:worn-grip?seed=2", archive.path(), &["--skip-leads", "--part", PART])?;
    record.said.expect(10, &["made the shop's key", "OUTSIDE"]);
    Ok(Kept { archive, record })
}

impl Kept {
    fn archive(&self) -> &str {
        self.archive.path().to_str().expect("the path is text")
    }

    fn name(&self) -> &str {
        self.record.folder.file_name().and_then(|n| n.to_str()).expect("a name")
    }

    fn verify(&self) -> Result<Said> {
        trackpair(["records", "verify", "--archive", self.archive()])
    }

    /// `verify` of one file, with a key or with this machine's own.
    fn check(&self, file: &Path, key: &[&str]) -> Result<Said> {
        trackpair([&["verify", text(file)?][..], key].concat())
    }
}

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("the path is text")
}

/// The public key of this test's shop, exported.
fn exported(folder: &Path) -> Result<PathBuf> {
    let file = folder.join("shop.pub");
    trackpair(["key", "export", "--out", text(&file)?])?.expect(0, &[]);
    Ok(file)
}

/// A key that another shop might have.
fn other_key() -> Result<String> {
    let other = programs::repository().join("tests/data/archives/shop.pub");
    Ok(text(&other)?.to_owned())
}

#[test]
fn another_program_finds_seal_signatures_hashes_and_qr_codes_as_documented() -> Result<()> {
    let kept = kept()?;
    let folder = tempdir()?;
    let key = exported(folder.path())?;
    let script = programs::repository().join("tests/python/seals.py");
    let output = Command::new(programs::python()?).arg(script).arg(&kept.record.folder).arg(&key).output()?;
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    ensure!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    // Traces, what happened on the line, outcome, and three documents.
    ensure!(said.contains("8 files, 3 documents and their QR codes hold"), "{said}");
    // What a telephone reads from the paper is checked too.
    let code = folder.path().join("code.txt");
    std::fs::write(&code, said.lines().last().context("a code")?)?;
    kept.check(&code, &["--key", text(&key)?])?
        .expect(0, &["INTACT: printed code", "compare the fingerprint"]);
    let forged =
        std::fs::read_to_string(&code)?.replacen(" 2", " 3", 1).replace("TRACKPAIR1 3", "TRACKPAIR1 2");
    let digits: String = forged.split(' ').nth(2).context("a fingerprint")?.chars().rev().collect();
    let forged: Vec<&str> =
        forged.split(' ').enumerate().map(|(k, w)| if k == 2 { &digits } else { w }).collect();
    std::fs::write(&code, forged.join(" "))?;
    kept.check(&code, &[])?.expect(12, &["has not signed"]);
    Ok(())
}

#[test]
fn an_untouched_archive_is_as_kept_and_a_changed_byte_is_named() -> Result<()> {
    let kept = kept()?;
    let good = kept.verify()?;
    good.expect(0, &["AS KEPT", "1 seals"]);
    let newest = good.out.lines().find_map(|l| l.strip_prefix("newest")).context("a fingerprint")?;
    let newest = newest.split_whitespace().next().context("a word")?;
    let held = |fingerprint: &str| {
        trackpair(["records", "verify", "--archive", kept.archive(), "--fingerprint", fingerprint])
    };
    held(newest)?.expect(0, &["AS KEPT"]);
    held(&"ab".repeat(32))?.expect(12, &["belongs to another archive"]);
    let trace = kept.record.trace("sweep")?;
    let mut bytes = std::fs::read(&trace)?;
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&trace, bytes)?;
    kept.verify()?.expect(12, &["NOT AS KEPT: 1 problem", "trace-2-sweep.parquet", "SHA-256 differs"]);
    // And it is not judged again as if nothing were.
    trackpair(["judge", text(&kept.record.folder)?])?
        .expect(2, &["trace-2-sweep.parquet", "swapped or altered"]);
    std::fs::remove_file(&trace)?;
    kept.verify()?.expect(12, &["trace-2-sweep.parquet", "missing"]);
    trackpair(["judge", text(&kept.record.folder)?])?.expect(2, &["can't read", "trace-2-sweep.parquet"]);
    Ok(())
}

#[test]
fn a_report_and_a_certificate_are_checked_alone_with_the_public_key() -> Result<()> {
    let kept = kept()?;
    let folder = tempdir()?;
    let key = exported(folder.path())?;
    for name in ["report.html", "report.pdf", "certificate.pdf"] {
        let file = folder.path().join(name);
        std::fs::copy(kept.record.folder.join(name), &file)?;
        kept.check(&file, &["--key", text(&key)?])?.expect(0, &["INTACT", "fingerprint"]);
        kept.check(&file, &[])?.expect(0, &["INTACT"]);
        kept.check(&file, &["--key", &other_key()?])?
            .expect(12, &["NOT AS SEALED", "another key than the given one"]);
        let mut bytes = std::fs::read(&file)?;
        let near = bytes.len() - 20;
        bytes[near] ^= 2;
        std::fs::write(&file, bytes)?;
        kept.check(&file, &["--key", text(&key)?])?.expect(12, &["NOT AS SEALED", "altered"]);
    }
    // A buyer has no key of the shop, and no key of their own.
    let elsewhere = tempdir()?;
    let mut buyer = command(["verify", text(&kept.record.folder.join("report.pdf"))?])?;
    buyer.env("XDG_CONFIG_HOME", elsewhere.path());
    let said = Running::start(buyer)?.finish()?;
    said.expect(11, &["WHOSE SEAL IT IS IS NOT KNOWN", "ask the shop for its public key"]);
    let readme = programs::repository().join("README.md");
    kept.check(&readme, &[])?.expect(12, &["carries no seal"]);
    kept.check(Path::new("/nowhere"), &[])?.expect(2, &["can't read /nowhere"]);
    Ok(())
}

#[test]
fn a_bundle_is_handed_over_and_checked_by_itself() -> Result<()> {
    let kept = kept()?;
    let folder = tempdir()?;
    let file = folder.path().join("record.zip");
    let bundle = |name: &str| {
        trackpair(["records", "bundle", name, "--out", text(&file)?, "--archive", kept.archive()])
    };
    bundle(kept.name())?.expect(0, &["checks it with `trackpair verify`"]);
    kept.check(&file, &[])?
        .expect(0, &["INTACT: bundle", kept.name(), "3 traces are sealed but not in this bundle"]);
    kept.check(&file, &["--key", &other_key()?])?.expect(12, &["another key"]);
    bundle(kept.name())?.expect(2, &["is there already"]);
    std::fs::remove_file(&file)?;
    bundle("nobody")?.expect(2, &["has no record \"nobody\"", "records list"]);
    // A record that is not as it was kept is not handed over.
    std::fs::write(kept.record.folder.join("outcome.json"), "{}")?;
    bundle(kept.name())?.expect(1, &["outcome.json", "swapped or altered"]);
    ensure!(!file.exists(), "nothing is written");
    Ok(())
}

/// Writes this test's configuration, with a logo of these bytes.
fn configure(logo: &[u8], more: &str) -> Result<()> {
    let folder = home().join("config/trackpair");
    std::fs::create_dir_all(&folder)?;
    std::fs::write(folder.join("logo.svg"), logo)?;
    let shop = "[shop]\nname = \"An invented shop <b>\"\naddress = [\"Nowhere 1\"]\nlogo = \"logo.svg\"\n";
    Ok(std::fs::write(folder.join("config.toml"), format!("{more}{shop}"))?)
}

#[test]
fn a_certificate_is_made_anew_on_other_paper_for_the_shop_that_is_configured() -> Result<()> {
    let kept = kept()?;
    configure(
        b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'><rect width='9' height='9'/></svg>",
        "",
    )?;
    let folder = tempdir()?;
    let file = folder.path().join("letter.pdf");
    let make = |record: &str, paper: &str| {
        let place = ["--archive", kept.archive(), "--out", text(&file)?];
        trackpair([&["certificate", record, "--paper", paper][..], &place].concat())
    };
    make(kept.name(), "a5")?.expect(2, &["there are a4 and letter"]);
    make("nobody", "letter")?.expect(2, &["has no record"]);
    make(kept.name(), "letter")?.expect(0, &["trackpair verify"]);
    kept.check(&file, &[])?.expect(0, &["INTACT: PDF document"]);
    make(kept.name(), "letter")?.expect(2, &["is there already"]);
    // What was altered is certified no more.
    std::fs::remove_file(&file)?;
    let outcome = kept.record.folder.join("outcome.json");
    let better = std::fs::read_to_string(&outcome)?.replace("\"outside\"", "\"within\"");
    std::fs::write(&outcome, better)?;
    make(kept.name(), "letter")?.expect(2, &["outcome.json", "swapped or altered"]);
    ensure!(!file.exists(), "no certificate of it");
    Ok(())
}

#[test]
fn a_logo_that_could_do_harm_is_told_and_left_out() -> Result<()> {
    let harm = b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'><script>alert(1)</script></svg>";
    configure(harm, "")?;
    let archive = tempdir()?;
    let record = qualify("sim:good-grip?seed=1", archive.path(), &["--skip-leads"])?;
    record.said.expect(0, &["without the shop's logo", "script"]);
    let page = String::from_utf8(record.file("report.html")?)?;
    ensure!(
        page.contains("An invented shop") && !page.contains("alert(1)"),
        "the shop stands there, its logo does not"
    );
    trackpair(["records", "verify", "--archive", text(archive.path())?])?.expect(0, &["AS KEPT"]);
    Ok(())
}

#[cfg(unix)]
#[test]
fn a_key_that_others_can_read_seals_nothing_and_the_record_is_kept() -> Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let first = kept()?;
    let key = home().join("config/trackpair/shop.key");
    ensure!(std::fs::metadata(&key)?.permissions().mode() & 0o777 == 0o600, "mode of a new key");
    std::fs::set_permissions(&key, std::fs::Permissions::from_mode(0o644))?;
    let archive = tempdir()?;
    let record = qualify("sim:good-grip?seed=1", archive.path(), &["--skip-leads"])?;
    record.said.expect(0, &["kept but not sealed", "mode 644", "chmod 600"]);
    ensure!(
        record.folder.join("report.html").is_file() && !record.folder.join("seal.json").exists(),
        "{record:?}"
    );
    let said = trackpair(["records", "verify", "--archive", text(archive.path())?])?;
    said.expect(0, &["AS KEPT", "not sealed"]);
    drop(first);
    Ok(())
}

#[test]
fn a_key_that_is_no_key_is_told() -> Result<()> {
    let kept = kept()?;
    let key = home().join("config/trackpair/shop.key");
    std::fs::write(&key, "nonsense")?;
    let archive = tempdir()?;
    let record = qualify("sim:good-grip?seed=1", archive.path(), &["--skip-leads"])?;
    record.said.expect(0, &["kept but not sealed", "holds no private key"]);
    trackpair(["key", "show"])?.expect(2, &["holds no private key"]);
    kept.check(&kept.record.folder.join("report.html"), &["--key", text(&key)?])?
        .expect(2, &["holds no public key"]);
    Ok(())
}

#[test]
fn an_exported_key_comes_back_and_a_key_in_place_is_never_overwritten() -> Result<()> {
    let kept = kept()?;
    let (folder, key) = (tempdir()?, home().join("config/trackpair/shop.key"));
    let copy = folder.path().join("copy.key");
    trackpair(["key", "export", "--private"])?.expect(2, &["a private key is not printed"]);
    trackpair(["key", "export", "--private", "--out", text(&copy)?])?.expect(0, &[]);
    trackpair(["key", "import", text(&copy)?])?.expect(2, &["is there already and is never overwritten"]);
    std::fs::remove_file(&key)?;
    trackpair(["key", "import", text(&copy)?])?.expect(0, &["is now the shop's key"]);
    kept.verify()?.expect(0, &["AS KEPT"]);
    Ok(())
}

/// What a later program wrote is not touched, and what is recorded now is kept elsewhere.
#[test]
fn an_archive_of_a_later_program_is_refused_by_name_and_the_record_kept_elsewhere() -> Result<()> {
    let kept = kept()?;
    let index = kept.archive.path().join("archive.sqlite");
    set_schema(&index, 99)?;
    let before = std::fs::read(&index)?;
    kept.verify()?.expect(2, &["schema 99", "use the program that wrote it"]);
    let temporary = tempdir()?;
    let mut again =
        command(["qualify", "--rig", "sim:good-grip", "--skip-leads", "--archive", kept.archive()])?;
    again.env("TMPDIR", temporary.path());
    Running::start(again)?.finish()?.expect(0, &["schema 99", "is kept in"]);
    ensure!(std::fs::read(&index)? == before, "nothing was changed");
    ensure!(temporary.path().join("trackpair-archive/archive.sqlite").is_file(), "kept elsewhere");
    Ok(())
}

/// Sets `user_version` as a later program would.
fn set_schema(index: &Path, version: u32) -> Result<()> {
    let script = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); \
                  c.execute('PRAGMA wal_checkpoint(TRUNCATE)'); c.execute('PRAGMA user_version = ' + sys.argv[2]); c.close()";
    let status = Command::new(programs::python()?)
        .args(["-c", script])
        .arg(index)
        .arg(version.to_string())
        .status()?;
    ensure!(status.success(), "python can't set it");
    Ok(())
}

#[test]
fn a_folder_that_is_no_archive_is_told() -> Result<()> {
    let folder = tempdir()?;
    let said = trackpair(["records", "verify", "--archive", text(folder.path())?])?;
    said.expect(2, &["the folder holds no archive", "--archive DIR"]);
    ensure!(std::fs::read_dir(folder.path())?.count() == 0, "asking makes nothing");
    Ok(())
}
