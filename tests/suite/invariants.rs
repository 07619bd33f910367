//! The invariants of the ledger (DEVELOPERS.md numbers them), each tried on many made-up histories and both databases.

mod grants;
mod order;
mod race;

use std::cell::Cell;

use proptest::strategy::Strategy;
use proptest::test_runner::{Config, TestCaseError, TestError, TestRunner};

/// Runs `check` on so many made-up inputs, and sees to it that it did. An input that fails is made as small as it can.
fn on_cases<S: Strategy>(cases: u32, inputs: &S, check: impl Fn(S::Value)) {
    let mut runner = TestRunner::new(Config {
        cases,
        failure_persistence: None,
        // Each try talks to a real server.
        max_shrink_iters: 60,
        ..Config::default()
    });
    let ran = Cell::new(0);
    let outcome = runner.run(inputs, |input| {
        ran.set(ran.get() + 1);
        check(input);
        Ok::<(), TestCaseError>(())
    });
    match outcome {
        Ok(()) => {}
        Err(TestError::Fail(why, input)) => panic!("{why}\nwith {input:#?}"),
        Err(TestError::Abort(why)) => panic!("{why}"),
    }
    assert_eq!(ran.get(), cases, "cases that ran");
}
