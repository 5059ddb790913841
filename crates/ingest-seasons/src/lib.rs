//! ingest-seasons
