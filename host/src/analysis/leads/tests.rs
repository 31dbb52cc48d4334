//! Leads checks with known leads.
