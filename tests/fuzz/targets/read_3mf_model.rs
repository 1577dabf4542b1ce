//! Fuzzes the reader of the model within a 3MF package, in UTF-8 or UTF-16.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_3mf_model(bytes);
});
