//! Levels of single tests.
