//! Money over time.
