//! Helpers shared by the workspace-level tests.
