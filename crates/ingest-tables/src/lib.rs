//! ingest-tables
