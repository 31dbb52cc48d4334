//! The clock of this computer, which dates records and nothing else.

/// Now, RFC 3339 with the local offset.
pub fn date() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}
