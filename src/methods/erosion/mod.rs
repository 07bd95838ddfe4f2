//! Soil loss by water.
//!
//! * [`soil_loss`]: the universal equation and its revision, on even slopes and grids
//! * [`uneven`]: bent profiles and contributing areas
//! * [`storm`]: energy of rain, sediment of one storm
//! * [`delivery`]: how much travels on, and what traps it

pub mod delivery;
pub mod soil_loss;
pub mod storm;
pub mod uneven;

pub use delivery::{
    basin_area_m2, basin_overflow_ratio, delivery_ratio, filter_strip_trap_ratio, settling_velocity_m_s,
    small_catchment_delivery_ratio,
};
pub use soil_loss::{
    Rilling, grid_slope_length, irregular_slope_weights, nomograph_k_us, revised_length_steepness, soil_loss_t_ha,
    universal_length_steepness,
};
pub use storm::{rain_energy_mj_ha_mm, storm_sediment_t};
pub use uneven::{bent_length_steepness, contributing_area_length_steepness};
