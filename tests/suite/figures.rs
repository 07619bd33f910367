//! Figures over HTTP: the care engine's own answers, read strictly.

use reqwest::Method;
use serde_json::{Value, json};
use whorl_care::figure;
use whorl_care::rules::Rules;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_tests::on_both;

on_both!(every_figure_answers_as_the_care_engine_does, |server| {
    let wren = server.account("Wren");
    let rules = Rules::built_in().expect("rules");
    let document = whorl_http::description::openapi();
    let operation = &document["paths"][path::figure("{name}")]["post"];
    let examples = &operation["requestBody"]["content"]["application/json"]["examples"];
    for name in figure::NAMES {
        let input = &examples[name]["value"];
        let expected = figure::run(name, input, &rules)
            .expect("a figure")
            .expect("an answer");
        // Through text as the server's answer is, since a reader may take the last digit of a float differently.
        let expected: Value = serde_json::from_str(&expected.to_string()).expect("JSON");

        let answer = wren.post(&path::figure(name), input);

        assert_eq!(answer.status, 200, "{name}: {answer:?}");
        let answer: Value = answer.read();
        assert_eq!(answer, expected, "{name}");
        assert!(answer["cautions"].is_array(), "{name}");
        assert!(answer["sources"].is_array(), "{name}");
    }
});

on_both!(
    an_input_that_cannot_stand_is_refused_where_it_is_wrong,
    |server| {
        let wren = server.account("Wren");
        let ask = |name: &str, input: &Value| wren.post(&path::figure(name), input);
        let good = json!({"class": "adult", "heart_girth_cm": 185.0, "body_length_cm": 165.0});

        let mut typo = good.clone();
        typo["hart_girth_cm"] = json!(185.0);
        let answer = ask("weight", &typo);
        assert_eq!((answer.status, answer.problem().kind), (422, Kind::Invalid));
        assert!(
            answer.problem().errors[0].pointer.contains("hart_girth_cm"),
            "{answer:?}"
        );
        let mut inches = good.clone();
        inches["heart_girth_cm"] = json!(73.0);
        let answer = ask("weight", &inches);
        assert_eq!(answer.status, 422);
        assert_eq!(answer.problem().errors[0].pointer, "/heart_girth_cm");

        for nothing in ["weights", "WEIGHT", "hoof%2Fgrowth"] {
            let answer = ask(nothing, &good);
            assert_eq!(
                (answer.status, answer.problem().kind),
                (404, Kind::NotFound),
                "{nothing}"
            );
        }
        assert_eq!(
            server
                .anonymous()
                .post(&path::figure("weight"), &good)
                .status,
            401
        );
    }
);

on_both!(
    a_document_that_two_readers_take_differently_is_not_read,
    |server| {
        let wren = server.account("Wren");
        let ask = |media_type: &str, body: &str| {
            let request = wren
                .request(Method::POST, &path::figure("weight"))
                .header("content-type", media_type)
                .body(body.to_owned());
            wren.send(request)
        };
        let twice = r#"{"class": "adult", "heart_girth_cm": 185, "heart_girth_cm": 285, "body_length_cm": 165}"#;

        for body in [twice, "", "{", "nonsense", "{} {}", "{\"class\": NaN}"] {
            let answer = ask("application/json", body);
            assert_eq!(
                (answer.status, answer.problem().kind),
                (400, Kind::Malformed),
                "{body}"
            );
        }
        let plain = ask("text/plain", "{}");
        assert_eq!(
            (plain.status, plain.problem().kind),
            (415, Kind::UnsupportedMediaType)
        );
        let long = format!("{{\"class\": \"{}\"}}", "a".repeat(4 * 1024 * 1024));
        let large = ask("application/json; charset=utf-8", &long);
        assert_eq!((large.status, large.problem().kind), (413, Kind::TooLarge));
    }
);

on_both!(the_policy_and_the_rules_in_force_can_be_read, |server| {
    let wren = server.account("Wren");

    let policy: Value = wren.get(path::POLICY).read();
    let rows = policy["rule"].as_array().expect("rows");
    let vaccination = rows
        .iter()
        .find(|row| {
            row["kinds"]
                .as_array()
                .is_some_and(|kinds| kinds.contains(&json!("vaccination")))
        })
        .expect("a row");
    let vets = vaccination["vet"]["grades"].as_array().expect("grades");
    assert!(vets.contains(&json!("attested")));
    assert_eq!(vaccination["farrier"]["grades"], json!([]));

    let rules: Page<Value> = wren.get(path::RULES).read();
    assert!(rules.items.len() > 20, "{}", rules.items.len());
    for rule in &rules.items {
        for field in ["subject", "id", "citation", "edition", "mark", "file"] {
            assert!(rule[field].is_string(), "{field} of {rule}");
        }
    }
    for page in [path::POLICY, path::RULES] {
        assert_eq!(server.anonymous().get(page).status, 401);
    }
});
