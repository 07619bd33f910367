//! The published description of every operation: collected from the handlers, completed with examples.

mod figures;

use actix_web::App;
use serde_json::{Map, Value, json};
use utoipa::OpenApi as _;
use utoipa::openapi::OpenApi;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa_actix_web::AppExt;

use crate::routes;

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Whorl",
        description = "A shared, verifiable health record for horses. Entries are signed by the device that made them. \
            Doses, due dates and entry checks are guidance: follow the label, your vet and local law.",
        license(name = "Apache-2.0", identifier = "Apache-2.0"),
    ),
    servers((url = "/", description = "This server")),
    security(("bearer" = [])),
    modifiers(&Bearer),
    tags(
        (name = "server", description = "The server itself"),
        (name = "accounts", description = "People, sessions and devices"),
        (name = "barns", description = "Barns"),
        (name = "horses", description = "Horses and their histories"),
        (name = "due", description = "What is due, and whether horses may enter"),
        (name = "notices", description = "What reaches a person without being asked for"),
        (name = "access", description = "Grants, invitations, licences, transfers and the procedure policy"),
        (name = "sync", description = "Push, heads and pull"),
        (name = "figures", description = "The care engine: weights, doses, egg counts, hooves, due dates, entry"),
    ),
)]
struct Description;

struct Bearer;

impl utoipa::Modify for Bearer {
    fn modify(&self, openapi: &mut OpenApi) {
        let bearer = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .bearer_format("JWT")
            .build();
        openapi
            .components
            .get_or_insert_with(Default::default)
            .add_security_scheme("bearer", SecurityScheme::Http(bearer));
    }
}

/// The description as it is published: JSON, with an example for every body.
#[must_use]
pub fn openapi() -> Value {
    let (_, collected) = App::new()
        .into_utoipa_app()
        .openapi(Description::openapi())
        .configure(|operations| routes::all(operations))
        .split_for_parts();
    let mut document = serde_json::to_value(collected).unwrap_or_default();
    figures::give_examples(&mut document);
    let schemas = document
        .pointer("/components/schemas")
        .cloned()
        .unwrap_or_default();
    let paths = document
        .get_mut("paths")
        .and_then(Value::as_object_mut)
        .into_iter()
        .flat_map(Map::values_mut);
    for operation in paths
        .filter_map(Value::as_object_mut)
        .flat_map(Map::values_mut)
    {
        let responses = operation
            .pointer_mut("/responses")
            .and_then(Value::as_object_mut);
        for response in responses.into_iter().flat_map(Map::values_mut) {
            give_examples(response, &schemas);
        }
        if let Some(body) = operation.get_mut("requestBody") {
            give_examples(body, &schemas);
        }
    }
    document
}

/// Puts an example beside each JSON body that has none.
fn give_examples(body: &mut Value, schemas: &Value) {
    let content = body.get_mut("content").and_then(Value::as_object_mut);
    for (media_type, content) in content.into_iter().flatten() {
        let missing = content.get("example").is_none() && content.get("examples").is_none();
        if missing && media_type.ends_with("json") {
            let example = example_of(&content["schema"], schemas, 0);
            content["example"] = example;
        }
    }
}

/// An example of a schema: its own, or one put together from its parts.
fn example_of(schema: &Value, schemas: &Value, depth: usize) -> Value {
    // A schema that holds itself ends somewhere.
    if depth > 24 {
        return Value::Null;
    }
    let inner = |schema: &Value| example_of(schema, schemas, depth + 1);
    if let Some(name) = schema["$ref"]
        .as_str()
        .and_then(|link| link.rsplit('/').next())
    {
        return inner(&schemas[name]);
    }
    if let Some(example) = schema.get("example") {
        return example.clone();
    }
    if let Some(example) = schema
        .pointer("/examples/0")
        .or_else(|| schema.get("default"))
    {
        return example.clone();
    }
    if let Some(first) = schema.pointer("/enum/0").or_else(|| schema.get("const")) {
        return first.clone();
    }
    for choice in ["oneOf", "anyOf"] {
        let options = schema[choice].as_array();
        if let Some(option) = options
            .into_iter()
            .flatten()
            .find(|option| option["type"] != "null")
        {
            return inner(option);
        }
    }
    if let Some(parts) = schema["allOf"].as_array() {
        let mut whole = Map::new();
        for part in parts {
            if let Value::Object(fields) = inner(part) {
                whole.extend(fields);
            }
        }
        return Value::Object(whole);
    }
    match type_of(schema) {
        "object" => {
            let properties = schema["properties"].as_object().into_iter().flatten();
            properties
                .map(|(name, field)| (name.clone(), inner(field)))
                .collect()
        }
        "array" => json!([inner(&schema["items"])]),
        "string" => match schema["format"].as_str() {
            Some("uuid") => json!("0199f3a0-7c00-7000-8000-000000000001"),
            Some("date-time") => json!("2027-03-04T14:20:00Z"),
            Some("date") => json!("2027-03-04"),
            _ => json!("text"),
        },
        "integer" => schema.get("minimum").cloned().unwrap_or(json!(1)),
        "number" => schema.get("minimum").cloned().unwrap_or(json!(1.0)),
        "boolean" => json!(true),
        _ => Value::Null,
    }
}

/// The type that a schema names first, null aside.
fn type_of(schema: &Value) -> &str {
    match &schema["type"] {
        Value::String(name) => name,
        Value::Array(names) => names
            .iter()
            .filter_map(Value::as_str)
            .find(|name| *name != "null")
            .unwrap_or("null"),
        _ => "",
    }
}
