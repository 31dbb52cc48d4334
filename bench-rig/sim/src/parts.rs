//! The named parts. Their kinds of fault are fixed; place and severity vary with the seed within the ranges stated here.

use thiserror::Error;

use crate::fault::{Channel, Fault, Lead, LeakTo, Shape, Towards};
use crate::part::Part;
use crate::random::Random;
use crate::spec::{PartSpec, Sensor, Topology};

/// A name and what stands behind it.
#[derive(Clone, Copy, Debug)]
pub struct Named {
    /// The name.
    pub name: &'static str,
    /// One line: what is wrong with it, and in which range it varies with the seed.
    pub summary: &'static str,
    build: fn(&mut Random) -> PartSpec,
}

/// No such named part.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("no part is named {given:?}; known parts: {known}; or give a part file ending in .toml")]
pub struct UnknownPart {
    /// What was asked for.
    pub given: String,
    /// The names there are.
    pub known: String,
}

/// All named parts, in the order they are listed.
pub const ALL: &[Named] = &[
    Named { name: "good-grip", summary: "healthy, Hall, complementary", build: |_| hall() },
    Named { name: "good-pot-grip", summary: "healthy, potentiometer, complementary", build: |_| pot() },
    Named {
        name: "half-slope-grip",
        summary: "healthy, Hall, second channel at half slope",
        build: |_| PartSpec::healthy(Sensor::Hall, Topology::HalfSlope),
    },
    Named {
        name: "offset-grip",
        summary: "healthy, Hall, second channel parallel with an offset",
        build: |_| PartSpec::healthy(Sensor::Hall, Topology::ParallelOffset),
    },
    Named {
        name: "worn-grip",
        summary: "flat spot, rising channel, just off idle (5.5 to 10 deg, 0.7 to 1.4 deg wide, 60 to 95 % slope lost, snaps back)",
        build: |r| hall().with(flat_spot(r, (5.5, 10.0), (0.7, 1.4), (0.60, 0.95), Shape::Snap)),
    },
    Named {
        name: "worn-pot-grip",
        summary: "potentiometer with a worn track just off idle: flat spot (6 to 12 deg, 2 to 3.5 deg wide, 70 to 95 %) and noise (8 to 20 mV)",
        build: worn_pot,
    },
    Named {
        name: "cracked-wire-grip",
        summary: "rising signal lead breaks for 40 to 900 us, 1.5 to 4 times a second, twenty times as often when flexed",
        build: cracked_wire,
    },
    Named {
        name: "bent-wire-grip",
        summary: "rising signal lead breaks for 40 to 900 us, 4 to 12 times a second, only while the bend (place 2) is flexed",
        build: bent_wire,
    },
    Named {
        name: "warm-contact-grip",
        summary: "falling signal lead breaks for 60 us to 2 ms, 0.3 to 1 times a second, once it is warmer than 33 to 38 degC",
        build: warm_contact,
    },
    Named {
        name: "lifting-wiper-grip",
        summary: "potentiometer whose rising wiper lifts at one place (20 to 55 deg) in 60 to 95 % of passes, 100 to 800 us",
        build: lifting_wiper,
    },
    Named {
        name: "loose-connector-grip",
        summary: "supply contact opens for 30 to 400 us: 0.2 to 0.6 a second, 8 to 20 a second when flexed",
        build: loose_connector,
    },
    Named {
        name: "corroded-ground-grip",
        summary: "8 to 25 ohm in the ground lead",
        build: |r| hall().with(Fault::GroundLead { ohms: r.between(8.0, 25.0) }),
    },
    Named {
        name: "corroded-supply-grip",
        summary: "8 to 25 ohm in the supply lead",
        build: |r| hall().with(Fault::SupplyLead { ohms: r.between(8.0, 25.0) }),
    },
    Named {
        name: "corroded-signal-grip",
        summary: "700 to 2500 ohm in the falling signal lead",
        build: |r| {
            hall().with(Fault::SignalLead { channel: Channel::Falling, ohms: r.between(700.0, 2500.0) })
        },
    },
    Named {
        name: "leaky-grip",
        summary: "potentiometer, rising signal leaks to ground through 4 to 12 kohm",
        build: |r| {
            pot().with(Fault::Leakage {
                channel: Channel::Rising,
                ohms: r.between(4e3, 12e3),
                to: LeakTo::Ground,
            })
        },
    },
    Named {
        name: "shifted-grip",
        summary: "channels parted: falling shifted by 1.8 to 3 % of supply, growing by another 0.5 to 1.5 % over the travel",
        build: shifted,
    },
    Named {
        name: "sticky-grip",
        summary: "binds: 0.12 to 0.22 Nm more friction, uneven, and 0.7 to 1.3 deg of play",
        build: sticky,
    },
    Named {
        name: "noisy-grip",
        summary: "rising channel noisy over 6 to 14 deg of travel, 8 to 25 mV",
        build: |r| hall().with(noisy(r, (15.0, 60.0), (6.0, 14.0), (0.008, 0.025))),
    },
    Named {
        name: "off-centre-grip",
        summary: "magnet off centre: 1.8 to 2.8 deg of angle error common to both channels, silent in their sum",
        build: off_centre,
    },
    Named {
        name: "dead-channel-grip",
        summary: "falling channel stuck at 0 to 3 % of supply",
        build: |r| {
            hall().with(Fault::DeadChannel { channel: Channel::Falling, level_percent: r.between(0.0, 3.0) })
        },
    },
    Named {
        name: "swapped-grip",
        summary: "signal leads exchanged",
        build: |_| hall().with(Fault::SwappedChannels {}),
    },
    Named {
        name: "seized-grip",
        summary: "does not turn",
        build: |_| hall().with(Fault::Seized { friction_nm: 3.0 }),
    },
    Named {
        name: "slipping-grip",
        summary: "slips in the clamp beyond 0.1 to 0.16 Nm",
        build: |r| hall().with(Fault::Slipping { torque_nm: r.between(0.10, 0.16) }),
    },
    Named {
        name: "dead-band-grip",
        summary: "2 to 4 deg of grip travel off the closed stop without output",
        build: |r| hall().with(Fault::DeadBand { closed_deg: r.between(2.0, 4.0), open_deg: 0.0 }),
    },
    Named {
        name: "weak-spring-grip",
        summary: "return spring has 2 to 8 % of its torque left",
        build: |r| hall().with(Fault::WeakSpring { left: r.between(0.02, 0.08) }),
    },
    Named {
        name: "good-body",
        summary: "healthy throttle body, Hall feedback, complementary",
        build: |_| PartSpec::healthy_body(),
    },
    Named {
        name: "worn-teeth-body",
        summary: "two or three sector teeth worn by 0.25 to 0.5 deg of lash, 60 % of it on the opening flank, the first at 10 or 14 deg",
        build: bodies::worn_teeth,
    },
    Named {
        name: "chipped-tooth-body",
        summary: "a chip of 1 to 2 deg out of the opening flank of the tooth at 14, 18 or 22 deg, 0.4 to 0.9 deg deep",
        build: bodies::chipped_tooth,
    },
    Named {
        name: "missing-tooth-body",
        summary: "a sector tooth is gone, at 14, 18, 22 or 26 deg",
        build: |r| PartSpec::healthy_body().with(Fault::MissingTooth { centre_deg: bodies::tooth(r, 4, 4) }),
    },
    Named {
        name: "loose-body",
        summary: "0.5 to 1.2 deg more lash in both meshes",
        build: |r| {
            PartSpec::healthy_body()
                .with(Fault::GrownLash { extra_deg: r.between(0.5, 1.2), sector_share: 0.6 })
        },
    },
    Named {
        name: "dead-spot-body",
        summary: "12 to 25 deg of the commutator add 2.6 to 4.2 ohm: the motor still gets past",
        build: bodies::dead_spot,
    },
    Named {
        name: "weak-spring-body",
        summary: "main spring has 60 to 70 % of its torque left",
        build: |r| PartSpec::healthy_body().with(Fault::WeakSpring { left: r.between(0.60, 0.70) }),
    },
    Named {
        name: "broken-spring-body",
        summary: "main spring is broken",
        build: |_| PartSpec::healthy_body().with(Fault::WeakSpring { left: 0.0 }),
    },
    Named {
        name: "weak-default-spring-body",
        summary: "default (limp-home side) spring has 40 to 65 % of its torque left",
        build: |r| PartSpec::healthy_body().with(Fault::WeakDefaultSpring { left: r.between(0.40, 0.65) }),
    },
    Named {
        name: "sticky-body",
        summary: "deposit at the closed stop: 0.12 to 0.35 Nm within 1.5 to 2.5 deg",
        build: bodies::sticky,
    },
    Named {
        name: "dry-body",
        summary: "plate bearings run dry: 2 to 2.8 times their friction",
        build: |r| PartSpec::healthy_body().with(Fault::DryBearing { factor: r.between(2.0, 2.8) }),
    },
    Named {
        name: "hot-winding-body",
        summary: "0.45 to 1.1 ohm more in the motor, as of a winding that has been too hot or worn brushes",
        build: |r| PartSpec::healthy_body().with(Fault::WindingResistance { ohms: r.between(0.45, 1.1) }),
    },
    Named {
        name: "shorted-turns-body",
        summary: "15 to 30 % of the turns shorted: resistance and torque constant down alike",
        build: |r| PartSpec::healthy_body().with(Fault::ShortedTurns { share: r.between(0.15, 0.30) }),
    },
    Named {
        name: "torn-feedback-body",
        summary: "rising feedback lead breaks for 40 to 900 us, 1.5 to 4 times a second, twenty times as often when flexed",
        build: |r| PartSpec { faults: cracked_wire(r).faults, ..PartSpec::healthy_body() },
    },
    Named {
        name: "impact-dropout-body",
        summary: "falling feedback lead opens for 100 to 800 us in 60 to 95 % of hard stops (over 40000 rad/s2)",
        build: bodies::impact_dropout,
    },
    Named {
        name: "offset-feedback-body",
        summary: "falling feedback line shifted by 2 to 3.5 % of supply",
        build: bodies::offset_feedback,
    },
    Named {
        name: "corroded-ground-body",
        summary: "6 to 20 ohm in the ground lead of the feedback pair",
        build: |r| PartSpec::healthy_body().with(Fault::GroundLead { ohms: r.between(6.0, 20.0) }),
    },
    Named {
        name: "corroded-signal-body",
        summary: "700 to 2500 ohm in the falling feedback lead",
        build: |r| {
            PartSpec::healthy_body()
                .with(Fault::SignalLead { channel: Channel::Falling, ohms: r.between(700.0, 2500.0) })
        },
    },
    Named {
        name: "worn-far-tooth-body",
        summary: "one tooth worn by 0.5 to 0.9 deg far up the travel, three fifths on the opening flank",
        build: bodies::worn_far_tooth,
    },
];

fn hall() -> PartSpec {
    PartSpec::healthy(Sensor::Hall, Topology::Complementary)
}

fn pot() -> PartSpec {
    PartSpec::healthy(Sensor::Potentiometer, Topology::Complementary)
}

type Range = (f64, f64);

fn flat_spot(r: &mut Random, centre: Range, width: Range, loss: Range, shape: Shape) -> Fault {
    Fault::FlatSpot {
        channel: Channel::Rising,
        centre_deg: r.between(centre.0, centre.1),
        width_deg: r.between(width.0, width.1),
        slope_loss: r.between(loss.0, loss.1),
        shape,
    }
}

fn noisy(r: &mut Random, centre: Range, width: Range, volts: Range) -> Fault {
    Fault::NoisyTrack {
        channel: Channel::Rising,
        centre_deg: r.between(centre.0, centre.1),
        width_deg: r.between(width.0, width.1),
        noise_volts: r.between(volts.0, volts.1),
    }
}

fn worn_pot(r: &mut Random) -> PartSpec {
    let spot = flat_spot(r, (6.0, 12.0), (2.0, 3.5), (0.70, 0.95), Shape::CatchUp);
    pot().with(spot).with(noisy(r, (7.0, 11.0), (5.0, 8.0), (0.008, 0.020)))
}

fn dropout(lead: Lead) -> Fault {
    Fault::Dropout {
        lead,
        rate_per_s: 0.0,
        burst_s: 0.0,
        pause_s: 0.0,
        flex_rate_per_s: 0.0,
        at_deg: 0.0,
        chance_per_pass: 0.0,
        min_us: 40.0,
        max_us: 900.0,
        towards: Towards::Open,
    }
}

fn cracked_wire(r: &mut Random) -> PartSpec {
    let mut fault = dropout(Lead::Rising);
    if let Fault::Dropout { rate_per_s, flex_rate_per_s, .. } = &mut fault {
        *rate_per_s = r.between(1.5, 4.0);
        *flex_rate_per_s = 20.0 * *rate_per_s;
    }
    hall().with(fault)
}

fn lifting_wiper(r: &mut Random) -> PartSpec {
    let mut fault = dropout(Lead::Rising);
    if let Fault::Dropout { at_deg, chance_per_pass, min_us, max_us, .. } = &mut fault {
        *at_deg = r.between(20.0, 55.0);
        *chance_per_pass = r.between(0.60, 0.95);
        (*min_us, *max_us) = (100.0, 800.0);
    }
    pot().with(fault)
}

fn loose_connector(r: &mut Random) -> PartSpec {
    let mut fault = dropout(Lead::Supply);
    if let Fault::Dropout { rate_per_s, flex_rate_per_s, min_us, max_us, .. } = &mut fault {
        *rate_per_s = r.between(0.2, 0.6);
        *flex_rate_per_s = r.between(8.0, 20.0);
        (*min_us, *max_us) = (30.0, 400.0);
    }
    hall().with(fault)
}

fn bent_wire(r: &mut Random) -> PartSpec {
    let rate_per_s = r.between(4.0, 12.0);
    hall().with(Fault::FlexDropout {
        lead: Lead::Rising,
        place: 2,
        rate_per_s,
        min_us: 40.0,
        max_us: 900.0,
        towards: Towards::Open,
    })
}

fn warm_contact(r: &mut Random) -> PartSpec {
    let (from_celsius, rate_per_s) = (r.between(33.0, 38.0), r.between(0.3, 1.0));
    hall().with(Fault::WarmDropout {
        lead: Lead::Falling,
        from_celsius,
        rate_per_s,
        min_us: 60.0,
        max_us: 2000.0,
        towards: Towards::Open,
    })
}

fn shifted(r: &mut Random) -> PartSpec {
    let sign = if r.unit() < 0.5 { -1.0 } else { 1.0 };
    hall().with(Fault::CorrelationShift {
        channel: Channel::Falling,
        offset_percent: sign * r.between(1.8, 3.0),
        growth_percent: sign * r.between(0.5, 1.5),
        from_deg: 0.0,
    })
}

fn sticky(r: &mut Random) -> PartSpec {
    hall().with(Fault::Sticky {
        friction_nm: r.between(0.12, 0.22),
        uneven: r.between(0.3, 0.7),
        centre_deg: 0.0,
        width_deg: 0.0,
        play_deg: r.between(0.7, 1.3),
    })
}

fn off_centre(r: &mut Random) -> PartSpec {
    hall().with(Fault::CommonNonlinearity {
        amplitude_deg: r.between(1.8, 2.8),
        period_deg: 90.0,
        phase_deg: r.between(0.0, 360.0),
    })
}

/// The bodies' recipes.
mod bodies {
    use super::*;

    /// Centre of one of `count` teeth from tooth `first` on (the first is centred at 2°), degrees.
    pub(super) fn tooth(r: &mut Random, first: u32, count: u32) -> f64 {
        let k = first + (r.unit() * f64::from(count)) as u32;
        4.0 * f64::from(k) - 2.0
    }

    pub(super) fn worn_teeth(r: &mut Random) -> PartSpec {
        let (centre_deg, depth_deg) = (tooth(r, 3, 2), r.between(0.25, 0.5));
        let teeth = if r.unit() < 0.5 { 2 } else { 3 };
        PartSpec::healthy_body().with(Fault::WornTeeth { centre_deg, depth_deg, opening_share: 0.6, teeth })
    }

    pub(super) fn worn_far_tooth(r: &mut Random) -> PartSpec {
        let (centre_deg, depth_deg) = (tooth(r, 12, 8), r.between(0.5, 0.9));
        PartSpec::healthy_body().with(Fault::WornTeeth {
            centre_deg,
            depth_deg,
            opening_share: 0.6,
            teeth: 1,
        })
    }

    pub(super) fn chipped_tooth(r: &mut Random) -> PartSpec {
        let (centre_deg, width_deg) = (tooth(r, 4, 3), r.between(1.0, 2.0));
        let depth_deg = r.between(0.4, 0.9);
        let fault = Fault::ChippedTooth { centre_deg, width_deg, depth_deg, opening_share: 1.0 };
        PartSpec::healthy_body().with(fault)
    }

    pub(super) fn dead_spot(r: &mut Random) -> PartSpec {
        PartSpec::healthy_body().with(Fault::BrushDeadSpot {
            rotor_deg: r.between(0.0, 360.0),
            width_deg: r.between(12.0, 25.0),
            ohms: r.between(2.6, 4.2),
        })
    }

    pub(super) fn sticky(r: &mut Random) -> PartSpec {
        let (friction_nm, width_deg) = (r.between(0.12, 0.35), r.between(1.5, 2.5));
        PartSpec::healthy_body().with(Fault::StickyPlate { friction_nm, width_deg })
    }

    pub(super) fn impact_dropout(r: &mut Random) -> PartSpec {
        PartSpec::healthy_body().with(Fault::ImpactDropout {
            lead: Lead::Falling,
            impact_rad_s2: 40_000.0,
            chance_per_impact: r.between(0.60, 0.95),
            min_us: 100.0,
            max_us: 800.0,
            towards: Towards::Open,
        })
    }

    pub(super) fn offset_feedback(r: &mut Random) -> PartSpec {
        let sign = if r.unit() < 0.5 { -1.0 } else { 1.0 };
        PartSpec::healthy_body().with(Fault::OffsetError {
            channel: Channel::Falling,
            percent_of_supply: sign * r.between(2.0, 3.5),
        })
    }
}

/// Draws a named part.
///
/// # Errors
/// When there is none of that name; the error lists those there are.
pub fn named(name: &str, seed: u64) -> Result<Part, UnknownPart> {
    let entry = ALL.iter().find(|entry| entry.name == name).ok_or_else(|| UnknownPart {
        given: name.to_owned(),
        known: ALL.iter().map(|entry| entry.name).collect::<Vec<_>>().join(", "),
    })?;
    let mut random = Random::new(&format!("{name} fault"), seed);
    Ok(Part::draw(name, (entry.build)(&mut random), seed))
}
