//! Orders of a vet or farrier.

use serde_json::{Value, json};

use crate::*;

fn order(role: &str, details: Value) -> Value {
    let mut order = event("care_plan", "2026-05-01", details);
    order["role"] = json!(role);
    order
}

#[test]
fn an_order_in_force_takes_the_rules_place_and_says_so() {
    let feet = |order: Value, on: &str| {
        item(
            &due(&ask(grown(), [trimmed("2026-06-01", Some(8)), order], on)),
            "hoof.trim",
        )
    };
    let by_farrier = order(
        "farrier",
        json!({"domain": "hoof", "interval_weeks": 4, "instructions": "roll the toes"}),
    );
    let item_now = feet(by_farrier.clone(), "2026-06-10");
    assert_item(
        &item_now,
        "upcoming",
        Some("2026-06-22"),
        Some("2026-06-29"),
    );
    assert_eq!(item_now["rule"], "care_plan");
    assert_reason(
        &item_now,
        "every 4 weeks by the farrier's order of 2026-05-01; “roll the toes”",
    );
    let mut ended = by_farrier.clone();
    ended["details"]["valid_until"] = json!("2026-06-09");
    assert_eq!(feet(ended, "2026-06-10")["rule"], "farrier");
    // Not an owner's, not a farrier's on other matters, not one that nobody stands for.
    assert_eq!(
        feet(order("owner", by_farrier["details"].clone()), "2026-06-10")["rule"],
        "farrier"
    );
    let mut copied = by_farrier;
    copied["provenance"] = json!("transcribed");
    assert_eq!(feet(copied, "2026-06-10")["rule"], "farrier");

    let worms = |order: Value| {
        item(
            &due(&ask(
                grown(),
                [wormed("ivermectin", "2026-04-01"), order],
                "2026-06-10",
            )),
            "parasite.treatment",
        )
    };
    let plan = json!({"domain": "parasite", "interval_weeks": 12, "actives": ["ivermectin"], "roles": ["barn_staff"]});
    let by_vet = worms(order("vet", plan.clone()));
    assert_eq!(by_vet["due_by"], "2026-06-24");
    assert_eq!(by_vet["who"], json!(["owner", "vet", "barn_staff"]));
    assert_ne!(worms(order("farrier", plan))["rule"], "care_plan");
}

#[test]
fn an_order_in_words_stands_before_what_is_due() {
    let words = order(
        "vet",
        json!({"domain": "vaccination", "instructions": "No rabies vaccine: reacted in 2024."}),
    );
    let answer = due(&ask(grown(), [words], "2026-06-10"));
    let rabies = item(&answer, "vaccination.rabies");
    assert_eq!(rabies["status"], "ask_vet");
    assert_eq!(rabies["rule"], "care_plan");
    assert_reason(&rabies, "No rabies vaccine");
    assert_eq!(
        item(&answer, "vaccination.tetanus")["rule"],
        "tetanus.adult"
    );
}

#[test]
fn leave_to_give_a_dewormer_says_how_not_when() {
    let leave = order(
        "vet",
        json!({"domain": "parasite", "instructions": "Weigh with the tape.", "actives": ["ivermectin"],
            "roles": ["barn_staff"], "valid_until": "2026-12-31"}),
    );
    let answer = due(&ask(grown(), [leave], "2026-06-10"));
    let treatment = item(&answer, "parasite.treatment");
    assert_eq!(treatment["status"], "due");
    assert_eq!(treatment["who"], json!(["owner", "vet", "barn_staff"]));
    assert_reason(&treatment, "tells how: “Weigh with the tape.”");
    assert!(
        !item(&answer, "parasite.egg_count")["reason"]
            .to_string()
            .contains("Weigh")
    );
    // Words without a dewormer are another schedule.
    let words = order(
        "vet",
        json!({"domain": "parasite", "instructions": "No moxidectin."}),
    );
    let answer = due(&ask(grown(), [words], "2026-06-10"));
    assert_eq!(item(&answer, "parasite.treatment")["status"], "ask_vet");
}
