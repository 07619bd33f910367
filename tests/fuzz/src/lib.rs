//! What is read from strangers, and what must hold whatever it is. Each target takes any bytes and panics where a
//! property breaks; `tests/corpus.rs` runs them over the kept corpus, `tests/fuzz/run` lets libFuzzer look for more.

mod bundle;
mod canonical;
mod event;
pub mod examples;
mod figure;
mod sheet;

/// A target: its name, which is its folder in the corpus, and what it does with an input.
#[derive(Clone, Copy)]
pub struct Target {
    /// Its name.
    pub name: &'static str,
    /// Tries one input; panics where a property breaks.
    pub run: fn(&[u8]),
}

/// All of them.
pub const TARGETS: &[Target] = &[
    Target {
        name: "canonical",
        run: canonical::run,
    },
    Target {
        name: "event",
        run: event::run,
    },
    Target {
        name: "figure",
        run: figure::run,
    },
    Target {
        name: "bundle",
        run: bundle::run,
    },
    Target {
        name: "sheet",
        run: sheet::run,
    },
];

/// An input of two parts: its first line, and the rest.
fn halves(bytes: &[u8]) -> Option<(&str, &str)> {
    std::str::from_utf8(bytes).ok()?.split_once('\n')
}
