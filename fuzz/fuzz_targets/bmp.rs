//! The reader of BMP; the corpus decides where the fuzzer begins.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| evenfilm_fuzz::picture(bytes));
