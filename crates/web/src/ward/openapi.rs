//! The description of the API, OpenAPI 3.1, from the table of endpoints.

use serde_json::{Map, Value, json};

use super::answer::Answer;
use super::endpoint::{self, Endpoint, Gives, Method};

pub(super) const ENDPOINTS: &[Endpoint] = &[Endpoint {
    method: Method::Get,
    path: "/api/openapi.json",
    right: None,
    about: "This description",
    query: &[],
    takes: None,
    gives: Gives::Json(|| json!({ "type": "object" })),
    run: |_| Ok(Answer::Json(document())),
}];

/// Statuses that an endpoint may give beside its own.
fn problems(endpoint: &Endpoint) -> Vec<(&'static str, &'static str)> {
    let mut found = vec![("429", "Asked too often"), ("503", "The memory is away"), ("500", "The service failed")];
    if endpoint.right.is_some() || endpoint.method == Method::Post {
        found.extend([("401", "Not signed in"), ("403", "Not for this role")]);
    }
    if endpoint.path.contains('{') {
        found.push(("404", "Not here"));
    }
    if endpoint.takes.is_some() {
        found.extend([("400", "The body is not what is expected"), ("413", "The body is too long")]);
        found.push(("415", "Not JSON"));
    }
    if endpoint.path.contains('{') || endpoint.takes.is_some() || !endpoint.query.is_empty() {
        found.push(("422", "A value does not fit"));
    }
    if endpoint.takes.is_some() || endpoint.path.contains("{bed}") || endpoint.path.contains("{patient}") {
        found.extend([("404", "Not here"), ("409", "It stands against the record")]);
    }
    found
}

fn operation(endpoint: &Endpoint) -> Value {
    let mut responses = Map::new();
    for (status, about) in problems(endpoint) {
        let content = json!({ "application/problem+json": { "schema": { "$ref": "#/components/schemas/Problem" } } });
        responses.insert(status.into(), json!({ "description": about, "content": content }));
    }
    let (kind, schema) = match endpoint.gives {
        Gives::Json(schema) => ("application/json", schema()),
        Gives::Text(kind) => (kind, json!({})),
        Gives::Page => ("text/html", json!({})),
    };
    for status in ["200", "201"] {
        let is_made = endpoint.method == Method::Post && status == "201";
        if status == "200" || is_made {
            responses
                .insert(status.into(), json!({ "description": "Done", "content": { kind: { "schema": schema } } }));
        }
    }
    let in_path = endpoint.path.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}')).map(|name| {
        let schema =
            if name == "number" { json!({ "type": "integer" }) } else { json!({ "type": "string", "minLength": 1 }) };
        json!({ "name": name, "in": "path", "required": true, "schema": schema })
    });
    let in_query = endpoint
        .query
        .iter()
        .map(|p| json!({ "name": p.name, "in": "query", "description": p.about, "schema": (p.schema)() }));
    let right = endpoint.right.map_or("nobody in particular".to_owned(), |r| format!("{r:?}").to_lowercase());
    let mut operation = json!({
        "summary": endpoint.about,
        "description": format!("Right needed: {right}."),
        "parameters": in_path.chain(in_query).collect::<Vec<_>>(),
        "responses": responses,
    });
    if let Some(takes) = endpoint.takes {
        operation["requestBody"] =
            json!({ "required": true, "content": { "application/json": { "schema": takes() } } });
    }
    operation["security"] = if endpoint.right.is_some() { json!([{ "token": [] }]) } else { json!([]) };
    operation
}

fn document() -> Value {
    let mut paths = Map::new();
    for endpoint in endpoint::all().filter(|e| !matches!(e.gives, Gives::Page)) {
        let methods = paths.entry(endpoint.path).or_insert_with(|| json!({}));
        methods[endpoint.method.word().to_lowercase()] = operation(endpoint);
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Bedplate ward",
            "version": env!("CARGO_PKG_VERSION"),
            "description": crate::layout::CAUTION,
        },
        "paths": paths,
        "components": {
            "securitySchemes": { "token": { "type": "http", "scheme": "bearer" } },
            "schemas": { "Problem": {
                "type": "object", "required": ["title", "status", "detail"],
                "properties": { "title": { "type": "string" }, "status": { "type": "integer" }, "detail": { "type": "string" } }
            } }
        },
    })
}
