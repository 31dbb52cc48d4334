//! Of which rounds the traces are kept: the first, every k-th, those with dropouts, as far as the disk budget goes. Half of the room is for
//! the every-k-th, half for dropouts, so that neither crowds out the other; room for the last round is set aside. Figures and dropouts
//! themselves are never left out.

/// What becomes of a round's traces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Kept.
    Keep,
    /// Held until the next round, and kept only if it was the last.
    Routine,
    /// With dropouts, and no room.
    NoRoom,
}

/// The budget and what is left of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keeping {
    /// Bytes for traces.
    room: u64,
    used: u64,
    used_for_events: u64,
    /// Largest round so far, bytes; 0 before the first.
    round: u64,
    planned: u64,
}

impl Keeping {
    /// For so many rounds and bytes.
    pub const fn new(room: u64, planned: u64) -> Self {
        Self { room, used: 0, used_for_events: 0, round: 0, planned }
    }

    /// Goes on where a log stopped: bytes used, rounds that they are of, and how many of those had dropouts.
    #[must_use]
    pub fn again(mut self, used: u64, rounds: u64, with_events: u64) -> Self {
        if let Some(round) = used.checked_div(rounds) {
            (self.used, self.round) = (used, round);
            self.used_for_events = round * with_events;
        }
        self
    }

    /// Which rounds are kept when nothing happens in them: every so many.
    pub fn every(&self) -> u64 {
        let half = (self.room / 2).max(1);
        (self.planned * self.round).div_ceil(half).max(1)
    }

    /// What becomes of the traces of a round, counted from 1.
    pub fn fate(&self, round: u64, events: bool) -> Fate {
        // Twice: for this one and for the last.
        let fits = self.used + 2 * self.round <= self.room;
        let for_events = self.used_for_events + self.round <= self.room / 2;
        match (round, events) {
            (1, _) => Fate::Keep,
            _ if fits && round.is_multiple_of(self.every()) => Fate::Keep,
            (_, true) if fits && for_events => Fate::Keep,
            (_, true) => Fate::NoRoom,
            _ => Fate::Routine,
        }
    }

    /// Counts what was kept.
    pub fn kept(&mut self, bytes: u64, events: bool) {
        self.used += bytes;
        self.used_for_events += if events { bytes } else { 0 };
        self.round = self.round.max(bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounds kept and left out of so many, and bytes used.
    fn run(room: u64, rounds: u64, events: impl Fn(u64) -> bool) -> (u64, u64, u64) {
        let mut keeping = Keeping::new(room, rounds);
        let (mut kept, mut without_room) = (0, 0);
        for round in 1..=rounds {
            match keeping.fate(round, events(round)) {
                Fate::Keep => {
                    kept += 1;
                    keeping.kept(100, events(round));
                }
                Fate::NoRoom => without_room += 1,
                Fate::Routine => {}
            }
        }
        (kept, without_room, keeping.used)
    }

    #[test]
    fn a_roomy_disk_keeps_every_round_and_a_narrow_one_is_never_overrun() {
        assert_eq!(run(1_000_000, 50, |_| false), (50, 0, 5000));
        for room in [300, 1000, 2500, 10_000] {
            let (kept, without_room, used) = run(room, 1000, |round| round % 3 == 0);
            assert!(used + 100 <= room, "{room}: {used}");
            assert!(kept >= 1 && without_room > 0, "{room}: {kept} {without_room}");
        }
    }

    #[test]
    fn dropouts_do_not_crowd_out_the_course_nor_the_course_the_dropouts() {
        // From the start on every round has dropouts: the second half still has traces.
        let mut keeping = Keeping::new(4000, 1000);
        keeping.kept(100, false);
        let kept = |keeping: &mut Keeping, round| {
            let keep = keeping.fate(round, true) == Fate::Keep;
            if keep {
                keeping.kept(100, !round.is_multiple_of(keeping.every()));
            }
            keep
        };
        let early = (2..=500).filter(|r| kept(&mut keeping, *r)).count();
        let late = (501..=1000).filter(|r| kept(&mut keeping, *r)).count();
        // Ten are due; the first round and the room for the last take two.
        assert!(early > 15 && late >= 8, "{early} {late}");
    }
}
