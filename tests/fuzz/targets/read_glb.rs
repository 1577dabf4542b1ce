//! Fuzzes the reader of glTF in bytes.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_glb(bytes);
});
