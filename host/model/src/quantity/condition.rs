//! Under which condition a figure was measured, where one quantity has several values: where, which way, from where, how let go.

use serde::{Deserialize, Serialize};

/// Kind of part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum PartKind {
    /// Twist-grip sensor.
    #[default]
    Grip,
    /// Motor-driven throttle body.
    Body,
    /// Both together.
    Pair,
}

impl PartKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Grip, Self::Body, Self::Pair];

    /// Whether a motor is driven in its tests.
    pub const fn has_motor(self) -> bool {
        matches!(self, Self::Body | Self::Pair)
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Grip => "grip",
            Self::Body => "body",
            Self::Pair => "pair",
        }
    }
}

impl crate::quantity::Name for PartKind {
    const ALL: &'static [Self] = &Self::ALL;

    fn name(self) -> &'static str {
        Self::name(self)
    }
}

/// Region of a throttle body's travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Region {
    /// From rest to the end of the low range, where riders spend their time and teeth wear.
    Low,
    /// The middle of the travel.
    Middle,
    /// The rest of the travel, to wide open.
    High,
}

impl Region {
    /// In order of the travel.
    pub const ALL: [Self; 3] = [Self::Low, Self::Middle, Self::High];

    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Middle => "middle",
            Self::High => "high",
        }
    }
}

/// Which way a plate goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Heading {
    /// Towards wide open.
    Opening,
    /// Towards the closed stop.
    Closing,
}

impl Heading {
    /// Both ways.
    pub const ALL: [Self; 2] = [Self::Opening, Self::Closing];

    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Opening => "opening",
            Self::Closing => "closing",
        }
    }
}

/// What the bridge does while nothing drives the motor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Bridge {
    /// All four switches open: the motor turns freely.
    Open,
    /// The motor's terminals are joined: it brakes.
    Brake,
}

impl Bridge {
    /// Both states.
    pub const ALL: [Self; 2] = [Self::Open, Self::Brake];

    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Brake => "brake",
        }
    }
}

/// The condition of one value of a figure. Empty for figures that have one value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Condition {
    /// Where in the travel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub region: Option<Region>,
    /// Which way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<Heading>,
    /// From which opening, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_deg: Option<f64>,
    /// How the bridge was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bridge: Option<Bridge>,
    /// How fast the grip was turned, degrees per second.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub speed_deg_s: Option<f64>,
}

impl Condition {
    /// No condition.
    pub const NONE: Self =
        Self { region: None, direction: None, from_deg: None, bridge: None, speed_deg_s: None };

    /// Whether it is empty.
    pub fn is_none(&self) -> bool {
        *self == Self::NONE
    }

    /// Whether a rule for `self` speaks of a value measured under `other`: all that `self` names is the same there.
    pub fn covers(&self, other: &Self) -> bool {
        fn same<T: PartialEq>(rule: &Option<T>, value: &Option<T>) -> bool {
            rule.is_none() || rule == value
        }
        same(&self.region, &other.region)
            && same(&self.direction, &other.direction)
            && same(&self.from_deg, &other.from_deg)
            && same(&self.bridge, &other.bridge)
            && same(&self.speed_deg_s, &other.speed_deg_s)
    }

    /// How much it names: of two rules that cover a value, the one that names more counts.
    pub fn names(&self) -> usize {
        [
            self.region.is_some(),
            self.direction.is_some(),
            self.from_deg.is_some(),
            self.bridge.is_some(),
            self.speed_deg_s.is_some(),
        ]
        .into_iter()
        .filter(|named| *named)
        .count()
    }

    /// For people: `low range, opening`, `from 60 deg, bridge open`; empty without a condition.
    pub fn words(&self) -> String {
        let parts = [
            self.region.map(|r| format!("{} range", r.name())),
            self.direction.map(|d| d.name().to_owned()),
            self.from_deg.map(|deg| format!("from {deg:.0} deg")),
            self.bridge.map(|b| match b {
                Bridge::Open => "bridge open".to_owned(),
                Bridge::Brake => "motor braked".to_owned(),
            }),
            self.speed_deg_s.map(|speed| format!("grip at {speed:.0} deg/s")),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_covers_what_it_does_not_contradict() {
        let low = Condition { region: Some(Region::Low), ..Condition::NONE };
        let low_opening = Condition { direction: Some(Heading::Opening), ..low };
        assert!(Condition::NONE.covers(&low_opening) && low.covers(&low_opening));
        assert!(!low_opening.covers(&low) && !low.covers(&Condition::NONE));
        assert!(low_opening.names() > low.names());
        assert_eq!(low_opening.words(), "low range, opening");
    }
}
