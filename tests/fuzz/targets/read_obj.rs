//! Fuzzes the reader of OBJ.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::mesh::read_obj(bytes);
});
