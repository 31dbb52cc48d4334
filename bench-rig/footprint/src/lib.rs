//! The rig core around a board that does nothing: what of flash and RAM is the core's own. `scripts/bare-metal` counts it.
#![no_std]
#![forbid(unsafe_code)]

use core::hint::black_box;
use core::panic::PanicInfo;

use trackpair_protocol::channel::{Calibration, ChannelInfo, MAX_CHANNELS};
use trackpair_protocol::message::Identity;
use trackpair_rig_core::board::{Board, Drive, GuardLimits, Micros, Missed, Vitals};
use trackpair_rig_core::rig::Rig;

/// Every answer comes from where the compiler can't see it, so that nothing of the core is left out.
pub struct EmptyBoard;

impl Board for EmptyBoard {
    fn identity(&self) -> Identity {
        black_box(None).unwrap_or_else(|| halt())
    }

    fn channel(&self, _index: u8) -> Option<ChannelInfo> {
        black_box(None)
    }

    fn calibration(&self, _index: u8) -> Option<Calibration> {
        black_box(None)
    }

    fn guard_limits(&self) -> GuardLimits {
        black_box(None).unwrap_or_else(|| halt())
    }

    fn set_supply(&mut self, millivolts: u16, _at: Micros) {
        black_box(millivolts);
    }

    fn set_input(&mut self, channel: u8, load: bool, pull_down: bool, _at: Micros) {
        black_box((channel, load, pull_down));
    }

    fn set_drive(&mut self, drive: Drive, _at: Micros) {
        black_box(drive);
    }

    fn vitals(&mut self, _at: Micros) -> Vitals {
        black_box(Vitals::default())
    }

    fn scan(&mut self, _at: Micros, mask: u16, counts: &mut [i32; MAX_CHANNELS]) -> Result<(), Missed> {
        black_box((mask, counts));
        black_box(Ok(()))
    }
}

/// One turn of a rig's main loop.
fn turn(rig: &mut Rig<EmptyBoard>, received: &[u8], now: Micros, out: &mut [u8]) -> (usize, Micros) {
    rig.handle(received, now);
    rig.poll(now);
    (rig.transmit(out), rig.next_due())
}

fn boot(now: Micros) -> Rig<EmptyBoard> {
    Rig::new(EmptyBoard, now)
}

/// Keeps the core in the image.
#[used]
static BOOT: fn(Micros) -> Rig<EmptyBoard> = boot;
/// Keeps the core in the image.
#[used]
static TURN: fn(&mut Rig<EmptyBoard>, &[u8], Micros, &mut [u8]) -> (usize, Micros) = turn;
/// As much RAM as a rig takes.
#[used]
static RAM: [core::sync::atomic::AtomicU8; size_of::<Rig<EmptyBoard>>()] =
    [const { core::sync::atomic::AtomicU8::new(0) }; size_of::<Rig<EmptyBoard>>()];

fn halt() -> ! {
    loop {
        core::hint::spin_loop();
    }
}

#[panic_handler]
fn panic(_info: &PanicInfo<'_>) -> ! {
    halt()
}
