//! What a rig sends by itself, as it came, with bytes of its own.

use trackpair_protocol::message::Event;
use trackpair_protocol::samples::SampleBlock;

/// One thing that a rig sent unasked.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Heard {
    /// A sample block, in the order of arrival.
    Block(Block),
    /// A block that came and for which this computer had no room: its run and number.
    Shed { run: u32, number: u32 },
    /// An event, each once.
    Event(Event),
}

/// A sample block.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    header: SampleBlock<'static>,
    columns: Vec<u8>,
}

impl Block {
    /// The block as it is read.
    pub fn view(&self) -> SampleBlock<'_> {
        SampleBlock { columns: &self.columns, ..self.header }
    }
}

impl From<SampleBlock<'_>> for Block {
    fn from(block: SampleBlock<'_>) -> Self {
        Self { header: SampleBlock { columns: &[], ..block }, columns: block.columns.to_vec() }
    }
}
