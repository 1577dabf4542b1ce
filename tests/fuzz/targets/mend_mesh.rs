//! Fuzzes mending.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::mend_mesh(bytes);
});
