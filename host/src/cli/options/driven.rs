//! The options of a procedure that drives a throttle body.

use super::mounted::Common;
use clap::Args;

/// A single procedure of a throttle body.
#[derive(Args, Debug)]
pub struct BodyProcedure {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}
