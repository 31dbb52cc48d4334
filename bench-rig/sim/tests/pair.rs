//! A grip and a body side by side in one simulated rig: its table, what moves, and that both parts keep their own faults.

mod common;

use common::Host;
