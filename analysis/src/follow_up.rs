//! From records to the time each specimen was under observation.
