//! Cutting and filling: planes, balance, volumes, haul.
