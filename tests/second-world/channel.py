"""A channel of a rig: what its counts mean, as DescribeChannel and ReadCalibration of WIRE.md tell it."""

import struct
from dataclasses import dataclass

import numpy as np

import wire as w


@dataclass
class Channel:
    name: str
    encoding: int           # 0 i16, 1 u16, 2 i32
    unit: int               # 0 volt, 1 ampere, 2 degree, 3 degree Celsius
    scale: float
    offset: float = 0.0
    resolution: float = 0.0
    switches: int = 0       # bit 0 load, bit 1 pull-down
    filter_us: int = 0
    gain_uncertainty: float = 0.0
    offset_uncertainty: float = 0.0
    day: int = 20_000
    note: str = "second world"

    @property
    def form(self):
        return ("<i2", "<u2", "<i4")[self.encoding]

    def counts(self, values):
        low, high = ((-32768, 32767), (0, 65535), (-2**31, 2**31 - 1))[self.encoding]
        return np.clip(np.round((values - self.offset) / self.scale), low, high).astype(self.form)

    def describe(self, index):
        return struct.pack("<BBBB", index, self.encoding, self.unit, self.switches) + w.text(self.name, 16) + struct.pack(
            "<dddI", self.scale, self.offset, self.resolution, self.filter_us)

    def calibration(self, index):
        return struct.pack("<BddI", index, self.gain_uncertainty, self.offset_uncertainty, self.day) + w.text(self.note, 24)
