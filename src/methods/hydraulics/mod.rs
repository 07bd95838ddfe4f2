//! Runoff and open channels.
//!
//! * [`rain`]: rainfall intensity at any duration, from a table of one return period
//! * [`runoff`]: peak discharge and volume from rain
//! * [`travel`]: how long water takes to gather
//! * [`section`]: the shape of a channel's cross section
//! * [`channel`]: uniform and critical flow in a section
//! * [`pipe`]: round pipes flowing full
//! * [`roughness`]: grassed beds, and freeboard
//! * [`velocity`]: what bare and grassed beds stand
//! * [`inverts`]: the highest inverts that keep a tree of channels falling

pub mod channel;
pub mod inverts;
pub mod pipe;
pub mod rain;
pub mod roughness;
pub mod runoff;
pub mod section;
pub mod travel;
pub mod velocity;

pub use channel::{
    ChannelError, UniformFlow, bottom_width_m, critical_depth_m, froude, manning_discharge_m3_s, normal_depth_m,
    normal_flow, shear_stress_pa,
};
pub use inverts::{DrainNode, InvertError, Inverts, available_slope_ratio, drain_reach_m, grade_inverts};
pub use pipe::{culvert_discharge_m3_s, pipe_full_discharge_m3_s};
pub use rain::{RainError, ReturnRain};
pub use roughness::{freeboard_m, vegetal_n};
pub use runoff::{
    composite_coefficient_ratio, curve_number_runoff_mm, drainage_coefficient_m3_s, rational_m3_s, runoff_volume_m3,
};
pub use section::Section;
pub use travel::{bransby_williams_min, kinematic_wave_min, kirpich_min};
pub use velocity::{BedMaterial, GrassCover, Soil, Water};

/// Standard acceleration of gravity, m/s2.
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// Weight of a cubic metre of water at 1,000 kg/m3, N/m3.
pub const WATER_WEIGHT_N_M3: f64 = 1_000.0 * GRAVITY_M_S2;
