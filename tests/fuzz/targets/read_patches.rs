//! Fuzzes the reader of places of a photograph's patches.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_patches(bytes);
});
