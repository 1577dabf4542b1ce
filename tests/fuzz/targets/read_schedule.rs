//! Fuzzes the reader of schedules.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_schedule(bytes);
});
