//! Runoff and open channels.
