//! libFuzzer's program: `WHORL_FUZZ_TARGET` names the target.

#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use whorl_fuzz::{TARGETS, Target};

static TARGET: LazyLock<Target> = LazyLock::new(|| {
    let name = std::env::var("WHORL_FUZZ_TARGET").unwrap_or_default();
    let found = TARGETS.iter().find(|target| target.name == name);
    *found.unwrap_or_else(|| panic!("WHORL_FUZZ_TARGET names no target: {name}"))
});

fuzz_target!(|bytes: &[u8]| (TARGET.run)(bytes));
