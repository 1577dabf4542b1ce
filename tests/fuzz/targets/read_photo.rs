//! Fuzzes the reader of photographs.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::picture::read_photo(bytes);
});
