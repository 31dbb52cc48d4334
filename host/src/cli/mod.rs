//! What was typed, what it means, what is printed.
