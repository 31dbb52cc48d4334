//! Requests, replies, heartbeats, and blocks into traces.
