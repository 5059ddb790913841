//! plantation-sim
