//! Pages: who gets in, what the browser is told to keep off, and that nobody sees more there than over the interface.

mod care;
mod guard;
mod shares;
mod sight;
mod sign_in;

use whorl_tests::Answer;

/// Every page of a horse.
fn pages_of(horse: &impl std::fmt::Display) -> Vec<String> {
    ["", "/history", "/entry", "/grants"]
        .map(|part| format!("/horses/{horse}{part}"))
        .to_vec()
}

fn location(answer: &Answer) -> Option<&str> {
    assert_eq!(answer.status, 303, "{answer:?}");
    answer.header("location")
}

fn cookies(answer: &Answer) -> Vec<String> {
    let set = answer.headers.get_all("set-cookie").iter();
    set.map(|one| one.to_str().expect("text").to_owned())
        .collect()
}
