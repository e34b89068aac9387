//! libFuzzer around `target_cell`.
#![no_main]

#[allow(dead_code)]
#[path = "../../tests/support/targets.rs"]
mod targets;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| targets::target_cell(bytes));
