//! What people must heed around a throttle body: shown before a drive is powered, and in every outcome about one.

/// The sentences, in the order they are shown.
pub const CAUTIONS: [&str; 5] = [
    "Keep fingers and tools out of the bore: the plate moves without warning.",
    "Disconnect the vehicle battery before removing a part.",
    "Do not open a powered rig.",
    "A bench result does not clear the vehicle: the fault may be in wiring, terminals or the controller.",
    "Follow the maker's service manual and local rules for refitting and relearning; the decision to return a vehicle to the \
     road is a qualified technician's.",
];
