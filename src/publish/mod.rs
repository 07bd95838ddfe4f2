//! Artifacts become documents in memory: maps, tables, pages.
