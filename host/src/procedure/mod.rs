//! What to ask of the rig, in order. It does not judge.
