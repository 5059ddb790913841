//! Tests that need the inside of the engine: a slow textbook twin and draws at one theta.

mod design;
mod draws;
mod exact;
mod generalised;
mod influence;
mod twin;
