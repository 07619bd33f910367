//! A yard as a whole, from this device's copy of the record: dewormers that fail, fevers, and who is watched.

use crate::yard::Yard;

#[test]
fn a_dewormer_without_enough_counts_is_not_judged_and_it_says_why() {
    let yard = Yard::of("vet");
    let ran = |args: &[&str]| {
        let ran = yard.run(args);
        assert_eq!(ran.status, 0, "{}", ran.err);
        ran
    };
    let count = [
        "record",
        "egg-count",
        "Plover",
        "--method",
        "mini_flotac",
        "--eggs",
        "40",
        "--factor",
        "5",
    ];
    ran(&[&count[..], &["--at", "2027-02-10"]].concat());
    ran(&[
        "record",
        "deworming",
        "Plover",
        "--active",
        "ivermectin",
        "--dosed-for",
        "500kg",
        "--weight-from",
        "scale",
        "--at",
        "2027-02-11",
    ]);
    ran(&[&count[..], &["--at", "2027-02-25"]].concat());
    let answer = ran(&["--json", "efficacy", "Saltmarsh Yard"]).json();
    let test = &answer["efficacy"]["tests"][0];
    assert_eq!(test["active"], "ivermectin");
    assert!(test["verdict"].is_null());
    assert_eq!(test["pairs"].as_array().map(Vec::len), Some(1));
    assert_eq!(answer["scope"]["horses"], 4);
    let table = ran(&["efficacy"]);
    for text in [
        "not judged",
        "at least 5 are needed",
        "It speaks for no other",
    ] {
        assert!(table.out.contains(text), "{text} in {}", table.out);
    }
}

#[test]
fn a_fever_offline_puts_the_barn_on_the_watch_list() {
    let yard = Yard::of("barn_staff");
    let calm = yard.run(&["watch"]);
    assert!(
        calm.out.contains("No fever and no contagious disease"),
        "{}",
        calm.out
    );
    let ran = yard.run(&["record", "vitals", "Plover", "--temperature", "39.6C"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let answer = yard.run(&["--json", "watch"]).json();
    assert_eq!(answer["watch"]["cases"][0]["horse"], "Plover");
    assert_eq!(answer["watch"]["cases"][0]["urgent"], true);
    assert_eq!(answer["watch"]["watched"].as_array().map(Vec::len), Some(4));
    let table = yard.run(&["watch", "Saltmarsh Yard"]);
    for text in [
        "call the vet now",
        "39.6 °C",
        "FEVER",
        "stood in the same barn",
        "stays until the vet says otherwise",
    ] {
        assert!(table.out.contains(text), "{text} in {}", table.out);
    }
}
