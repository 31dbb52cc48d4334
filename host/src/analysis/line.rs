//! Exact minimax, terminal and zero-based lines through a set of points.
