//! libFuzzer around `target_encoding`.
#![no_main]

#[allow(dead_code)]
#[path = "../../tests/support/targets.rs"]
mod targets;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| targets::target_encoding(bytes));
