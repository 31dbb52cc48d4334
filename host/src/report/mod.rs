//! The outcome for people: terminal text and a self-contained HTML page. Returns text.
