//! Every rule, and healthy parts.
