//! From findings to causes: which lead, which channel, which kind of wear.
