//! Fuzzes the reader of the record of a print.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_record(bytes);
});
