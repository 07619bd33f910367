//! Examples of the figures: the inputs that their schemas name, and what the care engine answers to these.

use serde_json::{Map, Value, json};
use whorl_care::figure;
use whorl_care::rules::Rules;
use whorl_contract::path;

/// Puts an input and its answer for each figure into the description.
pub(super) fn give_examples(document: &mut Value) {
    let (mut inputs, mut answers) = (Map::new(), Map::new());
    if let Ok(rules) = Rules::built_in() {
        for name in figure::NAMES {
            let Some(input) = input_of(document, name) else {
                continue;
            };
            if let Some(Ok(answer)) = figure::run(name, &input, &rules) {
                inputs.insert((*name).to_owned(), json!({"value": input}));
                answers.insert((*name).to_owned(), json!({"value": shortened(answer)}));
            }
        }
    }
    let operation = document
        .get_mut("paths")
        .and_then(|paths| paths.get_mut(path::figure("{name}")))
        .and_then(|path| path.get_mut("post"));
    let Some(operation) = operation else { return };
    let places = [
        ("/requestBody/content/application~1json", inputs),
        ("/responses/200/content/application~1json", answers),
    ];
    for (place, examples) in places {
        if let Some(content) = operation.pointer_mut(place) {
            content["examples"] = Value::Object(examples);
        }
    }
}

/// An answer with its numbers to three decimals: an example is for reading, and all digits of a float don't survive
/// every reader of JSON.
fn shortened(value: Value) -> Value {
    match value {
        Value::Number(number) if number.is_f64() => match number.as_f64() {
            Some(exact) => json!((exact * 1000.0).round() / 1000.0),
            None => Value::Number(number),
        },
        Value::Array(items) => items.into_iter().map(shortened).collect(),
        Value::Object(fields) => {
            let fields = fields.into_iter();
            fields
                .map(|(name, field)| (name, shortened(field)))
                .collect()
        }
        other => other,
    }
}

/// The example of a figure's input: `egg-count` takes an `EggCountInput`.
fn input_of(document: &Value, name: &str) -> Option<Value> {
    let mut schema = String::from("/components/schemas/");
    for word in name.split('-') {
        let (first, rest) = word.split_at_checked(1)?;
        schema.push_str(&first.to_ascii_uppercase());
        schema.push_str(rest);
    }
    schema.push_str("Input/example");
    document.pointer(&schema).cloned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_figure_is_described_with_an_answer_of_its_own() {
        let document = super::super::openapi();
        let operation = &document["paths"][path::figure("{name}")]["post"];
        for place in ["/requestBody/content", "/responses/200/content"] {
            let content = &operation.pointer(place).expect(place)["application/json"];
            let examples = content["examples"].as_object().expect("examples");
            for name in figure::NAMES {
                assert!(
                    examples.contains_key(*name),
                    "{name} has no example in {place}"
                );
            }
            let link = content["schema"]["$ref"].as_str().expect("a named schema");
            let schema = document.pointer(&link[1..]).expect("the schema");
            let options = schema["oneOf"].as_array().expect("options");
            assert_eq!(options.len(), figure::NAMES.len(), "{link} lacks a figure");
        }
    }
}
