//! What lost contact is found to follow, over many simulated grips: places of the pigtail that stand out, rightly and falsely, track told
//! from wire, warmth. Prints a table with exact bounds. `study_contact [--parts N] [--seed S]`.

use anyhow::{Context, Result};
use clap::Parser;
use serde_json::Value;
use trackpair_tests::cli::outcome_of;
use trackpair_tests::parallel::on_all_cores;
use trackpair_tests::shares::Share;

#[derive(Parser)]
struct Arguments {
    /// Parts per row
    #[arg(long, default_value_t = 40)]
    parts: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// What was reported of a part's lost contact, against what is true of it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Told {
    Right,
    Nothing,
    Wrong,
}

/// What is true of the parts of a row.
#[derive(Clone, Copy)]
enum Truth {
    /// Nothing is lost.
    Sound,
    /// It is lost while this place alone is flexed.
    Place(u64),
    /// It is lost wherever the pigtail is flexed.
    Anywhere,
    /// It is lost at one angle.
    Track,
    /// It is lost in time with the hand, at any angle.
    Wire,
    /// Warm alone, or whether warm or not.
    Warm(bool),
}

struct Row {
    name: String,
    /// A named part, or the faults of a file.
    part: &'static str,
    faults: Option<String>,
    query: &'static str,
    command: &'static [&'static str],
    truth: Truth,
}

const PLACES: &[&str] = &["flex", "--places", "--each-place", "10s"];
const SWEPT: &[&str] = &["flex", "--sweep", "--for", "120s"];
const WARMED: &[&str] = &["warm-up", "--for", "7min"];

fn rows() -> Vec<Row> {
    let named = |name: &str, part, query, command, truth| Row {
        name: name.to_owned(),
        part,
        faults: None,
        query,
        command,
        truth,
    };
    let flexed = "&operator=flex-places";
    let mut rows = vec![named("sound, place by place", "good-grip", flexed, PLACES, Truth::Sound)];
    for per_second in [0.2, 0.5, 1.0, 2.0] {
        rows.push(Row {
            name: format!("place 3, {per_second}/s while bent (4 s of it)"),
            faults: Some(format!(
                "kind = \"flex_dropout\"\nlead = \"falling\"\nplace = 3\nrate_per_s = {per_second:?}\nmin_us = 60\nmax_us = 900\n\
                 towards = \"open\"\n"
            )),
            ..named("", "", flexed, PLACES, Truth::Place(3))
        });
    }
    rows.push(Row {
        faults: Some(
            "kind = \"dropout\"\nlead = \"falling\"\nflex_rate_per_s = 2\nmin_us = 400\nmax_us = 3000\n"
                .to_owned(),
        ),
        ..named("any place, 2/s while bent", "", flexed, PLACES, Truth::Anywhere)
    });
    rows.extend([
        named("sound, swept", "good-grip", "&operator=flex", SWEPT, Truth::Sound),
        named("lifting wiper, swept", "lifting-wiper-grip", "", SWEPT, Truth::Track),
        named("lifting wiper, swept and flexed", "lifting-wiper-grip", "&operator=flex", SWEPT, Truth::Track),
        named("cracked wire, swept and flexed", "cracked-wire-grip", "&operator=flex", SWEPT, Truth::Wire),
        named("lost when warm, warmed", "warm-contact-grip", "&warm=4", WARMED, Truth::Warm(true)),
        named(
            "cracked wire, warmed and flexed",
            "cracked-wire-grip",
            "&warm=4&operator=flex",
            WARMED,
            Truth::Warm(false),
        ),
    ]);
    rows
}

fn main() -> Result<()> {
    let arguments = Arguments::parse();
    let folder = tempfile::tempdir()?;
    println!("seeds from {}", arguments.seed);
    println!("{:<34} {:>5} {:>22} {:>22} {:>22}", "part and way", "parts", "right", "nothing told", "wrong");
    for (k, row) in rows().iter().enumerate() {
        let part = match &row.faults {
            None => row.part.to_owned(),
            Some(fault) => {
                let file = folder.path().join(format!("part-{k}.toml"));
                let kind = "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\n";
                std::fs::write(&file, format!("{kind}[[fault]]\n{fault}"))?;
                file.display().to_string()
            }
        };
        let told = on_all_cores(arguments.parts, |n| {
            let rig = format!("sim:{part}?seed={}{}", arguments.seed + n, row.query);
            let outcome = outcome_of(&[row.command, &["--rig", &rig]].concat())?;
            told(&outcome["contact"], row.truth)
        });
        let told = told.into_iter().collect::<Result<Vec<Told>>>()?;
        let share = |one: Told| Share::count(&told, |t| *t == one).to_string();
        println!(
            "{:<34} {:>5} {:>22} {:>22} {:>22}",
            row.name,
            told.len(),
            share(Told::Right),
            share(Told::Nothing),
            share(Told::Wrong)
        );
    }
    Ok(())
}

/// What the outcome says, held against the truth.
fn told(contact: &Value, truth: Truth) -> Result<Told> {
    let lost = contact["events"].as_array().is_some_and(|e| !e.is_empty());
    if !lost {
        return Ok(if matches!(truth, Truth::Sound) { Told::Right } else { Told::Nothing });
    }
    let places = contact["places"].as_array().context("places")?;
    let standing: Vec<u64> =
        places.iter().filter(|p| p["stands_out"] == true).filter_map(|p| p["number"].as_u64()).collect();
    let follows = contact["follows"].as_str().context("what it follows")?;
    let said = |right: bool, nothing: bool| match (right, nothing) {
        (true, _) => Told::Right,
        (_, true) => Told::Nothing,
        _ => Told::Wrong,
    };
    Ok(match truth {
        Truth::Sound => Told::Wrong,
        Truth::Place(number) => said(standing == [number], standing.is_empty()),
        Truth::Anywhere => said(standing.len() != 1 && follows == "wire", standing.is_empty()),
        Truth::Track => said(follows == "track", follows == "not_told"),
        Truth::Wire => said(follows == "wire", follows == "not_told"),
        Truth::Warm(warm) => said(contact["warmth"]["follows"] == warm, contact["warmth"].is_null() || warm),
    })
}
