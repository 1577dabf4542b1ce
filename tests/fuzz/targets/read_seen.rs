//! Fuzzes the reader of what was seen of a print, up to the causes found for it.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::tables::read_seen(bytes);
});
