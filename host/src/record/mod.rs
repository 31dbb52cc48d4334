//! The archive folder: outcome, traces as Parquet, report; and traces from Parquet or CSV.
