//! Reading a record back: by its kind if that stands first, as it is written, so that the fields need no second pass.
//!
//! A keeper's commit reads every record of all live files, which is why this is not left to a derived implementation:
//! that one sets each record aside whole before it looks for the kind.

use std::fmt;

use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserialize, Deserializer, Error, MapAccess, Visitor};
use serde_json::{Map, Value};

use super::Record;

impl<'de> Deserialize<'de> for Record {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(Tagged)
    }
}

struct Tagged;

impl<'de> Visitor<'de> for Tagged {
    type Value = Record;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a record: an object with its kind")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Record, A::Error> {
        let Some(first) = map.next_key::<String>()? else { return Err(A::Error::missing_field("kind")) };
        if first == "kind" {
            let kind: String = map.next_value()?;
            return of_kind(&kind, MapAccessDeserializer::new(map));
        }
        let mut fields = Map::new();
        fields.insert(first, map.next_value()?);
        while let Some((name, value)) = map.next_entry()? {
            fields.insert(name, value);
        }
        let kind = match fields.remove("kind") {
            Some(Value::String(kind)) => kind,
            Some(_) => return Err(A::Error::custom("the kind of a record is a text")),
            None => return Err(A::Error::missing_field("kind")),
        };
        of_kind(&kind, Value::Object(fields)).map_err(A::Error::custom)
    }
}

fn of_kind<'de, D: Deserializer<'de>>(kind: &str, fields: D) -> Result<Record, D::Error> {
    Ok(match kind {
        "tank" => Record::Tank(Deserialize::deserialize(fields)?),
        "reading" => Record::Reading(Deserialize::deserialize(fields)?),
        "specimen" => Record::Specimen(Deserialize::deserialize(fields)?),
        "identification" => Record::Identification(Deserialize::deserialize(fields)?),
        "stay" => Record::Stay(Deserialize::deserialize(fields)?),
        "placement" => Record::Placement(Deserialize::deserialize(fields)?),
        "sighting" => Record::Sighting(Deserialize::deserialize(fields)?),
        "sizing" => Record::Sizing(Deserialize::deserialize(fields)?),
        "ending" => Record::Ending(Deserialize::deserialize(fields)?),
        "routine" => Record::Routine(Deserialize::deserialize(fields)?),
        "event" => Record::Event(Deserialize::deserialize(fields)?),
        "incident" => Record::Incident(Deserialize::deserialize(fields)?),
        "instrument" => Record::Instrument(Deserialize::deserialize(fields)?),
        other => return Err(D::Error::custom(format!("'{other}' is no kind of record"))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_is_read_wherever_its_kind_stands() {
        let first = r#"{"kind":"stay","specimen":"C1","tank":"Alder","from":null,"to":null,"sheet":null,"row":2,"column":1,"cells":[]}"#;
        let last = first.replace(r#""kind":"stay","#, "").replace("[]}", r#"[],"kind":"stay"}"#);
        let record: Record = serde_json::from_str(first).unwrap();
        assert!(matches!(&record, Record::Stay(stay) if stay.tank == "Alder" && stay.place.row == 2), "{record:?}");
        assert_eq!(serde_json::from_str::<Record>(&last).unwrap(), record);
        assert_eq!(serde_json::to_string(&record).unwrap(), first);
        for (broken, said) in [
            (r#"{"specimen":"C1"}"#, "missing field `kind`"),
            ("{}", "missing field `kind`"),
            (r#"{"kind":"fish"}"#, "'fish' is no kind of record"),
            (r#"{"kind":"stay"}"#, "missing field `specimen`"),
            ("[]", "an object with its kind"),
        ] {
            let error = serde_json::from_str::<Record>(broken).unwrap_err().to_string();
            assert!(error.contains(said), "{broken}: {error}");
        }
    }
}
