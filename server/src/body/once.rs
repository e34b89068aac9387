//! JSON whose objects name each member once: which of two is meant nobody knows (RFC 8259, section 4).

use std::collections::HashSet;
use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};

/// Any JSON, unless a member stands twice in one object.
pub struct Once;

impl<'de> Deserialize<'de> for Once {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Look)
    }
}

struct Look;

impl<'de> Visitor<'de> for Look {
    type Value = Once;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Once, A::Error> {
        let mut seen = HashSet::new();
        while let Some(name) = map.next_key::<String>()? {
            if seen.contains(&name) {
                return Err(A::Error::custom(format!("duplicate field `{name}`")));
            }
            seen.insert(name);
            map.next_value::<Once>()?;
        }
        Ok(Once)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Once, A::Error> {
        while seq.next_element::<Once>()?.is_some() {}
        Ok(Once)
    }

    fn visit_bool<E>(self, _: bool) -> Result<Once, E> {
        Ok(Once)
    }

    fn visit_i64<E>(self, _: i64) -> Result<Once, E> {
        Ok(Once)
    }

    fn visit_u64<E>(self, _: u64) -> Result<Once, E> {
        Ok(Once)
    }

    fn visit_f64<E>(self, _: f64) -> Result<Once, E> {
        Ok(Once)
    }

    fn visit_str<E>(self, _: &str) -> Result<Once, E> {
        Ok(Once)
    }

    fn visit_unit<E>(self) -> Result<Once, E> {
        Ok(Once)
    }
}

#[cfg(test)]
mod tests {
    use super::Once;

    #[test]
    fn a_member_that_stands_twice_is_found_at_any_depth() {
        let reads = |text: &str| serde_json::from_str::<Once>(text).map(drop).map_err(|error| error.to_string());
        assert!(reads(r#"{"a": [1, -1, 1.5, "x", true, null, {"b": {}}], "b": 1}"#).is_ok());
        let said = reads(r#"{"a": [{"b": 1, "c": 2, "b": 3}]}"#).unwrap_err();
        assert!(said.starts_with("duplicate field `b`"), "{said}");
        assert!(reads(r#"{"\u0061": 1, "a": 2}"#).is_err(), "the same name, written another way");
    }
}
