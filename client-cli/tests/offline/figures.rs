//! The care engine from the shell, and the commands for people that stand on it.

use serde_json::{Value, json};

use crate::yard::Yard;

fn figure(yard: &Yard, name: &str, document: &Value) -> crate::yard::Ran {
    let file = yard.file("input.json", &document.to_string());
    yard.run(&["figure", name, "--file", &file])
}

#[test]
fn a_figure_takes_one_document_and_gives_one() {
    let yard = Yard::of("owner");
    // 188 cm x 188 cm x 165 cm / 11 880 (Wagner & Tyler 2011): 490.9 kg, worked by hand.
    let measures = json!({"class": "adult", "heart_girth_cm": 188, "body_length_cm": 165});
    let answer = figure(&yard, "weight", &measures).json();
    assert_eq!(answer["weight_kg"].as_f64().map(f64::round), Some(491.0));
    let typed = yard
        .answering(&["figure", "weight"], &measures.to_string())
        .json();
    assert_eq!(typed, answer);
    let marked = yard.file("marked.json", &format!("\u{feff}{measures}"));
    assert_eq!(
        yard.run(&["figure", "weight", "--file", &marked]).json(),
        answer
    );
}

#[test]
fn bad_input_is_answered_with_a_problem_document_and_exit_2() {
    let yard = Yard::of("owner");
    let problem = |ran: crate::yard::Ran| {
        ran.refused();
        serde_json::from_str::<Value>(&ran.out).expect("a problem document")
    };
    let slip = json!({"class": "adult", "heart_girth_cm": 75, "body_length_cm": 165});
    let told = problem(figure(&yard, "weight", &slip));
    assert_eq!(told["type"], "/problems/invalid");
    assert_eq!(told["status"], 422);
    assert_eq!(told["errors"][0]["pointer"], "/heart_girth_cm");
    for text in ["", "{", "{\"a\": 1, \"a\": 2}", "NaN"] {
        let file = yard.file("bad.json", text);
        let told = problem(yard.run(&["figure", "weight", "--file", &file]));
        assert_eq!(told["type"], "/problems/malformed", "{text}");
    }
    let told = problem(yard.run(&["figure", "horoscope"]));
    assert!(
        told["errors"][0]["detail"]
            .as_str()
            .is_some_and(|one| one.contains("there are weight, dose"))
    );
    let ran = yard.run(&["figure", "weight", "--file", "/no/such/file"]);
    assert!(ran.refused().contains("/no/such/file"));
}

#[test]
fn the_figures_are_listed_and_each_says_what_it_rests_on() {
    let yard = Yard::of("owner");
    let names = yard.run(&["--json", "figure"]).json();
    for name in ["weight", "dose", "egg-count", "reduction", "entry"] {
        assert!(
            names
                .as_array()
                .is_some_and(|names| names.contains(&json!(name))),
            "{name}"
        );
    }
    let answer = figure(
        &yard,
        "egg-count",
        &json!({"eggs_counted": 9, "multiplication_factor": 50}),
    )
    .json();
    assert!(answer["sources"].is_array() && answer["cautions"].is_array());
}

#[test]
fn a_tape_is_read_in_inches_or_centimetres_and_the_weight_written_down() {
    let yard = Yard::of("owner");
    let ran = yard.run(&[
        "weigh", "--girth", "74in", "--length", "65in", "--class", "adult",
    ]);
    assert!(ran.out.contains("weight"), "{}", ran.out);
    assert!(ran.out.contains("kg ("), "{}", ran.out);
    let ran = yard.run(&[
        "weigh", "--girth", "75", "--length", "165cm", "--class", "adult",
    ]);
    assert!(
        ran.refused()
            .contains("--girth: 75 of what: cm, mm, m, in or hh?"),
        "{}",
        ran.err
    );
    let ran = yard.run(&[
        "weigh", "--girth", "75cm", "--length", "165cm", "--class", "adult",
    ]);
    assert!(
        ran.refused().contains("did you mean 75 inches?"),
        "{}",
        ran.err
    );
    let ran = yard.run(&["weigh", "--girth", "188cm", "--length", "165cm"]);
    assert!(
        ran.refused().contains("--class: say the class"),
        "{}",
        ran.err
    );
    // Plover was foaled in 2016: her record says that she is grown.
    let ran = yard.run(&[
        "--json", "weigh", "--girth", "188cm", "--length", "165cm", "--record", "Plover",
    ]);
    let details = ran.json()["recorded"]["details"].clone();
    assert_eq!(
        details,
        json!({"weight_kg": 490.9, "method": "formula", "heart_girth_cm": 188.0, "body_length_cm": 165.0})
    );
}

#[test]
fn a_dose_is_for_the_horse_on_record_or_for_what_is_told() {
    let yard = Yard::of("owner");
    let told = [
        "dose",
        "ivermectin",
        "--weight",
        "1125lb",
        "--weight-from",
        "scale",
        "--foaled",
        "2015",
        "--on",
        "2027-03-01",
    ];
    let ran = yard.run(&told);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(
        ran.out.starts_with("FOLLOW THE LABEL AND YOUR VET"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("102.06 mg (0.2 mg/kg)"), "{}", ran.out);
    // A 1.87 % paste with marks of 250 lb: 1125 lb is set to the fifth, 1250 lb.
    let syringe = [
        "--concentration",
        "1.87",
        "--content",
        "6.08g",
        "--mark",
        "250lb",
    ];
    let ran = yard.run(&[&told[..], &syringe[..]].concat());
    assert!(ran.out.contains("566.99 kg (1250 lb)"), "{}", ran.out);
    for wrong in [
        ["--mark", "250"],
        ["--content", "6.08"],
        ["--weight", "1125"],
        ["--pregnant=maybe", "--in"],
    ] {
        assert_eq!(
            yard.run(&[&["dose", "ivermectin"][..], &wrong[..]].concat())
                .status,
            2
        );
    }
    let ran = yard.run(&["dose", "ivermectin", "Plover"]);
    assert!(
        ran.refused().contains("--weight: say the weight"),
        "{}",
        ran.err
    );
    yard.run(&[
        "record", "weight", "Plover", "--weight", "510kg", "--method", "scale",
    ]);
    let ran = yard.run(&["--json", "dose", "ivermectin", "Plover"]);
    assert_eq!(ran.json()["weight_kg"], 510.0);
}

#[test]
fn a_refused_dose_has_no_amount_and_says_why() {
    let yard = Yard::of("owner");
    let ran = yard.run(&[
        "dose",
        "moxidectin",
        "--weight",
        "500kg",
        "--weight-from",
        "scale",
    ]);
    assert!(ran.refused().contains("there is no dose"), "{}", ran.err);
    assert!(
        ran.out.contains("NO DOSE of moxidectin for 500 kg."),
        "{}",
        ran.out
    );
    assert!(!ran.out.contains("set the syringe to"), "{}", ran.out);
}

/// 9 eggs at a factor of 50: 450 per gram; the exact Poisson limits of 9 are 4.115 and 17.085 (Garwood 1936, as
/// tabulated), so 206 and 854.
#[test]
fn eggs_are_counted_with_what_chance_leaves_open() {
    let yard = Yard::of("vet");
    let ran = yard.run(&["egg-count", "--eggs", "9", "--factor", "50"]);
    assert!(ran.out.contains("206 to 854"), "{}", ran.out);
    let ran = yard.run(&["egg-count", "--eggs", "9"]);
    assert!(ran.refused().contains("--"), "{}", ran.err);
}

#[test]
fn visits_are_planned_without_a_connection() {
    let yard = Yard::of("vet");
    let plan = [
        "visits",
        "--capacity",
        "2",
        "--until",
        "2027-04-30",
        "--for",
        "dental",
        "--without",
        "sat,sun",
    ];
    let told = yard.run(&plan);
    assert_eq!(told.status, 0, "{}", told.err);
    let plan = yard.run(&[&["--json"], plan.as_slice()].concat()).json();
    let horses: usize = plan["days"]
        .as_array()
        .expect("days")
        .iter()
        .map(|day| usize::try_from(day["horses"].as_u64().expect("a number")).expect("few"))
        .sum();
    let left = plan["not_planned"].as_array().expect("a list").len();
    assert_eq!(
        horses + left,
        4,
        "every horse has a day or a reason: {plan}"
    );
    assert_eq!(
        plan["question"]["days_off"]["weekdays"],
        json!(["saturday", "sunday"])
    );
    let wrong = yard.run(&["visits", "--capacity", "2", "--until", "2027-03-01"]);
    assert!(
        wrong
            .refused()
            .contains("--until: 2027-03-01 is before the first day"),
        "{}",
        wrong.err
    );
    let wrong = yard.run(&[
        "visits",
        "--capacity",
        "2",
        "--until",
        "2027-04-01",
        "--without",
        "moonday",
    ]);
    assert!(
        wrong.refused().contains("a day of the week like saturday"),
        "{}",
        wrong.err
    );
}

#[test]
fn a_horse_without_papers_may_not_enter_and_is_told_what_to_do() {
    let yard = Yard::of("vet");
    let args = [
        "entry",
        "Plover",
        "--rules",
        "eia-12-months",
        "--arrives",
        "2027-03-20",
    ];
    let ran = yard.run(&args);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(
        ran.out
            .starts_with("Plover may not enter on 2027-03-20 as things stand."),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("to do"), "{}", ran.out);
    yard.run(&[
        "record",
        "laboratory-test",
        "Plover",
        "--test",
        "eia_elisa",
        "--drawn",
        "2027-02-25",
        "--reported",
        "2027-03-01",
        "--result",
        "negative",
    ]);
    let ran = yard.run(&args);
    assert!(
        ran.out.starts_with("Plover may enter on 2027-03-20"),
        "{}",
        ran.out
    );
    let ran = yard.run(&[
        "entry",
        "Plover",
        "--rules",
        "moon-cup",
        "--arrives",
        "2027-03-20",
    ]);
    assert!(ran.refused().contains("moon-cup"), "{}", ran.err);
}

#[test]
fn rules_are_listed_and_an_operators_folder_is_laid_over_them() {
    let yard = Yard::of("owner");
    let ran = yard.run(&["rules", "weight"]);
    assert!(
        ran.out.contains("girth_length_adult_kg_cm") && ran.out.contains("from memory"),
        "{}",
        ran.out
    );
    assert!(
        yard.run(&["rules", "astrology"])
            .refused()
            .contains("there are")
    );
    let listed = yard.run(&["--json", "rules"]).json();
    assert!(listed.as_array().is_some_and(|all| all.len() > 100));
    let folder = yard.folder("rules");
    let ran = yard.run(&["--rules-dir", &folder, "rules"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    yard.file(
        "rules/wrong.toml",
        "[pack]\nsubject = \"weight\"\nedition = 7\n",
    );
    let ran = yard.run(&[
        "--rules-dir",
        &folder,
        "weigh",
        "--girth",
        "188cm",
        "--class",
        "adult",
    ]);
    assert!(ran.refused().contains("wrong.toml, line 3"), "{}", ran.err);
    assert!(
        yard.run(&["--rules-dir", "/no/such/folder", "rules"])
            .refused()
            .contains("/no/such/folder")
    );
}

#[test]
fn what_is_due_is_told_for_one_horse_and_for_all() {
    let yard = Yard::of("farrier");
    yard.run(&[
        "record",
        "trim",
        "Plover",
        "--next",
        "6",
        "--at",
        "2027-01-01",
    ]);
    let one = yard.run(&["--json", "due", "Plover"]).json();
    let item = |answer: &Value, code: &str| {
        let items = answer["items"].as_array().expect("a list");
        items
            .iter()
            .find(|item| item["code"] == code)
            .cloned()
            .unwrap_or_default()
    };
    // Six weeks after 1 January are up on 12 February; by 4 March nobody has come.
    let trim = item(&one, "hoof.trim");
    assert_eq!(trim["last_on"], "2027-01-01");
    assert_eq!(trim["status"], "overdue", "{trim}");
    let before = yard
        .run(&["--json", "due", "Plover", "--on", "2027-01-10"])
        .json();
    assert_ne!(item(&before, "hoof.trim")["status"], "overdue");
    let all = yard.run(&["--json", "due", "--all"]).json();
    assert_eq!(all["horses"].as_array().map(Vec::len), Some(4));
    let told = yard.run(&["due"]).out;
    assert!(
        told.contains("OVERDUE") && told.contains("trim or shoeing"),
        "{told}"
    );
    assert!(told.contains("your vet and local law come first"), "{told}");
    assert!(yard.run(&["due", "Plover"]).out.contains("Source: "));
    assert!(
        yard.run(&["due", "--parasite", "moon"])
            .refused()
            .contains("--parasite: ")
    );
    assert!(
        yard.run(&["horses"]).out.contains("overdue"),
        "the list of horses says it as well"
    );
}

#[test]
fn feet_are_judged_by_what_was_last_measured() {
    let yard = Yard::of("farrier");
    let ran = yard.run(&["hoof", "Plover"]);
    assert!(
        ran.out.contains("No foot of Plover was ever measured"),
        "{}",
        ran.out
    );
    yard.run(&[
        "record",
        "trim",
        "Plover",
        "--at",
        "2027-01-10",
        "--after",
        "LF:toe=90mm,angle=49",
        "--method",
        "gauge",
    ]);
    yard.run(&[
        "record",
        "trim",
        "Plover",
        "--after",
        "LF:toe=84mm,angle=52,pastern=52",
        "--after",
        "RF:toe=84mm,angle=57",
        "--method",
        "gauge",
    ]);
    let judged = yard.run(&["--json", "hoof", "Plover", "LF"]).json();
    let foot = &judged[0];
    assert_eq!(
        (&foot["foot"], &foot["axis"]),
        (&json!("LF"), &json!("aligned"))
    );
    assert_eq!(foot["pair"]["toe_angle_difference_deg"], 5.0);
    assert_eq!(foot["measured_on"], "2027-03-04");
    assert!(
        foot["changes"]
            .as_array()
            .is_some_and(|list| !list.is_empty()),
        "{foot}"
    );
    assert_eq!(
        yard.run(&["--json", "hoof", "Plover"])
            .json()
            .as_array()
            .map(Vec::len),
        Some(2)
    );
}
