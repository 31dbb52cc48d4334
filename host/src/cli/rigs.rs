//! `rigs`: ports, who answers there, round-trip times, and whether a rig keeps the protocol.

pub mod conformance;

use super::ending::Ending;
use super::options::mounted::rig_meant;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal;
use super::terminal::document::print_document;
use crate::cli::surroundings::locks;
use crate::job::Failure;
use crate::job::bench_work::open_session;
use crate::job::rig_lock::{self, RigLock};
use crate::link::{Address, serial_ports};
use crate::report::text;
use crate::session::{PING_RANGE_US, Ping, survey};
use clap::Args;
use serde::Serialize;
use trackpair_protocol::message::{Identity, capability};

/// `rigs`.
#[derive(Args, Debug)]
pub struct Rigs {
    /// Ask this address too (or only it, with --ping); may be given more than once [else: TRACKPAIR_RIG, configuration]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Vec<String>,
    /// Send N clock pings and print the round-trip histogram
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub ping: Option<u32>,
    /// Ask the rig at this address point by point whether it keeps the protocol: without a part, nothing is driven
    #[arg(long, value_name = "ADDRESS", conflicts_with_all = ["rig", "ping"])]
    pub conform: Option<String>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

/// Carries out `rigs`.
pub fn rigs(args: &Rigs, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if let Some(rig) = &args.conform {
        return conformance::conformance(rig, args.json, surroundings);
    }
    match args.ping {
        Some(count) => pings(args, count, surroundings),
        None => list(args, surroundings),
    }
}

/// The document of `rigs --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RigList {
    document: &'static str,
    schema: u32,
    /// In the order asked: simulated ones, serial ports, then the addresses that were named.
    rigs: Vec<Answer>,
}

/// Who answers at an address.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Answer {
    /// serial:PATH, tcp:HOST:PORT or sim:PART.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    address: String,
    /// Who answers; null when no rig does.
    rig: Option<RigShown>,
    /// Why no rig answers; null when one does.
    error: Option<String>,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct RigShown {
    /// Kind of rig.
    model: String,
    /// Serial number.
    serial: String,
    /// Version of its program.
    firmware: String,
    /// Whether rig and part are simulated.
    simulated: bool,
    /// Whether it can turn a twist grip.
    drives_grip: bool,
    /// Whether it can drive a throttle body's motor.
    drives_body: bool,
}

impl RigShown {
    fn of(identity: &Identity) -> Self {
        let can = |bit| identity.capabilities & bit != 0;
        Self {
            model: identity.model.to_string(),
            serial: identity.serial.to_string(),
            firmware: identity.firmware.to_string(),
            simulated: can(capability::SIMULATED),
            drives_grip: can(capability::GRIP_DRIVE),
            drives_body: can(capability::BODY_DRIVE),
        }
    }
}

impl Answer {
    fn text(&self) -> String {
        let place = text::plain(&self.address, text::LABEL);
        match (&self.rig, &self.error) {
            (Some(rig), _) => format!("{place:<28} {} {} firmware {}", rig.model, rig.serial, rig.firmware),
            (None, error) => format!("{place:<28} no rig: {}", error.as_deref().unwrap_or("no answer")),
        }
    }
}

fn list(args: &Rigs, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let named = named(args, surroundings)?;
    let mut asked = Vec::new();
    let mut answers = Vec::new();
    for rig in &named {
        match Address::parse(rig).map_err(|e| Failure::Usage(e.into()))? {
            // A simulated rig is always there: say who it is at once.
            Address::Sim { .. } => {
                let session = open_session(rig, surroundings.open_simulator, surroundings.stop)?;
                let found = RigShown::of(session.identity());
                session.close().map_err(|e| Failure::Rig(e.into()))?;
                answers.push(Answer { address: rig.clone(), rig: Some(found), error: None });
            }
            address => asked.push(address),
        }
    }
    let ports = serial_ports().into_iter().map(|path| Address::Serial { path, baud: None });
    let all: Vec<Address> = ports.filter(|port| !asked.contains(port)).chain(asked.iter().cloned()).collect();
    let mut silent = false;
    let locks = locks();
    // Asking would take a rig away from a program that is at work with it.
    let (in_use, all): (Vec<_>, Vec<_>) = all
        .into_iter()
        .map(|address| (rig_lock::holder(&address, locks.as_deref()), address))
        .partition(|(who, _)| who.is_some());
    for (who, address) in in_use {
        silent |= asked.contains(&address);
        answers.push(Answer { address: address.to_string(), rig: None, error: who });
    }
    let all: Vec<Address> = all.into_iter().map(|(_, address)| address).collect();
    for answerer in survey(all) {
        silent |= answerer.found.is_err() && asked.contains(&answerer.address);
        let (rig, error) = match answerer.found {
            Ok(identity) => (Some(RigShown::of(&identity)), None),
            Err(error) => (None, Some(error.to_string())),
        };
        answers.push(Answer { address: answerer.address.to_string(), rig, error });
    }
    print_list(answers, args.json);
    Ok(if silent { Ending::RigFaultOrAborted } else { Ending::Done })
}

fn print_list(answers: Vec<Answer>, json: bool) {
    if json {
        return print_document(&RigList { document: "rigs", schema: 1, rigs: answers });
    }
    if answers.is_empty() {
        println!(
            "no serial ports; a rig on TCP or a pty is asked with --rig tcp:HOST:PORT or --rig serial:PATH"
        );
    }
    answers.iter().for_each(|answer| println!("{}", answer.text()));
}

/// The addresses that were typed, or the one that is configured.
fn named(args: &Rigs, surroundings: &Surroundings<'_>) -> Result<Vec<String>, Failure> {
    if args.rig.is_empty() {
        return Ok(surroundings.config()?.rig.value.clone().into_iter().collect());
    }
    Ok(args.rig.clone())
}

/// The document of `rigs --ping --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct PingList {
    document: &'static str,
    schema: u32,
    /// In the order named.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    rigs: Vec<RoundTrips>,
}

/// Round-trip times at an address.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct RoundTrips {
    /// Its address.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    address: String,
    /// How many were timed.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    round_trips: u64,
    /// Requests that had to be repeated.
    asked_again: u64,
    /// Shortest.
    min_us: u64,
    /// Median.
    p50_us: u64,
    /// 90 % are not longer.
    p90_us: u64,
    /// 99 % are not longer.
    p99_us: u64,
    /// Longest.
    max_us: u64,
    /// Rig clock minus link clock, and its largest error.
    clock_offset_us: i64,
    /// Largest error of that: half the shortest round trip.
    clock_offset_error_us: u64,
    /// Histogram; empty buckets are left out.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    buckets: Vec<Bucket>,
}

/// Round trips up to a time, beyond those of the bucket before.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Bucket {
    /// Upper end.
    up_to_us: u64,
    /// How many.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    count: u64,
}

fn pings(args: &Rigs, count: u32, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let named = named(args, surroundings)?;
    // Says where a rig could be named.
    rig_meant(named.first().map(String::as_str), surroundings)?;
    let mut rigs = Vec::new();
    for rig in &named {
        let _ours = at_terminal(surroundings, |outside| RigLock::take(rig, "", outside))?;
        let mut session = open_session(rig, surroundings.open_simulator, surroundings.stop)?;
        let ping = session.ping(count).map_err(|e| Failure::Rig(e.into()))?;
        let trips = RoundTrips::of(rig, &ping, session.statistics().retries);
        session.close().map_err(|e| Failure::Rig(e.into()))?;
        if !args.json {
            print!("{}", trips.text());
        }
        rigs.push(trips);
    }
    if args.json {
        print_document(&PingList { document: "ping", schema: 1, rigs });
    }
    Ok(Ending::Done)
}

impl RoundTrips {
    fn of(rig: &str, ping: &Ping, asked_again: u64) -> Self {
        let h = &ping.round_trip_us;
        let (low, _) = PING_RANGE_US;
        let buckets = h
            .iter_log(low.max(1), 2.0)
            .map(|b| Bucket { up_to_us: b.value_iterated_to(), count: b.count_since_last_iteration() });
        Self {
            address: rig.to_owned(),
            round_trips: h.len(),
            asked_again,
            min_us: h.min(),
            p50_us: h.value_at_quantile(0.5),
            p90_us: h.value_at_quantile(0.9),
            p99_us: h.value_at_quantile(0.99),
            max_us: h.max(),
            clock_offset_us: ping.offset_us,
            clock_offset_error_us: ping.offset_error_us,
            buckets: buckets.filter(|b| b.count > 0).collect(),
        }
    }

    /// Quantiles and a bar per bucket.
    fn text(&self) -> String {
        let mut out = format!(
            "{}: {} round trips, µs: min {} p50 {} p90 {} p99 {} max {}; asked again {}\n",
            text::plain(&self.address, text::LABEL),
            self.round_trips,
            self.min_us,
            self.p50_us,
            self.p90_us,
            self.p99_us,
            self.max_us,
            self.asked_again
        );
        let most = self.buckets.iter().map(|b| b.count).max().unwrap_or(1);
        for bucket in &self.buckets {
            let bar = "#".repeat((bucket.count * 50).div_ceil(most) as usize);
            out += &format!("{:>10} µs {:>7} {bar}\n", bucket.up_to_us, bucket.count);
        }
        out
    }
}
