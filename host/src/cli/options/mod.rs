//! What commands have in common of what may be typed, and what it means once environment and configuration were heard.

pub mod amounts;
pub mod archive;
pub mod driven;
pub mod filter;
pub mod mounted;
pub mod new_file;
pub mod paper;
pub mod trusted_keys;
