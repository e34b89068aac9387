//! The catalogue against itself and against published values.

#[path = "vocabulary/hostile.rs"]
mod hostile;
#[path = "vocabulary/name_table.rs"]
mod name_table;
#[path = "vocabulary/names.rs"]
mod names;
#[path = "vocabulary/outcomes.rs"]
mod outcomes;
#[path = "vocabulary/parameters.rs"]
mod parameters;
#[path = "vocabulary/teaching.rs"]
mod teaching;
