//! Fuzzes the reader of 3MF, as a part to be coloured.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_3mf(bytes);
});
