//! Readings of one figure: parts × mountings × repeats, each once, none missing. It does not know what they mean.

/// Fewest parts: one part has no spread between parts.
pub const LEAST_PARTS: usize = 2;
/// Fewest repeats in a mounting: one has no spread within it.
pub const LEAST_REPEATS: usize = 2;

/// Why readings can't be analysed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CrossedError {
    /// Too little of something.
    #[error("{given} {what} are too few; a study takes at least {least}")]
    TooFew {
        /// `parts`, `mountings`, `repeats`.
        what: &'static str,
        /// As given.
        given: usize,
        /// What is needed.
        least: usize,
    },
    /// Another number of readings than the three numbers ask for.
    #[error(
        "{given} readings were given where parts × mountings × repeats ask for {needed}; sweep what is missing"
    )]
    Count {
        /// As given.
        given: usize,
        /// What is needed.
        needed: usize,
    },
    /// A reading that is not a number.
    #[error(
        "part {part}, mounting {mounting}, repeat {repeat} has no value; sweep it again, or leave this figure out"
    )]
    Missing {
        /// From 1.
        part: usize,
        /// From 1.
        mounting: usize,
        /// From 1.
        repeat: usize,
    },
}

/// Readings in a balanced layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Crossed {
    parts: usize,
    mountings: usize,
    repeats: usize,
    /// Part by part, in it mounting by mounting, in it repeat by repeat.
    values: Vec<f64>,
}

/// Sums of squares of a balanced layout about its means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Squares {
    /// Between parts.
    pub part: f64,
    /// Between mountings of the same number, over all parts.
    pub mounting: f64,
    /// What parts and mountings leave of the cells' means.
    pub interaction: f64,
    /// Between the repeats of a cell.
    pub repeat: f64,
    /// About the mean of all.
    pub total: f64,
}

impl Crossed {
    /// Takes the readings over: part by part, in it mounting by mounting, in it repeat by repeat.
    ///
    /// # Errors
    /// [`CrossedError`] says what is missing.
    pub fn new(
        parts: usize,
        mountings: usize,
        repeats: usize,
        values: Vec<f64>,
    ) -> Result<Self, CrossedError> {
        let least =
            [("parts", parts, LEAST_PARTS), ("mountings", mountings, 1), ("repeats", repeats, LEAST_REPEATS)];
        if let Some((what, given, least)) = least.into_iter().find(|(_, given, least)| given < least) {
            return Err(CrossedError::TooFew { what, given, least });
        }
        let needed = parts * mountings * repeats;
        if values.len() != needed {
            return Err(CrossedError::Count { given: values.len(), needed });
        }
        if let Some(k) = values.iter().position(|v| !v.is_finite()) {
            return Err(CrossedError::Missing {
                part: k / (mountings * repeats) + 1,
                mounting: k / repeats % mountings + 1,
                repeat: k % repeats + 1,
            });
        }
        Ok(Self { parts, mountings, repeats, values })
    }

    /// Parts.
    pub const fn parts(&self) -> usize {
        self.parts
    }

    /// Mountings of each part.
    pub const fn mountings(&self) -> usize {
        self.mountings
    }

    /// Repeats in each mounting.
    pub const fn repeats(&self) -> usize {
        self.repeats
    }

    /// The readings: part by part, in it mounting by mounting, in it repeat by repeat.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// Mean of all readings.
    pub fn mean(&self) -> f64 {
        mean(self.values.iter().copied())
    }

    /// Mean of each part.
    pub fn part_means(&self) -> Vec<f64> {
        self.values.chunks(self.mountings * self.repeats).map(|p| mean(p.iter().copied())).collect()
    }

    /// Whether all readings are one number.
    pub fn is_constant(&self) -> bool {
        self.values.iter().all(|v| *v == self.values[0])
    }

    /// Sums of squares, by deviations: what all readings share is taken off first, so that it costs no digits.
    pub fn squares(&self) -> Squares {
        let (a, b, r) = (self.parts, self.mountings, self.repeats);
        let shared = self.mean();
        let y: Vec<f64> = self.values.iter().map(|v| v - shared).collect();
        let cell: Vec<f64> = y.chunks(r).map(|c| mean(c.iter().copied())).collect();
        let part: Vec<f64> = cell.chunks(b).map(|c| mean(c.iter().copied())).collect();
        let mounting: Vec<f64> = (0..b).map(|j| mean((0..a).map(|i| cell[i * b + j]))).collect();
        let grand = mean(part.iter().copied());
        let square = |v: f64| v * v;
        let repeat = y.iter().enumerate().map(|(k, v)| square(v - cell[k / r])).sum();
        let interaction =
            (0..a * b).map(|k| square(cell[k] - part[k / b] - mounting[k % b] + grand)).sum::<f64>();
        Squares {
            part: (b * r) as f64 * part.iter().map(|m| square(m - grand)).sum::<f64>(),
            mounting: (a * r) as f64 * mounting.iter().map(|m| square(m - grand)).sum::<f64>(),
            interaction: r as f64 * interaction,
            repeat,
            total: y.iter().map(|v| square(v - grand)).sum(),
        }
    }
}

/// Mean by two passes: the second takes the rounding of the first away.
fn mean(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let n = values.clone().count().max(1) as f64;
    let first = values.clone().sum::<f64>() / n;
    first + values.map(|v| v - first).sum::<f64>() / n
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_whole_is_refused_by_its_place() {
        let gap = Crossed::new(2, 3, 2, (0..12).map(|k| if k == 9 { f64::NAN } else { 1.0 }).collect());
        assert_eq!(gap.unwrap_err(), CrossedError::Missing { part: 2, mounting: 2, repeat: 2 });
        let short = Crossed::new(2, 3, 2, vec![1.0; 11]).unwrap_err();
        assert_eq!(short, CrossedError::Count { given: 11, needed: 12 });
        let single = Crossed::new(2, 3, 1, vec![1.0; 6]).unwrap_err();
        assert!(single.to_string().starts_with("1 repeats are too few"), "{single}");
        assert!(Crossed::new(1, 3, 2, vec![1.0; 6]).is_err());
    }

    #[test]
    fn the_parts_of_the_total_add_up_to_it() {
        let values: Vec<f64> = (0..24).map(|k| f64::from((k * 7919) % 101)).collect();
        let s = Crossed::new(4, 3, 2, values).unwrap().squares();
        let sum = s.part + s.mounting + s.interaction + s.repeat;
        assert!((sum - s.total).abs() < 1e-9 * s.total, "{sum} {}", s.total);
    }
}
