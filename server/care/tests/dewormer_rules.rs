//! The pack `dewormers`: whole, each row with its mark, and no operator's row that could harm.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use whorl_care::figure::run;
use whorl_care::rules::{Mark, Pack, Rules, WrongPack};

/// The built-in rules with one file of an operator's laid over them.
fn with(rows: &str) -> Result<Rules, WrongPack> {
    let text = format!(
        "[pack]\nsubject = \"dewormers\"\nedition = \"yard\"\n[[source]]\nid = \"yard\"\ncitation = \"our vet's list\"\n\n{rows}"
    );
    Rules::with(&[("yard.toml".to_owned(), text)])
}

fn row(table: &str, id: &str, rest: &str) -> String {
    format!(
        "[[{table}]]\nid = \"{id}\"\nsource = \"yard\"\nedition = \"1\"\nmark = \"read\"\n{rest}\n"
    )
}

fn active(id: &str, ceiling: &str) -> String {
    let rest = format!(
        "name = \"{id}\"\nclass = \"benzimidazole\"\nmarks_go_by = 5\nceiling = {{ {ceiling}, source = \"yard\", mark = \"read\" }}\n\
         in_foal = {{ say = \"unconfirmed\", source = \"yard\", mark = \"read\" }}"
    );
    row("active", id, &rest)
}

fn dose(active: &str, rest: &str) -> String {
    let rest = format!(
        "active = \"{active}\"\nregimen = \"single\"\nparasites = [\"strongyles\"]\n{rest}"
    );
    row("dose", "ours", &rest)
}

#[test]
fn a_row_that_could_harm_stops_the_start_with_its_line() {
    let limit = row("limit", "most_kg", "value = 0");
    for (rows, line, reason) in [
        (dose("ivermectin", "mg_per_kg = 0"), 9, "mg_per_kg is 0"),
        (dose("ivermectin", "mg_per_kg = -0.2"), 9, "not above zero"),
        (
            dose("ivermectin", "mg_per_kg = 0.2\ndays = 0"),
            9,
            "days is 0",
        ),
        (
            dose("garlic", "mg_per_kg = 5"),
            9,
            "there is no active `garlic`",
        ),
        (active("ours", "refuse_above = 0.9"), 9, "under 1"),
        (
            active("ours", "warn_above = 3.0, refuse_above = 2.0"),
            9,
            "warn_above is over",
        ),
        (limit, 9, "not above zero"),
        (
            row("limit", "most_stone", "value = 190"),
            9,
            "no such number",
        ),
        (
            row(
                "form",
                "ours",
                "name = \"x\"\nlabel = \"us\"\nmake = \"paste\"\nparts = []",
            ),
            9,
            "parts is empty",
        ),
        (
            row(
                "form",
                "ours",
                "name = \"x\"\nlabel = \"us\"\nmake = \"paste\"\nmark_kg = 50\nmark_lb = 110\n\
                parts = [{ active = \"ivermectin\", percent = 1.87, mg_per_kg = 0.2 }]",
            ),
            9,
            "not both",
        ),
        (
            row(
                "form",
                "ours",
                "name = \"x\"\nlabel = \"us\"\nmake = \"paste\"\n\
                parts = [{ active = \"ivermectin\", percent = 187, mg_per_kg = 0.2 }]",
            ),
            9,
            "percent or mg_per_ml",
        ),
        (dose("ivermectin", "mg_per_kilo = 0.2"), 16, "unknown field"),
        (
            dose("ivermectin", "mg_per_kg = 0.2").replace("\"yard\"", "\"nobody\""),
            9,
            "nobody",
        ),
    ] {
        let wrong = with(&rows).expect_err(reason);
        assert!(wrong.reason.contains(reason), "{wrong}");
        assert_eq!(
            (wrong.line, wrong.file.as_str()),
            (line, "yard.toml"),
            "{wrong}"
        );
    }
}

#[test]
fn an_operator_adds_an_active_and_changes_a_number() {
    let rows = active("ours", "refuse_above = 2.0")
        + &dose("ours", "mg_per_kg = 7.5\ndays = 1")
        + &row("limit", "weight_good_for_days", "value = 30");
    let rules = with(&rows).expect("a sound pack");
    let input = json!({"active": "ours", "weight_kg": 400, "weight_from": "scale", "on": "2027-05-01",
                       "foaled_on": "2015", "weighed_on": "2027-03-20"});
    let answer = run("dose", &input, &rules)
        .expect("the figure")
        .expect("a dose");
    assert_eq!(answer["dose_mg"], 3000.0);
    let sources = answer["sources"].to_string();
    assert!(sources.contains("our vet's list"), "{sources}");
    let text = answer["warnings"][0]["text"].as_str().expect("a text");
    assert!(text.contains("30 days"), "{text}");
    let listed = rules
        .listed()
        .iter()
        .find(|rule| rule.id == "weight_good_for_days")
        .expect("listed");
    assert_eq!(
        (listed.file.as_str(), listed.citation.as_str()),
        ("yard.toml", "our vet's list")
    );
}

#[test]
fn ids_are_unique_so_that_the_list_loses_none() {
    let rules = Rules::built_in().expect("built-in packs are sound");
    for subject in ["weight", "dewormers"] {
        let ids: Vec<&str> = rules
            .listed()
            .iter()
            .filter(|rule| rule.subject == subject)
            .map(|rule| rule.id.as_str())
            .collect();
        let rows = if subject == "weight" {
            rules.weight.rows().len()
        } else {
            rules.dewormers.rows().len()
        };
        assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), rows, "{subject}");
        assert_eq!(ids.len(), rows, "{subject}");
    }
    assert!(
        rules
            .listed()
            .iter()
            .all(|rule| !rule.citation.is_empty() && !rule.edition.is_empty())
    );
}

/// A strength and a pack agree with the label's dose: what a form's syringe holds is a whole number of its marks.
#[test]
fn the_forms_agree_with_their_own_marks() {
    let rules = Rules::built_in().expect("built-in packs are sound");
    let pack = &rules.dewormers;
    let mut tried = 0;
    for form in &pack.form {
        let part = &form.parts[0];
        let mark_kg = form.mark_kg.or(form.mark_lb.map(|lb| lb * 0.453_592_37));
        let amount = form.content_g.or(form.content_ml);
        let strength = part
            .percent
            .map(|percent| percent * 10.0)
            .or(part.mg_per_ml);
        if let (Some(mark_kg), Some(amount), Some(strength)) = (mark_kg, amount, strength) {
            let factor = if part.base == Some(false) { 0.347 } else { 1.0 };
            let marks = amount * strength * factor / (mark_kg * part.mg_per_kg);
            assert!((marks - marks.round()).abs() < 0.05, "{}: {marks}", form.id);
            tried += 1;
        }
    }
    assert_eq!(tried, 9);
}

#[test]
fn what_is_not_read_is_marked() {
    let rules = Rules::built_in().expect("built-in packs are sound");
    let marked = |id: &str| {
        rules
            .listed()
            .iter()
            .find(|rule| rule.id == id)
            .map(|rule| rule.mark)
    };
    for id in [
        "four_measures_arabian",
        "four_measures_pony",
        "four_measures_stock",
        "girth_length_pony",
        "fenbendazole_threadworm",
        "moxidectin_praziquantel_us_age",
        "oxibendazole_us_paste",
        "praziquantel_gb",
    ] {
        assert_eq!(marked(id), Some(Mark::FromMemory), "{id}");
    }
    for id in [
        "girth_length_yearling",
        "girth_length_weanling",
        "girth_length_11877",
        "ideal_stock",
        "moxidectin_us",
    ] {
        assert_eq!(marked(id), Some(Mark::Unconfirmed), "{id}");
    }
    for id in ["most_kg", "thin_at_score", "weight_good_for_days"] {
        assert_eq!(marked(id), Some(Mark::Proposal), "{id}");
    }
    // And a ceiling's mark is said with the dose that was tested against it.
    let input = json!({"active": "moxidectin", "weight_kg": 500, "weight_from": "scale", "on": "2027-05-01", "foaled_on": "2015",
                       "product": {"form": "moxidectin_us"}});
    let answer: Value = run("dose", &input, &rules)
        .expect("the figure")
        .expect("a dose");
    let cautions = answer["cautions"].to_string();
    assert!(
        cautions.contains("the ceiling of moxidectin: a proposal of ours"),
        "{cautions}"
    );
    assert!(
        cautions.contains("moxidectin (US): unconfirmed, check before relying on it"),
        "{cautions}"
    );
}
