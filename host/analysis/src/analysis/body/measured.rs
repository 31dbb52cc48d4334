//! Everything that is measured on a body, put together in the order in which one needs the other. It judges nothing.

use super::creep::{self, Creep};
use super::estimate::Estimate;
use super::feedback_shape::{self, AgainstRotor};
use super::guided_push::{self, Pushed};
use super::jam::{self, Jam};
use super::lash::{self, Lash, NoLash};
use super::latency::{self, Ranges, Steps};
use super::motor::{self, Motor, RigErrors};
use super::population::Population;
use super::release::{self, Return, Returns};
use super::rest::{self, Rest, Stops};
use super::sensor_lag;
use super::stretches::Recording;
use super::tooth_map::{self, NoMap, ToothMap};
use super::traces::BodyTraces;
use super::tracking::{self, Tracking};
use super::worn_teeth::{Search, Worn};
use crate::quantity::{Bridge, Channel, ProcedureKind};
use crate::sheet::PartSheet;
use crate::trace::{PlateScale, Trace};

/// A motor whose K' could not be measured has its sheet's within this, relative. Engineering assumption.
const NOMINAL_EMF: f64 = 0.04;
/// Rest is known when at most this share of the returns from above hung.
const MOST_HUNG: f64 = 0.34;
/// Share of scans with contradicting feedback lines from which the position loop did not drive as asked. Engineering assumption.
const LED_ASTRAY: f64 = 6e-4;
/// A scale of the plate further off the sheet's nominal line than this was not read at the stops, relative. Engineering assumption.
const SCALE_OFF: f64 = 0.12;
/// Lag of a sensor that no coasts report, s: none to 0.3 ms. Engineering assumption.
const UNKNOWN_LAG: Estimate = Estimate { value: 0.05e-3, uncertainty: 0.1e-3 };
/// Tooth pitch where the sheet shows none, degrees. Engineering assumption.
pub const UNKNOWN_PITCH_DEG: f64 = 4.0;

/// The recordings that there are, ready.
#[derive(Clone, Debug, Default)]
pub struct Recordings {
    /// How the first line shows the plate's angle.
    pub plate: Option<PlateScale>,
    /// False when the drive did not bring the plate to both stops, so that the sheet's nominal line serves.
    pub stops_found: bool,
    /// Let go, and brought to both stops.
    pub rest: Option<Recording>,
    /// Steps.
    pub step: Option<Recording>,
    /// Let go from several openings.
    pub release: Option<Recording>,
    /// Slow ramps.
    pub creep: Option<Recording>,
    /// Swings and coasts.
    pub lash: Option<Recording>,
    /// Strokes from rest.
    pub tooth_map: Option<Recording>,
    /// Short check before the snap openings.
    pub blip_before: Option<Recording>,
    /// Snap openings: nothing is measured in them, only watched.
    pub blip: Option<Recording>,
    /// Short check after them.
    pub blip_after: Option<Recording>,
    /// Pushed through the bore.
    pub guided_push: Option<Recording>,
}

impl Recordings {
    /// Makes traces ready whose lost scans were filled ([`Trace::filled`]). The scale of the plate is the newest that any trace holds, else the sheet's nominal line.
    pub fn new(traces: &BodyTraces<'_>, sheet: &PartSheet) -> Self {
        let nominal = PlateScale {
            closed_ratio: sheet.rising.closed,
            open_ratio: sheet.rising.open,
            travel_deg: sheet.travel_deg,
        };
        // One that was interrupted may have ended on its way to a stop.
        let cut = |t: &&Trace| t.provenance.procedure == ProcedureKind::Rest && t.was_interrupted();
        let told = traces.all().filter(|t| !cut(t)).filter_map(|t| t.provenance.plate).last();
        let rest_cut = traces.rest.is_some_and(|t| cut(&t));
        let plate = told.filter(|p| plausible(p, &nominal)).unwrap_or(nominal);
        let stops_found = told.map_or(!rest_cut, |p| plausible(&p, &nominal));
        let of =
            |trace: Option<&Trace>| trace.and_then(|t| Recording::of(t, plate, sheet.correlation_line()));
        Self {
            plate: Some(plate),
            stops_found,
            rest: of(traces.rest),
            step: of(traces.step),
            release: of(traces.release),
            creep: of(traces.creep),
            lash: of(traces.lash),
            tooth_map: of(traces.tooth_map),
            blip_before: of(traces.blip_before),
            blip: of(traces.blip),
            blip_after: of(traces.blip_after),
            guided_push: of(traces.guided_push),
        }
    }

    fn all(&self) -> Vec<&Recording> {
        [
            &self.rest,
            &self.creep,
            &self.release,
            &self.step,
            &self.lash,
            &self.tooth_map,
            &self.blip_before,
            &self.blip_after,
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// The recording of a procedure.
    pub const fn of(&self, procedure: ProcedureKind) -> Option<&Recording> {
        match procedure {
            ProcedureKind::Rest => self.rest.as_ref(),
            ProcedureKind::Step => self.step.as_ref(),
            ProcedureKind::Release => self.release.as_ref(),
            ProcedureKind::Creep => self.creep.as_ref(),
            ProcedureKind::Lash => self.lash.as_ref(),
            ProcedureKind::ToothMap => self.tooth_map.as_ref(),
            ProcedureKind::BlipBefore => self.blip_before.as_ref(),
            ProcedureKind::Blip => self.blip.as_ref(),
            ProcedureKind::BlipAfter => self.blip_after.as_ref(),
            ProcedureKind::GuidedPush => self.guided_push.as_ref(),
            _ => None,
        }
    }

    /// Share of the scans under the position loop at which the feedback lines contradict each other.
    pub fn contradicted(&self) -> f64 {
        let driven: Vec<&Recording> =
            [&self.creep, &self.step, &self.release].into_iter().flatten().collect();
        let scans: usize = driven.iter().map(|r| r.signals.deg.len()).sum();
        driven.iter().map(|r| r.angle_lost).sum::<usize>() as f64 / scans.max(1) as f64
    }

    /// Stretches in which scans are missing, whether they were left out as a whole or not.
    pub fn lacking(&self) -> usize {
        self.all().iter().map(|r| r.left_out + r.stretches.iter().filter(|s| !s.whole).count()).sum()
    }
}

/// Whether both stops were found: a plate that a weak drive did not bring to its open stop has a scale of its own making.
fn plausible(scale: &PlateScale, nominal: &PlateScale) -> bool {
    let span = |s: &PlateScale| (s.open_ratio - s.closed_ratio) / s.travel_deg;
    let share = span(scale) / span(nominal);
    share.is_finite() && (share - 1.0).abs() < SCALE_OFF
}

/// What was measured.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Errors of the rig.
    pub rig: RigErrors,
    /// Rest by letting go; none where most returns hung.
    pub rest: Option<Rest>,
    /// Rest that the others go by: by letting go, else by the creep's zero torque.
    pub rest_deg: Option<f64>,
    /// Whether the plate comes back when it is let go.
    pub returns_to_rest: bool,
    /// Both stops.
    pub stops: Stops,
    /// Ranges of the travel.
    pub ranges: Ranges,
    /// The motor.
    pub motor: Motor,
    /// K' as measured, else the sheet's.
    pub emf: Option<Estimate>,
    /// Springs and friction.
    pub creep: Option<Creep>,
    /// Lash at rest.
    pub lash: Result<Lash, NoLash>,
    /// Lash elsewhere, and strokes of the push that were too fast.
    pub pushed: (Vec<Pushed>, usize),
    /// Lost motion.
    pub map: Result<ToothMap, NoMap>,
    /// Search for worn teeth on it.
    pub worn: Option<Worn>,
    /// Every return of the release.
    pub returns: Vec<Return>,
    /// The same by opening.
    pub grouped: Vec<Returns>,
    /// Openings whose returns were lost on the line.
    pub lost_returns: Vec<(f64, Bridge)>,
    /// How late the plate's sensor is, s.
    pub sensor_lag: Estimate,
    /// Steps.
    pub steps: Steps,
    /// Tracking of ramps.
    pub tracking: Option<Tracking>,
    /// The feedback lines against the rotor; none where no coast goes far enough.
    pub rotor: Option<AgainstRotor>,
    /// Places where the drive could not move the plate on.
    pub jams: Vec<Jam>,
    /// Whether the loop was led astray by a feedback line that was lost again and again.
    pub led_astray: bool,
}

/// What is known of the rig, from the provenance of any trace.
fn rig_errors(traces: &BodyTraces<'_>) -> RigErrors {
    let mut rig = RigErrors::default();
    let gain = |channel| {
        let of = traces.all().filter_map(move |t| t.provenance.channel(channel).map(|c| c.gain_uncertainty));
        of.filter(|g| g.is_finite() && *g > 0.0).last()
    };
    rig.volts_gain = gain(Channel::MotorVolts).unwrap_or(rig.volts_gain);
    rig.amps_gain = gain(Channel::MotorAmps).unwrap_or(rig.amps_gain);
    rig
}

/// The lines against the rotor, over the coasts of creep and release.
fn against_rotor(
    r: &Recordings,
    traces: &BodyTraces<'_>,
    sheet: &PartSheet,
    known: Option<(f64, Estimate)>,
) -> Option<AgainstRotor> {
    let (rest_deg, emf) = known?;
    let pairs = [(traces.creep, &r.creep), (traces.release, &r.release)];
    let pairs: Vec<(&Trace, &Recording)> =
        pairs.into_iter().filter_map(|(trace, recording)| Some((trace?, recording.as_ref()?))).collect();
    feedback_shape::against_rotor(&pairs, r, rest_deg, emf, sheet)
}

impl Measured {
    /// Measures everything that the recordings allow.
    pub fn new(r: &Recordings, traces: &BodyTraces<'_>, sheet: &PartSheet, population: &Population) -> Self {
        let rig = rig_errors(traces);
        let all = r.all();
        let found = rest::find(&all);
        let returns_to_rest = found.as_ref().is_some_and(|r| r.hung_from_above <= MOST_HUNG);
        let settled = found.as_ref().filter(|_| returns_to_rest).map(|r| r.position.value);
        let drives: Vec<&Recording> = [&r.creep, &r.release, &r.step].into_iter().flatten().collect();
        let creeps: Vec<&Recording> = r.creep.iter().collect();
        let creep = creep::measure(&creeps, motor::offsets(&all), rig, settled);
        let let_go = found.filter(|_| returns_to_rest);
        let by_creep = creep.as_ref().and_then(|c| c.rest_deg).map(|e| e.value);
        let rest_deg = let_go.as_ref().map(|r| r.position.value).or(by_creep);
        let motor = motor::measure(&drives, rest_deg, rig, sheet.body.as_ref().map(|b| b.motor));
        let nominal = sheet.body.as_ref().map(|b| b.motor.back_emf);
        let emf = motor.emf.or_else(|| nominal.and_then(|k| Estimate::new(k, NOMINAL_EMF * k)));
        let ranges = Ranges {
            rest_deg: rest_deg.unwrap_or(sheet.travel_deg / 12.0),
            low_deg: sheet.body.as_ref().map_or(0.3 * sheet.travel_deg, |b| b.low_range_deg),
            middle_deg: sheet.body.as_ref().map_or(0.65 * sheet.travel_deg, |b| b.middle_deg),
        };
        let at_rest = rest_deg.filter(|_| returns_to_rest);
        let lag = motor.emf.zip(at_rest).and_then(|(k, rest)| sensor_lag::measure(&drives, k.value, rest));
        let sensor_lag = lag.filter(|l| l.uncertainty < UNKNOWN_LAG.uncertainty).unwrap_or(UNKNOWN_LAG);
        let lashes: Vec<&Recording> = r.lash.iter().collect();
        let maps: Vec<&Recording> = r.tooth_map.iter().collect();
        let steps: Vec<&Recording> = r.step.iter().collect();
        let map = tooth_map::measure(&maps, &motor, at_rest);
        let worn = map.as_ref().ok().and_then(|m| Search::new(population)?.find(m));
        let returns: Vec<Return> = r.release.iter().flat_map(|r| release::find(r, ranges.rest_deg)).collect();
        Self {
            rig,
            returns_to_rest,
            stops: rest::stops(&r.rest.iter().collect::<Vec<_>>(), ranges.rest_deg),
            lash: lash::measure(&lashes, &motor, at_rest, sensor_lag),
            pushed: r
                .guided_push
                .as_ref()
                .zip(motor.emf)
                .map(|(r, k)| guided_push::measure(r, k))
                .unwrap_or_default(),
            grouped: release::grouped(&returns),
            lost_returns: traces
                .release
                .map_or_else(Vec::new, |t| release::lost(t, &returns, ranges.rest_deg)),
            steps: latency::measure(&steps, ranges, sensor_lag),
            sensor_lag,
            tracking: tracking::measure(&creeps),
            rotor: against_rotor(r, traces, sheet, at_rest.zip(motor.emf)),
            jams: jam::find(&all, motor.offsets),
            led_astray: r.contradicted() > LED_ASTRAY,
            rest: let_go,
            rest_deg,
            ranges,
            motor,
            emf,
            creep,
            map,
            worn,
            returns,
        }
    }

    /// A torque from a current; none where K' is not known.
    pub fn torque(&self, amps: Option<Estimate>) -> Option<Estimate> {
        creep::torque(amps?, self.emf?)
    }
}
