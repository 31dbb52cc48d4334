//! The published shapes of what `--json` prints, and `schema`, which prints them. A document that a command prints has its row here:
//! a test fails for a `--json` without one. The schemas in `outcome/schema/` are derived from the types that are printed (`derived`): a test
//! fails for a row without a type, and for a file that is not what its type says.

#[cfg(all(test, feature = "schemas"))]
mod derived;

use super::ending::Ending;
use crate::job::Failure;
use crate::outcome::SCHEMA;
use anyhow::anyhow;
use clap::Args;

/// `schema`.
#[derive(Args, Debug)]
pub struct Schema {
    /// Its name; without it, all names are listed
    pub name: Option<String>,
}

/// One published document.
#[derive(Clone, Copy, Debug)]
pub struct Published {
    /// Name of the document.
    pub name: &'static str,
    /// JSON Schema (2020-12).
    pub schema: &'static str,
    /// The commands whose `--json` prints it.
    pub printed_by: &'static [&'static str],
}

macro_rules! published {
    ($name:literal, $file:literal, $($command:literal),+) => {
        Published { name: $name, schema: include_str!(concat!("../../../outcome/src/outcome/schema/", $file)), printed_by: &[$($command),+] }
    };
}

/// Every published document.
pub const PUBLISHED: [Published; 26] = [
    Published {
        name: "outcome",
        schema: SCHEMA,
        printed_by: &[
            "qualify",
            "procedure self-check",
            "procedure leads-check",
            "procedure hand-sweep",
            "flex",
            "warm-up",
            "soak",
            "procedure rest",
            "procedure step",
            "procedure release",
            "procedure creep",
            "procedure lash",
            "procedure tooth-map",
            "procedure blip",
            "procedure guided-push",
            "follow",
            "judge",
        ],
    },
    published!("rigs", "rigs.schema.json", "rigs"),
    published!("ping", "ping.schema.json", "rigs"),
    published!("conformance", "conformance.schema.json", "rigs"),
    published!("sheets", "sheets.schema.json", "sheet list"),
    published!("sheet_risks", "sheet_risks.schema.json", "sheet show"),
    published!("sheet_check", "sheet_check.schema.json", "sheet check"),
    published!("population", "population.schema.json", "population show"),
    published!("changes", "changes.schema.json", "compare"),
    published!("explanation", "explanation.schema.json", "explain"),
    published!("standing", "standing.schema.json", "compare"),
    published!("proposal", "proposal.schema.json", "population limits"),
    published!("rejudged", "rejudged.schema.json", "rejudge"),
    published!("config", "config.schema.json", "config show"),
    published!("setup", "setup.schema.json", "check-setup"),
    published!("records", "records.schema.json", "records list"),
    published!("record", "record.schema.json", "records show"),
    published!("verification", "verification.schema.json", "records verify"),
    published!("case", "case.schema.json", "case show"),
    published!("cases", "cases.schema.json", "case list"),
    published!("vehicle_check", "vehicle_check.schema.json", "vehicle-check enter", "vehicle-check show"),
    published!("matings", "matings.schema.json", "matings"),
    published!("gauge_plan", "gauge_plan.schema.json", "gauge plan"),
    published!("gauge_result", "gauge_result.schema.json", "gauge result"),
    published!("check_part", "check_part.schema.json", "check-part sweep", "check-part chart"),
    published!("seal_check", "seal_check.schema.json", "verify"),
];

/// Carries out `schema`.
///
/// # Errors
/// [`Failure::Usage`] when no document has the name.
pub fn schema(args: &Schema) -> Result<Ending, Failure> {
    let Some(name) = &args.name else {
        PUBLISHED.iter().for_each(|p| println!("{:<13} {}", p.name, p.printed_by.join(", ")));
        return Ok(Ending::Done);
    };
    let Some(published) = PUBLISHED.iter().find(|p| p.name == name) else {
        let names = PUBLISHED.map(|p| p.name).join(", ");
        return Err(Failure::Usage(anyhow!("no published document is named {name:?}; there are: {names}")));
    };
    print!("{}", published.schema);
    Ok(Ending::Done)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::Arguments;
    use clap::{Command, CommandFactory};
    use serde_json::Value;
    use std::collections::BTreeSet;

    /// Commands below `command` that take `--json`.
    fn with_json(command: &Command, path: &str, found: &mut BTreeSet<String>) {
        for sub in command.get_subcommands() {
            let path = format!("{path} {}", sub.get_name()).trim().to_owned();
            if sub.get_arguments().any(|a| a.get_long() == Some("json")) {
                found.insert(path.clone());
            }
            with_json(sub, &path, found);
        }
    }

    #[test]
    fn every_command_with_json_has_a_published_schema_and_no_schema_is_without_its_command() {
        let mut commands = BTreeSet::new();
        with_json(&Arguments::command(), "", &mut commands);
        let published = PUBLISHED.iter().flat_map(|p| p.printed_by).map(|c| (*c).to_owned());
        assert_eq!(commands, published.collect());
    }

    /// Objects that list their properties and let others in. The branches of a choice (`inside`) belong to the object around them.
    fn open_objects(value: &Value, path: &str, inside: bool, found: &mut Vec<String>) {
        match value {
            Value::Object(object) => {
                let lists = object.get("properties").is_some_and(Value::is_object);
                let closed = ["additionalProperties", "unevaluatedProperties"]
                    .iter()
                    .any(|key| object.contains_key(*key));
                if lists && !closed && !inside {
                    found.push(path.to_owned());
                }
                for (key, v) in object {
                    let inside = key == "oneOf" && object.contains_key("unevaluatedProperties");
                    open_objects(v, &format!("{path}/{key}"), inside, found);
                }
            }
            Value::Array(list) => list.iter().for_each(|v| open_objects(v, path, inside, found)),
            _ => {}
        }
    }

    #[test]
    fn every_schema_names_its_draft_its_document_and_its_version_and_closes_its_objects() {
        for published in PUBLISHED {
            let schema: Value = serde_json::from_str(published.schema).unwrap();
            assert_eq!(
                schema["$schema"], "https://json-schema.org/draft/2020-12/schema",
                "{}",
                published.name
            );
            // Where old ones are printed as well, the newest is named last.
            let version = &schema["properties"]["schema"];
            let version = version["enum"].as_array().and_then(|all| all.last()).unwrap_or(&version["const"]);
            assert_eq!(schema["$id"], format!("urn:trackpair:{}:{version}", published.name));
            let mut open = Vec::new();
            open_objects(&schema, "", false, &mut open);
            assert!(open.is_empty(), "{}: {open:?}", published.name);
            if published.name != "outcome" {
                assert_eq!(schema["properties"]["document"]["const"], published.name);
            }
        }
    }
}
