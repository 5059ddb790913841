//! Tests that need the inside of the engine: a slow textbook twin and draws at one theta.

mod design;
mod draws;
mod equations;
mod exact;
mod generalised;
mod influence;
mod paths;
mod pooled;
mod threads;
mod twin;
