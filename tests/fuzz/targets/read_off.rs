//! Fuzzes the reader of OFF.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_off(bytes);
});
