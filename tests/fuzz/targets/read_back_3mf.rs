//! Fuzzes the reader of 3MF of our own, as it is checked after it was written.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_back_3mf(bytes);
});
