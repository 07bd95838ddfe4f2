//! Soil loss by water.

pub mod delivery;
pub mod soil_loss;

pub use delivery::{basin_area_m2, delivery_ratio, filter_strip_trap_ratio, settling_velocity_m_s};
pub use soil_loss::{
    Rilling, grid_slope_length, irregular_slope_weights, nomograph_k_us, revised_length_steepness, soil_loss_t_ha,
    universal_length_steepness,
};
