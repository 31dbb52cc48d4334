//! Settings of a body rig's position loop: how the first feedback line gives the plate's angle, and how hard it is held.

use crate::wire::{Reader, Writer};

/// What a host sets before a body rig may hold or move a plate. The rig has limits of its own on top of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LoopSettings {
    /// First feedback line at plate angle 0 (closed stop), millionths of the supply.
    pub closed_ppm: i32,
    /// First feedback line at `travel_mdeg`, millionths of the supply.
    pub open_ppm: i32,
    /// Plate angle at `open_ppm`, mdeg, > 0.
    pub travel_mdeg: u32,
    /// Proportional gain, µV of motor voltage per mdeg of deviation.
    pub kp_uv_mdeg: u32,
    /// Integral gain, µV per mdeg and second.
    pub ki_uv_mdeg_s: u32,
    /// Derivative gain, nV per mdeg/s of the plate's speed.
    pub kd_nv_s_mdeg: u32,
    /// Time constant of the filter on the speed, µs.
    pub speed_filter_us: u32,
    /// Deviation within which nothing is integrated, mdeg.
    pub dead_mdeg: u32,
    /// Motor current the loop keeps to, mA.
    pub current_ma: u32,
}

impl LoopSettings {
    /// Encoded size in bytes: nine 32-bit fields.
    pub const SIZE: usize = 36;

    /// Writes the settings; `None` when `out` is too small.
    pub fn write(&self, out: &mut Writer<'_>) -> Option<()> {
        out.i32(self.closed_ppm)?;
        out.i32(self.open_ppm)?;
        for field in [
            self.travel_mdeg,
            self.kp_uv_mdeg,
            self.ki_uv_mdeg_s,
            self.kd_nv_s_mdeg,
            self.speed_filter_us,
            self.dead_mdeg,
            self.current_ma,
        ] {
            out.u32(field)?;
        }
        Some(())
    }

    /// Reads the settings; `None` when they are short.
    pub fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            closed_ppm: r.i32()?,
            open_ppm: r.i32()?,
            travel_mdeg: r.u32()?,
            kp_uv_mdeg: r.u32()?,
            ki_uv_mdeg_s: r.u32()?,
            kd_nv_s_mdeg: r.u32()?,
            speed_filter_us: r.u32()?,
            dead_mdeg: r.u32()?,
            current_ma: r.u32()?,
        })
    }
}
