//! Fuzzes the reader of the materials of an OBJ file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_mtl(bytes);
});
