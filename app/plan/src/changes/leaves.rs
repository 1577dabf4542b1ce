//! Two values compared field by field.

use serde::Serialize;
use serde_json::Value;

/// A field that differs: where it is, and what it was and is; `None` where there is nothing.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Leaf {
    /// The way to it: `chamber, dead_mm3`.
    pub path: String,
    /// As it was.
    pub old: Option<Value>,
    /// As it is.
    pub new: Option<Value>,
}

/// All fields in which two values differ, in order. A value that can't be compared gives none.
pub(super) fn leaves<T: Serialize>(old: &T, new: &T) -> Vec<Leaf> {
    let mut found = Vec::new();
    if let (Ok(old), Ok(new)) = (serde_json::to_value(old), serde_json::to_value(new)) {
        walk(String::new(), Some(&old), Some(&new), &mut found);
    }
    found
}

fn walk(path: String, old: Option<&Value>, new: Option<&Value>, found: &mut Vec<Leaf>) {
    let deeper = |name: &str| match path.is_empty() {
        true => name.to_owned(),
        false => format!("{path}, {name}"),
    };
    match (old, new) {
        (old, new) if old == new => {}
        (Some(Value::Object(old)), Some(Value::Object(new))) => {
            let mut names: Vec<&String> = old.keys().chain(new.keys()).collect();
            names.sort_unstable();
            names.dedup();
            for name in names {
                walk(deeper(name), old.get(name), new.get(name), found);
            }
        }
        // Lists of one length are looked through; one that grows or shrinks is told as a whole.
        (Some(Value::Array(old)), Some(Value::Array(new))) if old.len() == new.len() => {
            for (i, (old, new)) in old.iter().zip(new).enumerate() {
                walk(deeper(&format!("{}", i + 1)), Some(old), Some(new), found);
            }
        }
        (old, new) => found.push(Leaf {
            path,
            old: old.cloned(),
            new: new.cloned(),
        }),
    }
}

impl Leaf {
    /// In words: `dead_mm3 from 20 to 25`, or `from 20 to 25` where the whole value differs.
    pub(super) fn words(&self) -> String {
        // Nobody reads a hash to learn what changed.
        if let Some(holder) = self.path.strip_suffix("sha256")
            && (holder.is_empty() || holder.ends_with(", "))
        {
            let holder = holder.trim_end_matches(", ");
            return format!("{holder}: its file holds something else")
                .trim_start_matches(": ")
                .to_owned();
        }
        let change = match (&self.old, &self.new) {
            (Some(old), Some(new)) => format!("from {} to {}", short(old), short(new)),
            (None, Some(new)) => format!("added: {}", short(new)),
            (Some(old), None) => format!("removed: {}", short(old)),
            (None, None) => String::new(),
        };
        format!("{} {change}", self.path).trim().to_owned()
    }
}

/// A value in few words.
fn short(value: &Value) -> String {
    match value {
        Value::Null => "nothing".to_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::String(text) => format!("'{text}'"),
        Value::Array(list) if list.len() > 8 || list.iter().any(|v| !v.is_number()) => {
            format!("a list of {}", list.len())
        }
        Value::Object(fields) => {
            let names: Vec<&str> = fields.keys().map(String::as_str).collect();
            names.join(", ")
        }
        other => other.to_string(),
    }
}
