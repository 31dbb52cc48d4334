//! Quantiles, robust spread, least squares and interval bounds, with their published checks.
