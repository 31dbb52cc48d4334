//! Classes of throttle bodies: what is planted in them, over which range of severity, and what a right answer is. It runs nothing.
//!
//! Ranges begin near what can just be seen, as in a prototype study, so that its table can be laid beside ours.

use serde::Serialize;
use trackpair::quantity::FindingKind;
use trackpair_rig_sim::fault::{Channel, Fault, Lead, LeakTo, Towards};
use trackpair_rig_sim::random::Random;

/// What is wrong with a body.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    Healthy,
    WornTooth,
    WornTeeth,
    ChippedTooth,
    MissingTooth,
    RestTooth,
    GrownLash,
    DeadSpot,
    WeakSpring,
    BrokenSpring,
    WeakDefaultSpring,
    StickyPlate,
    DryBearing,
    WindingResistance,
    ShortedTurns,
    FeedbackOffset,
    FeedbackDropout,
    FeedbackCommon,
    ImpactDropout,
    SupplyLead,
    GroundLead,
    SignalLead,
    Leak,
}

impl Class {
    /// Every class, in the order of the tables.
    pub const ALL: [Self; 23] = [
        Self::Healthy,
        Self::WornTooth,
        Self::WornTeeth,
        Self::ChippedTooth,
        Self::MissingTooth,
        Self::RestTooth,
        Self::GrownLash,
        Self::DeadSpot,
        Self::WeakSpring,
        Self::BrokenSpring,
        Self::WeakDefaultSpring,
        Self::StickyPlate,
        Self::DryBearing,
        Self::WindingResistance,
        Self::ShortedTurns,
        Self::FeedbackOffset,
        Self::FeedbackDropout,
        Self::FeedbackCommon,
        Self::ImpactDropout,
        Self::SupplyLead,
        Self::GroundLead,
        Self::SignalLead,
        Self::Leak,
    ];

    /// Name, the range of severity in words, and what the prototype study had: share with the right class first.
    pub const fn words(self) -> (&'static str, &'static str, Option<f64>) {
        match self {
            Self::Healthy => ("healthy", "with spread", Some(1.0)),
            Self::WornTooth => {
                ("worn tooth", "0.15 to 1 deg, any tooth 3 deg above rest or more", Some(0.97))
            }
            Self::WornTeeth => ("worn teeth", "0.15 to 1 deg, any three in a row", Some(0.97)),
            Self::ChippedTooth => ("chipped tooth", "0.15 to 1 deg deep, 1.5 to 3 deg wide, anywhere", None),
            Self::MissingTooth => ("missing tooth", "any, 3 deg above rest or more", Some(0.95)),
            Self::RestTooth => ("worn rest tooth", "0.3 to 1 deg, the tooth in mesh at rest", None),
            Self::GrownLash => ("grown lash", "0.25 to 1.5 deg more", Some(1.0)),
            Self::DeadSpot => ("brush dead spot", "3 to 100 ohm over 8 to 30 deg of rotor", Some(0.95)),
            Self::WeakSpring => ("weak main spring", "75 to 40 % of the torque left", Some(0.97)),
            Self::BrokenSpring => ("broken main spring", "20 to 0 % of the torque left", Some(1.0)),
            Self::WeakDefaultSpring => ("weak default spring", "75 to 30 % of the torque left", Some(0.97)),
            Self::StickyPlate => ("sticky plate", "0.06 to 0.3 N m at the closed stop", Some(1.0)),
            Self::DryBearing => ("dry bearing", "1.6 to 4 times the plate's friction", Some(0.78)),
            Self::WindingResistance => ("winding resistance", "0.3 to 3 ohm more", Some(1.0)),
            Self::ShortedTurns => ("shorted turns", "15 to 50 % of the turns", None),
            Self::FeedbackOffset => ("feedback offset", "2 to 8 % of supply, one line", Some(1.0)),
            Self::FeedbackDropout => {
                ("feedback dropout", "50 us to 5 ms, 0.5 to 5 a second, one line", Some(1.0))
            }
            Self::FeedbackCommon => ("feedback supply lost", "50 us to 5 ms, 0.5 to 5 a second", Some(1.0)),
            Self::ImpactDropout => {
                ("dropout on impact", "50 us to 5 ms, one line, 50 to 100 % of impacts", None)
            }
            Self::SupplyLead => ("supply lead", "5 to 30 ohm", None),
            Self::GroundLead => ("ground lead", "5 to 30 ohm", None),
            Self::SignalLead => ("signal lead", "300 to 3000 ohm, one line", None),
            Self::Leak => ("leakage", "20 to 2 kohm from one line to ground or supply", None),
        }
    }

    /// Kinds of which the first finding must be one; empty for a healthy body.
    pub const fn right(self) -> &'static [FindingKind] {
        use FindingKind as K;
        match self {
            Self::Healthy => &[],
            Self::WornTooth | Self::WornTeeth => &[K::WornTooth],
            // A deep chip is a piece of tooth that is missing.
            Self::ChippedTooth => &[K::WornTooth, K::MissingTooth],
            Self::MissingTooth => &[K::MissingTooth],
            // Seen as lash at rest; which tooth it is can't be seen from outside.
            Self::RestTooth => &[K::Lash, K::WornTooth],
            Self::GrownLash => &[K::Lash],
            Self::DeadSpot => &[K::BrushDeadSpot],
            Self::WeakSpring => &[K::WeakSpring],
            Self::BrokenSpring => &[K::BrokenSpring],
            Self::WeakDefaultSpring => &[K::WeakSpring],
            Self::StickyPlate => &[K::StickyPlate],
            Self::DryBearing => &[K::DryBearing],
            Self::WindingResistance | Self::ShortedTurns => &[K::Winding],
            Self::FeedbackOffset => &[K::FeedbackOffset],
            Self::FeedbackDropout | Self::ImpactDropout => &[K::FeedbackIntermittent],
            Self::FeedbackCommon => &[K::FeedbackIntermittent, K::Dropout],
            Self::SupplyLead => &[K::SupplyLead],
            Self::GroundLead => &[K::GroundLead],
            Self::SignalLead => &[K::SignalLead],
            Self::Leak => &[K::Leakage],
        }
    }

    /// Whether the defect sits at a tooth whose place is reported.
    pub const fn is_at_a_tooth(self) -> bool {
        matches!(self, Self::WornTooth | Self::WornTeeth | Self::ChippedTooth | Self::MissingTooth)
    }
}

/// A body to be tried.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Its class.
    pub class: Class,
    /// What is wrong with it.
    pub faults: Vec<Fault>,
    /// Where in its range the severity lies, 0 to 1 in logarithm; the mildest of several numbers.
    pub severity: f64,
    /// Its main number: depth, extra lash, share …; NaN without one.
    pub amount: f64,
    /// Middle of a defect at teeth, degrees of plate.
    pub centre_deg: Option<f64>,
}

impl Drawn {
    /// Upper half of the range: a fault that a bench is expected to find.
    pub fn nominal(&self) -> bool {
        self.class != Class::Healthy && self.severity >= 0.5
    }
}

/// Draws a body of a class.
pub fn draw(class: Class, random: &mut Random) -> Drawn {
    let mut range = Range { random, mildest: 1.0, amount: f64::NAN };
    let faults: Vec<Fault> = fault(class, &mut range).into_iter().collect();
    let centre_deg = match faults.first() {
        Some(Fault::WornTeeth { centre_deg, teeth, .. }) => {
            Some(centre_deg + 2.0 * f64::from(teeth.saturating_sub(1)))
        }
        Some(Fault::ChippedTooth { centre_deg, .. } | Fault::MissingTooth { centre_deg }) => {
            Some(*centre_deg)
        }
        _ => None,
    };
    Drawn { class, faults, severity: range.mildest, amount: range.amount, centre_deg }
}

/// A body with one worn tooth of a depth, anywhere on the travel.
pub fn worn_tooth(depth_deg: f64, random: &mut Random) -> Drawn {
    let centre_deg = Range { random, mildest: 1.0, amount: depth_deg }.tooth(0);
    let fault = Fault::WornTeeth { centre_deg, depth_deg, opening_share: 0.6, teeth: 1 };
    Drawn {
        class: Class::WornTooth,
        faults: vec![fault],
        severity: 1.0,
        amount: depth_deg,
        centre_deg: Some(centre_deg),
    }
}

/// Teeth by number, 4 deg apart, the first centred at 2 deg: the first one clear of rest, the last one clear of the open stop.
const FIRST_TOOTH: u32 = 3;
const LAST_TOOTH: u32 = 20;

/// Draws numbers and remembers the mildest and the first.
struct Range<'a> {
    random: &'a mut Random,
    mildest: f64,
    amount: f64,
}

impl Range<'_> {
    /// Log-uniform from the mildest to the worst; the worst may be the smaller number.
    fn log(&mut self, mildest: f64, worst: f64) -> f64 {
        let u = self.random.unit();
        self.mildest = self.mildest.min(u);
        let value = mildest * (worst / mildest).powf(u);
        if self.amount.is_nan() {
            self.amount = value;
        }
        value
    }

    fn any(&mut self, from: f64, to: f64) -> f64 {
        self.random.between(from, to)
    }

    fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[((self.random.unit() * choices.len() as f64) as usize).min(choices.len() - 1)]
    }

    /// Middle of any tooth more than 3 deg above rest that is not cut by the open stop, degrees of plate; `after` more follow it.
    fn tooth(&mut self, after: u32) -> f64 {
        let last = LAST_TOOTH - after;
        let k = FIRST_TOOTH + (self.random.unit() * f64::from(last - FIRST_TOOTH + 1)) as u32;
        4.0 * f64::from(k.min(last)) - 2.0
    }
}

fn fault(class: Class, r: &mut Range<'_>) -> Option<Fault> {
    let opening_share = 0.6;
    Some(match class {
        Class::Healthy => return None,
        Class::WornTooth => {
            Fault::WornTeeth { centre_deg: r.tooth(0), depth_deg: r.log(0.15, 1.0), opening_share, teeth: 1 }
        }
        Class::WornTeeth => {
            Fault::WornTeeth { centre_deg: r.tooth(2), depth_deg: r.log(0.15, 1.0), opening_share, teeth: 3 }
        }
        Class::ChippedTooth => Fault::ChippedTooth {
            centre_deg: r.tooth(0),
            depth_deg: r.log(0.15, 1.0),
            width_deg: r.any(1.5, 3.0),
            opening_share: 1.0,
        },
        Class::MissingTooth => Fault::MissingTooth { centre_deg: r.tooth(0) },
        Class::RestTooth => {
            Fault::WornTeeth { centre_deg: 6.0, depth_deg: r.log(0.3, 1.0), opening_share, teeth: 1 }
        }
        Class::GrownLash => Fault::GrownLash { extra_deg: r.log(0.25, 1.5), sector_share: r.any(0.2, 0.9) },
        Class::DeadSpot => Fault::BrushDeadSpot {
            ohms: r.log(3.0, 100.0),
            width_deg: r.any(8.0, 30.0),
            rotor_deg: r.any(0.0, 360.0),
        },
        Class::WeakSpring => Fault::WeakSpring { left: r.log(0.75, 0.4) },
        Class::BrokenSpring => {
            let left = r.any(0.0, 0.2);
            Fault::WeakSpring { left }
        }
        Class::WeakDefaultSpring => Fault::WeakDefaultSpring { left: r.log(0.75, 0.3) },
        Class::StickyPlate => {
            Fault::StickyPlate { friction_nm: r.log(0.06, 0.3), width_deg: r.any(1.0, 2.5) }
        }
        Class::DryBearing => Fault::DryBearing { factor: r.log(1.6, 4.0) },
        Class::WindingResistance => Fault::WindingResistance { ohms: r.log(0.3, 3.0) },
        Class::ShortedTurns => Fault::ShortedTurns { share: r.log(0.15, 0.5) },
        _ => return feedback(class, r),
    })
}

fn feedback(class: Class, r: &mut Range<'_>) -> Option<Fault> {
    let channel = r.one_of(&[Channel::Rising, Channel::Falling]);
    let lead = if channel == Channel::Rising { Lead::Rising } else { Lead::Falling };
    Some(match class {
        Class::FeedbackOffset => {
            let sign = r.one_of(&[-1.0, 1.0]);
            Fault::OffsetError { channel, percent_of_supply: sign * r.log(2.0, 8.0) }
        }
        Class::FeedbackDropout | Class::FeedbackCommon => {
            let length = r.log(50.0, 5000.0);
            Fault::Dropout {
                lead: if class == Class::FeedbackCommon { Lead::Supply } else { lead },
                rate_per_s: r.any(0.5, 5.0),
                burst_s: 0.0,
                pause_s: 0.0,
                flex_rate_per_s: 0.0,
                at_deg: 0.0,
                chance_per_pass: 0.0,
                min_us: length,
                max_us: length,
                towards: r.one_of(&[Towards::Open, Towards::Ground, Towards::Supply]),
            }
        }
        Class::ImpactDropout => {
            let length = r.log(50.0, 5000.0);
            Fault::ImpactDropout {
                lead,
                impact_rad_s2: 2e4,
                chance_per_impact: r.any(0.5, 1.0),
                min_us: length,
                max_us: length,
                towards: Towards::Open,
            }
        }
        Class::SupplyLead => Fault::SupplyLead { ohms: r.log(5.0, 30.0) },
        Class::GroundLead => Fault::GroundLead { ohms: r.log(5.0, 30.0) },
        Class::SignalLead => Fault::SignalLead { channel, ohms: r.log(300.0, 3000.0) },
        Class::Leak => {
            let to = r.one_of(&[LeakTo::Ground, LeakTo::Supply]);
            Fault::Leakage { channel, ohms: r.log(20e3, 2e3), to }
        }
        _ => return None,
    })
}
