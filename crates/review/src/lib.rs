//! The season just closed: yields against expectation, rankings, trees that need a look, and last advice scored.
