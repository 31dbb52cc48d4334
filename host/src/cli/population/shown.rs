//! A population of healthy bodies for people and for programs: where it came from and what can be seen among it.

use crate::analysis::body::population::Population;
use crate::analysis::body::worn_teeth::{FALSE_ALARM, Search};
use crate::cli::terminal::document::print_document;
use crate::job::Failure;
use crate::report::text;
use anyhow::anyhow;
use serde::Serialize;

/// Steps of the printed detection limit, degrees above rest.
const SHOWN_EVERY_DEG: f64 = 4.0;

/// The document of `population show --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct PopulationList {
    document: &'static str,
    schema: u32,
    /// One, or all that ship with the program.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    populations: Vec<PopulationShown>,
}

/// One population.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct PopulationShown {
    /// Name of the part sheet of its bodies.
    kind: String,
    /// Whether they were simulated.
    simulated: bool,
    /// 0 = assumed, not learned.
    bodies: usize,
    /// The same in words, as outcomes name it.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    words: String,
    /// Where it came from, in words.
    origin: OriginShown,
    /// Plate angle of a tooth's pitch, degrees.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    tooth_pitch_deg: f64,
    /// What 1 healthy body in 1000 exceeds.
    threshold: Threshold,
    /// Wear that is found 19 times in 20, by place.
    detection: Vec<Detection>,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct OriginShown {
    /// Names of the bodies.
    bodies: String,
    /// Rig or rigs.
    rig: String,
    /// Programs that recorded and learned.
    program: String,
    /// Day and anything else that counts.
    note: String,
}

/// What one healthy body in 1000 exceeds.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Threshold {
    /// In standard deviations.
    z: f64,
    /// 95 %; null where it is assumed.
    expanded_uncertainty: Option<f64>,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Detection {
    /// Degrees above rest.
    above_rest_deg: f64,
    /// Lost motion, degrees.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    depth_deg: f64,
}

impl PopulationShown {
    /// What is shown of a population.
    ///
    /// # Errors
    /// [`Failure::Other`] when its covariance can't be used.
    pub fn of(population: &Population) -> Result<Self, Failure> {
        let search = Search::new(population).ok_or_else(|| {
            Failure::Other(anyhow!("the population's covariance can't be used; learn it anew"))
        })?;
        let origin = &population.origin;
        let uncertainty = population.null.uncertainty_at(FALSE_ALARM, population.bodies);
        // Only a body's own map shows how much more than the population it scatters: 1 is the least.
        let limit = search.limit(0.0, population.layout.bins, 1.0).into_iter();
        Ok(Self {
            kind: origin.kind.clone(),
            simulated: origin.simulated,
            bodies: population.bodies,
            words: population.words(),
            origin: OriginShown {
                bodies: origin.seeds.clone(),
                rig: origin.rig.clone(),
                program: origin.program.clone(),
                note: origin.note.clone(),
            },
            tooth_pitch_deg: population.pitch_deg,
            threshold: Threshold {
                z: population.null.at(FALSE_ALARM),
                expanded_uncertainty: uncertainty.map(|u| 2.0 * u),
            },
            detection: limit
                .map(|(above_rest_deg, depth_deg)| Detection { above_rest_deg, depth_deg })
                .collect(),
        })
    }

    /// For people.
    pub fn text(&self) -> String {
        let mut out = format!("population {}\n", text::plain(&self.words, text::SENTENCE));
        for (what, words) in [
            ("bodies", &self.origin.bodies),
            ("rig", &self.origin.rig),
            ("program", &self.origin.program),
            ("note", &self.origin.note),
        ] {
            out += &format!("  {what:<10} {}\n", text::plain(words, text::SENTENCE));
        }
        out += &format!("  {:<10} {:.2} deg of plate per tooth\n", "pitch", self.tooth_pitch_deg);
        let known = self
            .threshold
            .expanded_uncertainty
            .map_or("from an assumption".to_owned(), |u| format!("± {u:.2} (95 %), from so many bodies"));
        out += &format!(
            "  {:<10} z = {:.2} {known}; 1 healthy body in 1000 exceeds it\n",
            "threshold", self.threshold.z
        );
        out += "  least wear that is found 19 times in 20, on a body that scatters as these do (places above rest):\n";
        let mut next = 0.0;
        for Detection { above_rest_deg, depth_deg } in &self.detection {
            if *above_rest_deg >= next {
                out += &format!("    {above_rest_deg:>5.1} deg   {depth_deg:.3} deg\n");
                next = if next == 0.0 { SHOWN_EVERY_DEG } else { next + SHOWN_EVERY_DEG };
            }
        }
        out
    }
}

/// Prints populations, for people or for programs.
pub fn print(populations: Vec<PopulationShown>, json: bool) {
    if json {
        print_document(&PopulationList { document: "population", schema: 1, populations });
    } else {
        populations.iter().for_each(|p| print!("{}", p.text()));
    }
}
