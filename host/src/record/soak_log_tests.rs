//! Logs of soaks: torn ends, altered lines, one holder.
