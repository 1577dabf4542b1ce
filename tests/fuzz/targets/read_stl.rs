//! Fuzzes the reader of STL, in bytes or in text.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_stl(bytes);
});
