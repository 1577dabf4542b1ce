//! Fuzzes the reader of pictures for a part.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::picture::read_picture(bytes);
});
