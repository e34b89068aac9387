//! Records and answers of releases, compressed.

use std::io::Write;

use analysis::club::{Club, Readings};

use crate::problem::Problem;

/// Level of compression: quick, as answers are packed while somebody waits.
const LEVEL: i32 = 3;

/// How records begin once they are no longer compressed. Those of earlier programs are JSON, tests too, and begin with a brace.
const NAME: &[u8; 2] = b"C1";

/// A club, compressed: the length of its JSON in 64 bits, the JSON without the water tests, and these packed.
pub(super) fn pack(club: &Club) -> Result<Vec<u8>, Problem> {
    let readings = club.readings.pack().ok_or_else(|| Problem::internal(&"a club with too many instruments"))?;
    let rest = serde_json::to_vec(&club.without_readings()).map_err(|error| Problem::internal(&error))?;
    let mut encoder = zstd::Encoder::new(Vec::new(), LEVEL).map_err(|error| Problem::internal(&error))?;
    for part in [&NAME[..], &(rest.len() as u64).to_le_bytes(), &rest, &readings] {
        encoder.write_all(part).map_err(|error| Problem::internal(&error))?;
    }
    encoder.finish().map_err(|error| Problem::internal(&error))
}

/// A club that was packed.
pub(super) fn unpack(packed: &[u8]) -> Result<Club, Problem> {
    let bytes = bytes(packed)?;
    let json = |json: &[u8]| serde_json::from_slice::<Club>(json).map_err(|error| Problem::internal(&error));
    let Some(left) = bytes.strip_prefix(NAME) else { return json(&bytes) };
    let short = || Problem::internal(&"records of a release end too soon");
    let (length, left) = left.split_first_chunk::<8>().ok_or_else(short)?;
    let length = usize::try_from(u64::from_le_bytes(*length)).map_err(|error| Problem::internal(&error))?;
    let (rest, readings) = left.split_at_checked(length).ok_or_else(short)?;
    let readings = Readings::unpack(readings).map_err(|error| Problem::internal(&error))?;
    Ok(Club { readings, ..json(rest)? })
}

/// Bytes, compressed.
pub(super) fn pack_bytes(bytes: &[u8]) -> Result<Vec<u8>, Problem> {
    zstd::encode_all(bytes, LEVEL).map_err(|error| Problem::internal(&error))
}

/// Bytes that were compressed.
pub(super) fn bytes(packed: &[u8]) -> Result<Vec<u8>, Problem> {
    zstd::decode_all(packed).map_err(|error| Problem::internal(&error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::club::Reading;
    use analysis::vocabulary::ParameterCode;

    #[test]
    fn a_club_comes_back_as_it_was_open_ends_too() {
        let reading = |upper: f64| Reading {
            tank: 0,
            parameter: ParameterCode::parse("nitrate").unwrap(),
            on: "2024-03-01".parse().unwrap(),
            value: Some(50.0),
            lower: 50.0,
            upper,
            exact: false,
            zero_reported: false,
            limit: None,
            step: Some(0.1),
            log: 1,
        };
        let club = Club { readings: vec![reading(f64::INFINITY), reading(60.1)].into(), ..Club::default() };
        let back = unpack(&pack(&club).unwrap()).unwrap();
        assert_eq!(back.readings, club.readings);
        assert!(unpack(b"no archive").is_err());
        let of_before = pack_bytes(&serde_json::to_vec(&club).unwrap()).unwrap();
        assert_eq!(unpack(&of_before).unwrap().readings, club.readings, "as earlier programs kept it");
        let whole = bytes(&pack(&club).unwrap()).unwrap();
        for cut in [3, 9, 20, whole.len() - 1] {
            assert!(unpack(&pack_bytes(&whole[..cut]).unwrap()).is_err(), "{cut}");
        }
    }
}
