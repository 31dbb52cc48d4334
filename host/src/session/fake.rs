//! fake
