//! Numbers and shapes in, numbers and shapes out. Each file cites its source; no farm words.

pub mod earthwork;
pub mod economics;
pub mod erosion;
pub mod flow;
pub mod hydraulics;
pub mod in_order;
pub mod optimise;
pub mod shapes;
pub mod surface;
