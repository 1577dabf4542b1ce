//! Fuzzes the search for the card in photographs.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::picture::find_card(bytes);
});
