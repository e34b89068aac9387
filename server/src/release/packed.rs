//! Records and answers of releases, compressed.

use analysis::club::Club;

use crate::problem::Problem;

/// Level of compression: quick, as answers are packed while somebody waits.
const LEVEL: i32 = 3;

/// A club as compressed JSON, written through without the whole text in memory.
pub(super) fn pack(club: &Club) -> Result<Vec<u8>, Problem> {
    let mut encoder = zstd::Encoder::new(Vec::new(), LEVEL).map_err(|error| Problem::internal(&error))?;
    serde_json::to_writer(&mut encoder, club).map_err(|error| Problem::internal(&error))?;
    encoder.finish().map_err(|error| Problem::internal(&error))
}

/// A club that was packed.
pub(super) fn unpack(packed: &[u8]) -> Result<Club, Problem> {
    let decoder = zstd::Decoder::new(packed).map_err(|error| Problem::internal(&error))?;
    serde_json::from_reader(std::io::BufReader::new(decoder)).map_err(|error| Problem::internal(&error))
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
    }
}
