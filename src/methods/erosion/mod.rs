//! Soil loss by water.
