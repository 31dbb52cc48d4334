//! What the report of a throttle body must keep.
