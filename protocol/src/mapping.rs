//! The mapping of a pair's rig: which plate angle is asked for at which output of the grip. The rig then plays the engine controller.

use crate::wire::{Reader, Writer};

/// Most points of a mapping.
pub const MAX_POINTS: usize = 24;

/// One point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Point {
    /// First line of the grip, millionths of the supply.
    pub grip_ppm: i32,
    /// Angle of the plate from its closed stop, mdeg.
    pub plate_mdeg: i32,
}

/// Points with straight lines between; before the first and behind the last the angle stays. No points: the plate does not follow.
#[derive(Clone, Copy, Debug)]
pub struct Mapping {
    points: [Point; MAX_POINTS],
    len: u8,
}

impl Mapping {
    /// No points.
    pub const EMPTY: Self = Self { points: [Point { grip_ppm: 0, plate_mdeg: 0 }; MAX_POINTS], len: 0 };

    /// Copies `points`; `None` when there are too many.
    pub fn from_slice(points: &[Point]) -> Option<Self> {
        let mut mapping = Self::EMPTY;
        mapping.points.get_mut(..points.len())?.copy_from_slice(points);
        mapping.len = points.len() as u8;
        Some(mapping)
    }

    /// The points in order.
    pub fn points(&self) -> &[Point] {
        &self.points[..usize::from(self.len)]
    }

    /// Writes it; `None` when `out` is too small.
    pub fn write(&self, out: &mut Writer<'_>) -> Option<()> {
        out.u8(self.len)?;
        for point in self.points() {
            out.i32(point.grip_ppm)?;
            out.i32(point.plate_mdeg)?;
        }
        Some(())
    }

    /// Reads it; `None` when it is short or has too many points.
    pub fn read(r: &mut Reader<'_>) -> Option<Self> {
        let len = r.u8()?;
        let mut mapping = Self { len, ..Self::EMPTY };
        for point in mapping.points.get_mut(..usize::from(len))? {
            *point = Point { grip_ppm: r.i32()?, plate_mdeg: r.i32()? };
        }
        Some(mapping)
    }
}

impl PartialEq for Mapping {
    fn eq(&self, other: &Self) -> bool {
        self.points() == other.points()
    }
}
