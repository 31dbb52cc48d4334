//! `rigs`: ports, who answers there, and round-trip times.

use super::args::Rigs;
use super::bench_work::open_session;
use super::{Ending, Failure, Surroundings};
use crate::link::{Address, serial_ports};
use crate::session::{PING_RANGE_US, Ping, survey};
use anyhow::anyhow;

/// Carries out `rigs`.
pub fn rigs(args: &Rigs, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if let Some(count) = args.ping {
        if args.rig.is_empty() {
            return Err(Failure::Usage(anyhow!("--ping needs the rig's address: add --rig ADDRESS")));
        }
        for rig in &args.rig {
            let mut session = open_session(rig, surroundings)?;
            let ping = session.ping(count).map_err(|e| Failure::Rig(e.into()))?;
            print!("{}", histogram(rig, &ping, session.statistics().retries));
            session.close().map_err(|e| Failure::Rig(e.into()))?;
        }
        return Ok(Ending::Done);
    }
    list(args, surroundings)
}

fn list(args: &Rigs, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let ports = serial_ports();
    let mut addresses: Vec<Address> =
        ports.into_iter().map(|path| Address::Serial { path, baud: None }).collect();
    for rig in &args.rig {
        match Address::parse(rig).map_err(|e| Failure::Usage(e.into()))? {
            // A simulated rig is always there: say who it is at once.
            Address::Sim { .. } => {
                let session = open_session(rig, surroundings)?;
                let identity = session.identity();
                println!("{rig:<28} {} {} firmware {}", identity.model, identity.serial, identity.firmware);
                session.close().map_err(|e| Failure::Rig(e.into()))?;
            }
            address => addresses.push(address),
        }
    }
    if addresses.is_empty() && args.rig.is_empty() {
        println!(
            "no serial ports; a rig on TCP or a pty is asked with --rig tcp:HOST:PORT or --rig serial:PATH"
        );
    }
    let mut silent = false;
    for answerer in survey(addresses) {
        let asked = args.rig.iter().any(|rig| Address::parse(rig).as_ref() == Ok(&answerer.address));
        match answerer.found {
            Ok(identity) => {
                let place = answerer.address.to_string();
                println!("{place:<28} {} {} firmware {}", identity.model, identity.serial, identity.firmware);
            }
            Err(error) => {
                silent |= asked;
                println!("{:<28} no rig: {error}", answerer.address.to_string());
            }
        }
    }
    Ok(if silent { Ending::RigFaultOrAborted } else { Ending::Done })
}

/// Round-trip times as text: quantiles and a bar per bucket.
fn histogram(rig: &str, ping: &Ping, retries: u64) -> String {
    use std::fmt::Write;
    let h = &ping.round_trip_us;
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{rig}: {} round trips, us: min {} p50 {} p90 {} p99 {} max {}; asked again {}",
        h.len(),
        h.min(),
        h.value_at_quantile(0.5),
        h.value_at_quantile(0.9),
        h.value_at_quantile(0.99),
        h.max(),
        retries
    );
    let (low, _) = PING_RANGE_US;
    let buckets: Vec<_> =
        h.iter_log(low.max(1), 2.0).filter(|b| b.count_since_last_iteration() > 0).collect();
    let most = buckets.iter().map(|b| b.count_since_last_iteration()).max().unwrap_or(1);
    for bucket in buckets {
        let count = bucket.count_since_last_iteration();
        let bar = "#".repeat(((count * 50).div_ceil(most)) as usize);
        let _ = writeln!(out, "{:>10} us {count:>7} {bar}", bucket.value_iterated_to());
    }
    out
}
