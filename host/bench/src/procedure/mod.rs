//! What to ask of the rig, in order. It does not judge.
//!
//! - `error`: why a procedure failed, and warnings.
//! - `motion`: motion programs in degrees and seconds.
//! - `robust`: medians and spreads a procedure needs itself.
//! - `recording`: one run recorded whole, with progress.
//! - `detector`: jumps of one line, found while they happen.
//! - `self_check`, `sweep`, `release`, `leads`, `hand`, `flex`: one file per procedure of a grip.
//! - `body`: the procedures of a throttle body.
//! - `follow`: a grip and a body together.
//! - `wait`: waiting without a rig.
//!
//! Every procedure returns what it recorded, also when it failed. The rig is left unpowered by [`Bench::finish`], by
//! dropping the bench, and at once when a procedure fails.

mod body;
mod detector;
mod error;
mod flex;
mod follow;
mod hand;
mod leads;
mod motion;
mod recording;
mod release;
mod robust;
mod self_check;
mod sweep;
mod wait;

pub use body::{PUSH_PLACES_DEG, RestFound};
pub use error::{ProcedureError, Warning};
pub use flex::{
    BaselinePoint, FlexCapture, FlexCue, FlexEvent, FlexKeep, FlexPlaces, FlexPlan, STOP_TOLERANCE_DEG,
};
pub use follow::FollowFound;
pub use hand::{HandEnd, Typed};
pub use motion::Motion;
pub use recording::Recording;
pub use self_check::{LineNoise, Reading, SelfCheck};
pub use wait::wait;

use crate::quantity::{Channel, PartKind, ProcedureKind};
use crate::session::{Session, SessionError, Statistics, Story};
use crate::sheet::PartSheet;
use crate::trace::{PlateScale, Provenance};
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair_protocol::message::{Guard, Request, RigState, capability};

/// Time the supply is given to settle before a procedure looks at it, on the link's clock.
const SUPPLY_SETTLE: Duration = Duration::from_millis(100);

/// Time between a trip and the request to clear it, on the link's clock.
const TRIP_SETTLE: Duration = Duration::from_millis(50);

/// How often a pause looks whether the user stops it.
const PAUSE_STEP: Duration = Duration::from_millis(50);

/// How far a procedure is.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Which.
    pub procedure: ProcedureKind,
    /// 0..=1; stays 0 while a procedure has no planned end.
    pub done_fraction: f64,
    /// What is going on, a short fragment.
    pub message: String,
}

/// What the bench works with.
pub struct Setup<'a> {
    /// The part's sheet.
    pub sheet: &'a PartSheet,
    /// What the user calls the part.
    pub part: String,
    /// Host's date and time, RFC 3339; set anew by [`Bench::set_started`].
    pub started: String,
    /// Set by the user to stop everything.
    pub stop: &'a CancellationToken,
    /// Hears how far it is.
    pub progress: &'a mut dyn FnMut(Progress),
}

/// The reference's readings at the part's two stops, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stops {
    /// At the closed stop.
    pub closed_deg: f64,
    /// At the open stop.
    pub open_deg: f64,
}

/// A rig with a part on it, and the procedures it can do.
pub struct Bench<'a> {
    session: Session,
    setup: Setup<'a>,
    sheet: PartSheet,
    stops: Option<Stops>,
    plate: Option<PlateScale>,
    rest_deg: Option<f64>,
    break_volts: Option<f64>,
    winding_ohms: Option<f64>,
    without_reference: bool,
    planned: Vec<ProcedureKind>,
    /// Whether a trip that the rig holds is an old one: from before the first procedure, or reported as the end of the last.
    trip_is_told: bool,
}

impl<'a> Bench<'a> {
    /// Takes the session over.
    pub fn new(session: Session, setup: Setup<'a>) -> Self {
        let sheet = setup.sheet.clone();
        Self {
            session,
            setup,
            sheet,
            stops: None,
            plate: None,
            rest_deg: None,
            break_volts: None,
            winding_ohms: None,
            without_reference: false,
            planned: Vec::new(),
            trip_is_told: true,
        }
    }

    /// The session, for its identity and statistics.
    pub fn session(&self) -> &Session {
        &self.session
    }

    /// Keeps the rig alive and at rest for a time on the link's clock.
    ///
    /// # Errors
    /// The rig is gone, or the user stops it.
    pub fn pause(&mut self, time: Duration) -> Result<(), ProcedureError> {
        let until = self.session.now() + time;
        loop {
            if self.setup.stop.is_cancelled() {
                return Err(ProcedureError::Stopped);
            }
            let left = until.saturating_sub(self.session.now());
            if left.is_zero() {
                return Ok(());
            }
            self.session.idle(left.min(PAUSE_STEP))?;
        }
    }

    /// The same within a procedure.
    fn settle(&mut self, procedure: ProcedureKind, time: Duration) -> Result<(), ProcedureError> {
        match self.pause(time) {
            Err(ProcedureError::Stopped) => Err(ProcedureError::Aborted { procedure }),
            paused => paused,
        }
    }

    /// Stops as the self-check found them.
    pub fn stops(&self) -> Option<Stops> {
        self.stops
    }

    /// The sheet for the procedures from now on.
    pub fn use_sheet(&mut self, sheet: &PartSheet) {
        self.sheet = sheet.clone();
    }

    /// What the session is to do, in order: kept with every recording from now on.
    pub fn plan(&mut self, procedures: Vec<ProcedureKind>) {
        self.planned = procedures;
    }

    /// Date and time for the procedures from now on, RFC 3339.
    pub fn set_started(&mut self, started: String) {
        self.setup.started = started;
    }

    /// Leaves the rig unpowered between two procedures. Silence is no matter then, and what its guard says of it is reported.
    ///
    /// # Errors
    /// The rig is gone, or did not confirm.
    pub fn unpower(&mut self) -> Result<(), SessionError> {
        self.trip_is_told = true;
        self.session.make_safe()
    }

    /// Stops, unpowers and lets go of the rig.
    ///
    /// # Errors
    /// When the rig did not confirm; its own guards then take the drive off after 300 ms, the supply after seconds.
    pub fn finish(self) -> Result<Statistics, SessionError> {
        self.session.close()
    }

    /// As [`Bench::finish`]; with what happened on the line.
    pub fn end(mut self) -> (Story, Result<(), SessionError>) {
        let ended = self.session.end();
        (self.session.story(), ended)
    }

    /// Stops that procedures go by: found ones, or the sheet's with the closed stop at reference 0.
    fn stops_or_nominal(&self) -> Stops {
        self.stops.unwrap_or(Stops { closed_deg: 0.0, open_deg: self.sheet.travel_deg })
    }

    fn require(
        &self,
        procedure: ProcedureKind,
        capability: u32,
        missing: &'static str,
        instead: &'static str,
    ) -> Result<(), ProcedureError> {
        if self.session.can(capability) {
            return Ok(());
        }
        Err(ProcedureError::NotCapable { procedure, missing, instead })
    }

    /// Whether a procedure that only a grip has can be done here: nothing on a rig for throttle bodies is turned by hand or by a grip drive.
    ///
    /// # Errors
    /// [`ProcedureError::WrongPart`] on a rig for throttle bodies.
    pub fn takes_grips(&self, procedure: ProcedureKind) -> Result<(), ProcedureError> {
        let part = PartKind::Grip;
        if self.drives_body() { Err(ProcedureError::WrongPart { procedure, part }) } else { Ok(()) }
    }

    fn require_drive(&self, procedure: ProcedureKind) -> Result<(), ProcedureError> {
        self.takes_grips(procedure)?;
        self.require(procedure, capability::GRIP_DRIVE, "grip drive", "turn the grip by hand: hand sweep")?;
        self.require(procedure, capability::REFERENCE, "reference angle", "turn the grip by hand: hand sweep")
    }

    /// The sheet's supply in mV, when the rig can give it.
    fn supply_mv(&self, procedure: ProcedureKind) -> Result<u16, ProcedureError> {
        let volts = self.sheet.supply_volts;
        let (low, high) = self.session.identity().supply_mv;
        let millivolts = (volts * 1e3).round();
        if (f64::from(low)..=f64::from(high)).contains(&millivolts) {
            return Ok(millivolts as u16);
        }
        Err(ProcedureError::OutOfRange {
            procedure,
            what: "a sensor supply",
            given: format!("{volts} V"),
            allowed: format!("{} to {} V", f64::from(low) / 1e3, f64::from(high) / 1e3),
            advice: "change supply_volts in the part sheet",
        })
    }

    /// Clears an old trip, when its cause is gone. An E-stop pressed or a lid opened between two procedures is a failure
    /// instead, which ends the plan; whatever is begun after that clears it.
    fn clear_trip(&mut self, procedure: ProcedureKind) -> Result<(), ProcedureError> {
        let status = self.session.status()?;
        let told = std::mem::take(&mut self.trip_is_told);
        if status.state != RigState::Tripped {
            return Ok(());
        }
        let by_hand = [Guard::EmergencyStop, Guard::LidOpen]
            .into_iter()
            .find(|g| status.tripped & (1 << *g as u16) != 0);
        if let Some(guard) = by_hand.filter(|_| !told) {
            self.trip_is_told = true;
            return Err(ProcedureError::Guard { procedure, guard, value: 0 });
        }
        // What the motor carried when the guard tripped must be gone first.
        self.settle(procedure, TRIP_SETTLE)?;
        self.session.request(&Request::ClearTrip)?;
        Ok(())
    }

    /// Clears an old trip, sets the sheet's supply and lets it settle.
    fn power_up(&mut self, procedure: ProcedureKind) -> Result<u16, ProcedureError> {
        let millivolts = self.supply_mv(procedure)?;
        self.clear_trip(procedure)?;
        self.session.set_supply(millivolts)?;
        self.settle(procedure, SUPPLY_SETTLE)?;
        Ok(millivolts)
    }

    /// Scan period for a rate, within what the rig can do, µs.
    fn period_us(&self, rate_hz: f64) -> u32 {
        let identity = self.session.identity();
        let period = (1e6 / rate_hz.max(1e-3)).round();
        period.clamp(f64::from(identity.min_period_us), f64::from(identity.max_period_us)) as u32
    }

    fn speed(&self, wanted_deg_s: f64) -> f64 {
        wanted_deg_s.min(f64::from(self.session.identity().max_speed_mdeg_s) / 1e3)
    }

    /// An angle within what the rig's drive may be sent to.
    fn within_travel(&self, deg: f64) -> f64 {
        let (low, high) = self.session.identity().travel_mdeg;
        deg.clamp(f64::from(low) / 1e3, f64::from(high) / 1e3)
    }

    fn provenance(&self, plan: &recording::Plan) -> Provenance {
        Provenance {
            procedure: plan.procedure,
            simulated: self.session.is_simulated(),
            rig: Some(self.session.rig_provenance()),
            channels: self.session.channel_provenance(plan.channels),
            part: self.setup.part.clone(),
            started: self.setup.started.clone(),
            period_us: plan.period_us,
            reference_zero_deg: self.stops.map_or(0.0, |stops| stops.closed_deg),
            sweep: plan.sweep,
            file: None,
            stated_supply_volts: None,
            recorded_by: concat!("trackpair ", env!("CARGO_PKG_VERSION")).to_owned(),
            time_known: true,
            program: plan.stimuli.clone(),
            plate: self.plate,
            mapping: Vec::new(),
            places: Vec::new(),
            plan: self.planned.clone(),
            link: None,
            refused: Vec::new(),
        }
    }

    /// A line whose load or pull-down can be switched: its column number, and which of the two it has.
    fn input(&self, channel: Channel) -> Option<(u8, bool, bool)> {
        let info = self.session.channel(channel).filter(|info| info.has_load || info.has_pull_down)?;
        self.session.can(capability::LOADS).then_some((info.index, info.has_load, info.has_pull_down))
    }

    /// A procedure that could not begin: the rig is left unpowered.
    fn fail(&mut self, failure: ProcedureError) -> Recording {
        self.give_up();
        Recording::failed(failure)
    }

    /// Leaves the rig unpowered after a failure. What fails here was failing already.
    fn give_up(&mut self) {
        self.trip_is_told = true;
        let _ = self.session.make_safe();
    }
}
