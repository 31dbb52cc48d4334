//! The `trackpair` program: the pipeline on one screen, exit codes, and the one place that knows the simulator.

fn main() {}
