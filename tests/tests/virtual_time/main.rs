//! Everything that waits for nothing, as one program: it is linked once, and both cores work until the last test ends. Rigs are simulated
//! ones on virtual time; what must wait for a rig in real time stands in `real_time`.
//!
//! One file per job or promise, each with a head that says what it holds; `cargo test -p trackpair-tests --test virtual_time FILE` runs one.

mod archive_readers;
mod archive_tables;
mod bad_files;
mod bad_input;
mod bench_session;
mod body_bad_input;
mod body_coverage;
mod body_job;
mod body_procedures;
mod body_reference;
mod cases;
mod check_parts;
mod check_setup;
mod comparison_reference;
mod comparisons;
mod configuration;
mod conformance;
mod crash_safety;
mod cut_sessions;
mod docs_pages;
mod explained;
mod flexing;
mod follow;
mod gauge_studies;
mod integrity;
mod jobs;
mod json_documents;
mod judge_again;
mod layers;
mod main_job;
mod motor_heat;
mod odd_rigs;
mod other_programs;
mod paper;
mod population;
mod readme_case;
mod records;
mod rejudging;
mod risk_reference;
mod self_closing;
mod settle;
mod shell_conventions;
mod single_procedures;
mod soak_reference;
mod studies;
mod trade_facts;
mod vehicle_checks;
mod wire_from_python;
