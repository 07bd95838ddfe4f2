//! Where water runs and stands on a grid.
