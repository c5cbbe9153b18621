//! Two tables against each other.

use super::tables::Tables;
use serde_json::Value;

/// A place where two tables differ.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Dotted: `bands[1].ticks[3][0]`.
    pub path: String,
    pub found: String,
    pub expected: String,
}

impl Tables {
    /// Every place where `self` is not as `expected`, in the order of their fields.
    pub fn differences(&self, expected: &Tables) -> Vec<Difference> {
        let value = |t: &Tables| serde_json::to_value(t).unwrap_or_default();
        let mut list = Vec::new();
        compare("", &value(self), &value(expected), &mut list);
        list
    }
}

fn compare(path: &str, found: &Value, expected: &Value, list: &mut Vec<Difference>) {
    match (found, expected) {
        (Value::Object(a), Value::Object(b)) => {
            for (key, x) in a {
                let dot = if path.is_empty() { "" } else { "." };
                compare(
                    &format!("{path}{dot}{key}"),
                    x,
                    b.get(key).unwrap_or(&Value::Null),
                    list,
                );
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (i, (x, y)) in a.iter().zip(b).enumerate() {
                compare(&format!("{path}[{i}]"), x, y, list);
            }
        }
        _ if found == expected => {}
        _ => list.push(Difference {
            path: path.to_owned(),
            found: shown(found),
            expected: shown(expected),
        }),
    }
}

fn shown(value: &Value) -> String {
    match value {
        Value::Array(entries) => format!("{} entries", entries.len()),
        Value::Object(_) => "an entry".into(),
        Value::Null => "nothing".into(),
        Value::String(text) => text.clone(),
        value => value.to_string(),
    }
}
