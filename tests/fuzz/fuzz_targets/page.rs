#![no_main]
libfuzzer_sys::fuzz_target!(|data: &[u8]| plumeline_fuzz::page(data));
