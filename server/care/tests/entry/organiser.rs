//! Rule sets that an organiser adds as a file.

use serde_json::{Value, json};
use whorl_care::figure::run;
use whorl_care::rules::{Rules, WrongPack};

use crate::*;

const HEAD: &str = r#"
[pack]
subject = "entry"
edition = "2026"

[[source]]
id = "saltmarsh"
citation = "Saltmarsh Riding Club, rules for 2026"

[[rule_set]]
id = "saltmarsh-club"
title = "Saltmarsh Riding Club"
source = "saltmarsh"
edition = "2026"
mark = "read"
in_force_from = 2026-01-01
in_force_until = "2026-12-31"

[[rule_set.clause]]
id = "saltmarsh-club.course"
source = "saltmarsh"
edition = "2026"
mark = "read"
"#;

fn with(clause: &str) -> Result<Rules, WrongPack> {
    Rules::with(&[("saltmarsh.toml".to_owned(), format!("{HEAD}{clause}"))])
}

fn course(more: &str) -> String {
    format!(
        "asks.course.disease = \"influenza\"\nasks.course.evidence = \"any\"\n{more}\nasks.course.steps = [\n\
         {{ place = \"second\", from = \"21d\", until = \"60d\" }},\n\
         {{ place = \"third\", from = \"120d\", until = \"180d\" }},\n\
         {{ place = \"booster\", until = \"12m\" }},\n]\n"
    )
}

fn answer(rules: &Rules, document: &Value) -> Value {
    run("entry", document, rules)
        .expect("the figure")
        .unwrap_or_else(|faults| panic!("{faults}"))
}

#[test]
fn a_file_adds_a_rule_set_and_is_listed() {
    let rules = with(&course("")).expect("a good file");
    let mut dose = flu("2026-02-01");
    dose["provenance"] = json!("recorded");
    let document = ask("saltmarsh-club", [flu("2026-01-05"), dose], "2026-03-01");
    assert_eligible(&answer(&rules, &document));
    let listed = rules.listed();
    let added = listed
        .iter()
        .find(|one| one.id == "saltmarsh-club")
        .expect("listed");
    assert_eq!(added.file, "saltmarsh.toml");
    assert_eq!(added.citation, "Saltmarsh Riding Club, rules for 2026");
    assert!(listed.iter().any(|one| one.id == "fei-influenza"));
}

#[test]
fn an_edition_that_has_run_out_is_never_a_pass() {
    let rules = with(&course("")).expect("a good file");
    let document = ask(
        "saltmarsh-club",
        [flu("2026-10-05"), flu("2026-11-03")],
        "2027-01-01",
    );
    let answer = answer(&rules, &document);
    assert_not(&answer, "was in force until 2026-12-31");
    assert_eq!(answer["checks"][0]["unknown"], true);
    assert_eq!(answer["earliest_eligible_on"], Value::Null);
}

#[test]
fn a_replaced_rule_set_leaves_no_old_clause_behind() {
    let text = format!("{HEAD}{}", course("")).replace("saltmarsh-club", "fei-influenza");
    let rules = Rules::with(&[("own.toml".to_owned(), text)]).expect("a good file");
    let of_fei = rules
        .listed()
        .iter()
        .filter(|one| one.id.starts_with("fei-influenza"));
    let files: Vec<&str> = of_fei.map(|one| one.file.as_str()).collect();
    assert_eq!(files, ["own.toml", "own.toml"]);
}

#[test]
fn a_rule_that_wants_three_doses_is_planned_for() {
    let rules = with(&course("asks.course.entry_after = \"third\"")).expect("a good file");
    let mut document = ask("saltmarsh-club", [], "2026-03-01");
    document["on"] = json!("2026-03-01");
    let answer = answer(&rules, &document);
    // 21 days and 120 days.
    assert_eq!(answer["earliest_eligible_on"], "2026-07-20");
    let days: Vec<&Value> = answer["plan"]
        .as_array()
        .expect("a plan")
        .iter()
        .map(|one| &one["from"])
        .collect();
    assert_eq!(days, ["2026-03-01", "2026-03-22", "2026-07-20"]);
}

#[test]
fn rules_that_contradict_each_other_have_no_plan() {
    let clause = "asks.recent.disease = \"influenza\"\nasks.recent.evidence = \"any\"\nasks.recent.through = \"arrival\"\n\
                  asks.recent.limits = [{ within = \"3d\" }]\n\n[[rule_set.clause]]\nid = \"saltmarsh-club.wait\"\n\
                  source = \"saltmarsh\"\nedition = \"2026\"\nmark = \"read\"\nasks.stand_down.disease = \"influenza\"\n\
                  asks.stand_down.waits = [{ wait = \"7d\" }]\n";
    let rules = with(clause).expect("a file that reads well");
    let answer = answer(
        &rules,
        &ask("saltmarsh-club", [flu("2026-02-01")], "2026-03-01"),
    );
    assert_eq!(answer["eligible"], false);
    assert_eq!(answer["earliest_eligible_on"], Value::Null);
    assert_eq!(answer["plan"], json!([]));
}

#[test]
fn a_wrong_file_is_refused_with_line_and_reason() {
    let lines = HEAD.lines().count();
    let wrong = |clause: &str| with(clause).expect_err("a wrong file");
    for (clause, line, reason) in [
        (
            course("").replace("60d", "6y"),
            lines + 5,
            "`6y` is not a period",
        ),
        (
            course("").replace("21d", "61d"),
            21,
            "`from` lies behind `until`",
        ),
        (
            course("").replace("\"third\", from", "\"second\", from"),
            21,
            "no step says when the third dose may come",
        ),
        (
            course("asks.course.entry_after = \"fourth\""),
            lines + 3,
            "fourth",
        ),
        (course("asks.course.colour = \"grey\""), lines + 1, "colour"),
        (
            "asks.microchip = {}\nsources = 1\n".to_owned(),
            lines + 2,
            "sources",
        ),
        (String::new(), 21, "asks"),
    ] {
        let found = wrong(&clause);
        assert_eq!(found.file, "saltmarsh.toml");
        assert!(found.reason.contains(reason), "{found}");
        assert!(
            found.line.abs_diff(line) <= 4,
            "{found}, expected about line {line}"
        );
    }
    let empty = Rules::with(&[(
        "x.toml".to_owned(),
        HEAD.replace("saltmarsh\"\ncitation", "other\"\ncitation"),
    )]);
    assert!(empty.is_err());
}
