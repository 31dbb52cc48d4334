//! The published schemas as the types have them. A schema file is never written by hand: `UPDATE_GOLDENS=1 cargo test -p trackpair-host
//! --lib --features schemas derived` writes them all, and without the variable the test compares them.

use super::PUBLISHED;
use crate::cli::{
    case, check_setup, gauge as gauge_commands, matings, population, records, rigs, settings, sheet, verify,
};
use crate::compare::changes::Changes;
use crate::compare::proposal::Proposal;
use crate::compare::rejudged;
use crate::compare::risks::SheetRisks;
use crate::compare::standing::Standing;
use crate::gauge::documents::{KnownDocument, StudyDocument};
use crate::outcome::Outcome;
use crate::report::explain::Explanation;
use crate::vehicle::VehicleCheck;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde::{Serialize, Serializer};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::{env, fs};

/// A document, its description, the versions of its shape that are printed, and its type's schema.
struct Row {
    name: &'static str,
    title: &'static str,
    description: &'static str,
    versions: &'static [u32],
    /// Keys that stored documents of earlier programs may lack: of which definition (none: the document itself), and which.
    lacking: &'static [(Option<&'static str>, &'static str)],
    schema: Schema,
}

fn row<T: JsonSchema>(name: &'static str, title: &'static str, description: &'static str) -> Row {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    Row {
        name,
        title,
        description,
        versions: &[1],
        lacking: &[],
        schema: settings.into_generator().into_root_schema_for::<T>(),
    }
}

fn rows() -> Vec<Row> {
    vec![
        Row {
            versions: &[1, 2],
            lacking: &[(None, "scope"), (None, "readings"), (Some("OutcomeFinding"), "effect")],
            ..row::<Outcome>(
                "outcome",
                "Outcome of one part on one day",
                "What trackpair writes as outcome.json and prints with --json. Every number is finite. Schema 2 adds `line`; what has 1 is \
                 read as before.",
            )
        },
        row::<rigs::RigList>(
            "rigs",
            "Rigs and who answers",
            "What `trackpair rigs --json` prints: every address that was asked.",
        ),
        row::<rigs::PingList>(
            "ping",
            "Round-trip times",
            "What `trackpair rigs --ping N --json` prints. Times are whole microseconds on the host's clock.",
        ),
        row::<rigs::conformance::ConformanceDocument<'static>>(
            "conformance",
            "Whether a rig keeps the protocol",
            "What `trackpair rigs --conform --json` prints.",
        ),
        row::<sheet::SheetList>(
            "sheets",
            "Shipped part sheets",
            "What `trackpair sheet list --json` prints.",
        ),
        row::<SheetRisks>(
            "sheet_risks",
            "What the limits of a part sheet risk",
            "What `trackpair sheet show NAME --json` prints: consumer's and producer's risk of its limits under the decision rule (JCGM \
             106:2012, clauses 8 and 9).",
        ),
        row::<sheet::SheetCheck<'static>>(
            "sheet_check",
            "A part sheet, checked",
            "What `trackpair sheet check FILE --json` prints: what the sheet holds, or its first mistake. One of the two is null.",
        ),
        row::<population::shown::PopulationList>(
            "population",
            "Healthy bodies that others are judged among",
            "What `trackpair population show --json` prints.",
        ),
        row::<Changes>("changes", "What changed between records", "What `trackpair compare --json` prints."),
        row::<Explanation>(
            "explanation",
            "Figures of a record explained",
            "What `trackpair explain --json` prints.",
        ),
        row::<Standing>(
            "standing",
            "A part among the population of its kind",
            "What `trackpair compare --others --json` prints.",
        ),
        row::<Proposal>(
            "proposal",
            "Limits from good parts",
            "What `trackpair population limits --json` prints.",
        ),
        row::<rejudged::Document<'static>>(
            "rejudged",
            "What judging records again changed",
            "What `trackpair rejudge --json` prints.",
        ),
        row::<settings::Shown>(
            "config",
            "What is configured",
            "What `trackpair config show --json` prints. Options on the command line override all of it.",
        ),
        row::<check_setup::Setup>(
            "setup",
            "Whether a machine is ready",
            "What `trackpair check-setup --json` prints.",
        ),
        row::<records::list::RecordsDocument<'static>>(
            "records",
            "Records of an archive",
            "What `trackpair records list --json` prints.",
        ),
        row::<records::show::ShownRecord<'static>>(
            "record",
            "One record of an archive",
            "What `trackpair records show --json` prints.",
        ),
        row::<records::VerificationDocument<'static>>(
            "verification",
            "Whether an archive still is what was kept",
            "What `trackpair records verify --json` prints.",
        ),
        row::<case::show::CaseDocument<'static>>(
            "case",
            "A case",
            "What `trackpair case show --json` prints.",
        ),
        row::<case::list::CasesDocument<'static>>(
            "cases",
            "Cases",
            "What `trackpair case list --json` prints.",
        ),
        row::<VehicleCheck>(
            "vehicle_check",
            "Checks at the vehicle before a part is pulled",
            "What `trackpair vehicle-check enter --json` and `show --json` print, and what a case keeps.",
        ),
        row::<matings::MatingsDocument>(
            "matings",
            "Matings of connectors",
            "What `trackpair matings --json` prints.",
        ),
        row::<gauge_commands::planning::Document<'static>>(
            "gauge_plan",
            "The plan of a gauge study",
            "What `trackpair gauge plan --json` prints.",
        ),
        row::<StudyDocument>(
            "gauge_result",
            "The result of a gauge study",
            "What `trackpair gauge result --json` prints.",
        ),
        row::<KnownDocument>(
            "check_part",
            "A known part over its sweeps",
            "What `trackpair check-part sweep --json` and `chart --json` print.",
        ),
        row::<verify::SealCheck<'static>>(
            "seal_check",
            "What one file shows by itself",
            "What `trackpair verify --json` prints.",
        ),
    ]
}

/// The text of a description without the brackets of links in the source, on one line.
fn plain(text: &str) -> String {
    let mut said = text.split_whitespace().collect::<Vec<_>>().join(" ");
    while let Some((before, link)) = said.split_once("[`") {
        let Some((name, after)) = link.split_once("`]") else { break };
        let after =
            after.strip_prefix('(').and_then(|target| target.split_once(')')).map_or(after, |(_, rest)| rest);
        said = format!("{before}`{}`{after}", name.rsplit("::").next().unwrap_or(name));
    }
    said
}

/// Takes null from what a property may be.
fn never_null(property: &mut Value) {
    let is_null = |v: &Value| *v == json!("null") || *v == json!({ "type": "null" }) || v.is_null();
    let Some(object) = property.as_object_mut() else { return };
    for key in ["type", "anyOf", "enum"] {
        let Some(list) = object.get_mut(key).and_then(Value::as_array_mut) else { continue };
        list.retain(|v| !is_null(v));
        if key != "enum" && list.len() == 1 {
            let only = list.remove(0);
            if key == "type" {
                object.insert(key.to_owned(), only);
            } else {
                object.remove(key);
                object.extend(only.as_object().cloned().unwrap_or_default());
            }
        }
    }
}

/// What holds for all documents: objects take no other keys, a key that may be left out is never null, and a number's size in memory is
/// nobody's business. The branches of a choice add to an object that is closed around them (`inside`).
fn tidy(schema: &mut Value, inside: bool) {
    let Some(object) = schema.as_object_mut() else { return };
    if let Some(Value::String(text)) = object.get_mut("description") {
        *text = plain(text);
    }
    object.remove("format");
    let required: BTreeSet<String> = object
        .get("required")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .map(str::to_owned)
        .collect();
    let mut has_properties = false;
    if let Some(properties) = object.get_mut("properties").and_then(Value::as_object_mut) {
        has_properties = true;
        for (name, property) in properties {
            if !required.contains(name) {
                never_null(property);
            }
            tidy(property, false);
        }
    }
    let mut chooses = false;
    for key in ["oneOf", "anyOf", "allOf"] {
        if let Some(branches) = object.get_mut(key).and_then(Value::as_array_mut) {
            chooses = true;
            branches.iter_mut().for_each(|branch| tidy(branch, inside || has_properties));
        }
    }
    for key in ["items", "additionalProperties"] {
        if let Some(below) = object.get_mut(key) {
            tidy(below, false);
        }
    }
    for below in object.get_mut("$defs").and_then(Value::as_object_mut).into_iter().flat_map(Map::values_mut)
    {
        tidy(below, false);
    }
    if has_properties && !inside && !object.contains_key("additionalProperties") {
        object.insert(
            if chooses { "unevaluatedProperties" } else { "additionalProperties" }.to_owned(),
            json!(false),
        );
    }
}

/// What readers look for first, in this order.
const FIRST: [&str; 8] = ["$schema", "$id", "title", "description", "type", "const", "enum", "properties"];

/// A schema in the order in which it is read: what it is, what is in it, the definitions last.
struct InOrder<'a>(&'a Value);

impl Serialize for InOrder<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self.0 {
            Value::Object(object) => {
                let place = |key: &str| FIRST.iter().position(|first| *first == key).unwrap_or(FIRST.len());
                let mut keys: Vec<&String> = object.keys().collect();
                keys.sort_by_key(|key| (*key == "$defs", place(key)));
                to.collect_map(keys.into_iter().map(|key| (key, InOrder(&object[key]))))
            }
            Value::Array(list) => to.collect_seq(list.iter().map(InOrder)),
            plain => plain.serialize(to),
        }
    }
}

/// The file's text.
fn text(row: Row) -> String {
    let mut schema = row.schema.to_value();
    tidy(&mut schema, false);
    let newest = row.versions.last().copied().unwrap_or_default();
    for (definition, key) in row.lacking {
        let object = match definition {
            Some(definition) => &mut schema["$defs"][*definition],
            None => &mut schema,
        };
        let required = object["required"].as_array_mut().expect("required keys");
        let before = required.len();
        required.retain(|name| name != key);
        assert_eq!(required.len() + 1, before, "{definition:?} has no {key} any more");
    }
    schema["$id"] = json!(format!("urn:trackpair:{}:{newest}", row.name));
    schema["title"] = json!(row.title);
    schema["description"] = json!(row.description);
    let versions = match row.versions {
        [only] => json!({ "const": only }),
        all => json!({ "enum": all }),
    };
    schema["properties"]["schema"] = versions;
    schema["properties"]["schema"]["description"] = json!("Version of this shape.");
    if row.name != "outcome" {
        schema["properties"]["document"] =
            json!({ "const": row.name, "description": "Name of this document." });
    }
    serde_json::to_string_pretty(&InOrder(&schema)).expect("a schema is JSON") + "\n"
}

#[test]
fn every_published_schema_is_the_one_of_its_type() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("outcome/src/outcome/schema");
    let named = |names: &mut dyn Iterator<Item = &'static str>| names.collect::<BTreeSet<_>>();
    let rows = rows();
    assert_eq!(
        named(&mut rows.iter().map(|row| row.name)),
        named(&mut PUBLISHED.iter().map(|published| published.name)),
        "a published document needs its type here"
    );
    let mut differing = Vec::new();
    for row in rows {
        let (name, file) = (row.name, folder.join(format!("{}.schema.json", row.name)));
        let derived = text(row);
        if env::var_os("UPDATE_GOLDENS").is_some() {
            fs::write(&file, derived).expect("a folder that can be written");
        } else if fs::read_to_string(&file).ok().as_deref() != Some(derived.as_str()) {
            differing.push(name);
        }
    }
    assert!(
        differing.is_empty(),
        "{differing:?} are not what the types say; UPDATE_GOLDENS=1 with this test writes them anew, git diff shows what changed"
    );
}

#[test]
fn links_of_the_source_are_no_part_of_a_description() {
    assert_eq!(plain("One\nof [`Written::Known`], [`X`](y::X)."), "One of `Known`, `X`.");
}

#[test]
fn a_key_that_may_be_left_out_is_never_null() {
    let mut schema = json!({
        "type": "object",
        "properties": {
            "a": { "type": ["string", "null"], "minLength": 1 },
            "b": { "anyOf": [{ "$ref": "#/$defs/b" }, { "type": "null" }] },
            "c": { "type": ["number", "null"], "format": "double" },
        },
        "required": ["c"],
    });
    tidy(&mut schema, false);
    assert_eq!(
        schema,
        json!({
            "type": "object",
            "properties": {
                "a": { "type": "string", "minLength": 1 },
                "b": { "$ref": "#/$defs/b" },
                "c": { "type": ["number", "null"] },
            },
            "required": ["c"],
            "additionalProperties": false,
        })
    );
}
