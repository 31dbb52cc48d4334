//! A case: from a complaint to what was done about it. Its entries are never changed, only added to. It does not know where they are
//! kept, nor how they are shown.
